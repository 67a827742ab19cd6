package web

import (
	"context"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/horizon"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// Horizons is what the horizon and the plan need.
type Horizons interface {
	// Horizon lays a plant's orders against its stops for so many weeks. It may be shared: screens do not change it.
	Horizon(ctx context.Context, scope assets.Scope, plantID int64, now time.Time, weeks int) (*HorizonView, error)
	// Horizons lays several plants on one sheet, with the crews and the kit they share.
	Horizons(ctx context.Context, scope assets.Scope, plants []int64, now time.Time, weeks int) (*HorizonView, error)
	// Draft returns what somebody has moved at a plant (0: over many plants) and not published.
	Draft(ctx context.Context, scope assets.Scope, personID, plantID int64) (assets.PlanDraft, error)
	// SaveDraft keeps what somebody has moved; without moves there is no draft any more.
	SaveDraft(ctx context.Context, scope assets.Scope, draft *assets.PlanDraft) error
	// PublishPlan takes the steps of a plan's orders and keeps the plan, all in one change. assets.ErrConflict when one of the
	// orders was changed since it was read.
	PublishPlan(ctx context.Context, scope assets.Scope, act Act, plan *assets.PublishedPlan, steps []PlanStep) error
	// PublishedPlans lists what was published for a plant, newest first.
	PublishedPlans(ctx context.Context, scope assets.Scope, plantID int64, most int) ([]assets.PublishedPlan, error)
}

// PlanStep is one order of a plan being published, as it was read, and the step that brings it where the plan wants it.
type PlanStep struct {
	OrderID, EditVersion, ToStop int64
	Do                           func(o workorder.Order, stopID int64) (workorder.Order, workorder.Event, error)
}

// HorizonView is a laid sheet with where everything stands as published.
type HorizonView struct {
	Facts  *horizon.Facts
	Sheet  *horizon.Sheet
	At     horizon.Placements // with what hands left open filled in
	Broken []horizon.Broken   // stops whose orders do not go together
	People []horizon.Person
	Kit    []horizon.Kit
	Money  bool
	Base   int64 // position of the plant's chain it was read at
}

// order returns an open order of the sheet.
func (v *HorizonView) order(id int64) (workorder.Order, bool) {
	for i := range v.Facts.Plants {
		for _, o := range v.Facts.Plants[i].Orders {
			if o.ID == id {
				return o, true
			}
		}
	}
	return workorder.Order{}, false
}

// plantOf is the place on the sheet of the plant that has an order; -1 when none has.
func (v *HorizonView) plantOf(orderID int64) int {
	for i := range v.Facts.Plants {
		for _, o := range v.Facts.Plants[i].Orders {
			if o.ID == orderID {
				return i
			}
		}
	}
	return -1
}

// stop returns a stop of the sheet, by the number of an occurrence too.
func (v *HorizonView) stop(id int64) (assets.StopWindow, bool) {
	for i := range v.Facts.Plants {
		for _, w := range v.Facts.Plants[i].Stops {
			if w.ID == id {
				return w, true
			}
		}
	}
	return assets.StopWindow{}, false
}

// horizonPage answers: which belts come due when, which stops stand in front of them, and what is placed in them?
type horizonPage struct {
	Page
	Wide, Narrow template.HTML
	Spans        []Option
	Rows         []horizonRow
	Unplaced     []horizonLeft
	Broken       []horizonLeft
	Mine         int // moves of whoever looks that are not published
	Plan         string
	MayPlan      bool
	Published    string
	Empty        *Empty
}

// horizonRow is a belt in numbers.
type horizonRow struct {
	Line, Tag, Name, To            string
	At10, At50, At90, Work, Before string
	Says                           string
}

// horizonLeft is something with reasons.
type horizonLeft struct {
	Name, To string
	Why      []string
}

// spans are the lengths a sheet may have, in weeks.
var spans = []struct {
	weeks int
	words string
}{{12, "12 weeks"}, {26, "26 weeks"}, {104, "2 years"}}

// span is the length of the sheet asked for; 26 weeks unless another is.
func (r *Request) span() int {
	for _, s := range spans {
		if r.C.Query("weeks") == strconv.Itoa(s.weeks) {
			return s.weeks
		}
	}
	return 26
}

// sheet is everything a page of the horizon is made of.
type sheetOf struct {
	r     *Request
	v     fleetView
	h     *HorizonView
	until time.Time
	moves []assets.DraftMove
	weeks int
	at    horizon.Placements // with the moves that fit
}

// readSheet reads the sheet with what whoever asks has moved.
func (s *Site) readSheet(r *Request, weeks int) (*sheetOf, error) {
	h, err := s.Horizons.Horizon(r.Context(), r.Scope, r.PlantID(), r.Now, weeks)
	if err != nil {
		return nil, err
	}
	return s.sheetOn(r, weeks, h)
}

// freshSheet is the sheet as everything stands at this moment, what other plants took of shared crews and kit included.
func (s *Site) freshSheet(r *Request, weeks int) (*sheetOf, error) {
	h, err := s.Horizons.Horizons(r.Context(), r.Scope, []int64{r.PlantID()}, r.Now, weeks)
	if err != nil {
		return nil, err
	}
	return s.sheetOn(r, weeks, h)
}

func (s *Site) sheetOn(r *Request, weeks int, h *HorizonView) (*sheetOf, error) {
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return nil, err
	}
	d, err := s.Horizons.Draft(r.Context(), r.Scope, r.Who.Person.ID, r.PlantID())
	if err != nil {
		return nil, err
	}
	sh := &sheetOf{r: r, v: viewOf(fl, r.F), h: h, weeks: weeks, until: r.Now.AddDate(0, 0, 7*weeks), moves: d.Moves}
	sh.at = h.At
	for _, m := range d.Moves {
		sh.at = applied(sh.at, m)
	}
	return sh, nil
}

// applied is where everything stands with a move that fits.
func applied(at horizon.Placements, m assets.DraftMove) horizon.Placements {
	if !m.Fits() {
		return at
	}
	out := make(horizon.Placements, len(at)+1)
	for id, p := range at {
		out[id] = p
	}
	delete(out, m.OrderID)
	if m.ToStop != 0 {
		out[m.OrderID] = horizon.Placement{StopID: m.ToStop, Start: m.Start.Time(), Crew: m.Crew, Kit: m.Tools}
	}
	return out
}

func (s *Site) horizon(r *Request) error {
	sh, err := s.readSheet(r, r.span())
	if err != nil {
		return err
	}
	p := &horizonPage{MayPlan: r.May(people.PlanOrders), Plan: r.At("horizon", "plan")}
	p.Sheet = "Horizon"
	if len(sh.v.Register.Conveyors) == 0 {
		p.Say = "Nothing comes due: the plant has no conveyors yet"
		p.Empty = &Empty{What: "No conveyors", Why: "The horizon shows when each belt comes due and which stop stands in front of it. Bring in the belts first.", Do: r.firstBelts()}
		return r.Show("horizon", p)
	}
	belts := sh.belts()
	p.Say = horizonSay(belts, sh.until.In(r.F.zone()))
	r.Offer(&p.Page, "Add a stop", "stops/new", false)
	r.Offer(&p.Page, "Try a re-plan", "horizon/plan", true)
	d := sh.drawing(belts, false)
	d.Sentence = "Horizon: " + strconv.Itoa(sh.weeks) + " weeks, conveyors by line. The same facts are in the table below."
	p.Wide, p.Narrow = drawing.OfHorizon(d), drawing.OfHorizonNarrow(d)
	for _, o := range spans {
		p.Spans = append(p.Spans, Option{Value: strconv.Itoa(o.weeks), Label: o.words, Chosen: o.weeks == sh.weeks})
	}
	for _, b := range belts {
		p.Rows = append(p.Rows, b.row)
	}
	p.Unplaced, p.Broken = sh.unplaced(), sh.broken()
	for _, m := range sh.moves {
		if !companion(m) && (m.FromStop != 0 || m.ToStop != 0) {
			p.Mine++
		}
	}
	if p.Published, err = s.publishedWords(r); err != nil {
		return err
	}
	return r.Show("horizon", p)
}

// firstBelts leads a plant without belts on.
func (r *Request) firstBelts() []Action {
	if to, ok := r.Link("import"); ok {
		return []Action{{Word: "Bring in a list", To: to, Main: true}}
	}
	return nil
}

// companion is a move that only goes with another one: the order stays in its stop, at another time or with others.
func companion(m assets.DraftMove) bool { return m.Fits() && m.FromStop == m.ToStop }

// publishedWords says when the plan was published last and by whom.
func (s *Site) publishedWords(r *Request) (string, error) {
	plans, err := s.Horizons.PublishedPlans(r.Context(), r.Scope, r.PlantID(), 1)
	if err != nil || len(plans) == 0 {
		return "", err
	}
	names, err := s.Meters.NamesOf(r.Context(), []int64{plans[0].PublishedBy})
	if err != nil {
		return "", err
	}
	return "Published " + r.F.Stamp(plans[0].PublishedAt) + " by " + names[plans[0].PublishedBy] + ": " + Figure(len(plans[0].Changes), "change", "changes") + ".", nil
}

// horizonBelt is a row with what is said of it.
type horizonBelt struct {
	conveyor assets.Conveyor
	line     string
	splice   assets.Splice
	due      *due.Forecast
	works    []drawing.HorizonWork
	says     string
	alarm    bool
	moved    bool
	row      horizonRow
}

// belts are the rows of the sheet, line by line.
func (sh *sheetOf) belts() []horizonBelt {
	var out []horizonBelt
	for _, c := range sh.v.Register.Conveyors {
		if c.Status == assets.ConveyorRetired {
			continue
		}
		b := horizonBelt{conveyor: c, line: pickWord(sh.v.Register.LineName(c), "No line named")}
		b.splice, b.due = sh.v.firstDue(c.ID)
		b.works = sh.works(&b)
		sh.find(&b)
		b.row = sh.row(&b)
		out = append(out, b)
	}
	return out
}

func pickWord(word, other string) string {
	if word == "" {
		return other
	}
	return word
}

// works are the orders on a conveyor: as published, and as whoever looks would have them.
func (sh *sheetOf) works(b *horizonBelt) []drawing.HorizonWork {
	var out []drawing.HorizonWork
	moved := map[int64]assets.DraftMove{}
	for _, m := range sh.moves {
		if !companion(m) {
			moved[m.OrderID] = m
		}
	}
	for _, o := range sh.h.Facts.Plants[0].Orders {
		if o.ConveyorID != b.conveyor.ID {
			continue
		}
		m, is := moved[o.ID]
		if w, ok := sh.h.stop(o.WindowID); ok && o.WindowID != 0 {
			kind := drawing.WorkPlaced
			switch {
			case is && m.Fits():
				kind = drawing.WorkOld
			case o.Held() || o.State == workorder.Started:
				kind = drawing.WorkLocked
			}
			out = append(out, sh.work(o, w, kind, b))
		}
		if w, ok := sh.h.stop(m.ToStop); is && ok && m.ToStop != 0 {
			kind := drawing.WorkNew
			if !m.Fits() {
				kind = drawing.WorkNoFit
			}
			out, b.moved = append(out, sh.work(o, w, kind, b)), true
		}
	}
	slices.SortStableFunc(out, func(x, y drawing.HorizonWork) int { return x.From.Compare(y.From) })
	return sharing(out)
}

// sharing divides the block of a stop among the orders that share it on a row; their words stand once.
func sharing(works []drawing.HorizonWork) []drawing.HorizonWork {
	for i := 0; i < len(works); {
		end := i + 1
		for end < len(works) && works[end].Stop == works[i].Stop {
			end++
		}
		if n := end - i; n > 1 {
			words := works[i].Words
			for k := i; k < end; k++ {
				works[k].Of, works[k].Nth = n, k-i
				if k > i {
					words = joinWords(words, works[k].Words)
					works[k].Words = ""
				}
			}
			works[i].Words = words
		}
		i = end
	}
	return works
}

// under is what a narrow sheet says below a row with work: "remake S2, order 412, stop 12 Dec: 47 % before 412".
func (b *horizonBelt) under() string {
	for _, w := range b.works {
		if w.Kind != drawing.WorkOld {
			return w.Short + ": " + b.says
		}
	}
	return ""
}

func (sh *sheetOf) work(o workorder.Order, w assets.StopWindow, kind drawing.WorkKind, b *horizonBelt) drawing.HorizonWork {
	what := o.Title
	mark := string(o.Kind)
	if s, ok := sh.v.Register.Splice(o.SpliceID); ok {
		mark = spliceMark(s)
	} else if o.Kind == workorder.KindBeltChange {
		mark = "belt"
	}
	d := drawing.HorizonWork{Kind: kind, From: w.Start.Time(), To: w.End.Time(), Words: fmt.Sprintf("%d %s", o.Number, mark), Link: sh.r.At("orders", o.Number), Stop: w.ID,
		TakesAway: o.SpliceID != 0 && o.SpliceID == b.splice.ID && o.Kind == workorder.KindResplice || o.Kind == workorder.KindBeltChange}
	d.Number = o.Number
	d.Short = fmt.Sprintf("%s, order %d, stop %s", what, o.Number, sh.day(w.ID))
	d.Spoken = fmt.Sprintf("%s: %s, order %d, stop of %s", b.conveyor.Tag, what, o.Number, sh.r.F.Date(w.Start))
	switch kind {
	case drawing.WorkOld:
		d.Words = ""
		d.Spoken += ", where it stands now"
	case drawing.WorkNew:
		d.Spoken += ", moved and not published"
	case drawing.WorkNoFit:
		d.Words += " does not fit"
		d.Spoken += ": does not fit"
	}
	if sh.r.May(people.PlanOrders) && sh.h.Sheet.Holds(o.ID) && !o.Held() {
		d.Order = o.Number
		for _, id := range sh.h.Sheet.Stops(o.ID) {
			if w, ok := sh.h.stop(id); ok {
				d.Choices = append(d.Choices, drawing.HorizonChoice{Stop: id, From: w.Start.Time(), To: w.End.Time()})
			}
		}
	}
	return d
}

// find says the finding of a row: the chance before the work, the stop that would fit, or that none does.
func (sh *sheetOf) find(b *horizonBelt) {
	for _, w := range b.works {
		if w.TakesAway && b.due != nil && (w.Kind == drawing.WorkPlaced || w.Kind == drawing.WorkLocked || w.Kind == drawing.WorkNew) {
			p, _ := b.due.Chances(w.From)
			b.says = chance(p) + " before " + fmt.Sprint(w.Number)
			return
		}
	}
	switch {
	case b.due == nil:
		b.says = sh.silence(b.conveyor)
	case b.due.Band.At10.IsZero() || b.due.Band.At10.After(sh.until):
		b.says = "later than this sheet"
	default:
		b.says, b.alarm = sh.fitting(b)
	}
}

// silence says why a row has no taper.
func (sh *sheetOf) silence(c assets.Conveyor) string {
	for _, s := range sh.v.live(c.ID) {
		if st, ok := sh.v.standing(s.ID); ok && st.Band == due.BandUnknown {
			return spliceMark(s) + " age not known"
		}
	}
	if len(sh.v.live(c.ID)) == 0 {
		return "no splice recorded"
	}
	return "no date"
}

// fitting is the latest agreed stop of a conveyor that is long enough before half of such splices have come due. None is an
// alarm where that date lies on the sheet.
func (sh *sheetOf) fitting(b *horizonBelt) (says string, alarm bool) {
	half := b.due.Band.At50
	ahead := half.IsZero() || half.After(sh.until)
	need := sh.need(b)
	var best *assets.StopWindow
	for _, w := range sh.stopsOf(b.conveyor) {
		if w.Agreed() && sh.isolates(w, b.conveyor) && w.Start.Time().After(sh.r.Now) && (ahead || w.Start.Time().Before(half)) && stopHours(w) >= need {
			best = &w
		}
	}
	if best == nil {
		return "No stop in front", !ahead
	}
	return hard(sh.r.F.Local(best.Start).Format("2 Jan")) + " would fit", false
}

// isolates tells whether everything that is isolated together with a conveyor stands in a stop.
func (sh *sheetOf) isolates(w assets.StopWindow, c assets.Conveyor) bool {
	for _, g := range sh.h.Facts.Plants[0].Groups {
		if !slices.Contains(g.ConveyorIDs, c.ID) {
			continue
		}
		for _, id := range g.ConveyorIDs {
			if other, ok := sh.v.Register.Conveyor(id); ok && other.Status != assets.ConveyorRetired && !w.Stops(other) {
				return false
			}
		}
	}
	return true
}

// need is how long work on a row's splice takes, from the catalogue.
func (sh *sheetOf) need(b *horizonBelt) float64 {
	if kind, ok := sh.v.Register.Kind(b.splice.Form, b.splice.Bond); ok {
		if v, ok := assets.ValueOf(kind.Values, due.WorkH); ok {
			return v.Value
		}
	}
	return 0
}

// stopsOf are the stops of a conveyor on the sheet, in order of time.
func (sh *sheetOf) stopsOf(c assets.Conveyor) []assets.StopWindow {
	var out []assets.StopWindow
	for _, w := range sh.h.Facts.Plants[0].Stops {
		if w.Stops(c) && w.Answer.Given() != assets.AnswerRefused && w.Start.Time().Before(sh.until) {
			out = append(out, w)
		}
	}
	return out
}

func (sh *sheetOf) row(b *horizonBelt) horizonRow {
	row := horizonRow{Line: b.line, Tag: b.conveyor.Tag, Name: b.conveyor.Name, To: sh.r.At("conveyors", b.conveyor.ID), Says: b.says, Work: "none"}
	if b.due != nil {
		row.At10, row.At50, row.At90 = sh.v.bandDate(b.due.Band.At10), sh.v.bandDate(b.due.Band.At50), sh.v.bandDate(b.due.Band.At90)
	}
	var works []string
	for _, w := range b.works {
		if w.Kind == drawing.WorkOld {
			continue
		}
		works = append(works, strings.TrimPrefix(w.Spoken, b.conveyor.Tag+": "))
		if w.TakesAway && b.due != nil && row.Before == "" {
			p, _ := b.due.Chances(w.From)
			row.Before = chance(p)
		}
	}
	if len(works) > 0 {
		row.Work = strings.Join(works, "; ")
	}
	return row
}

// horizonSay is the headline: which belts have no stop in front of them.
func horizonSay(belts []horizonBelt, until time.Time) string {
	var bare []string
	for _, b := range belts {
		if b.alarm {
			bare = append(bare, b.conveyor.Tag)
		}
	}
	by := until.Format("January")
	switch n := len(bare); {
	case n == 0:
		return "Everything that comes due by " + by + " has a stop in front of it"
	case n == 1:
		return bare[0] + " has no stop in front of it; everything else that comes due by " + by + " does"
	case n <= 3:
		return List(bare) + " have no stop in front of them; everything else that comes due by " + by + " does"
	default:
		return Capital(Count(n, "conveyor has", "conveyors have")) + " no stop in front of them, " + bare[0] + " and " + bare[1] + " among them"
	}
}

// drawing makes the picture of the sheet.
func (sh *sheetOf) drawing(belts []horizonBelt, slim bool) drawing.Horizon {
	d := drawing.Horizon{Now: sh.r.Now, Until: sh.until, Zone: sh.r.F.zone(), Slim: slim}
	last := int64(-1)
	for _, b := range belts {
		if len(d.Groups) == 0 || b.conveyor.LineID != last {
			last = b.conveyor.LineID
			d.Groups = append(d.Groups, drawing.HorizonGroup{Name: b.line, Stops: sh.groupStops(belts, last)})
		}
		g := &d.Groups[len(d.Groups)-1]
		row := drawing.HorizonBelt{Tag: b.conveyor.Tag, Name: b.conveyor.Name, To: b.row.To, Glyph: sh.v.drawn(b.conveyor, sh.r.PlantID()), Works: b.works, Says: b.says, Under: b.under(), Alarm: b.alarm, Moved: b.moved}
		if b.due != nil {
			t := taperOf(b.due)
			row.Taper = &t
		}
		g.Belts = append(g.Belts, row)
	}
	d.Rows = []drawing.HorizonMarks{sh.crewMarks()}
	if presses := sh.pressMarks(); presses.Says != "" {
		d.Rows = append(d.Rows, presses)
	}
	return d
}

// groupStops are the stops of the belts of a line, with how far each is filled there.
func (sh *sheetOf) groupStops(belts []horizonBelt, line int64) []drawing.HorizonStop {
	var out []drawing.HorizonStop
	for _, w := range sh.h.Facts.Plants[0].Stops {
		stops := slices.ContainsFunc(belts, func(b horizonBelt) bool { return b.conveyor.LineID == line && w.Stops(b.conveyor) })
		if !stops || w.Answer.Given() == assets.AnswerRefused || !w.Start.Time().Before(sh.until) {
			continue
		}
		start := sh.r.F.Local(w.Start)
		st := drawing.HorizonStop{From: w.Start.Time(), To: w.End.Time(), Day: hard(start.Format("2 Jan")), Asked: !w.Agreed()}
		if w.Start.Time().Sub(sh.r.Now) < 21*24*time.Hour {
			st.Day = hard(start.Format("Mon 2 Jan"))
		}
		st.Filled = Short(sh.bookedHours(w, line), 1) + "/" + Duration(stopHours(w))
		if st.Asked {
			st.Day, st.Filled = "asked for "+st.Day, Duration(stopHours(w))
		}
		out = append(out, st)
	}
	return out
}

// bookedHours are the hours of work in a stop on a line.
func (sh *sheetOf) bookedHours(w assets.StopWindow, line int64) float64 {
	hours := 0.0
	for _, o := range sh.h.Facts.Plants[0].Orders {
		c, _ := sh.v.Register.Conveyor(o.ConveyorID)
		p, ok := sh.at[o.ID]
		if ok && p.StopID == w.ID && c.LineID == line {
			hours += sh.hours(o)
		}
	}
	return hours
}

// hours are an order's hours of work as the plan takes them.
func (sh *sheetOf) hours(o workorder.Order) float64 {
	if d := sh.h.Sheet.Work(o.ID); d > 0 {
		return d.Hours()
	}
	return o.WorkHours
}

// crewMarks are the people at work in each stop.
func (sh *sheetOf) crewMarks() drawing.HorizonMarks {
	m := drawing.HorizonMarks{Name: "Crew", Says: Count(len(sh.h.People), "person can be sent", "people can be sent")}
	for _, w := range sh.h.Facts.Plants[0].Stops {
		if b := sh.h.Sheet.Booked(w.ID, sh.at); len(b.People) > 0 {
			m.Marks = append(m.Marks, drawing.HorizonMark{At: w.Start.Time(), People: len(b.People)})
		}
	}
	return m
}

// pressMarks are the presses in each stop.
func (sh *sheetOf) pressMarks() drawing.HorizonMarks {
	m := drawing.HorizonMarks{Name: "Presses"}
	name := map[int64]string{}
	var says []string
	for _, k := range sh.h.Kit {
		if k.Class != string(assets.KitPress) {
			continue
		}
		name[k.ID] = strings.TrimSpace(strings.TrimPrefix(k.Name, "Press"))
		word := name[k.ID]
		if k.WidthMM > 0 {
			word += " to " + sh.r.F.Width(float64(k.WidthMM)/1000)
		}
		says = append(says, word)
	}
	m.Says = strings.Join(says, ", ")
	for _, w := range sh.h.Facts.Plants[0].Stops {
		for _, id := range sh.h.Sheet.Booked(w.ID, sh.at).Kit {
			if name[id] != "" {
				m.Marks = append(m.Marks, drawing.HorizonMark{At: w.Start.Time(), Kit: name[id]})
			}
		}
	}
	return m
}

// unplaced are the orders that stand in no stop and why no plan holds them.
func (sh *sheetOf) unplaced() []horizonLeft {
	var out []horizonLeft
	for _, u := range sh.h.Sheet.Unplanned {
		if o, ok := sh.h.order(u.OrderID); ok && o.State != workorder.Started && o.ConveyorID != 0 {
			out = append(out, horizonLeft{Name: sh.orderName(o), To: sh.r.At("orders", o.Number), Why: []string{Capital(u.Why)}})
		}
	}
	return out
}

// orderName is an order with its conveyor: "412 Q3: remake S2".
func (sh *sheetOf) orderName(o workorder.Order) string {
	c, _ := sh.v.Register.Conveyor(o.ConveyorID)
	return strings.TrimSpace(fmt.Sprintf("%d %s", o.Number, c.Tag)) + ": " + pickWord(o.Title, string(o.Kind))
}

func (sh *sheetOf) broken() []horizonLeft {
	var out []horizonLeft
	for _, b := range sh.h.Broken {
		if w, ok := sh.h.stop(b.StopID); ok {
			out = append(out, horizonLeft{Name: "Stop of " + sh.r.F.Stamp(w.Start), To: sh.r.At("stops"), Why: b.Why})
		}
	}
	return out
}

// choices are the orders that can be moved and the stops they can be moved to.
func (sh *sheetOf) choices() (orders, stops []Option) {
	offered := map[int64]bool{}
	for _, o := range sh.h.Facts.Plants[0].Orders {
		if !sh.h.Sheet.Holds(o.ID) {
			continue
		}
		orders = append(orders, Option{Value: plainInt(o.Number), Label: sh.orderName(o)})
		for _, id := range sh.h.Sheet.Stops(o.ID) {
			offered[id] = true
		}
	}
	stops = []Option{{Value: "0", Label: "no stop: take it out"}}
	for _, w := range sh.h.Facts.Plants[0].Stops {
		if offered[w.ID] {
			stops = append(stops, Option{Value: plainInt(w.ID), Label: sh.stopLabel(w)})
		}
	}
	return orders, stops
}

func (sh *sheetOf) stopLabel(w assets.StopWindow) string {
	label := sh.r.F.Stamp(w.Start) + ", " + Duration(stopHours(w))
	if l, ok := sh.v.Register.Line(w.LineID); ok {
		return label + ", " + l.Name
	}
	return label
}

func horizonRoutes() []Route {
	return []Route{
		{Method: get, Path: "/plants/plan", May: people.KeepCrew, Under: "plants", Do: (*Site).companyPlan},
		{Method: post, Path: "/plants/plan", May: people.KeepCrew, Under: "plants", Do: (*Site).companyPlan},
		{Method: get, Path: "/plants/:plant/horizon", May: people.Read, Under: "horizon", Back: "horizon", Do: (*Site).horizon},
		{Method: get, Path: "/plants/:plant/horizon/move", May: people.PlanOrders, Under: "horizon", Back: "horizon", Do: (*Site).planMove},
		{Method: post, Path: "/plants/:plant/horizon/move", May: people.PlanOrders, Under: "horizon", Back: "horizon", Do: (*Site).planMove},
		{Method: get, Path: "/plants/:plant/horizon/plan", May: people.PlanOrders, Under: "horizon", Back: "horizon", Do: (*Site).horizonPlan},
		{Method: post, Path: "/plants/:plant/horizon/plan", May: people.PlanOrders, Under: "horizon", Back: "horizon", Do: (*Site).horizonPlan},
	}
}
