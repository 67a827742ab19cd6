// Package keyfigures computes the maintenance key figures of a period from its work orders: how much work was planned,
// how well the plan was kept, what waits, and how long conveyors stood. Terms in the sense of EN 13306 and EN 15341.
//
// The package is pure: orders, required times and the period are passed in.
package keyfigures

import "time"

// Period is from an instant, included, until another, not included.
type Period struct{ From, Until time.Time }

func (p Period) holds(t time.Time) bool { return !t.IsZero() && !t.Before(p.From) && t.Before(p.Until) }

// Order is what the figures need of a work order. A zero time is one that is not known or has not come.
type Order struct {
	Plant, Conveyor      string
	Inspection           bool
	Immediate            bool // class corrective immediate: work that could not wait
	Planned              bool // planned before it was done
	Failure              bool // it restored a conveyor that had failed
	Ready                bool // people, kit and stock for it are there
	State                State
	Raised, Latest       time.Time
	Interval             time.Duration // between inspections; zero when there is none
	WindowFrom, WindowTo time.Time     // the stop window of the published plan
	Done                 time.Time
	EstimatedH, WorkedH  float64 // hours of work
	DownFrom, DownTo     time.Time
}

// State is where an order stands in its life.
type State string

// States, as of the work order.
const (
	Raised    State = "raised"
	Accepted  State = "accepted"
	Placed    State = "placed"
	Started   State = "started"
	Done      State = "done"
	Signed    State = "signed"
	Withdrawn State = "withdrawn"
)

// Crew is the people whose weeks the backlog is told in.
type Crew struct {
	People         float64
	HoursPerWeek   float64
	AvailableShare float64 // 0 to 1: what is left for planned work
}

// HoursAWeek is people x hours per week x available share.
func (c Crew) HoursAWeek() float64 { return c.People * c.HoursPerWeek * c.AvailableShare }

// Figures are the key figures of a period. A nil figure has no orders to rest on.
type Figures struct {
	PlannedWorkPercent       *float64 // worked hours of planned orders / worked hours of all orders done in the period x 100
	ReactiveWorkPercent      *float64 // worked hours of class corrective immediate / the same x 100
	WorkedH                  float64  // worked hours of orders done in the period
	PlannedWorkOrdersPercent *float64 // by number of orders
	ComplianceOrdersPercent  *float64 // orders done inside their window / orders whose window starts in the period x 100
	Scheduled                int      // orders whose window starts in the period
	ScheduledDoneInWindow    int
	ComplianceHoursPercent   *float64 // the same with estimated hours
	InspectionsDue           int      // inspections whose latest date lies in the period
	OnTimePercent            *float64 // done by the latest date
	OnTimeWithGracePercent   *float64 // done by the latest date + max(1 day, 10 % of the interval)
	BacklogH                 float64  // estimated hours accepted, placed or started, not done at the period's end
	ReadyBacklogH            float64  // of these, of orders that are ready
	CrewHoursAWeek           float64
	BacklogCrewWeeks         *float64
	ReadyBacklogCrewWeeks    *float64
	Overdue                  int // not done, not withdrawn, latest date before the period's end
}

// Compute computes the key figures of the orders of a period. Hours that were not entered count as 0.
func Compute(orders []Order, p Period, crew Crew) Figures {
	f := Figures{CrewHoursAWeek: crew.HoursAWeek()}
	f.work(orders, p)
	f.compliance(orders, p)
	f.inspections(orders, p)
	for _, o := range orders {
		if o.openAt(p.Until) && !o.Latest.IsZero() && o.Latest.Before(p.Until) {
			f.Overdue++
		}
		if o.backlogAt(p.Until) {
			f.BacklogH += o.EstimatedH
			if o.Ready {
				f.ReadyBacklogH += o.EstimatedH
			}
		}
	}
	f.BacklogCrewWeeks, f.ReadyBacklogCrewWeeks = ratio(f.BacklogH, f.CrewHoursAWeek), ratio(f.ReadyBacklogH, f.CrewHoursAWeek)
	return f
}

// work is how much of what was done had been planned.
func (f *Figures) work(orders []Order, p Period) {
	var plannedH, reactiveH float64
	var done, planned int
	for _, o := range orders {
		if !p.holds(o.Done) {
			continue
		}
		done++
		f.WorkedH += o.WorkedH
		if o.Planned {
			planned++
			plannedH += o.WorkedH
		}
		if o.Immediate {
			reactiveH += o.WorkedH
		}
	}
	f.PlannedWorkPercent, f.ReactiveWorkPercent = percent(plannedH, f.WorkedH), percent(reactiveH, f.WorkedH)
	f.PlannedWorkOrdersPercent = percent(float64(planned), float64(done))
}

// compliance is how much of the published plan was done in its windows; an order withdrawn after publishing was not.
func (f *Figures) compliance(orders []Order, p Period) {
	var hours, inHours float64
	for _, o := range orders {
		if !p.holds(o.WindowFrom) {
			continue
		}
		f.Scheduled++
		hours += o.EstimatedH
		if o.doneInWindow() {
			f.ScheduledDoneInWindow++
			inHours += o.EstimatedH
		}
	}
	f.ComplianceOrdersPercent = percent(float64(f.ScheduledDoneInWindow), float64(f.Scheduled))
	f.ComplianceHoursPercent = percent(inHours, hours)
}

func (f *Figures) inspections(orders []Order, p Period) {
	var onTime, withGrace float64
	for _, o := range orders {
		if !o.Inspection || !p.holds(o.Latest) {
			continue
		}
		f.InspectionsDue++
		if o.doneBy(o.Latest) {
			onTime++
		}
		if o.doneBy(o.Latest.Add(max(24*time.Hour, o.Interval/10))) {
			withGrace++
		}
	}
	due := float64(f.InspectionsDue)
	f.OnTimePercent, f.OnTimeWithGracePercent = percent(onTime, due), percent(withGrace, due)
}

func (o Order) doneBy(t time.Time) bool { return !o.Done.IsZero() && !o.Done.After(t) }

func (o Order) doneInWindow() bool {
	return o.State != Withdrawn && o.doneBy(o.WindowTo) && !o.Done.Before(o.WindowFrom)
}

// openAt reports whether an order was neither done nor withdrawn at an instant.
func (o Order) openAt(t time.Time) bool {
	return o.State != Withdrawn && (o.Done.IsZero() || !o.Done.Before(t))
}

// backlogAt reports whether an order was approved work that waited. One done since still counts: it had been accepted.
func (o Order) backlogAt(t time.Time) bool {
	return o.openAt(t) && o.State != Raised && o.Raised.Before(t)
}

func percent(part, whole float64) *float64 {
	r := ratio(part, whole)
	if r != nil {
		*r *= 100
	}
	return r
}

func ratio(part, whole float64) *float64 {
	if whole == 0 {
		return nil
	}
	v := part / whole
	return &v
}
