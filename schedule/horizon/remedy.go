package horizon

import (
	"context"
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/schedule/plan"
)

// This file finds what would make room for an order in a stop that has none. Everything it names was tried in the case of that stop.

// remedy is a change of a part that may make room, by a size: minutes, people, days or a quantity.
type remedy struct {
	most   int // the largest size that is tried
	change func(c *plan.Case, size int)
	words  func(size int) string
}

// help is what was tried and makes room: a longer stop, more people, more kit, stock in time or a later latest date, each by itself; where
// none does by itself, two of them together.
func (q *part) help(ctx context.Context) []string {
	var out []string
	all := q.remedies()
	for _, r := range all {
		if size := q.least(ctx, r); size > 0 {
			out = append(out, r.words(size))
		}
	}
	if len(out) == 0 {
		out = q.pair(ctx, all)
	}
	return said(out)
}

// pair is the first two remedies that make room together.
func (q *part) pair(ctx context.Context, all []remedy) []string {
	for i, a := range all {
		for _, b := range all[i+1:] {
			if ctx.Err() != nil {
				return nil
			}
			with := func(first, second int) func(c *plan.Case) {
				return func(c *plan.Case) { a.change(c, first); b.change(c, second) }
			}
			if !q.fits(ctx, with(a.most, b.most)) {
				continue
			}
			first := leastSize(a.most, func(n int) bool { return q.fits(ctx, with(n, b.most)) })
			second := leastSize(b.most, func(n int) bool { return q.fits(ctx, with(first, n)) })
			return []string{a.words(first) + ", together with " + b.words(second)}
		}
	}
	return nil
}

// least is the least size of a remedy that makes room by itself, as far as ctx lets it be found; 0 when none does.
func (q *part) least(ctx context.Context, r remedy) int {
	fits := func(size int) bool { return q.fits(ctx, func(c *plan.Case) { r.change(c, size) }) }
	if !fits(r.most) {
		return 0
	}
	return leastSize(r.most, fits)
}

// leastSize halves down to the least size that fits, most being one.
func leastSize(most int, fits func(int) bool) int {
	low, high := 0, most
	for high-low > 1 {
		if mid := (low + high) / 2; fits(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high
}

// mostMore is the longest lengthening of a stop that is tried, in minutes.
const mostMore = 24 * 60

// remedies are what may make room for the job that is asked about, the last of the part.
func (q *part) remedies() []remedy {
	w, free := q.c.Windows[0], q.c.Jobs[len(q.c.Jobs)-1]
	out := []remedy{{mostMore, func(c *plan.Case, minutes int) {
		c.Windows = []plan.Window{c.Windows[0]}
		c.Windows[0].End += minutes
		c.Horizon = max(c.Horizon, c.Windows[0].End)
	}, func(minutes int) string {
		return fmt.Sprintf("%d min more in window %s, until %s", minutes, w.ID, q.c.Moment(w.Site, w.End+minutes))
	}}}
	for _, n := range free.Crew {
		out = append(out, q.morePeople(n))
	}
	out = append(out, q.calibrated(free)...)
	for _, n := range free.Tools {
		out = append(out, q.moreKit(n))
	}
	for _, n := range free.Stock {
		out = append(out, q.moreStock(n))
	}
	// Where another order waits for this one it has to be over by then: that is no date anybody puts off.
	if j := q.jobs[len(q.jobs)-1]; free.Deadline >= 0 && free.Deadline < w.End && free.Deadline == q.s.Case.Jobs[j].Deadline {
		out = append(out, q.putOff(q.s.orders[j].LatestDay))
	}
	return out
}

// morePeople are people who hold a ticket and are there at any time.
func (q *part) morePeople(n plan.CrewNeed) remedy {
	return remedy{n.Number, func(c *plan.Case, people int) {
		c.Technicians = slices.Clone(c.Technicians)
		for range people {
			c.Technicians = append(c.Technicians, q.spare(n.Qualification))
		}
	}, func(people int) string {
		if people == 1 {
			return "one more person who may work as " + q.c.Qualifications[n.Qualification]
		}
		return fmt.Sprintf("%d more people who may work as %s", people, q.c.Qualifications[n.Qualification])
	}}
}

// spare is a person who is there at any time.
func (q *part) spare(ticket int) plan.Technician {
	all := plan.Span{From: 0, To: q.c.Horizon}
	return plan.Technician{ID: "spare", Home: q.c.Windows[0].Site, Qualifications: []plan.Qualification{{Name: ticket, Span: all}}, Available: []plan.Span{all}}
}

// calibrated are pieces of kit that may be used again once what bars them is settled.
func (q *part) calibrated(free plan.Job) []remedy {
	var out []remedy
	for k := range q.c.Tools {
		t := &q.c.Tools[k]
		if t.Barred == "" || !slices.ContainsFunc(free.Tools, func(n plan.ToolNeed) bool { return n.Class == t.Class }) {
			continue
		}
		out = append(out, remedy{1, func(c *plan.Case, _ int) {
			c.Tools = slices.Clone(c.Tools)
			c.Tools[k].Available = []plan.Span{{From: 0, To: c.Horizon}}
		}, func(int) string { return t.ID + ": " + t.Barred }})
	}
	return out
}

// moreKit is one more piece of kit, there at any time.
func (q *part) moreKit(n plan.ToolNeed) remedy {
	return remedy{1, func(c *plan.Case, _ int) {
		c.Tools = append(slices.Clone(c.Tools), plan.Tool{Class: n.Class, WidthMM: n.WidthMM, HeatC: n.HeatC, Site: c.Windows[0].Site, Available: []plan.Span{{From: 0, To: c.Horizon}}})
	}, func(int) string {
		more := "one more " + q.c.Classes[n.Class]
		if n.WidthMM > 0 {
			more += fmt.Sprintf(" of %d mm or more", n.WidthMM)
		}
		if n.HeatC > 0 {
			more += fmt.Sprintf(" that reaches %d °C", n.HeatC)
		}
		return more
	}}
}

// moreStock is more of an item, there and good when the stop begins.
func (q *part) moreStock(n plan.StockNeed) remedy {
	w := q.c.Windows[0]
	return remedy{n.Quantity, func(c *plan.Case, quantity int) {
		c.Stock = slices.Clone(c.Stock)
		c.Stock[n.Item].OnHand += quantity
	}, func(quantity int) string {
		return fmt.Sprintf("%s of stock %s by %s", q.s.amount(n.Item, quantity), q.c.Stock[n.Item].ID, q.c.Moment(w.Site, w.Start))
	}}
}

// putOff is a later latest date, by days.
func (q *part) putOff(latest assets.Day) remedy {
	w := q.c.Windows[0]
	end := func(days int) int { return q.s.lastMinute(latest.AddDays(days), q.s.plants[w.Site].Zone) }
	most := 1
	for end(most) < w.End {
		most++
	}
	return remedy{most, func(c *plan.Case, days int) {
		c.Jobs = slices.Clone(c.Jobs)
		c.Jobs[len(c.Jobs)-1].Deadline = end(days)
	}, func(days int) string {
		return "its latest date put off to " + dayWords(latest.AddDays(days)) + " or later, with a reason"
	}}
}

// fits tells whether everything stands in the part once it is changed, as the others stand or, until ctx ends, set anew.
func (q *part) fits(ctx context.Context, change func(c *plan.Case)) bool {
	holds := func(ctx context.Context, of *part) bool {
		c := *of.c
		change(&c)
		found, err := plan.Solve(ctx, &c, plan.Settings{Seed: 1, Steps: partSteps, Workers: 1, Plain: true})
		return err == nil && found.Status != plan.Infeasible && len(found.LeftOut) == 0
	}
	return holds(context.Background(), q) || q.anew != nil && ctx.Err() == nil && holds(ctx, q.anew)
}
