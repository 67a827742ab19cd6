package web

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"carryside/assets"
	"carryside/schedule/kit"
	"carryside/schedule/stock"
)

// cutterPage answers, at the cutter: it no longer cuts through, what do I try next?
type cutterPage struct {
	Page
	Form     *Form
	Steps    []cutterStep
	Now      kit.Step
	Nth      int // number of the check that is due, from 1; 0: all done
	Cautions []string
	Leave    string
}

type cutterStep struct {
	Number      int
	Name, State string
	Now         bool
}

// cutterCautions are the usual ones at a blade, in the words of the trade.
var cutterCautions = []string{
	"Switch the cutter off and secure it against starting before a hand goes near the blades; follow the maker's instructions and the site's rules.",
	"Wear cut-resistant gloves. Count the blades out and in; old ones go into a closed box.",
	"Cut a strip of waste belt as a trial, never the belt of the job.",
}

// cutter leads through the usual order of checks.
func (s *Site) cutter(r *Request) error {
	k, kits, err := s.kitAsked(r)
	if err != nil {
		return err
	}
	if k.Class != assets.KitCutter {
		return assets.ErrNotFound
	}
	room, err := s.StoreBook.Room(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	answers := map[kit.Check]kit.Answer{}
	form := r.NewForm()
	if r.Posted() {
		for _, c := range kit.Checks {
			answers[c] = kit.Answer(r.C.Request.PostForm.Get(fieldOf(c)))
		}
	}
	pads, blades := spares(room, assets.StockCutPad), spares(room, assets.StockBlade)
	now, err := kit.Next(kits.Counters[k.ID], pads, blades, answers)
	if err != nil {
		return err
	}
	if check := kit.Check(r.postedValue("check")); r.Posted() && check != "" && check == now.Check {
		answer := kit.Answer(r.postedValue("answer"))
		err := s.cutterAnswer(r, k, kits, room, check, answer)
		if form.Refused(err) {
			return s.showCutter(r, k, form, now, answers, cutterStock{room, kits.Counters[k.ID]}, true)
		}
		if err != nil {
			return err
		}
		answers[check] = answer
		if kits, err = s.StoreBook.KitRoom(r.Context(), r.Scope, r.PlantID(), r.Now); err != nil {
			return err
		}
		if now, err = kit.Next(kits.Counters[k.ID], pads, blades, answers); err != nil {
			return err
		}
		if now.Solved != "" {
			return r.Done(r.At("stores/kit", k.ID), k.Name+" cuts through again: "+string(now.Solved)+" was what it wanted.")
		}
		form = NewForm(nil)
		form.Plain = r.F
	}
	return s.showCutter(r, k, form, now, answers, cutterStock{room, kits.Counters[k.ID]}, false)
}

// cutterStock is what lies in the storeroom and what is in the cutter.
type cutterStock struct {
	room   *Room
	fitted []kit.Counter
}

// partsOf are the items of a kind of which a piece lies here and is fit.
func partsOf(room *Room, kind assets.StockKind) []stock.Outlook {
	var out []stock.Outlook
	for _, o := range room.Outlooks {
		if _, short := stock.Pick(o.Item, o.Lots, 1000, room.Today); o.Item.Kind == kind && o.OnHand >= 1000 && short == 0 {
			out = append(out, o)
		}
	}
	return out
}

// fittedWords marks the parts that are in and the side that is up: what a check is answered upon.
func fittedWords(counters []kit.Counter) string {
	var out []string
	for _, c := range counters {
		if c.EndedAt == 0 {
			out = append(out, plainInt(c.ID)+pick(c.InUse, "up", ""))
		}
	}
	return strings.Join(out, " ")
}

func (r *Request) postedValue(name string) string {
	if !r.Posted() {
		return ""
	}
	return r.C.Request.PostForm.Get(name)
}

// fieldOf is the name under which the answer to a check travels.
func fieldOf(c kit.Check) string {
	return map[kit.Check]string{kit.CheckSide: "pad_side", kit.CheckPad: "pad", kit.CheckDepth: "blade_depth", kit.CheckBlade: "blade"}[c]
}

func spares(room *Room, kind assets.StockKind) int {
	n := 0
	for _, o := range room.Outlooks {
		if o.Item.Kind == kind {
			n += int(o.OnHand / 1000)
		}
	}
	return n
}

func (s *Site) showCutter(r *Request, k assets.Kit, f *Form, now kit.Step, answers map[kit.Check]kit.Answer, there cutterStock, wrong bool) error {
	p := &cutterPage{Form: f, Now: now, Cautions: cutterCautions, Leave: r.At("stores/kit", k.ID)}
	p.Sheet, p.Say = "Kit", k.Name+" does not cut through: "+pick(now.Check == "", "send it to service", string(now.Check)+" is next")
	p.Sub = "What costs nothing first, new blades last. What you change is booked with your name."
	for i, c := range kit.Checks {
		st := cutterStep{Number: i + 1, Name: Capital(string(c)), State: string(answers[c]), Now: c == now.Check}
		if st.Now {
			p.Nth = i + 1
		}
		p.Steps = append(p.Steps, st)
		f.Hidden(fieldOf(c), string(answers[c]))
	}
	f.Hidden("check", string(now.Check))
	f.Hidden("fitted", "").Value = fittedWords(there.fitted)
	options := []Option{{Value: string(kit.Through), Label: "it cuts through now"}, {Value: string(kit.Still), Label: "still not through"}, {Value: string(kit.Skipped), Label: "it could not be done"}}
	if now.Skip != "" {
		options = options[2:]
	}
	if now.Check != "" {
		f.Radio("answer", "What came of it", "", options)
	}
	if now.Check == kit.CheckPad && now.Skip == "" {
		f.Text("part", "Name of the new pad", "").Must().Hinted("As marked on it: pad 7")
		r.partFrom(f, there.room, assets.StockCutPad)
	}
	if now.Check == kit.CheckBlade && now.Skip == "" {
		f.Text("part", "Name of the new blades", "").Must().Hinted("As marked: blades 10")
		r.partFrom(f, there.room, assets.StockBlade)
	}
	if wrong {
		return r.Refill("cutter", p)
	}
	return r.Show("cutter", p)
}

// notFromHere is the answer of somebody who put in a part that no storeroom of the plant held.
const notFromHere = "elsewhere"

// partFrom asks from which item of the storeroom a part was taken: knife blades are blades too.
func (r *Request) partFrom(f *Form, room *Room, kind assets.StockKind) {
	parts := partsOf(room, kind)
	var options []Option
	if len(parts) > 1 {
		options = append(options, Option{Label: "choose"})
	}
	for _, o := range parts {
		options = append(options, Option{Value: plainInt(o.Item.ID), Label: o.Item.Name + ", " + r.quantity(o.Item, o.OnHand) + " here"})
	}
	f.Select("item", "Taken from", "", append(options, Option{Value: notFromHere, Label: "not from this storeroom"})).Must()
}

// cutterAnswer books what was done for a check, whether it helped or not: a pad that was turned is turned. What was booked since the page was
// opened is not booked again: a button pressed twice would turn the pad back.
func (s *Site) cutterAnswer(r *Request, k assets.Kit, kits *KitRoom, room *Room, check kit.Check, answer kit.Answer) error {
	if answer != kit.Through && answer != kit.Still && answer != kit.Skipped {
		return assets.Invalid{"answer": "choose what came of it"}
	}
	if answer == kit.Skipped || check == kit.CheckDepth {
		return nil
	}
	if was := r.postedValue("fitted"); was != "" && was != fittedWords(kits.Counters[k.ID]) {
		return nil
	}
	change, err := partsChange(kits.Counters[k.ID], room, check, r.postedValue("part"), r.postedValue("item"))
	if err != nil {
		return err
	}
	change.Why = "does not cut through"
	return s.StoreBook.ChangeParts(r.Context(), r.Scope, r.act("check a cutter: "+string(check), change.Why), k, change)
}

// partsChange is what a check does to the parts of a cutter.
func partsChange(counters []kit.Counter, room *Room, check kit.Check, part, from string) (PartsChange, error) {
	var c PartsChange
	up, other, padded := kit.Side(counters)
	if check == kit.CheckSide {
		if !padded || other.ID == 0 {
			return c, assets.Invalid{"answer": "no other side of a pad is on record; choose that it could not be done"}
		}
		up.InUse, other.InUse = false, true
		c.Up = []kit.Counter{up, other}
		return c, nil
	}
	if part == "" {
		return c, assets.Invalid{"part": "give the name of what was put in, as marked on it"}
	}
	kind, of := assets.StockCutPad, func(w assets.Wear) bool { return w.PadSide() != "" }
	if check == kit.CheckBlade {
		kind, of = assets.StockBlade, func(w assets.Wear) bool { return w == assets.WearBladeCuts }
	}
	for _, old := range counters {
		if old.EndedAt != 0 || !of(old.Counts) {
			continue
		}
		c.End = append(c.End, old)
		next := assets.KitCounter{KitID: old.KitID, Counts: old.Counts, Part: part, Limit: old.Limit, PerJob: old.PerJob, Class: old.Class, Source: old.Source, InUse: old.Counts == assets.WearPadCutsA}
		c.Begin = append(c.Begin, next)
	}
	if len(c.Begin) == 0 {
		return c, assets.Invalid{"answer": "no counter of that part is on record; add one on the page of the cutter first"}
	}
	var err error
	c.Stock, err = takeOne(room, kind, part, from)
	return c, err
}

// takeOne takes one piece of the item that was named out of its first lot; of a kind of which one item lies here alone nobody need name it.
func takeOne(room *Room, kind assets.StockKind, part, from string) ([]assets.StockMovement, error) {
	parts := partsOf(room, kind)
	if from == notFromHere || len(parts) == 0 {
		return nil, nil
	}
	if from == "" && len(parts) == 1 {
		from = plainInt(parts[0].Item.ID)
	}
	at := slices.IndexFunc(parts, func(o stock.Outlook) bool { return plainInt(o.Item.ID) == from })
	if at < 0 {
		return nil, assets.Invalid{"item": "say from which item of the storeroom it was taken"}
	}
	lines, _ := stock.Pick(parts[at].Item, parts[at].Lots, 1000, room.Today)
	for i := range lines {
		lines[i].Reason = "put into the cutter as " + part
	}
	return lines, nil
}

// Progress says which check this is of how many.
func (p *cutterPage) Progress() string {
	if p.Nth == 0 {
		return "all checks done"
	}
	return fmt.Sprintf("Check %d of %s", p.Nth, strconv.Itoa(len(p.Steps)))
}
