package horizon

import (
	"fmt"
	"time"

	"carryside/schedule/plan"
)

// layWaits makes precedences of orders that wait for others. Orders that wait for one that no plan can hold are taken out beforehand.
func (s *Sheet) layWaits() {
	for j, o := range s.orders {
		if before, ok := s.jobOf[o.After]; ok && o.After != 0 {
			s.Case.Precedences = append(s.Case.Precedences, plan.Precedence{Before: before, After: j, MinLag: minutes(o.Wait), MaxLag: -1})
		}
	}
}

// minutes are whole ones, rounded up.
func minutes(d time.Duration) int { return int((d + time.Minute - 1) / time.Minute) }

// waitUnfit says why an order cannot be planned for what it waits for; "" when it can. release is until when that keeps it, where
// the work it waits for has begun.
func (s *Sheet) waitUnfit(p *Plant, o *Order) (why string, release time.Time) {
	seen := map[int64]bool{o.ID: true}
	for at := o; at.After != 0; {
		next := orderOf(p, at.After)
		switch {
		case next == nil:
			return "", time.Time{}
		case seen[next.ID]:
			return fmt.Sprintf("it waits for itself by way of order %d; let one of them wait no longer", next.Number), time.Time{}
		case next.Begun:
			if at == o {
				return "", s.stopEnd(p, next).Add(o.Wait)
			}
			return "", time.Time{}
		}
		if unfit := s.unfit(next); unfit != "" {
			return fmt.Sprintf("it waits for order %d, which cannot be planned: %s", next.Number, unfit), time.Time{}
		}
		seen[next.ID], at = true, next
	}
	return "", time.Time{}
}

func orderOf(p *Plant, id int64) *Order {
	for k := range p.Orders {
		if p.Orders[k].ID == id {
			return &p.Orders[k]
		}
	}
	return nil
}

// stopEnd is when the stop of an order ends; the sheet's beginning where it is not on the sheet any more.
func (s *Sheet) stopEnd(p *Plant, o *Order) time.Time {
	for _, st := range p.Stops {
		if o.At != nil && (st.ID == o.At.StopID || st.Alias == o.At.StopID && st.Alias != 0) {
			return st.End
		}
	}
	return s.From
}

// end is when an order that stands somewhere is done.
func (s *Sheet) end(orderID int64, at Placements) (time.Time, bool) {
	p, ok := at[orderID]
	if !ok || p.Start.IsZero() {
		return time.Time{}, false
	}
	return p.Start.Add(s.Work(orderID)), true
}

// waits says how an order breaks what it waits for, or what waits for it; "" when it does not.
func (s *Sheet) waits(j int, at Placements) string {
	o := s.orders[j]
	me, stands := at[o.ID]
	for _, x := range s.Case.Precedences {
		switch {
		case x.After == j && stands:
			if why := s.tooSoon(x, me.Start, at); why != "" {
				return why
			}
		case x.Before == j:
			after := s.orders[x.After]
			p, there := at[after.ID]
			switch {
			case !there:
			case !stands:
				return fmt.Sprintf("order %s waits for it and stands in the stop %s; take that out first", s.Case.Jobs[x.After].ID, s.nameOf(p.StopID))
			case !me.Start.IsZero() && s.tooSoon(x, p.Start, at) != "":
				return fmt.Sprintf("order %s waits for it and begins at %s", s.Case.Jobs[x.After].ID, s.momentOf(x.After, p.Start))
			}
		}
	}
	return ""
}

// tooSoon says that work at a time is before what it waits for is over.
func (s *Sheet) tooSoon(x plan.Precedence, start time.Time, at Placements) string {
	before := s.orders[x.Before]
	if _, ok := at[before.ID]; !ok {
		return fmt.Sprintf("it waits for order %s, which stands in no stop", s.Case.Jobs[x.Before].ID)
	}
	end, ok := s.end(before.ID, at)
	if !ok || start.IsZero() || !start.Before(end.Add(time.Duration(x.MinLag)*time.Minute)) {
		return ""
	}
	return s.waitWords(x, end)
}

// momentOf writes when work on a job begins, in its plant's time.
func (s *Sheet) momentOf(job int, start time.Time) string {
	return s.moment(s.siteOf(job), s.floor(start))
}

func (s *Sheet) waitWords(x plan.Precedence, end time.Time) string {
	words := fmt.Sprintf("it waits for order %s, which ends at %s", s.Case.Jobs[x.Before].ID, s.moment(s.siteOf(x.Before), s.above(end)))
	if x.MinLag > 0 {
		words += ", and " + hours(x.MinLag) + " more"
	}
	return words
}

func (s *Sheet) nameOf(stopID int64) string {
	if w, ok := s.windowOf[stopID]; ok {
		return s.Case.Windows[w].ID
	}
	return "that has passed"
}

// addWaits lets the jobs of a part that may begin at another time keep what they wait for, in the part or elsewhere.
func (q *part) addWaits(at Placements) {
	place := map[int]int{}
	for i, j := range q.jobs {
		place[j] = i
	}
	for _, x := range q.s.Case.Precedences {
		before, first := place[x.Before]
		after, second := place[x.After]
		switch {
		case first && second:
			q.c.Precedences = append(q.c.Precedences, plan.Precedence{Before: before, After: after, MinLag: x.MinLag, MaxLag: -1})
		case second:
			if end, ok := q.s.end(q.s.orders[x.Before].ID, at); ok {
				q.c.Jobs[after].Release = max(q.c.Jobs[after].Release, q.s.above(end)+x.MinLag)
			}
		case first:
			if p, ok := at[q.s.orders[x.After].ID]; ok && !p.Start.IsZero() {
				if last := max(0, q.s.floor(p.Start)-x.MinLag); q.c.Jobs[before].Deadline < 0 || last < q.c.Jobs[before].Deadline {
					q.c.Jobs[before].Deadline = last
				}
			}
		}
	}
}
