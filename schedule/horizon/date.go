package horizon

import (
	"math"
	"time"
)

// Date is what sets the best date of an order, and what leaving it costs.
//
// With a chance of coming due, work at t costs
//
//	(Unplanned - Planned) * chance(t) + PerDay * (days from t to the end of the sheet)
//
// the expected extra cost of coming due before the stop, and the life given up by not waiting: a planned replacement
// spread over the days of life it buys. Where no life figure is known the date is a rule's: each day before Due gives up
// PerDay, each day after it costs 1/90 of (Unplanned - Planned), so that three months late is as dear as a failure (our
// own choice, stated wherever the figure is shown).
type Date struct {
	Chance             func(by time.Time) float64 // of having come due; nil: not known
	Due                time.Time                  // by rule or latest date; zero: none
	Planned, Unplanned float64                    // what the work costs, in time and after a failure
	PerDay             float64                    // life given up a day
	Words              string                     // what it rests on
}

// LateDays is how many days late cost as much as a failure where no chance is known.
const LateDays = 90

// Cost is what doing the work at t costs more than at the best moment there is, in the units of the sheet.
func (d Date) Cost(t, until time.Time) float64 {
	early := math.Max(0, until.Sub(t).Hours()/24) * d.PerDay
	switch {
	case d.Chance != nil:
		return d.risk()*d.Chance(t) + early
	case d.Due.IsZero():
		return early
	case t.Before(d.Due):
		return d.Due.Sub(t).Hours() / 24 * d.PerDay
	}
	return math.Min(1, t.Sub(d.Due).Hours()/24/LateDays) * d.risk()
}

// LeftOut is what doing no work before the end of the sheet costs: what coming due until then is expected to cost, and one
// planned replacement, so that an accepted order is left out only where placing it is dearer than the work itself.
func (d Date) LeftOut(until time.Time) float64 { return d.Cost(until, until) + math.Max(1, d.Planned) }

func (d Date) risk() float64 { return math.Max(0, d.Unplanned-d.Planned) }

// What changing the published plan costs, as a share of a planned replacement: moving an order to another stop, and sending
// somebody else. Small, so that a plan is not upset for nothing (our own choice).
const (
	changeStopShare   = 0.05
	changePersonShare = 0.01
)
