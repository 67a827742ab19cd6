package window

import (
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// Doing is what a calendar file does to a stop.
type Doing string

// What a calendar file does.
const (
	Add       Doing = "added"
	Alter     Doing = "changed"
	TakeAway  Doing = "withdrawn"
	Unchanged Doing = "as it was"
	LeaveOut  Doing = "left out"
)

// Doings lists them in the order they are shown.
var Doings = []Doing{Add, Alter, TakeAway, LeaveOut, Unchanged}

// Change is what one event of a calendar file would do. Window or Series is the stop as it would be; of what is left out
// there is neither where nothing can be made of the event.
type Change struct {
	Do       Doing
	Window   *assets.StopWindow
	Series   *assets.StopRecurrence
	Was      *assets.StopWindow     // the single stop as it is
	WasOften *assets.StopRecurrence // the recurring stop as it is
	Summary  string
	Why      string
}

// Held is what a plant holds already, withdrawn stops too.
type Held struct {
	Windows []assets.StopWindow
	Series  []assets.StopRecurrence
	Placed  map[int64]bool // stops in which work is placed
}

// ReadIn says what the events of a file would do at a plant, whose zone it is. as carries what the file does not tell: plant,
// line, conveyors and the answer. An event is known again by its UID. Whole takes the file for all there is: what came
// from such a file before, for the same line and conveyors, lies ahead and is not in it any more is withdrawn.
func ReadIn(events []calendar.Event, held Held, as assets.StopWindow, zone calendar.Zone, now time.Time, whole bool) []Change {
	r := &reading{held: held, as: as, zone: zone, now: now, series: map[string]*Change{}, seen: map[string]bool{}, whole: map[string]calendar.Event{}, said: map[int64]bool{}, apart: map[string]bool{}}
	r.replaced(events)
	for _, e := range events {
		if e.Of == nil {
			r.event(e)
		}
	}
	for _, e := range r.ofOne {
		r.override(e)
	}
	for _, c := range slices.Clone(r.out) {
		if c.Series != nil {
			r.follow(c)
		}
	}
	if !r.cut {
		r.otherwise()
	}
	if whole && !r.cut {
		r.missing()
	}
	return r.out
}

// mostStops bounds what one file brings in: a series on another clock than the plant's comes stop by stop.
const mostStops = 5000

type reading struct {
	held   Held
	as     assets.StopWindow
	zone   calendar.Zone
	now    time.Time
	series map[string]*Change        // by UID: series that are taken in as recurring stops
	whole  map[string]calendar.Event // by UID: events that stand for themselves or a series and can be read
	ofOne  []calendar.Event          // those that stand in the place of one of a series
	seen   map[string]bool           // UID and RECURRENCE-ID
	said   map[int64]bool            // stops of which something is said already
	apart  map[string]bool           // by UID: series that are taken in stop by stop
	cut    bool                      // more than one file brings in
	out    []Change
}

func (r *reading) leaveOut(e calendar.Event, why string) {
	r.out = append(r.out, Change{Do: LeaveOut, Summary: e.Summary, Why: why})
}

// event takes one that stands for itself or for a series.
func (r *reading) event(e calendar.Event) {
	switch {
	case r.seen[e.UID+"\n"]:
		r.leaveOut(e, "the file has this event twice")
		return
	case e.Wrong != "":
		r.seen[e.UID+"\n"] = true
		r.leaveOut(e, e.Wrong)
		return
	}
	r.seen[e.UID+"\n"], r.whole[e.UID] = true, e
	if len(r.out) >= mostStops {
		if !r.cut {
			r.cut = true
			r.leaveOut(e, fmt.Sprintf("this and what follows: a file is taken up to %d stops; export fewer years, or the plant's own time zone", mostStops))
		}
		return
	}
	switch {
	case e.Rule == "":
		r.single(e, r.window(e, ""))
	case e.Zone.String() == r.zone.String():
		r.recurring(e)
	default:
		r.spread(e)
	}
}

// window is an event as a stop of the plant.
func (r *reading) window(e calendar.Event, calendarID string) assets.StopWindow {
	w := r.as
	start, end := e.Zone.Instant(e.Start), e.Zone.Instant(e.End)
	w.Start, w.End, w.Note = assets.InstantOf(start), assets.InstantOf(end), e.Summary
	w.StartLocal, w.EndLocal = r.zone.Local(start).String(), r.zone.Local(end).String()
	w.Source = assets.StopSource{CalendarUID: e.UID, CalendarID: calendarID}
	return w
}

// single compares a stop with the one of the same UID.
func (r *reading) single(e calendar.Event, next assets.StopWindow) {
	i := slices.IndexFunc(r.held.Windows, func(w assets.StopWindow) bool {
		return w.Source.CalendarUID == next.Source.CalendarUID && w.Source.CalendarID == next.Source.CalendarID
	})
	if i < 0 {
		r.fresh(e, next)
		return
	}
	was := r.held.Windows[i]
	r.said[was.ID] = true
	c := Change{Do: Unchanged, Window: &next, Was: &was, Summary: e.Summary}
	next.Version, next.Source, next.Answer = was.Version, was.Source, was.Answer
	switch {
	case was.Withdrawn:
		c.Do, c.Why = pickDoing(e.Cancelled), "it is withdrawn here; enter it by hand if it holds again"
	case !was.End.Time().After(r.now):
		c.Why = "it is over"
	case e.Cancelled:
		next = was
		next.Withdrawn = true
		c.Do, c.Why = TakeAway, "the file says that it does not take place"
	case !sameStop(was, next):
		c.Do = Alter
		if was.Start != next.Start || was.End != next.End {
			next.Answer = r.as.Answer // what was agreed was another time
		}
	}
	r.unlessPlaced(c, next)
}

// pickDoing is what becomes of a stop that is withdrawn already.
func pickDoing(cancelled bool) Doing {
	if cancelled {
		return Unchanged
	}
	return LeaveOut
}

// unlessPlaced leaves out what would take a stop away, or take its agreement away, while work is placed in it.
func (r *reading) unlessPlaced(c Change, next assets.StopWindow) {
	switch placed := r.held.Placed[next.ID] && (c.Do == Alter || c.Do == TakeAway); {
	case !placed:
	case !next.Agreed(), c.Was != nil && (c.Was.LineID != next.LineID || !slices.Equal(c.Was.ConveyorIDs, next.ConveyorIDs)), !next.End.Time().After(r.now):
		c.Do, c.Why = LeaveOut, "work is placed in it: take the work out first"
	case c.Was != nil && (c.Was.Start != next.Start || c.Was.End != next.End):
		c.Why = "work is placed in it, at hours of its own: set those again"
	}
	r.out = append(r.out, c)
}

// fresh adds a stop that the plant does not have.
func (r *reading) fresh(e calendar.Event, next assets.StopWindow) {
	c := Change{Do: Add, Window: &next, Summary: e.Summary}
	switch {
	case e.Cancelled:
		c.Do, c.Why = Unchanged, "it does not take place and is not kept here"
	case !next.End.Time().After(r.now):
		c.Do, c.Why = LeaveOut, "it is over"
	case next.End <= next.Start || next.End.Time().Sub(next.Start.Time()) > Longest*24*time.Hour:
		c.Do, c.Why = LeaveOut, "it is longer than 60 days, or ends as it begins: check its times"
	default:
		if twin := r.twin(next); twin {
			c.Do, c.Why = LeaveOut, "the same stop is entered here by hand already"
		}
	}
	r.out = append(r.out, c)
}

// twin tells whether a stop of the same line at the same hours stands already.
func (r *reading) twin(next assets.StopWindow) bool {
	return slices.ContainsFunc(r.held.Windows, func(w assets.StopWindow) bool {
		return !w.Withdrawn && w.LineID == next.LineID && w.Start == next.Start && w.End == next.End && slices.Equal(w.ConveyorIDs, next.ConveyorIDs)
	})
}

// sameStop tells whether two say the same of when and what stands still.
func sameStop(a, b assets.StopWindow) bool {
	return a.Start == b.Start && a.End == b.End && a.LineID == b.LineID && slices.Equal(a.ConveyorIDs, b.ConveyorIDs) && a.Note == b.Note
}

// missing withdraws what an earlier file brought for the same line and conveyors and this one does not have.
func (r *reading) missing() {
	for _, w := range r.held.Windows {
		if w.Source.CalendarUID != "" && w.Source.RecurrenceID == 0 && r.ours(w.LineID, w.ConveyorIDs) && !r.seen[w.Source.CalendarUID+"\n"+w.Source.CalendarID] {
			r.takeAway(w, "it is not in the file any more")
		}
	}
	for _, s := range r.held.Series {
		if s.CalendarUID != "" && r.ours(s.LineID, s.ConveyorIDs) && !r.seen[s.CalendarUID+"\n"] {
			r.takeAwaySeries(s, "it is not in the file any more")
		}
	}
}

// takeAway withdraws a stop that lies ahead and of which nothing is said yet.
func (r *reading) takeAway(w assets.StopWindow, why string) {
	if w.Withdrawn || r.said[w.ID] || !w.Start.Time().After(r.now) {
		return
	}
	r.said[w.ID] = true
	was, next := w, w
	next.Withdrawn = true
	r.unlessPlaced(Change{Do: TakeAway, Window: &next, Was: &was, Summary: w.Note, Why: why}, next)
}

// takeAwaySeries withdraws a recurring stop with those of it that have a row of their own.
func (r *reading) takeAwaySeries(s assets.StopRecurrence, why string) {
	if s.Withdrawn {
		return
	}
	was, next := s, s
	next.Withdrawn = true
	c := Change{Do: TakeAway, Series: &next, WasOften: &was, Summary: s.Note, Why: why}
	r.out = append(r.out, c)
	r.follow(c)
}

func (r *reading) ours(line int64, conveyors []int64) bool {
	return line == r.as.LineID && slices.Equal(conveyors, r.as.ConveyorIDs)
}
