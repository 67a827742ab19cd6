package web

import (
	"slices"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/server/web/drawing"
)

// This file turns register and standings into what tables, drawings and sentences say of belts and splices,
// the same on every screen.

// fleetView is a plant's fleet with its standings by splice.
type fleetView struct {
	*Fleet
	f    Format
	at   map[int64]int
	fore map[int64]int
}

func viewOf(fl *Fleet, f Format) fleetView {
	v := fleetView{Fleet: fl, f: f, at: make(map[int64]int, len(fl.Standings)), fore: make(map[int64]int, len(fl.Forecasts))}
	for i := range fl.Forecasts {
		v.fore[fl.Forecasts[i].SpliceID] = i
	}
	for i, s := range fl.Standings {
		v.at[s.SpliceID] = i
	}
	return v
}

// standing returns where a splice stands; an ended one has no standing.
func (v fleetView) standing(spliceID int64) (due.Standing, bool) {
	i, ok := v.at[spliceID]
	if !ok {
		return due.Standing{}, false
	}
	return v.Standings[i], true
}

// forecast returns when a live splice comes due; nil where nothing is foreseen of it.
func (v fleetView) forecast(spliceID int64) *due.Forecast {
	i, ok := v.fore[spliceID]
	if !ok {
		return nil
	}
	return &v.Forecasts[i]
}

// beltDate returns what sets a date for the belt on a conveyor as a whole; nil where nothing does.
func (v fleetView) beltDate(conveyorID int64) *due.BeltStanding {
	for i := range v.Belts {
		if v.Belts[i].ConveyorID == conveyorID {
			return &v.Belts[i]
		}
	}
	return nil
}

// beltDateWords say it: "the belt itself by 3 Apr 2027, by a trend: cover thickness ...".
func (v fleetView) beltDateWords(b *due.BeltStanding) string {
	return pick(b.Overdue, "the belt itself is due since ", "the belt itself is due by ") + v.f.PlainDay(b.Advice.Day) + ", by a " + b.Advice.By + ": " + b.Advice.Reason
}

// live returns the live splices of the belt on a conveyor.
func (v fleetView) live(conveyorID int64) []assets.Splice {
	b, ok := v.Register.BeltOn(conveyorID, 0)
	if !ok {
		return nil
	}
	all := v.Register.SplicesOf(b.ID)
	out := make([]assets.Splice, 0, len(all))
	for _, s := range all {
		if _, stands := v.at[s.ID]; stands {
			out = append(out, s)
		}
	}
	return out
}

// spliceMark is how a splice is called beside its conveyor.
func spliceMark(s assets.Splice) string { return "S" + s.Number }

// usedOf is a standing as a mark of the seam ramp.
func usedOf(name string, s due.Standing) drawing.Used {
	u := drawing.Used{Name: name, Share: s.Used.Value, Known: s.Used.Known, AtLeast: s.Used.AtLeast}
	if !u.Known {
		u.Says = string(s.Band)
	}
	return u
}

// drawn is a conveyor with its belt as it is drawn.
func (v fleetView) drawn(c assets.Conveyor, plantID int64) drawing.Belt {
	d := drawing.Belt{Tag: c.Tag, Name: c.Name, To: at(plantID, "conveyors", c.ID), Pulleys: c.Pulleys,
		CentresM: c.CentreDistanceM, InclineDeg: c.InclineDeg, TakeUpKind: c.TakeUpKind}
	if b, ok := v.Register.BeltOn(c.ID, 0); ok {
		d.LoopM = b.LoopLengthM
	}
	for _, s := range v.live(c.ID) {
		st, _ := v.standing(s.ID)
		d.Splices = append(d.Splices, drawing.Splice{Used: usedOf(spliceMark(s), st), PositionM: s.PositionM,
			Note: v.madeWords(s), To: at(plantID, "splices", s.ID)})
	}
	return d
}

// drawnOnly is a conveyor's belt with one of its splices on it; with none for 0.
func (v fleetView) drawnOnly(c assets.Conveyor, plantID, spliceID int64) drawing.Belt {
	d := v.drawn(c, plantID)
	d.Splices = slices.DeleteFunc(d.Splices, func(s drawing.Splice) bool { return s.To != at(plantID, "splices", spliceID) })
	return d
}

// madeWords says when a splice was made: "made 17 Oct 2026", "date not known".
func (v fleetView) madeWords(s assets.Splice) string {
	if s.Made.Unknown() && s.Made.AsWritten == "" {
		return "date not known"
	}
	if s.Made.Timed {
		return "made " + v.f.PlainDay(assets.DayOf(v.f.Local(s.Made.At)))
	}
	return "made " + v.f.When(s.Made)
}

// worst returns the standing of a conveyor that is used most; unknown ages only where there is nothing else.
func (v fleetView) worst(conveyorID int64) (assets.Splice, due.Standing, bool) {
	var best assets.Splice
	var st due.Standing
	found := false
	for _, s := range v.live(conveyorID) {
		cur, _ := v.standing(s.ID)
		better := !found || cur.Used.Known && (!st.Used.Known || cur.Used.Value > st.Used.Value)
		if better {
			best, st, found = s, cur, true
		}
	}
	return best, st, found
}

// soonest returns the splice of a conveyor whose date comes first.
func (v fleetView) soonest(conveyorID int64) (assets.Splice, due.Standing, bool) {
	var best assets.Splice
	var st due.Standing
	found := false
	for _, s := range v.live(conveyorID) {
		cur, _ := v.standing(s.ID)
		if cur.DueDay != "" && (!found || cur.DueDay < st.DueDay) {
			best, st, found = s, cur, true
		}
	}
	return best, st, found
}

// beltWords says width and specification: "1 400 mm, EP 1000/4 6+3".
func (v fleetView) beltWords(b assets.Belt) string {
	words := v.specWords(b)
	if b.WidthM == 0 {
		return words
	}
	width := v.f.Width(b.WidthM)
	if words == "" {
		return width
	}
	return width + ", " + words
}

func (v fleetView) specWords(b assets.Belt) string {
	if s, ok := v.Register.Specification(b.SpecificationID); ok {
		return s.Name
	}
	return b.Specification
}

// kindsWords says how the splices of a belt are made, once where all are alike.
func kindsWords(splices []assets.Splice) string {
	if len(splices) == 0 {
		return "none"
	}
	first := assets.KindWords(splices[0].Form, splices[0].Bond)
	for _, s := range splices[1:] {
		if assets.KindWords(s.Form, s.Bond) != first {
			return "of several kinds"
		}
	}
	return first
}

// figureOf writes a figure that may be missing or a lower bound.
func figureOf(f due.Figure, write func(float64) string) string {
	switch {
	case !f.Known:
		return "not known"
	case f.AtLeast:
		return "at least " + write(f.Value)
	}
	return write(f.Value)
}

// setsWords names what sets a splice's date: "passes, class C", "trend, class B".
func setsWords(s due.Standing) string {
	what := s.By
	if s.By == due.ByRule && s.Limit != nil && !s.Limit.BestAge() {
		what = string(s.Limit.Clock)
	}
	if what == "" || s.Class == "" {
		return what
	}
	return what + ", class " + string(s.Class)
}

// thumbWords say what a rule of thumb says beside what binds: "by rule of thumb 6 Nov 2028"; "" where none is in force.
func (v fleetView) thumbWords(s due.Standing) string {
	switch h := s.Hint; {
	case h == nil:
		return ""
	case h.Day == "":
		return "by rule of thumb " + h.Words + ", never reached as it runs"
	case h.Past:
		return "by rule of thumb past since " + v.f.PlainDay(h.Day) + ": " + h.Words
	default:
		return "by rule of thumb " + v.f.PlainDay(h.Day) + ": " + h.Words
	}
}

// usedWords says where the life used stands, after a verb: "at 106 %", "with at least 40 %".
func usedWords(u drawing.Used) string {
	return pick(u.AtLeast, "with ", "at ") + u.Percent()
}

// pastWord names what a splice is past of: its rule, or its best age.
func pastWord(s due.Standing) string { return pick(s.Limit.BestAge(), "best age", "rule") }

// ofItsLimit says where the life used stands: "at 83 % of its rule now"; "" where nothing binds its age.
func ofItsLimit(s due.Standing) string {
	if !s.Used.Known {
		return ""
	}
	return "at " + usedOf("", s).Percent() + " of its " + pastWord(s) + " now"
}
