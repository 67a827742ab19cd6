package clock

import (
	"slices"
	"time"
)

// Level is a value that holds from an instant on, until the next one.
type Level struct {
	From  time.Time
	Value float64
}

// Bends are the pulleys that a splice bends over in one pass, from an instant on.
type Bends struct {
	From    time.Time
	Plain   int // bends towards the carrying side's own curve
	Reverse int // bends the other way, harder on a splice
}

// Duty is what turns running hours into passes and flexes: speed, loop length and bends over time, each ascending by From.
type Duty struct {
	SpeedMPS []Level
	LoopM    []Level
	Bends    []Bends // empty when the pulleys are not known: flexes are then not known either
}

// Usage is how far a splice aged between two instants.
type Usage struct {
	RunningHours  float64
	Passes        float64 // times round the loop
	Flexes        float64 // passes times all bends
	ReverseFlexes float64 // passes times reverse bends
	FlexesKnown   bool
}

// HoursAt gives the running hours at an instant and whether they are known; Line.At and Projection.HoursAt do.
type HoursAt func(time.Time) (float64, bool)

// Usage adds up passes and flexes between two instants.
//
// passes = sum over stretches of constant speed v (m/s), loop length L (m) and bends of 3600 v dH / L; flexes = passes
// times (plain + reverse). A change counts from its instant on; hours at a change are read off between readings. To may
// not be before from. Errors: hours at either end, or speed or length while the belt ran, not known. Cost: a look at hours
// for each change between.
func (d Duty) Usage(hours HoursAt, from, to time.Time) (Usage, error) {
	if to.Before(from) {
		return Usage{}, refuse(BadInterval, "the end %s is before the start %s; swap them", to.UTC().Format(time.RFC3339), from.UTC().Format(time.RFC3339))
	}
	before, known := hours(from)
	if !known {
		return Usage{}, unknownHours(from)
	}
	sum := Usage{FlexesKnown: true}
	cuts := append(d.changes(from, to), to)
	for _, cut := range cuts {
		after, known := hours(cut)
		if !known {
			return Usage{}, unknownHours(cut)
		}
		if err := d.add(&sum, from, after-before); err != nil {
			return Usage{}, err
		}
		from, before = cut, after
	}
	return sum, nil
}

// unknownHours refuses an instant without running hours.
func unknownHours(t time.Time) error {
	return refuse(HoursUnknown, "the running hours on %s are not known; enter a reading before and after it", t.UTC().Format(time.RFC3339))
}

// add adds one stretch of constant duty that begins at an instant.
func (d Duty) add(sum *Usage, at time.Time, ran float64) error {
	sum.RunningHours += ran
	i, bendsKnown := inForce(d.Bends, at, func(b Bends) time.Time { return b.From })
	if ran == 0 {
		// A belt that stood needs neither speed nor length.
		sum.FlexesKnown = sum.FlexesKnown && (bendsKnown || len(d.Bends) > 0)
		return nil
	}
	perHour, err := d.PassesPerHour(at)
	if err != nil {
		return err
	}
	passes := ran * perHour
	sum.Passes += passes
	if !bendsKnown {
		sum.FlexesKnown = false
		return nil
	}
	sum.Flexes += passes * float64(d.Bends[i].Plain+d.Bends[i].Reverse)
	sum.ReverseFlexes += passes * float64(d.Bends[i].Reverse)
	return nil
}

// PassesPerHour returns 3600 v / L at an instant: how often a splice goes round in one running hour.
func (d Duty) PassesPerHour(at time.Time) (float64, error) {
	from := func(l Level) time.Time { return l.From }
	v, known := inForce(d.SpeedMPS, at, from)
	if !known || !(d.SpeedMPS[v].Value >= 0) {
		return 0, refuse(SpeedUnknown, "the belt speed on %s is not known; enter it", at.UTC().Format(time.RFC3339))
	}
	l, known := inForce(d.LoopM, at, from)
	if !known || !(d.LoopM[l].Value > 0) {
		return 0, refuse(LoopUnknown, "the loop length on %s is not known; enter it", at.UTC().Format(time.RFC3339))
	}
	return 3600 * d.SpeedMPS[v].Value / d.LoopM[l].Value, nil
}

// inForce returns the place of the last entry whose time has come.
func inForce[T any](levels []T, at time.Time, from func(T) time.Time) (int, bool) {
	i, _ := slices.BinarySearchFunc(levels, at, func(l T, t time.Time) int {
		if from(l).After(t) {
			return 1
		}
		return -1
	})
	return i - 1, i > 0
}

// changes returns the instants strictly between two at which anything changes, ascending.
func (d Duty) changes(from, to time.Time) []time.Time {
	var cuts []time.Time
	for _, l := range d.SpeedMPS {
		cuts = append(cuts, l.From)
	}
	for _, l := range d.LoopM {
		cuts = append(cuts, l.From)
	}
	for _, b := range d.Bends {
		cuts = append(cuts, b.From)
	}
	cuts = slices.DeleteFunc(cuts, func(t time.Time) bool { return !t.After(from) || !t.Before(to) })
	slices.SortFunc(cuts, time.Time.Compare)
	return slices.CompactFunc(cuts, time.Time.Equal)
}

// When returns the first instant at which a splice has made so many passes since from; false when it never does.
// Errors as for Usage.
func (d Duty) When(p Projection, from time.Time, passes float64) (time.Time, bool, error) {
	hours, known := p.HoursAt(from)
	if !known {
		return time.Time{}, false, unknownHours(from)
	}
	for _, cut := range append(d.changes(from, from.AddDate(200, 0, 0)), time.Time{}) {
		perHour, err := d.PassesPerHour(from)
		if err != nil {
			return time.Time{}, false, err
		}
		at, ok := whenRun(p, hours, passes/perHour, perHour > 0)
		if cut.IsZero() || ok && !at.After(cut) {
			return at, ok, nil
		}
		after, known := p.HoursAt(cut)
		if !known {
			return time.Time{}, false, unknownHours(cut)
		}
		passes -= (after - hours) * perHour
		from, hours = cut, after
	}
	return time.Time{}, false, nil
}

// whenRun returns when so many hours more are run; a belt at speed zero runs none. Rounding must not carry the target past
// the moment the belt stops into its next start.
func whenRun(p Projection, hours, more float64, turning bool) (time.Time, bool) {
	if !turning {
		return time.Time{}, false
	}
	return p.When(hours + max(0, more-roundingHours))
}
