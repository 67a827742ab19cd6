package window

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// recurrence is a series as a recurring stop of the plant.
func (r *reading) recurrence(e calendar.Event) assets.StopRecurrence {
	next := assets.StopRecurrence{PlantID: r.as.PlantID, LineID: r.as.LineID, ConveyorIDs: r.as.ConveyorIDs, Rule: e.Rule, StartLocal: e.Start.String(),
		EndLocal: e.End.String(), Keeps: assets.KeepsLength, Note: e.Summary, Answer: r.as.Answer, CalendarUID: e.UID}
	if e.Nominal { // RFC 5545, 3.8.5.3: an end fixes the length of each, a duration its length by the clock
		next.Keeps = assets.KeepsClock
	}
	for _, x := range e.Except {
		next.Exceptions = append(next.Exceptions, assets.Day(x.Date.String()))
	}
	return next
}

// recurring compares a series with the one of the same UID.
func (r *reading) recurring(e calendar.Event) {
	next := r.recurrence(e)
	if err := Check(next); err != nil {
		r.leaveOut(e, err.Error())
		return
	}
	c := Change{Do: Add, Series: &next, Summary: e.Summary}
	i := slices.IndexFunc(r.held.Series, func(s assets.StopRecurrence) bool { return s.CalendarUID == e.UID })
	switch {
	case i < 0 && e.Cancelled:
		c.Do, c.Why = Unchanged, "it does not take place and is not kept here"
	case i >= 0:
		was := r.held.Series[i]
		c.WasOften = &was
		next.Version, next.Answer, next.UntilDay = was.Version, was.Answer, was.UntilDay
		switch {
		case was.Withdrawn:
			c.Do, c.Why = pickDoing(e.Cancelled), "it is withdrawn here; enter it by hand if it holds again"
		case e.Cancelled:
			next = was
			next.Withdrawn = true
			c.Do, c.Why = TakeAway, "the file says that it does not take place"
		case sameSeries(was, next):
			c.Do = Unchanged
		default:
			c.Do = Alter
			if was.Rule != next.Rule || was.StartLocal != next.StartLocal || was.EndLocal != next.EndLocal || was.Keeps != next.Keeps {
				next.Answer = r.as.Answer
			}
		}
	}
	r.series[e.UID] = &c
	r.out = append(r.out, c)
}

func sameSeries(a, b assets.StopRecurrence) bool {
	return a.Rule == b.Rule && a.StartLocal == b.StartLocal && a.EndLocal == b.EndLocal && a.Keeps == b.Keeps && a.LineID == b.LineID && a.Note == b.Note &&
		slices.Equal(a.ConveyorIDs, b.ConveyorIDs) && slices.Equal(a.Exceptions, b.Exceptions)
}

// spread enters a series on another clock than the plant's one by one: over a clock change it does not stay at the same time of
// the plant's day.
func (r *reading) spread(e calendar.Event) {
	if err := Check(r.recurrence(e)); err != nil { // also that it comes once a day at most: each is entered
		r.leaveOut(e, err.Error())
		return
	}
	rule, err := calendar.ParseRecurrence(e.Rule, e.Start, e.Except...)
	if err != nil {
		r.leaveOut(e, err.Error())
		return
	}
	r.apart[e.UID] = true
	length := e.Zone.Instant(e.End).Sub(e.Zone.Instant(e.Start))
	for _, o := range rule.Between(e.Zone, r.now.Add(-length), r.now.AddDate(1, 0, 35)) {
		one := e
		one.Rule, one.Start, one.End = "", o.Planned, e.Zone.Local(o.At.Add(length))
		id := startID(o.At)
		if r.seen[e.UID+"\n"+id] { // another event of the file stands in its place
			continue
		}
		r.seen[e.UID+"\n"+id] = true
		r.single(one, r.window(one, id))
	}
}

// startID names one of a series by the start it has in the series.
func startID(at time.Time) string { return at.UTC().Format("20060102T150405Z") }

// replaced notes the events that stand in the place of one of a series.
func (r *reading) replaced(events []calendar.Event) {
	for _, e := range events {
		if e.Of == nil {
			continue
		}
		key := e.UID + "\n" + startID(e.Zone.Instant(*e.Of))
		switch {
		case r.seen[key]:
			r.leaveOut(e, "the file has this event twice")
		case e.Wrong != "":
			r.leaveOut(e, e.Wrong+"; what it changes stays as its series says")
		default:
			r.seen[key] = true
			r.ofOne = append(r.ofOne, e)
		}
	}
}

// override takes an event that stands in the place of one of a series: of a recurring stop, or else a stop by itself.
func (r *reading) override(e calendar.Event) {
	parent, inFile := r.whole[e.UID]
	e.Cancelled = e.Cancelled || parent.Cancelled
	s := r.seriesOf(e.UID, inFile)
	switch {
	case s == nil:
		r.single(e, r.window(e, startID(e.Zone.Instant(*e.Of))))
	case s.Withdrawn:
		r.out = append(r.out, Change{Do: pickDoing(e.Cancelled), Summary: e.Summary, Why: "its recurring stop is withdrawn"})
	default:
		r.oneOf(s, e)
	}
}

// seriesOf is the recurring stop of a UID: as the file has it, else, where the file holds only one of it, as the plant has it.
func (r *reading) seriesOf(uid string, inFile bool) *assets.StopRecurrence {
	if c := r.series[uid]; c != nil {
		if c.WasOften != nil && c.WasOften.Withdrawn {
			return c.WasOften
		}
		return c.Series
	}
	i := slices.IndexFunc(r.held.Series, func(s assets.StopRecurrence) bool { return s.CalendarUID == uid })
	if inFile || i < 0 {
		return nil
	}
	return &r.held.Series[i]
}

// oneOf compares what stands in the place of one of a recurring stop with what the plant has of it.
func (r *reading) oneOf(s *assets.StopRecurrence, e calendar.Event) {
	of := r.zone.Local(e.Zone.Instant(*e.Of))
	id := of.String()
	next := r.window(e, id)
	next.Source.PlannedLocal, next.Source.RecurrenceID = id, s.ID
	i := slices.IndexFunc(r.held.Windows, func(w assets.StopWindow) bool {
		return s.ID != 0 && w.Source.RecurrenceID == s.ID && strings.HasPrefix(w.Source.PlannedLocal, of.Date.String())
	})
	if i >= 0 {
		r.heldOne(e, r.held.Windows[i], next, id)
		return
	}
	next.Answer = s.Answer
	c := Change{Do: Add, Window: &next, Summary: e.Summary, Why: "in place of that of " + dayWords(of)}
	switch {
	case !next.End.Time().After(r.now):
		c.Do, c.Why = LeaveOut, "it is over"
	case e.Cancelled:
		next.Withdrawn, c.Do, c.Why = true, TakeAway, "the file says that it does not take place"
	}
	r.out = append(r.out, c)
}

// dayWords writes a start: 8 Mar 2027, 06:00.
func dayWords(l calendar.Local) string {
	year, month, day := l.Date.Civil()
	return fmt.Sprintf("%d %s %d, %s", day, month.String()[:3], year, l.Time)
}

// heldOne compares one of a recurring stop with its row.
func (r *reading) heldOne(e calendar.Event, was, next assets.StopWindow, id string) {
	r.said[was.ID] = true
	next.Version, next.Source, next.Answer = was.Version, was.Source, was.Answer
	next.Source.CalendarID = id
	c := Change{Do: Unchanged, Window: &next, Was: &was, Summary: e.Summary}
	switch {
	case was.Withdrawn || !was.End.Time().After(r.now):
	case e.Cancelled:
		next.Withdrawn, c.Do = true, TakeAway
	case !sameStop(was, next):
		c.Do = Alter
		if was.Start != next.Start || was.End != next.End {
			next.Answer = r.as.Answer
		}
	}
	r.unlessPlaced(c, next)
}

// follow lets those of a recurring stop that have a row of their own go with it: withdrawn with it or when it comes on their day no
// more, moved with it where they stood at its hours, or back to them where an earlier file had moved them. What a person moved stays.
func (r *reading) follow(c Change) {
	if c.WasOften == nil || c.Do == LeaveOut || c.WasOften.Withdrawn {
		return
	}
	for _, w := range r.held.Windows {
		if w.Source.RecurrenceID != c.Series.ID || r.said[w.ID] || !w.Start.Time().After(r.now) {
			continue
		}
		fromFile := w.Source.CalendarID != ""
		switch {
		case c.Series.Withdrawn:
			r.takeAway(w, "its recurring stop is withdrawn")
		case w.Withdrawn && fromFile:
			if _, comes := onDay(*c.Series, r.zone, w); comes {
				r.out = append(r.out, Change{Do: LeaveOut, Window: &w, Summary: w.Note, Why: "it is withdrawn here; enter it by hand if it holds again"})
			}
		case !w.Withdrawn && (c.Do == Alter || fromFile):
			r.goWith(c, w)
		}
	}
}

// goWith moves one of a changed recurring stop with it.
func (r *reading) goWith(c Change, w assets.StopWindow) {
	now, comes := onDay(*c.Series, r.zone, w)
	if !comes {
		r.takeAway(w, "its recurring stop does not come on that day any more")
		return
	}
	before, came := onDay(*c.WasOften, r.zone, w)
	itsHours := came && before.Start == w.Start && before.End == w.End
	if now.Start == w.Start && now.End == w.End || !itsHours && w.Source.CalendarID == "" {
		return
	}
	r.said[w.ID] = true
	was, next := w, w
	next.Start, next.End, next.StartLocal, next.EndLocal = now.Start, now.End, now.StartLocal, now.EndLocal
	next.Source.PlannedLocal, next.Source.CalendarID, next.Answer = now.Source.PlannedLocal, "", r.as.Answer
	r.unlessPlaced(Change{Do: Alter, Window: &next, Was: &was, Summary: w.Note, Why: "with its recurring stop"}, next)
}

// onDay is the occurrence of a recurring stop on the planned day of one of it.
func onDay(s assets.StopRecurrence, zone calendar.Zone, w assets.StopWindow) (assets.StopWindow, bool) {
	planned, err := calendar.ParseLocal(w.Source.PlannedLocal)
	if err != nil {
		return assets.StopWindow{}, false
	}
	some, err := Occurrences(s, zone, zone.StartOfDay(planned.Date), zone.EndOfDay(planned.Date))
	i := slices.IndexFunc(some, func(o assets.StopWindow) bool { return dayKey(o) == dayKey(w) })
	if err != nil || i < 0 {
		return assets.StopWindow{}, false
	}
	return some[i], true
}

// otherwise withdraws what earlier files brought of an event that the file holds in another way now: the single stop of what comes
// again, the recurring stop of what does not, and those that a series has no more.
func (r *reading) otherwise() {
	for _, w := range r.held.Windows {
		e, inFile := r.whole[w.Source.CalendarUID]
		if !inFile || w.Source.RecurrenceID != 0 {
			continue
		}
		switch single := w.Source.CalendarID == ""; {
		case single && e.Rule != "", r.series[w.Source.CalendarUID] != nil:
			r.takeAway(w, "it comes again now: its recurring stop stands for it")
		case !single && !r.seen[w.Source.CalendarUID+"\n"+w.Source.CalendarID]:
			r.takeAway(w, "it is not in the file any more")
		}
	}
	for _, s := range r.held.Series {
		if e, inFile := r.whole[s.CalendarUID]; inFile && (e.Rule == "" || r.apart[s.CalendarUID]) {
			r.takeAwaySeries(s, "the file has it in another way now")
		}
	}
}
