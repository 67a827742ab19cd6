package keyfigures

import (
	"slices"
	"time"

	"carryside/schedule/calendar"
)

// Plant is when a plant's conveyors are required to run.
type Plant struct {
	Name      string
	Conveyors []string
	Days      []time.Weekday
	From, To  calendar.TimeOfDay // of the local day; 24:00 is its end
	Zone      calendar.Zone
}

// Reliability is how long something ran and stood. A nil figure has nothing to rest on.
type Reliability struct {
	Plant, Conveyor string // empty where it is about more than one

	RequiredH             float64  // overlap of the period with the plant's required times
	DownFailuresH         float64  // standstill by failures inside required time
	DownPlannedH          float64  // standstill by other orders inside required time
	UpH                   float64  // required - both
	Failures              int      // failures that began in the period
	UpBetweenFailuresH    *float64 // up time / failures; nil: none in that time
	RestorationH          *float64 // whole down times of failures that began in the period / their number
	RepairWorkedH         *float64 // worked hours of those failures / their number
	AvailabilityPercent   *float64 // up / required x 100
	FailuresOnlyPercent   *float64 // (required - down by failures) / required x 100
	restorationH, workedH float64
}

// Standing is the reliability of every conveyor, every plant and all of them.
type Standing struct {
	ByConveyor, ByPlant []Reliability
	All                 Reliability
}

// Measure computes how long each plant's conveyors ran and stood. A plant's figures come from the sums over its conveyors,
// not from the mean of their percentages. A standstill that has not ended counts until the period's end.
func Measure(orders []Order, plants []Plant, p Period) Standing {
	var s Standing
	for _, plant := range plants {
		required := plant.required(p)
		whole := Reliability{Plant: plant.Name}
		for _, conveyor := range plant.Conveyors {
			r := measured(orders, Required{Plant: plant.Name, Conveyor: conveyor, Hours: func(from, until time.Time) float64 { return within(required, Period{from, until}) }}, p)
			whole.add(r)
			s.ByConveyor = append(s.ByConveyor, r.finished())
		}
		s.All.add(whole)
		s.ByPlant = append(s.ByPlant, whole.finished())
	}
	s.All = s.All.finished()
	return s
}

// Required is how many hours of a stretch a conveyor was required to run, as its production calendar has it.
type Required struct {
	Plant, Conveyor string
	Hours           func(from, until time.Time) float64
}

// MeasureRequired is Measure for conveyors that each have their own required times. ByConveyor is in the order of the conveyors;
// All is their sum, ByPlant stays empty.
func MeasureRequired(orders []Order, conveyors []Required, p Period) Standing {
	var s Standing
	for _, c := range conveyors {
		r := measured(orders, c, p)
		s.All.add(r)
		s.ByConveyor = append(s.ByConveyor, r.finished())
	}
	s.All = s.All.finished()
	return s
}

func measured(orders []Order, c Required, p Period) Reliability {
	r := Reliability{Plant: c.Plant, Conveyor: c.Conveyor, RequiredH: c.Hours(p.From, p.Until)}
	for _, o := range orders {
		if o.Plant == c.Plant && o.Conveyor == c.Conveyor {
			r.stood(o, c.Hours, p)
		}
	}
	return r
}

// required lists the stretches of the period in which a plant's conveyors have to run. Wall times decide: a day on which
// the clock changes is an hour shorter or longer.
func (pl Plant) required(p Period) []Period {
	var stretches []Period
	for day := pl.Zone.Date(p.From); !day.After(pl.Zone.Date(p.Until)); day = day.AddDays(1) {
		if !slices.Contains(pl.Days, day.Weekday()) {
			continue
		}
		from, to := pl.Zone.Instant(calendar.Local{Date: day, Time: pl.From}), pl.Zone.Instant(calendar.Local{Date: day, Time: pl.To})
		if s := (Period{from, to}).within(p); s.From.Before(s.Until) {
			stretches = append(stretches, s)
		}
	}
	return stretches
}

func (p Period) within(outer Period) Period {
	if p.From.Before(outer.From) {
		p.From = outer.From
	}
	if p.Until.After(outer.Until) {
		p.Until = outer.Until
	}
	return p
}

// within adds up the hours of stretches that lie in a period.
func within(stretches []Period, p Period) (hours float64) {
	for _, s := range stretches {
		if part := s.within(p); part.From.Before(part.Until) {
			hours += part.Until.Sub(part.From).Hours()
		}
	}
	return hours
}

// stood adds what one order made a conveyor stand.
func (r *Reliability) stood(o Order, required func(from, until time.Time) float64, p Period) {
	if o.DownFrom.IsZero() {
		return
	}
	down := Period{o.DownFrom, o.DownTo}
	if down.Until.IsZero() {
		down.Until = p.Until
	}
	hours := 0.0
	if part := down.within(p); part.From.Before(part.Until) {
		hours = required(part.From, part.Until)
	}
	if !o.Failure {
		r.DownPlannedH += hours
		return
	}
	r.DownFailuresH += hours
	if p.holds(o.DownFrom) {
		r.Failures++
		r.restorationH += max(0, down.Until.Sub(down.From).Hours())
		r.workedH += o.WorkedH
	}
}

func (r *Reliability) add(other Reliability) {
	r.RequiredH += other.RequiredH
	r.DownFailuresH += other.DownFailuresH
	r.DownPlannedH += other.DownPlannedH
	r.Failures += other.Failures
	r.restorationH += other.restorationH
	r.workedH += other.workedH
}

// finished computes the figures that follow from the sums.
func (r Reliability) finished() Reliability {
	n := float64(r.Failures)
	r.UpH = r.RequiredH - r.DownFailuresH - r.DownPlannedH
	r.UpBetweenFailuresH, r.RestorationH, r.RepairWorkedH = ratio(r.UpH, n), ratio(r.restorationH, n), ratio(r.workedH, n)
	r.AvailabilityPercent, r.FailuresOnlyPercent = percent(r.UpH, r.RequiredH), percent(r.RequiredH-r.DownFailuresH, r.RequiredH)
	return r
}
