package reports

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/due"
	"carryside/schedule/keyfigures"
	"carryside/schedule/workorder"
)

// stood is how long a plant's conveyors ran and stood, with what is known of failures beside it.
type stood struct {
	keyfigures.Standing
	unrecorded int // failures recorded as work alone
	open       int // standstills that had not ended
}

// stood computes it for a span.
func (w Work) stood(zone *time.Location, s Span) (stood, error) {
	period := keyfigures.Period{From: w.began(s), Until: s.To}
	var conveyors []keyfigures.Required
	for _, c := range w.Conveyors {
		hours, err := w.required(calendar.ZoneOf(zone), c.LineID)
		if err != nil {
			return stood{}, err
		}
		conveyors = append(conveyors, keyfigures.Required{Conveyor: c.Tag, Hours: hours})
	}
	out := stood{Standing: keyfigures.MeasureRequired(w.downs(), conveyors, period)}
	for _, st := range w.Standstills {
		if st.UntilAt == nil {
			out.open++
		}
	}
	for _, o := range w.Orders {
		if w.Failures[o.ID] && o.DoneAt != 0 && s.Holds(o.DoneAt.Time()) && !w.recorded(o) {
			out.unrecorded++
		}
	}
	return out, nil
}

// began is where required time begins: the span's first instant, else the first order or standstill.
func (w Work) began(s Span) time.Time {
	if !s.From.IsZero() {
		return s.From
	}
	first := assets.InstantOf(s.To)
	for _, o := range w.Orders {
		if o.RaisedAt != 0 {
			first = min(first, o.RaisedAt)
		}
	}
	for _, st := range w.Standstills {
		first = min(first, st.FromAt)
	}
	return first.Time()
}

// required is the required time of a line: by its calendar, else the plant's, else around the clock.
func (w Work) required(zone calendar.Zone, line int64) (func(from, until time.Time) float64, error) {
	of := func(line int64) int {
		return slices.IndexFunc(w.Calendars, func(c assets.ProductionCalendar) bool { return c.LineID == line })
	}
	i := of(line)
	if i < 0 {
		i = of(0)
	}
	if i < 0 {
		return func(from, until time.Time) float64 { return max(0, until.Sub(from).Hours()) }, nil
	}
	p, err := due.Production(zone, w.Calendars[i])
	if err != nil {
		return nil, err
	}
	return p.Planned, nil
}

// near is how long before the work on a failure was done its standstill may have ended: the belt runs, the rest is done later.
const near = assets.Instant(24 * time.Hour / time.Microsecond)

// recorded tells whether a standstill is there for the failure that an order restored.
func (w Work) recorded(o workorder.Order) bool {
	return slices.ContainsFunc(w.Standstills, func(st assets.Standstill) bool {
		stood := st.UntilAt == nil || *st.UntilAt >= o.DoneAt-near
		return st.OrderID != 0 && st.OrderID == o.ID || st.ConveyorID == o.ConveyorID && st.FromAt <= o.DoneAt && stood
	})
}

// downs are the down states of conveyors: standstills by failures, and stops in which an order was done.
func (w Work) downs() []keyfigures.Order {
	tags, worked := map[int64]string{}, map[int64]float64{}
	for _, c := range w.Conveyors {
		tags[c.ID] = c.Tag
	}
	for _, o := range w.Orders {
		worked[o.ID] = o.DoneHours
	}
	var out []keyfigures.Order
	failed := map[int64][]Span{}
	for _, st := range w.Standstills {
		k := keyfigures.Order{Conveyor: tags[st.ConveyorID], Failure: true, DownFrom: st.FromAt.Time(), WorkedH: worked[st.OrderID]}
		if st.WorkedH != nil {
			k.WorkedH = *st.WorkedH
		}
		if st.UntilAt != nil {
			k.DownTo = st.UntilAt.Time()
		}
		failed[st.ConveyorID] = append(failed[st.ConveyorID], Span{k.DownFrom, k.DownTo})
		out = append(out, k)
	}
	seen := map[[2]int64]bool{}
	for _, o := range w.Orders {
		stop, there := w.Windows[o.WindowID]
		if !there || o.DoneAt == 0 || o.State == workorder.Withdrawn || seen[[2]int64{o.ConveyorID, o.WindowID}] {
			continue
		}
		seen[[2]int64{o.ConveyorID, o.WindowID}] = true
		for _, part := range without(Span{stop.Start.Time(), stop.End.Time()}, failed[o.ConveyorID]) {
			out = append(out, keyfigures.Order{Conveyor: tags[o.ConveyorID], DownFrom: part.From, DownTo: part.To})
		}
	}
	return out
}

// without is what is left of a span outside others; one of them without an end goes on for good.
func without(s Span, others []Span) []Span {
	left := []Span{s}
	for _, o := range others {
		var next []Span
		for _, l := range left {
			if before := (Span{l.From, earlier(l.To, o.From)}); before.From.Before(before.To) {
				next = append(next, before)
			}
			if !o.To.IsZero() {
				if after := (Span{later(l.From, o.To), l.To}); after.From.Before(after.To) {
					next = append(next, after)
				}
			}
		}
		left = next
	}
	return left
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// rows are the figures of a plant's conveyors together, and the availability of each that stood by a failure, the worst first.
func (s stood) rows(name PlantName) (rows [][]Cell) {
	say := func(figure string, v *float64, decimals int, unit, formula, rests string) {
		cell := Cell{}
		if v != nil {
			cell = Number(*v, decimals)
		}
		rows = append(rows, []Cell{Text(name.Customer), Text(name.Name), Text(figure), cell, Text(unit), Text(formula), Text(rests)})
	}
	all := s.All
	beside := fmt.Sprintf("standstills that began in the period: %d", all.Failures)
	if s.open > 0 {
		beside += fmt.Sprintf("; not ended: %d", s.open)
	}
	if s.unrecorded > 0 {
		beside += fmt.Sprintf("; failed splices without a recorded standstill, not in it: %d", s.unrecorded)
	}
	hours := fmt.Sprintf("%.1f h required of %d conveyors, %.1f h down by failures, %.1f h for planned work", all.RequiredH, len(s.ByConveyor), all.DownFailuresH, all.DownPlannedH)
	say("Availability", short(all.AvailabilityPercent), 2, "%", "(required time - down time by failures - down time for planned work) / required time x 100, sums over the conveyors (EN 15341: up time / required time)", hours)
	say("Availability, failures only", short(all.FailuresOnlyPercent), 2, "%", "(required time - down time by failures) / required time x 100", hours)
	say("Mean time to restoration", all.RestorationH, 1, "h", "whole down times of the failures that began in the period / their number (EN 13306: from the failure until the conveyor can run again)", beside)
	say("Mean time between failures", all.UpBetweenFailuresH, 1, "h", "up time / failures that began in the period (EN 13306: mean operating time between failures)", beside)
	say("Mean repair work", all.RepairWorkedH, 1, "h", "worked hours of those failures, all people together / their number", beside)
	down := slices.DeleteFunc(slices.Clone(s.ByConveyor), func(r keyfigures.Reliability) bool { return r.DownFailuresH == 0 && r.Failures == 0 })
	slices.SortStableFunc(down, func(a, b keyfigures.Reliability) int { return cmp.Compare(b.DownFailuresH, a.DownFailuresH) })
	for _, r := range down {
		say("Availability of "+r.Conveyor, short(r.AvailabilityPercent), 2, "%", "the same of this conveyor", fmt.Sprintf("failures: %d; %.1f of %.1f h required down by them", r.Failures, r.DownFailuresH, r.RequiredH))
	}
	return rows
}

// short is an availability that is not whole and stays so when it is rounded to two decimals: what stood for 4 hours in ten years was not
// available for 100 % of them.
func short(percent *float64) *float64 {
	if percent == nil || *percent >= 100 {
		return percent
	}
	v := min(*percent, 99.99)
	return &v
}
