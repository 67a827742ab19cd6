package due

import (
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// What sets a date, short.
const (
	ByRule    = "rule"
	ByBestAge = "best age"
	ByTrend   = "trend"
	ByFinding = "finding"
)

// Together returns the standings as the forecasts make them, so that every screen, report and program tells one date: the
// recommended one, the earliest of best age, binding rule, trend and finding, with its reason. Life used is the age against the
// best age or the binding rule, whichever is reached first. Both lists are of one plant in the order of its register.
func Together(now time.Time, plant assets.Plant, standings []Standing, forecasts []Forecast) []Standing {
	zone := calendar.ZoneOf(plant.Location())
	out := make([]Standing, len(standings))
	next := 0
	for i, st := range standings {
		for next < len(forecasts) && forecasts[next].SpliceID != st.SpliceID {
			next++
		}
		if next == len(forecasts) {
			next = 0
		} else {
			st = st.with(&forecasts[next], now, zone)
		}
		out[i] = st
	}
	return out
}

// with is the standing under its forecast.
func (st Standing) with(f *Forecast, now time.Time, zone calendar.Zone) Standing {
	if f.Limit != nil && st.Age.Known && bestFirst(st, f) {
		st.Limit, st.Against = f.Limit, "best age "+f.Best.Words
		st.Used = Figure{Value: f.Age / f.Best.Age, Known: true, AtLeast: f.atLeast}
		st.By, st.Class, st.Reason, st.DueAt, st.DueDay, st.Overdue = ByBestAge, f.Class, st.Against, f.Best.At, "", false
		if !f.Best.At.IsZero() {
			st.DueDay, st.Overdue = assets.Day(zone.Date(f.Best.At).String()), !f.Best.At.After(now)
		}
		st.Band = bandOf(st.Age.Known, st.Used)
	}
	// A rule that is passed already may stand behind a best age that is passed as well: then the earlier date stays.
	if a := f.Advice; !a.At.IsZero() && (st.DueAt.IsZero() || !a.At.After(st.DueAt)) {
		st.By, st.Class, st.Reason, st.DueAt, st.DueDay, st.Overdue = a.By, a.Class, a.Reason, a.At, a.Day, !a.At.After(now)
	}
	return st
}

// bestFirst tells whether the best age is reached before the binding rule. Where neither is ever reached, more life used
// leads; where both are passed, the further past is named, but a best age by rule of thumb never in the place of a rule.
func bestFirst(st Standing, f *Forecast) bool {
	switch {
	case st.Limit == nil:
		return true
	case f.Best.At.IsZero() && st.DueAt.IsZero():
		return !st.Used.Known || f.Age/f.Best.Age > st.Used.Value
	case f.Best.At.IsZero() || st.DueAt.IsZero():
		return st.DueAt.IsZero()
	case !f.Best.At.After(f.now) && st.Overdue:
		return f.Class.RaisesOrders() && f.Age/f.Best.Age > st.Used.Value
	}
	return f.Best.At.Before(st.DueAt)
}

// BestAge tells whether the limit is the age at which replacing costs least, not a rule.
func (l *Limit) BestAge() bool { return l != nil && l.RuleID == 0 }
