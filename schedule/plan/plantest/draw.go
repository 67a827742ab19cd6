package plantest

import (
	"fmt"
	"math/rand/v2"

	"carryside/schedule/plan"
)

// A Size says how large a case Draw draws.
type Size struct {
	Sites, Windows, Persons, Tools, Jobs int
	// Minute is what a unit of time is multiplied by; 1 makes windows of a few minutes that can be enumerated.
	Minute int
}

// Draw draws a case with a bit of everything: travel, isolation, call-outs, stock, lags, exclusions, locks, a published plan.
func Draw(rng *rand.Rand, s Size) *plan.Case {
	c := &plan.Case{ID: "drawn", Qualifications: []string{"splice", "help"}, Classes: []string{"press"}}
	m := s.Minute
	c.Horizon = (8*s.Windows/max(1, s.Sites) + 40) * m
	drawPlaces(rng, c, s, m)
	drawWindows(rng, c, s, m)
	drawPeople(rng, c, s, m)
	c.Stock = []plan.Item{{ID: "M1", OnHand: rng.IntN(3), Arrivals: []plan.Arrival{{Time: rng.IntN(20) * m, Quantity: rng.IntN(3)}}}}
	for i := range s.Jobs {
		c.Jobs = append(c.Jobs, drawJob(rng, c, i, m))
	}
	drawTies(rng, c, m)
	drawExpiry(rng, c)
	return c
}

// drawExpiry lets some of what is on hand expire at the end of a window, in half of the cases; not while another window lasts, since
// the planner then takes all of that window's starts to be before it.
func drawExpiry(rng *rand.Rand, c *plan.Case) {
	x := &c.Stock[0]
	if x.OnHand == 0 || len(c.Windows) == 0 || rng.IntN(2) == 0 {
		return
	}
	at := c.Windows[rng.IntN(len(c.Windows))].End
	for w := range c.Windows {
		if c.Windows[w].Start < at && at < c.Windows[w].End {
			return
		}
	}
	x.Expire = []plan.Arrival{{Time: at, Quantity: 1 + rng.IntN(x.OnHand)}}
}

// drawPlaces draws sites on a line, so that ways keep the triangle inequality, with a group of two conveyors and one of one at each.
func drawPlaces(rng *rand.Rand, c *plan.Case, s Size, m int) {
	at := make([]int, s.Sites)
	for i := range s.Sites {
		c.Sites = append(c.Sites, fmt.Sprintf("S%d", i+1))
		at[i] = i * (1 + rng.IntN(2)) * m
		for range 2 {
			c.Groups = append(c.Groups, plan.Group{
				ID: fmt.Sprintf("G%d", len(c.Groups)+1), Site: i, Isolate: rng.IntN(2) * m, Restart: rng.IntN(2) * m, Setup: rng.IntN(4) * 10,
			})
		}
		for k := range 3 {
			c.Conveyors = append(c.Conveyors, plan.Conveyor{ID: fmt.Sprintf("C%d", len(c.Conveyors)+1), Group: 2*i + k/2})
		}
	}
	for a := range at {
		row := make([]int, s.Sites)
		for b := range at {
			row[b] = max(at[a]-at[b], at[b]-at[a])
		}
		c.Travel = append(c.Travel, row)
	}
}

// drawWindows draws windows of all conveyors of a site, one after another there.
func drawWindows(rng *rand.Rand, c *plan.Case, s Size, m int) {
	next := make([]int, s.Sites)
	for i := range s.Windows {
		site := i % s.Sites
		start := next[site] + rng.IntN(4)*m
		end := start + (4+rng.IntN(4))*m
		next[site] = end
		c.Windows = append(c.Windows, plan.Window{ID: fmt.Sprintf("W%d", i+1), Site: site, Start: start, End: end, Scope: []int{3 * site, 3*site + 1, 3*site + 2}})
	}
}

// drawPeople draws persons and presses.
func drawPeople(rng *rand.Rand, c *plan.Case, s Size, m int) {
	for i := range s.Persons {
		t := plan.Technician{ID: fmt.Sprintf("T%d", i+1), Home: rng.IntN(s.Sites), Callout: rng.IntN(3) * 15, Available: drawSpans(rng, c, m)}
		t.Qualifications = append(t.Qualifications, plan.Qualification{Name: i % 2, Span: plan.Span{From: 0, To: c.Horizon}})
		if rng.IntN(2) == 0 {
			t.Qualifications = append(t.Qualifications, plan.Qualification{Name: 1 - i%2, Span: plan.Span{From: 0, To: (5 + rng.IntN(30)) * m}})
		}
		if rng.IntN(3) == 0 {
			t.CalloutWindows = map[int]int{rng.IntN(s.Windows): rng.IntN(3) * 20}
		}
		c.Technicians = append(c.Technicians, t)
	}
	for i := range s.Tools {
		c.Tools = append(c.Tools, plan.Tool{
			ID: fmt.Sprintf("P%d", i+1), WidthMM: 800 + 400*rng.IntN(2), Site: rng.IntN(s.Sites), Mobile: rng.IntN(4) > 0, Available: drawSpans(rng, c, m),
		})
	}
}

// drawSpans draws availability: mostly all the time, else with a gap.
func drawSpans(rng *rand.Rand, c *plan.Case, m int) []plan.Span {
	if rng.IntN(3) > 0 {
		return []plan.Span{{From: 0, To: c.Horizon}}
	}
	at := (3 + rng.IntN(12)) * m
	return []plan.Span{{From: 0, To: at}, {From: at + rng.IntN(5)*m, To: c.Horizon}}
}

// drawJob draws a job.
func drawJob(rng *rand.Rand, c *plan.Case, i, m int) plan.Job {
	j := plan.Job{
		ID: fmt.Sprintf("J%d", i+1), Conveyor: rng.IntN(len(c.Conveyors)), Duration: (1 + rng.IntN(3)) * m, Deadline: -1,
		Isolation: rng.IntN(4) > 0, Unplaced: rng.IntN(200), Crew: []plan.CrewNeed{{Qualification: rng.IntN(2), Number: 1}},
	}
	if rng.IntN(4) == 0 {
		j.Crew = append(j.Crew, plan.CrewNeed{Qualification: 1 - j.Crew[0].Qualification, Number: 1})
	}
	if rng.IntN(2) == 0 {
		j.Tools = []plan.ToolNeed{{Class: 0, WidthMM: 800 + 400*rng.IntN(2)}}
	}
	if rng.IntN(3) == 0 {
		j.Stock = []plan.StockNeed{{Item: 0, Quantity: 1 + rng.IntN(2)}}
	}
	if rng.IntN(5) == 0 {
		j.Release = rng.IntN(10) * m
	}
	if rng.IntN(5) == 0 {
		j.Deadline = (8 + rng.IntN(20)) * m
	}
	site := c.Groups[c.Conveyors[j.Conveyor].Group].Site
	for w := range c.Windows {
		if c.Windows[w].Site == site && rng.IntN(4) > 0 {
			j.Options = append(j.Options, plan.Option{Window: w, Cost: rng.IntN(60)})
		}
	}
	if rng.IntN(4) == 0 {
		j.Previous = &plan.Previous{
			Window: rng.IntN(len(c.Windows)+1) - 1, Technicians: []int{rng.IntN(len(c.Technicians)+1) - 1}, ChangeWindow: rng.IntN(30), ChangeTech: rng.IntN(20),
		}
	}
	if rng.IntN(10) == 0 && len(j.Options) > 0 {
		j.Locked = &plan.Lock{Window: j.Options[rng.IntN(len(j.Options))].Window, Start: -1}
		if rng.IntN(2) == 0 {
			j.Locked.Technicians = []int{rng.IntN(len(c.Technicians))}
		}
		if rng.IntN(3) == 0 {
			j.Locked.Start = c.Windows[j.Locked.Window].Start + rng.IntN(3)*m
		}
	}
	return j
}

// drawTies draws exclusions and precedences, the latter always from an earlier job to a later one.
func drawTies(rng *rand.Rand, c *plan.Case, m int) {
	for b := 1; b < len(c.Jobs); b++ {
		a := rng.IntN(b)
		switch rng.IntN(6) {
		case 0:
			c.Exclusions = append(c.Exclusions, [2]int{a, b})
		case 1:
			p := plan.Precedence{Before: a, After: b, MinLag: rng.IntN(3) * m, MaxLag: -1}
			if rng.IntN(2) == 0 {
				p.MaxLag = p.MinLag + rng.IntN(10)*m
			}
			c.Precedences = append(c.Precedences, p)
		}
	}
}
