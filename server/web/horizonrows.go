package web

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// This file is the rows of the horizon: a belt each, with its work and the finding beside it.

// horizonBelt is a row with what is said of it.
type horizonBelt struct {
	conveyor assets.Conveyor
	line     string
	splice   assets.Splice
	due      *due.Forecast
	works    []drawing.HorizonWork
	says     string
	why      string // why no stop on the sheet fits; "" where none is drawn
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
		if !companion(m) && !m.Hours { // at other hours it is drawn in the same stop
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

// under is what a narrow sheet says below a row with work, first of work that is moved: "remake S2, order 412, stop 12 Dec: 47 % before
// 412".
func (b *horizonBelt) under() string {
	says := ""
	for _, w := range b.works {
		switch w.Kind {
		case drawing.WorkNoFit:
			return w.Short + " does not fit: " + b.says
		case drawing.WorkNew:
			return w.Short + ": " + b.says
		case drawing.WorkPlaced, drawing.WorkLocked:
			says = pickWord(says, w.Short+": "+b.says)
		}
	}
	return pickWord(says, b.finding())
}

// finding is what is said of a row with why no stop fits it: "No stop fits: isolated together with T2, which ...".
func (b *horizonBelt) finding() string {
	if b.why == "" {
		return b.says
	}
	return b.says + ": " + b.why
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
	case drawing.WorkLocked:
		d.Spoken += pick(o.Held(), ", locked: a re-plan leaves it there", ", begun")
	}
	if !sh.r.May(people.PlanOrders) || !sh.h.Sheet.Holds(o.ID) || o.State == workorder.Started {
		return d
	}
	if d.Order = o.Number; !o.Held() {
		for _, id := range sh.h.Sheet.Stops(o.ID) {
			if w, ok := sh.h.stop(id); ok {
				d.Choices = append(d.Choices, drawing.HorizonChoice{Stop: id, From: w.Start.Time(), To: w.End.Time()})
			}
		}
	}
	return d
}

// find says the finding of a row: the chance before the work, as it is and as a move would have it, the stop that would fit, or that
// none does.
func (sh *sheetOf) find(b *horizonBelt) {
	if b.says = b.fromTo(); b.says != "" {
		return
	}
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

// fromTo is the chance before work that is moved, before it and with it: "66 % to 20 %".
func (b *horizonBelt) fromTo() string {
	was, is := "", ""
	for _, w := range b.works {
		if !w.TakesAway || b.due == nil {
			continue
		}
		p, _ := b.due.Chances(w.From)
		switch w.Kind {
		case drawing.WorkNew, drawing.WorkNoFit:
			is = chance(p)
		default:
			was = chance(p)
		}
	}
	if was == "" || is == "" {
		return ""
	}
	if was == is {
		return "still " + is
	}
	return was + " to " + is
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
	var miss missed
	for _, w := range sh.stopsOf(b.conveyor) {
		if !w.Start.Time().After(sh.r.Now) || !ahead && !w.Start.Time().Before(half) {
			continue
		}
		switch running := sh.running(w, b.conveyor); {
		case !w.Agreed():
			miss.asked++
		case len(running) > 0:
			miss.with = running
		case stopHours(w) < need:
			miss.longest = max(miss.longest, stopHours(w))
		default:
			best = &w
		}
	}
	if best == nil {
		if b.why = miss.words(need); b.why != "" {
			return "No stop fits", !ahead
		}
		return "No stop in front", !ahead
	}
	return hard(sh.r.F.Local(best.Start).Format("2 Jan")) + " would fit", false
}

// missed is why the stops in front of a row do not fit.
type missed struct {
	longest float64  // hours of the longest that stops all that has to stand
	with    []string // what runs on in one and is isolated together with the row's conveyor
	asked   int      // not agreed yet
}

func (m missed) words(need float64) string {
	switch {
	case m.longest > 0:
		return "longest stop in front is " + Duration(m.longest) + ", this needs " + Duration(need)
	case len(m.with) > 0:
		return "isolated together with " + List(m.with) + ", which no stop in front stops too"
	case m.asked > 0:
		return Count(m.asked, "stop in front is", "stops in front are") + " asked for and not agreed"
	}
	return ""
}

// running are the tags of what is isolated together with a conveyor and runs on in a stop.
func (sh *sheetOf) running(w assets.StopWindow, c assets.Conveyor) []string {
	var out []string
	for _, g := range sh.h.Facts.Plants[0].Groups {
		if !slices.Contains(g.ConveyorIDs, c.ID) {
			continue
		}
		for _, id := range g.ConveyorIDs {
			if other, ok := sh.v.Register.Conveyor(id); ok && other.Status != assets.ConveyorRetired && !w.Stops(other) {
				out = append(out, other.Tag)
			}
		}
	}
	return out
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
	row := horizonRow{Line: b.line, Tag: b.conveyor.Tag, Name: b.conveyor.Name, To: sh.r.At("conveyors", b.conveyor.ID), Says: b.finding(), Work: "none"}
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

// horizonSay is the headline: which belts have no stop in front of them, and which orders.
func horizonSay(belts []horizonBelt, until time.Time, orders string) string {
	say, bare := beltsSay(belts, until)
	switch {
	case orders == "":
		return say
	case !bare:
		return Capital(orders) + "; every belt that comes due by " + until.Format("January") + " has a stop in front of it"
	}
	return say + "; " + orders
}

// beltsSay names the belts without a stop in front of them, and tells whether there are any.
func beltsSay(belts []horizonBelt, until time.Time) (say string, some bool) {
	var bare []string
	no := "no stop"
	for _, b := range belts {
		if b.alarm {
			bare = append(bare, b.conveyor.Tag)
			if b.why != "" {
				no = "no stop that fits"
			}
		}
	}
	by := until.Format("January")
	switch n := len(bare); {
	case n == 0:
		return "Everything that comes due by " + by + " has a stop in front of it", false
	case n == 1:
		return bare[0] + " has " + no + " in front of it; everything else that comes due by " + by + " does", true
	case n <= 3:
		return List(bare) + " have " + no + " in front of them; everything else that comes due by " + by + " does", true
	default:
		return Capital(Count(n, "conveyor has", "conveyors have")) + " " + no + " in front of them, " + bare[0] + " and " + bare[1] + " among them", true
	}
}
