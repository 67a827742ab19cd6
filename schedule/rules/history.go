package rules

import (
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/workorder"
)

// history is what a plant's rules raised before.
type history struct {
	last   map[Key]Occurrence // the row of the highest withdrawal number
	orders map[int64]*workorder.Order
	done   map[ruleTarget]*workorder.Order // the last order completed, by rule and target
}

type ruleTarget struct {
	rule int64
	kind TargetKind
	id   int64
}

// newHistory sorts out occurrences and their orders.
func newHistory(rows []Occurrence, orders []workorder.Order) history {
	h := history{last: make(map[Key]Occurrence, len(rows)), orders: byID(orders), done: map[ruleTarget]*workorder.Order{}}
	for _, row := range rows {
		if known, ok := h.last[row.Key()]; !ok || row.WithdrawalNo > known.WithdrawalNo {
			h.last[row.Key()] = row
		}
		order := h.orders[row.OrderID]
		if order == nil || (order.State != workorder.Done && order.State != workorder.Signed) {
			continue
		}
		of := ruleTarget{row.RuleID, row.TargetKind, row.TargetID}
		if before := h.done[of]; before == nil || completedAfter(order, before) {
			h.done[of] = order
		}
	}
	return h
}

// completedAfter orders completions by when the work was done, and by number where that is one instant.
func completedAfter(a, b *workorder.Order) bool {
	if a.DoneAt != b.DoneAt {
		return a.DoneAt > b.DoneAt
	}
	return a.ID > b.ID
}

// free tells whether a cycle may be raised, under which withdrawal number, and not before when. A cycle
// raised once stays taken until its order is withdrawn: at once when it was raised in error, else after the
// last day for which the withdrawal holds.
func (h history) free(k Key, zone calendar.Zone) (no int, from time.Time, ok bool) {
	row, raised := h.last[k]
	if !raised {
		return 0, time.Time{}, true
	}
	order := h.orders[row.OrderID]
	switch {
	case order == nil || order.State != workorder.Withdrawn:
		return 0, time.Time{}, false
	case order.InError:
		return row.WithdrawalNo + 1, order.WithdrawnAt.Time(), true
	}
	from = order.WithdrawnAt.Time()
	if day, err := calendar.ParseDate(string(order.HoldsUntil)); err == nil && !day.IsZero() {
		from = later(from, zone.EndOfDay(day))
	}
	return row.WithdrawalNo + 1, from, true
}

// completion returns the last completed order of a rule's occurrences on a target.
func (h history) completion(r Rule, t Target) *workorder.Order {
	return h.done[ruleTarget{r.ID, t.Kind, t.ID}]
}

// countsFrom tells whether a clock may count from a date: one that is not known counts only for a rule about
// splices of unknown age, from the day it was recorded.
func (r Rule) countsFrom(w assets.When) bool {
	return r.Scope.AgeUnknown && w.At != 0 || !w.IsZero() && !w.Unknown()
}
