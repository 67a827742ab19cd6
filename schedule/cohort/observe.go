package cohort

import (
	"fmt"
	"math"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/life"
)

// Clock is what a life is counted on.
type Clock int

// Clocks a life can be counted on.
const (
	Days Clock = iota
	RunHours
	Passes
	ClockCount
)

// String is the clock's unit in words.
func (c Clock) String() string { return [...]string{"days", "running hours", "passes"}[c] }

// Usage tells what a belt ran between two instants: running hours and splice passes; NaN where a clock is not known.
type Usage func(conveyorID, beltID int64, from, to time.Time) (hours, passes float64)

// Splice is a splice of the register with what its life depends on.
type Splice struct {
	assets.Splice
	Tag    string // of its conveyor
	Key    Key
	Zone   calendar.Zone
	Record *Record // since when endings of its plant's splices are on record: earlier ones are known only if they survived
	Found  *Found  // how its failure was found by a look; nil: it failed on the date it ended
}

// Found are the two looks between which a splice failed.
type Found struct {
	Sound time.Time // the last at which it was still in service
	At    time.Time // the one that found it failed
}

// span is when a splice failed that was made at an instant.
func (f *Found) span(made time.Time) span {
	s := span{from: f.Sound, to: f.At, approximate: true}
	if s.from.Before(made) {
		s.from = made
	}
	return s
}

// Record is since when the endings of a plant's splices are on record, and how that is known. It is shared by its splices.
type Record struct {
	PlantID int64
	Plant   string
	Since   time.Time
	Stated  bool   // by the plant; else it is read off the register
	Why     string // how it is known, in words
}

// RecordOf is since when a plant's endings are on record: the day it states, else what the register shows (WatchedSince).
func RecordOf(p assets.Plant, splices []assets.Splice, entered time.Time, zone calendar.Zone) *Record {
	r := &Record{PlantID: p.ID, Plant: p.Name}
	if day, err := p.History.From.Midnight(zone.Location()); err == nil && p.History.From != "" {
		r.Since, r.Stated, r.Why = day, true, p.History.Why
		return r
	}
	r.Since = WatchedSince(splices, entered, zone)
	r.Why = "the month of the first ending in the register"
	if !r.Since.Before(entered) {
		r.Why = "the plant was entered then, and no ending before it is in the register"
	}
	return r
}

// words says in a life's reason since when endings are on record, and by whom: "since 1 March 2019, as the plant states".
func (r *Record) words(zone calendar.Zone) string {
	day := r.Since.In(zone.Location()).Format("2 January 2006")
	if r.Stated {
		return day + ", when endings began to be recorded here, as the plant states"
	}
	return day + ", when endings began to be recorded here, as read off the register"
}

// Outcome is how a life counts.
type Outcome string

// Outcomes.
const (
	Failed       Outcome = "failed"
	FailedWithin Outcome = "failed between two dates"
	Sound        Outcome = "sound when last seen"
	LeftOut      Outcome = "left out"
)

// Life is one splice as an observation of its cohort.
type Life struct {
	SpliceID, ConveyorID, PlantID int64
	Tag, Number                   string
	Made                          string // as written, else the day; "" where it is not known
	Key                           Key
	Outcome                       Outcome
	Running                       bool // it has not ended
	Late                          bool // made before endings were recorded
	Record                        *Record
	Mode                          string // how it failed, as written; "" where it did not
	Reason                        string // why it counts so, in words with its numbers
	Question                      string // what a person could answer to make it count better; "" for none

	on    [ClockCount]life.Observation
	known [ClockCount]bool
	rate  [ClockCount]float64 // units of the clock per day, over the life
	late  string              // the part of the reason that says from when it was watched
}

// On returns the life on a clock; false when that clock is not known for it or the life is left out.
func (l Life) On(c Clock) (life.Observation, bool) {
	return l.on[c], l.known[c] && l.Outcome != LeftOut
}

// span is an instant known to lie between two; open at a side that nothing bounds.
type span struct {
	from, to    time.Time
	open        bool // nothing bounds it from below
	approximate bool
}

// when reads a date of the register as a span: a day stands for its end, an approximate date for its interval.
func when(w assets.When, zone calendar.Zone) span {
	at := w.At.Time()
	if w.Exact() {
		return span{from: at, to: at}
	}
	s := span{approximate: true, open: w.Earliest == ""}
	s.from, s.to = dayEnd(w.Earliest, zone, at), dayEnd(w.Latest, zone, at)
	return s
}

func dayEnd(d assets.Day, zone calendar.Zone, otherwise time.Time) time.Time {
	if d == "" {
		return otherwise
	}
	end, err := d.End(zone.Location())
	if err != nil {
		return otherwise
	}
	return end
}

// Observe turns a splice into a life as of an instant.
//
// Failed in whatever way: failed, at an age that is exact when both dates are, else between the least and the greatest age
// they allow; found failed by a look: between that look and the one before. Replaced while sound, belt removed, conveyor scrapped, still running, ended for a reason not known: sound
// when last seen, at the least age its dates allow. Made before endings were recorded: watched from its age at that moment on (left truncation); ended before it: left out, since of
// its like only those that survived are known. Without a date made: left out.
func Observe(s Splice, usage Usage, asOf time.Time) Life {
	l := Life{SpliceID: s.ID, ConveyorID: s.ConveyorID, PlantID: s.PlantID, Tag: s.Tag, Number: s.Number, Key: s.Key, Running: s.Ended == nil, Record: s.Record}
	if s.Made.IsZero() || s.Made.Unknown() {
		l.leaveOut("the date it was made is not known", "When was it made? A year or 'before 2018' is enough.")
		return l
	}
	l.Made = written(s.Made, s.Zone)
	made := when(s.Made, s.Zone)
	end := span{from: asOf, to: asOf}
	ended := s.Ended != nil && !s.Ended.Time().After(asOf)
	l.Running = !ended
	if ended {
		end = when(s.Retired, s.Zone)
		if s.Found != nil && s.RetiredWhy == assets.RetiredFailed {
			end = s.Found.span(made.to)
		}
		if end.to.After(asOf) {
			end.to = asOf
		}
	}
	if !made.to.Before(end.to) {
		l.leaveOut("it ended no later than it was made", "Are its two dates right?")
		return l
	}
	if !end.to.After(s.Record.Since) {
		l.leaveOut(fmt.Sprintf("it ended before %s: of its like only some are known", s.Record.words(s.Zone)), "")
		return l
	}
	failed := ended && s.RetiredWhy == assets.RetiredFailed
	if failed {
		l.Mode = s.FailureMode
	}
	l.Late = made.to.Before(s.Record.Since)
	l.measure(s, usage, made, end, failed)
	l.explain(s, made, end, ended, failed)
	return l
}

func (l *Life) leaveOut(reason, question string) {
	l.Outcome, l.Reason, l.Question = LeftOut, "left out: "+reason, question
}

// measure fills in the ages on every clock that is known.
func (l *Life) measure(s Splice, usage Usage, made, end span, failed bool) {
	least := ages(s, usage, made.to, end.from)
	most, longest := least, least
	if made.approximate || end.approximate {
		most, longest = ages(s, usage, made.from, end.to), ages(s, usage, made.to, end.to)
	}
	entry := [ClockCount]float64{}
	if l.Late {
		entry = ages(s, usage, made.to, s.Record.Since)
	}
	days := end.to.Sub(made.to).Hours() / 24
	for c := range ClockCount {
		o := life.Observation{Event: life.Censored, Life: least[c], Entry: entry[c], Count: 1}
		if failed && !made.open && !end.open {
			o = life.Observation{Event: life.Failed, Life: most[c], Entry: entry[c], Count: 1}
			if made.approximate || end.approximate {
				o = life.Observation{Event: life.Interval, Lower: max(least[c], entry[c]), Upper: most[c], Entry: entry[c], Count: 1}
			}
		}
		l.on[c], l.known[c] = o, o.Check() == nil
		l.rate[c] = longest[c] / days
	}
	l.Outcome = Sound
	switch l.on[Days].Event {
	case life.Failed:
		l.Outcome = Failed
	case life.Interval:
		l.Outcome = FailedWithin
	}
	if !l.known[Days] {
		l.leaveOut("its dates leave no time in which it was watched", "Are its two dates right?")
	}
}

// ages are the ages between two instants on each clock; 0 when the second is not after the first.
func ages(s Splice, usage Usage, from, to time.Time) (age [ClockCount]float64) {
	if !to.After(from) {
		return age
	}
	age[Days] = to.Sub(from).Hours() / 24
	age[RunHours], age[Passes] = usage(s.ConveyorID, s.BeltID, from, to)
	return age
}

// explain says in words why the life counts as it does.
func (l *Life) explain(s Splice, made, end span, ended, failed bool) {
	if l.Outcome == LeftOut {
		return
	}
	o := l.on[Days]
	least := fmt.Sprintf("%s days", count(o.Life))
	switch {
	case l.Outcome == Failed:
		l.Reason = fmt.Sprintf("failed%s on %s after %s days", modeWords(s.FailureMode), dayWords(end.to, s.Zone), count(o.Life))
	case l.Outcome == FailedWithin && s.Found != nil:
		l.Reason = fmt.Sprintf("failed%s at an age of %s to %s days: still in service at the look of %s, found at the look of %s", modeWords(s.FailureMode), count(o.Lower), count(o.Upper), dayWords(s.Found.Sound, s.Zone), dayWords(s.Found.At, s.Zone))
	case l.Outcome == FailedWithin:
		l.Reason = fmt.Sprintf("failed%s at an age of %s to %s days: made %s, failed %s", modeWords(s.FailureMode), count(o.Lower), count(o.Upper), written(s.Made, s.Zone), written(s.Retired, s.Zone))
	case failed:
		l.Reason = fmt.Sprintf("failed%s, at what age is open: made %s; counts as sound until %s", modeWords(s.FailureMode), written(s.Made, s.Zone), least)
		l.Question = "When was it made, at the earliest?"
	case !ended:
		l.Reason = "still running, sound at " + least
	case s.RetiredWhy == assets.RetiredUnknown || s.RetiredWhy == "":
		l.Reason = "ended, why not known; counts as sound until its end at " + least
		l.Question = "Did it fail, or was it replaced while sound?"
	default:
		l.Reason = fmt.Sprintf("%s on %s, sound at %s", s.RetiredWhy.Words(), dayWords(end.from, s.Zone), least)
	}
	if l.Late {
		l.late = fmt.Sprintf("; made before %s: watched from %s days on", s.Record.words(s.Zone), count(o.Entry))
		l.Reason += l.late
	}
}

// For is the life as it counts where one way of failing is asked about, "" for any: failed in another way, it was sound in
// this one until then (competing modes; Kalbfleisch and Prentice 2002, ch. 8).
func (l Life) For(mode string) Life {
	if mode == "" || l.Mode == mode || l.Outcome != Failed && l.Outcome != FailedWithin {
		return l
	}
	for c := range l.on {
		o := l.on[c]
		sound := o.Life
		if o.Event == life.Interval {
			sound = o.Lower
		}
		l.on[c] = life.Observation{Event: life.Censored, Life: sound, Entry: o.Entry, Count: o.Count}
		l.known[c] = l.known[c] && l.on[c].Check() == nil
	}
	l.Outcome = Sound
	if !l.known[Days] {
		l.leaveOut("it failed in another way"+modeWords(l.Mode)+", at what age is open", "")
		return l
	}
	l.Reason = fmt.Sprintf("failed in another way%s after %s days: sound so far as this one is asked", modeWords(l.Mode), count(l.on[Days].Life)) + l.late
	return l
}

func modeWords(mode string) string {
	if mode == "" {
		return ""
	}
	return " (" + mode + ")"
}

// written is a date as it was written, else the day.
func written(w assets.When, zone calendar.Zone) string {
	if !w.Exact() && w.AsWritten != "" {
		return w.AsWritten
	}
	return dayWords(w.At.Time(), zone)
}

// dayWords is the day an instant belongs to, the end of a day to that day: 3 March 2024.
func dayWords(t time.Time, zone calendar.Zone) string {
	return t.Add(-time.Second).In(zone.Location()).Format("2 January 2006")
}

// count writes a figure of days with a hard space between thousands, as screens do.
func count(v float64) string {
	n := int64(math.Round(v))
	if n < 1000 {
		return fmt.Sprint(n)
	}
	return fmt.Sprintf("%s\u00a0%03d", count(float64(n/1000)), n%1000)
}

// Instants returns the instants between which a splice's ages are measured, so that its clocks can be read there.
func (s Splice) Instants(asOf time.Time) []time.Time {
	made := when(s.Made, s.Zone)
	out := []time.Time{made.to, asOf}
	if !made.from.Equal(made.to) {
		out = append(out, made.from)
	}
	if made.to.Before(s.Record.Since) {
		out = append(out, s.Record.Since)
	}
	if s.Ended != nil {
		end := when(s.Retired, s.Zone)
		if s.Found != nil {
			end = s.Found.span(made.to)
		}
		out = append(out, end.from)
		if !end.from.Equal(end.to) {
			out = append(out, end.to)
		}
	}
	return out
}

// WatchedSince is since when the endings of a plant's splices are recorded: from the month of the first ending that is, or
// from the plant's entry into the register if that is earlier. Of splices that ended before it nothing is known, so those
// made before it are known only because they survived.
func WatchedSince(splices []assets.Splice, entered time.Time, zone calendar.Zone) time.Time {
	since := entered
	for _, s := range splices {
		if s.Ended != nil && s.Ended.Time().Before(since) {
			since = s.Ended.Time()
		}
	}
	if since.Before(entered) {
		y, m, _ := zone.Date(since).Civil()
		since = time.Date(y, m, 1, 0, 0, 0, 0, zone.Location())
	}
	return since
}
