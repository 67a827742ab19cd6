package web

import (
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// decision is something on Today that waits for a person.
type decision struct {
	Name, To string
	short    string // in the headline; "": Name
	Says     string
	Bad      string // the part that is wrong, set apart
	Do       *Action
	Used     *drawing.Used
	kind     decisionKind
	past     string // what a splice is past of; of a conveyor that stands: since when
	days     int    // how late or how soon, for the order among its kind
}

// decisionKind is what waits, worst first.
type decisionKind int

const (
	gravestOpen decisionKind = iota // a grade 4 of a round that nobody has answered
	graveOpen                       // a finding of grade 4 without order or refusal
	standsNow                       // a conveyor that stands by a failure
	lateOrder                       // an order past its latest date
	badGrade                        // a finding of grade 3 without order or refusal
	doubted                         // an order whose ground a correction took away
	unfitSign                       // a signature from a device whose PIN or ticket did not fit
	pastBare                        // a splice past its rule without an order
	dueBare                         // a splice likely to come due before its next stop, without an order
	noStop                          // an accepted order without a stop before its latest date
	toAccept                        // a raised order
	toPlace                         // an accepted order for which a stop fits
	settings                        // zone, units and currency taken from defaults
	heldReads                       // readings that contradict their neighbours
	noDate                          // a splice whose date is not known
)

const decisionsShown = 8

// decisions lists everything that waits, worst first.
func (r *Request) decisions(in todayInputs) []decision {
	var all []decision
	ordered := orderedIn(in.open)
	for _, o := range in.open {
		if d, ok := r.orderDecision(o, in); ok {
			all = append(all, d)
		}
	}
	leads := map[int64]bool{} // findings that lead already: one that nobody has taken on stands once
	for _, f := range in.unanswered {
		leads[f.Finding.ID] = true
		all = append(all, r.unansweredDecision(f, in.v))
	}
	for _, st := range in.standing {
		all = append(all, r.standingDecision(st, in.v))
	}
	for _, f := range in.grades {
		if !leads[f.ID] {
			all = append(all, r.gradeDecision(f, in.v))
		}
	}
	for _, f := range in.signatures {
		all = append(all, r.signatureDecision(f, in.v))
	}
	for _, st := range in.v.Standings {
		// What only a rule of thumb asks for stands under its own headline and is no decision.
		if ordered.remakes(st.SpliceID, st.BeltID) {
			continue
		}
		if pastWhatBinds(st) {
			all = append(all, r.pastDecision(st, in.v))
		} else if d, is := r.dueDecision(st, in); is {
			all = append(all, d)
		}
	}
	all = append(all, r.beltDecisions(in.v, ordered)...)
	all = append(all, r.undatedDecisions(in.v)...)
	if in.held > 0 {
		d := decision{kind: heldReads, Name: "Readings held", Says: Capital(Count(in.held, "reading contradicts", "readings contradict")) + " what was read before. Nothing is reckoned with until somebody decides.", days: in.held}
		r.lead(&d, "Decide", "readings", people.DecideReading)
		all = append(all, d)
	}
	if in.v.Register.Plant.SettingsAsked {
		d := decision{kind: settings, Name: "Zone, units and currency", Says: "They were taken from the company's defaults when the plant was made."}
		r.lead(&d, "Confirm them", "settings", people.EditRegister)
		all = append(all, d)
	}
	slices.SortStableFunc(all, func(a, b decision) int {
		if a.kind != b.kind {
			return int(a.kind) - int(b.kind)
		}
		return a.days - b.days
	})
	return all
}

// lead gives a decision its button if the page is built and open to whoever asks.
func (r *Request) lead(d *decision, word, pattern string, deed people.Deed, ids ...int64) {
	to, ok := r.Link(pattern, ids...)
	if !ok {
		return
	}
	if d.To == "" {
		d.To = to
	}
	if r.May(deed) {
		d.Do = &Action{Word: word, To: to}
	}
}

func (r *Request) orderDecision(o workorder.Order, in todayInputs) (decision, bool) {
	d := decision{Name: orderName(o, in.v), short: orderShortName(o, in.v), To: r.At("orders", o.Number), Says: fullStop(o.Reason)}
	if st, ok := in.v.standing(o.SpliceID); ok && o.Kind == workorder.KindResplice {
		u := usedOf("", st)
		d.Used = &u
		d.Says += in.v.orderChance(o, in.windows)
	}
	d.days = daysBetween(r.F.Today(), o.LatestDay)
	if doubt, ok := in.doubts[o.ID]; ok {
		d.kind, d.Says, d.Bad = doubted, fullStop(o.Reason), "Raised on what the register no longer says: "+fullStop(doubt.Why)
		r.lead(&d, "Withdraw or keep", "orders/:order", people.PlanOrders, o.Number)
		return d, true
	}
	switch late := workorder.OverdueDays(o, r.F.Today()); {
	case late > 0:
		d.kind, d.Bad = lateOrder, "Its latest date, "+r.F.Day(o.LatestDay)+", passed "+Count(late, "day", "days")+" ago."
		r.lead(&d, "Open order "+fmt.Sprint(o.Number), "orders/:order", people.Read, o.Number)
	case o.State == workorder.Raised:
		d.kind = toAccept
		d.Says += r.latestWords(o)
		r.lead(&d, "Accept or withdraw", "orders/:order", people.PlanOrders, o.Number)
	case o.State == workorder.Accepted && o.LatestDay != "":
		w, fits := r.windowFor(o, in)
		if fits {
			d.kind = toPlace
			d.Says += " The stop of " + r.F.Date(w.Start) + " is long enough."
			r.lead(&d, "Place it", "orders/:order", people.PlanOrders, o.Number)
			break
		}
		d.kind, d.Bad = noStop, "No stop before "+r.F.Day(o.LatestDay)+" is long enough; this needs "+Duration(o.WorkHours)+"."
		r.lead(&d, "Find a stop", "stops", people.EditStops)
	default:
		return d, false
	}
	return d, true
}

func (r *Request) latestWords(o workorder.Order) string {
	if o.LatestDay == "" {
		return ""
	}
	return " Latest date " + r.F.Day(o.LatestDay) + "."
}

// windowFor returns the first stop of an order's line, before its latest date, with room for its work.
func (r *Request) windowFor(o workorder.Order, in todayInputs) (assets.StopWindow, bool) {
	c, _ := in.v.Register.Conveyor(o.ConveyorID)
	for _, w := range in.windows {
		free := w.End.Time().Sub(w.Start.Time()).Hours()
		for _, other := range in.open {
			if other.WindowID == w.ID {
				free -= other.WorkHours
			}
		}
		inTime := assets.DayOf(r.F.Local(w.End)) <= o.LatestDay
		if w.Stops(c) && inTime && free >= o.WorkHours {
			return w, true
		}
	}
	return assets.StopWindow{}, false
}

func (r *Request) gradeDecision(f assets.Finding, v fleetView) decision {
	c, _ := v.Register.Conveyor(f.ConveyorID)
	d := decision{kind: badGrade, Name: joinWords(c.Tag+" "+c.Name, f.Target), To: r.At("conveyors", c.ID), Says: fullStop(f.Text)}
	if f.Grade != nil {
		d.Bad = fmt.Sprintf("Grade %d has led to no order and no signed refusal.", *f.Grade)
		d.Says = Capital(strings.TrimSpace(fullStop(f.Category+", grade "+r.graded(f)) + " " + fullStop(f.Text)))
		d.days = -*f.Grade
		if *f.Grade == 4 {
			d.kind = graveOpen
		}
	}
	if to, ok := r.Link("orders/new"); ok {
		d.Do = &Action{Word: "Raise an order", To: fmt.Sprintf("%s?conveyor=%d&finding=%d", to, c.ID, f.ID)}
	}
	if to, ok := r.Link("findings/:finding/refuse", f.ID); ok {
		d.To = to
	}
	return d
}

// unansweredDecision leads until a named person has taken the finding on.
func (r *Request) unansweredDecision(f RoundEntryFile, v fleetView) decision {
	c, _ := v.Register.Conveyor(f.Finding.ConveyorID)
	d := decision{kind: gravestOpen, Name: joinWords(c.Tag+" "+c.Name, f.Finding.Target), To: r.At("conveyors", c.ID), Says: fullStop(f.Finding.Category + " " + f.Finding.Text),
		Bad: "Grade 4, found " + r.F.Stamp(f.Finding.FoundAt) + " on a round. Nobody has answered it yet."}
	if f.Entry.CalledWho != "" {
		d.Bad = "Grade 4, found " + r.F.Stamp(f.Finding.FoundAt) + " on a round, " + f.Entry.CalledWho + " was called. Nobody has answered it here yet."
	}
	if to, ok := r.Link("rounds/answer/:entry", f.Entry.ID); ok {
		d.Do = &Action{Word: "Take it on", To: to}
	}
	return d
}

// pastWhatBinds tells whether a splice is past a rule, a best age or a trend that asks for an order by itself. What a finding
// demands is decided at the finding.
func pastWhatBinds(st due.Standing) bool {
	return st.Band.Past() && st.Limit.Class.RaisesOrders() || st.Overdue && st.By == due.ByTrend
}

// orderedWork is what the open orders of a plant make anew. One that only looks at a splice or a belt does not, and must not hide
// that it comes due.
type orderedWork struct {
	splices, belts map[int64]bool // remade; changed
	mended         map[int64]bool // belts that something is done to as a whole
}

func orderedIn(open []workorder.Order) orderedWork {
	w := orderedWork{map[int64]bool{}, map[int64]bool{}, map[int64]bool{}}
	for i := range open {
		o := &open[i]
		switch o.Kind {
		case workorder.KindResplice, workorder.KindInsertPiece:
			w.splices[o.SpliceID] = true
		case workorder.KindBeltChange:
			w.belts[o.BeltID] = true
		}
		if o.SpliceID == 0 && o.Kind != workorder.KindInspection && o.Kind != workorder.KindRunIn {
			w.mended[o.BeltID] = true
		}
	}
	return w
}

// remakes tells whether a splice is made anew: by its own order, or by one that changes its belt.
func (w orderedWork) remakes(spliceID, beltID int64) bool {
	return w.splices[spliceID] || w.belts[beltID]
}

// beltDecisions are the belts past a measured limit or a rule without an order for them as a whole.
func (r *Request) beltDecisions(v fleetView, ordered orderedWork) (all []decision) {
	for i := range v.Belts {
		b := &v.Belts[i]
		if ordered.mended[b.BeltID] || !b.Overdue || b.Advice.By == due.ByFinding {
			continue
		}
		c, _ := v.Register.Conveyor(b.ConveyorID)
		all = append(all, decision{kind: pastBare, past: pick(b.Advice.By == due.ByTrend, "measured limit", b.Advice.By), Name: "The belt of " + c.Tag, To: r.At("conveyors", c.ID),
			Bad: fullStop(Capital(b.Advice.Reason)) + " No order is open."})
	}
	return all
}

// remakeIt leads to the order that a splice waits for, nil for whoever may not raise one.
func (r *Request) remakeIt(spliceID int64) *Action {
	to, ok := r.Link("orders/new")
	if !ok || !r.May(people.PlanOrders) {
		return nil
	}
	return &Action{Word: "Raise an order", To: to + "?splice=" + plainInt(spliceID)}
}

func (r *Request) pastDecision(st due.Standing, v fleetView) decision {
	u := usedOf("", st)
	if !st.Band.Past() {
		return decision{kind: pastBare, past: "measured limit", Name: v.spliceName(st), To: r.At("splices", st.SpliceID), Do: r.remakeIt(st.SpliceID), Used: &u,
			Bad: fullStop(Capital(st.Reason)) + " No order is open."}
	}
	return decision{kind: pastBare, past: pastWord(st), Name: v.spliceName(st), To: r.At("splices", st.SpliceID), Do: r.remakeIt(st.SpliceID), Says: fullStop(Capital(st.Reason)), Used: &u,
		Bad: "Past its " + pastWord(st) + " " + usedWords(u) + ", and no order is open.", days: -int(st.Used.Value * 1000)}
}

// likely is the chance of coming due before the next stop from which somebody has to decide: the first date of the due band.
const likely = 0.1

// dueDecision is a splice that may well come due before its next stop. What rests on a rule of thumb alone is no decision.
func (r *Request) dueDecision(st due.Standing, in todayInputs) (decision, bool) {
	f := in.v.forecast(st.SpliceID)
	if f == nil || f.Band.At10.IsZero() || st.Band.Past() {
		return decision{}, false
	}
	c, _ := in.v.Register.Conveyor(st.ConveyorID)
	stop, _ := nextStop(in.windows, c, r.Now)
	if stop == nil || f.Band.At10.After(stop.Start.Time()) { // under the 10 % from which somebody decides
		return decision{}, false
	}
	p, each := f.Chances(stop.Start.Time())
	thumb := f.Class == assets.ClassD && len(each) == 1 && f.Short[0] == "failed"
	if p < likely || thumb {
		return decision{}, false
	}
	u := usedOf("", st)
	d := decision{kind: dueBare, Name: in.v.spliceName(st), To: r.At("splices", st.SpliceID), Do: r.remakeIt(st.SpliceID), Used: &u, days: -int(1000 * p), past: chance(p)}
	d.Bad = "Likely to come due in service: " + in.v.beforeStop(f, stop) + ", and no order is open."
	if f.Advice.Reason != "" {
		d.Says = "Recommended by " + r.F.Day(f.Advice.Day) + ": " + fullStop(f.Advice.Reason)
	}
	return d, true
}

// undatedDecisions names splices without a date one by one while they are few.
func (r *Request) undatedDecisions(v fleetView) []decision {
	var undated []due.Standing
	for _, st := range v.Standings {
		if !st.Age.Known {
			undated = append(undated, st)
		}
	}
	if len(undated) > 3 {
		d := decision{kind: noDate, Name: Capital(Count(len(undated), "splice has", "splices have")) + " no date", Used: &drawing.Used{}, days: len(undated),
			Says: "Nothing can be said of when they come due. Give a date, even an approximate one, or a first measurement."}
		r.lead(&d, "Look at them", "belts", people.Read)
		return []decision{d}
	}
	var all []decision
	for _, st := range undated {
		d := decision{kind: noDate, Name: v.spliceName(st), To: r.At("splices", st.SpliceID), Used: &drawing.Used{},
			Says: "Age not known, so nothing can be said of when. Give a date, even an approximate one."}
		r.lead(&d, "Give a date", "splices/:splice/correct", people.EditRegister, st.SpliceID)
		all = append(all, d)
	}
	return all
}

// orderName is what an order is about: "Q3 Rise to weigh tower, splice 2".
func orderName(o workorder.Order, v fleetView) string {
	c, ok := v.Register.Conveyor(o.ConveyorID)
	name := c.Tag
	if !ok {
		name = fmt.Sprintf("Order %d", o.Number)
	}
	if s, ok := v.Register.Splice(o.SpliceID); ok {
		name += " splice " + s.Number
		if o.Kind == workorder.KindResplice {
			return name
		}
	}
	c, _ = v.Register.Conveyor(o.ConveyorID)
	return pick(c.Tag == "", name, c.Tag) + ": " + orderTitle(o)
}

// orderShortName names an order in a sentence: "order 412 on Q3".
func orderShortName(o workorder.Order, v fleetView) string {
	name := fmt.Sprintf("order %d", o.Number)
	if c, ok := v.Register.Conveyor(o.ConveyorID); ok {
		name += " on " + c.Tag
	}
	return name
}

func daysBetween(from, to assets.Day) int {
	a, errA := from.Midnight(utc)
	b, errB := to.Midnight(utc)
	if errA != nil || errB != nil {
		return 1 << 20 // no date: after all that have one
	}
	return int(b.Sub(a).Hours() / 24)
}

// firstOf cuts the list to what is shown and says how many more there are.
func firstOf(all []decision) ([]decision, string) {
	if len(all) <= decisionsShown {
		return all, ""
	}
	return all[:decisionsShown], "and " + Word(len(all)-decisionsShown) + " more"
}

// todaySay is the headline of Today: what is worst, in one sentence.
func todaySay(all []decision) string {
	if len(all) == 0 {
		return "Nothing waits for a decision, and no splice is past its best age or rule"
	}
	worst, n := all[0], 0
	for _, d := range all {
		if d.kind == worst.kind {
			n++
		}
	}
	if worst.short != "" {
		worst.Name = worst.short
	}
	switch worst.kind {
	case gravestOpen:
		return oneOrMany(n, worst.Name+" has a grade 4 from a round that nobody has answered", "findings of grade 4 from rounds are answered by nobody yet, one on "+worst.Name)
	case graveOpen:
		return oneOrMany(n, worst.Name+" has a finding of grade 4 without an order or a signed refusal", "findings of grade 4 have no order and no signed refusal, one on "+worst.Name)
	case standsNow:
		return oneOrMany(n, worst.Name+" stands by a failure since "+worst.past, "conveyors stand by failures, "+worst.Name+" the longest")
	case lateOrder:
		return oneOrMany(n, worst.Name+" is past its latest date", "orders are past their latest date, "+worst.Name+" the longest")
	case badGrade:
		return oneOrMany(n, worst.Name+" has a finding that demands an order or a refusal", "findings demand an order or a refusal, the worst on "+worst.Name)
	case doubted:
		return oneOrMany(n, worst.Name+" was raised on what the register no longer says", "orders were raised on what the register no longer says, the first "+worst.Name)
	case pastBare:
		return oneOrMany(n, worst.Name+" is past its "+worst.past+" and has no order", "splices are past their best age or rule without an order, "+worst.Name+" the furthest")
	case dueBare:
		return oneOrMany(n, worst.Name+" has a chance of "+worst.past+" of coming due before its next stop, and no order", "splices may come due before their next stop without an order, "+worst.Name+" the likeliest")
	case noStop:
		return oneOrMany(n, worst.Name+" has no stop in front of it", "orders have no stop in front of them, "+worst.Name+" the soonest")
	case toAccept:
		return oneOrMany(n, worst.Name+" waits to be accepted", "orders wait to be accepted, "+worst.Name+" the soonest")
	case toPlace:
		return oneOrMany(n, worst.Name+" waits for its stop", "orders wait for their stop, "+worst.Name+" the soonest")
	case settings:
		return "Zone, units and currency of this plant wait to be confirmed"
	case heldReads:
		return oneOrMany(worst.days, "A reading waits for somebody to decide", "readings wait for somebody to decide")
	}
	if len(all) == 1 && worst.days > 1 {
		return Capital(Count(worst.days, "", "splices have no date, so nothing can be said of when"))
	}
	return oneOrMany(n, worst.Name+" has no date, so nothing can be said of when it comes due", "splices have no date, so nothing can be said of when they come due")
}

func oneOrMany(n int, one, many string) string {
	if n == 1 {
		return Capital(one)
	}
	return Capital(Word(n)) + nb + many
}

// todaySub says how much else there is.
func todaySub(all []decision, v fleetView) string {
	past := 0
	for _, s := range v.Standings {
		if s.Band.Past() {
			past++
		}
	}
	says := Capital(Count(past, "splice is", "splices are")) + " past " + pick(past == 1, "its", "their") + " best age or rule. "
	if len(all) > 1 {
		return says + Capital(Word(len(all)-1)) + " more " + pick(len(all) == 2, "thing waits", "things wait") + " for a decision."
	}
	return says + "Life used is reckoned by the best age or the rule, whichever comes first."
}
