package due

import (
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// ByBestAge returns the standings with the best age in the place of the rule where it is reached first: life used is the age
// against whichever of the two sets the date. Both lists are of one plant in the order of its register.
func ByBestAge(now time.Time, plant assets.Plant, standings []Standing, forecasts []Forecast) []Standing {
	zone := calendar.ZoneOf(plant.Location())
	out := make([]Standing, len(standings))
	next := 0
	for i, st := range standings {
		for next < len(forecasts) && forecasts[next].SpliceID != st.SpliceID {
			next++
		}
		if next == len(forecasts) {
			next = 0
		} else if f := &forecasts[next]; f.Limit != nil && st.Age.Known && bestFirst(st, f) {
			st = st.by(f, now, zone)
		}
		out[i] = st
	}
	return out
}

// bestFirst tells whether the best age is reached before the rule. Where neither is ever reached, more life used leads.
func bestFirst(st Standing, f *Forecast) bool {
	switch {
	case st.Limit == nil:
		return true
	case f.Best.At.IsZero() && st.DueAt.IsZero():
		return !st.Used.Known || f.Age/f.Best.Age > st.Used.Value
	case f.Best.At.IsZero() || st.DueAt.IsZero():
		return st.DueAt.IsZero()
	case !f.Best.At.After(f.now) && st.Overdue: // both are past: the further past is named
		return f.Age/f.Best.Age > st.Used.Value
	}
	return f.Best.At.Before(st.DueAt)
}

// by is the standing under the best age.
func (st Standing) by(f *Forecast, now time.Time, zone calendar.Zone) Standing {
	st.Limit, st.Reason = f.Limit, "best age "+f.Best.Words
	st.Used = Figure{Value: f.Age / f.Best.Age, Known: true, AtLeast: f.atLeast}
	st.DueAt, st.DueDay, st.Overdue = f.Best.At, "", false
	if !f.Best.At.IsZero() {
		st.DueDay, st.Overdue = assets.Day(zone.Date(f.Best.At).String()), !f.Best.At.After(now)
	}
	st.Band = bandOf(st.Age.Known, st.Used)
	return st
}

// BestAge tells whether the limit is the age at which replacing costs least, not a rule.
func (l *Limit) BestAge() bool { return l != nil && l.RuleID == 0 }
