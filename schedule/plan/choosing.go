package plan

import "slices"

// A choosing is one isolation group's side of the bound: windows are opened at the cost of a set-up, and each job goes to its cheapest
// open window or is left out. It is solved by branching on the windows (simple plant location; Efroymson and Ray 1966).
type choosing struct {
	p       *problem
	jobs    []int
	setup   int
	windows []int
	option  [][]int // per window and job: option, -1 when the job may not be there
	costs   [][]int // per window and job, in 1/scale
	// floor[i][a] is the cheapest that job a can be in the windows from the i-th on or left out.
	floor  [][]int
	order  []int
	picked []int // chosen option per job, -1 when left out
	best   int
	missed int // least bound of nodes not looked into
	nodes  int
	open   []int
	opened []int
	depths [][]int
}

// choosingNodes bounds the branching of one group; what is not looked into counts with its bound.
const choosingNodes = 5_000

// newChoosing prepares a group's jobs, all of one group or a single one without isolation.
func newChoosing(p *problem, jobs []int) *choosing {
	x := &choosing{p: p, jobs: jobs, setup: p.jobs[jobs[0]].setup * scale, picked: make([]int, len(jobs))}
	for _, j := range jobs {
		for k := range p.jobs[j].options {
			if w := p.jobs[j].options[k].window; !slices.Contains(x.windows, w) {
				x.windows = append(x.windows, w)
			}
		}
	}
	slices.Sort(x.windows)
	for _, w := range x.windows {
		row := make([]int, len(jobs))
		for a, j := range jobs {
			row[a] = slices.IndexFunc(p.jobs[j].options, func(o option) bool { return o.window == w })
		}
		x.option = append(x.option, row)
		x.costs = append(x.costs, make([]int, len(jobs)))
		x.order = append(x.order, len(x.order))
	}
	for range len(x.windows) + 1 {
		x.floor, x.depths = append(x.floor, make([]int, len(jobs))), append(x.depths, make([]int, len(jobs)))
	}
	return x
}

// solve gives the least cost of the group at the prices, or something below it; picked is the choice.
func (x *choosing) solve(prices [][]int) int {
	x.price(prices)
	start := x.depths[0]
	x.best = 0
	for a, j := range x.jobs {
		start[a] = x.p.jobs[j].out * scale
		x.best += start[a]
		x.picked[a] = -1
	}
	x.missed, x.nodes, x.open = never, 0, x.open[:0]
	x.opened = x.opened[:0]
	x.branch(0, 0)
	for a := range x.jobs {
		x.picked[a] = x.cheapest(a)
	}
	return min(x.best, x.missed)
}

// cheapest is the option of job a in the windows opened, -1 when leaving it out is cheaper.
func (x *choosing) cheapest(a int) int {
	best, cost := -1, x.p.jobs[x.jobs[a]].out*scale
	for _, i := range x.opened {
		if x.costs[i][a] < cost {
			best, cost = x.option[i][a], x.costs[i][a]
		}
	}
	return best
}

// price computes the costs of every place and sorts the windows, those that save most first.
func (x *choosing) price(prices [][]int) {
	saves := make([]int, len(x.windows))
	for i := range x.windows {
		for a, j := range x.jobs {
			t := &x.p.jobs[j]
			x.costs[i][a] = never
			if k := x.option[i][a]; k >= 0 {
				x.costs[i][a] = t.options[k].cost*scale + prices[j][k]
				saves[i] += max(0, t.out*scale-x.costs[i][a])
			}
		}
	}
	slices.Sort(x.order)
	slices.SortStableFunc(x.order, func(a, b int) int { return saves[b] - saves[a] })
	last := x.floor[len(x.windows)]
	for a := range x.jobs {
		last[a] = never
	}
	for i := len(x.windows) - 1; i >= 0; i-- {
		for a := range x.jobs {
			x.floor[i][a] = min(x.floor[i+1][a], x.costs[x.order[i]][a])
		}
	}
}

// branch decides on the i-th window in order; depths[i] holds each job's cost in the windows opened so far, spent their set-ups.
func (x *choosing) branch(i, spent int) {
	now := x.depths[i]
	// What the windows from i on could still save, less one set-up for the first of them.
	sum, save := spent, 0
	for a := range now {
		sum += now[a]
		save += max(0, now[a]-x.floor[i][a])
	}
	if sum < x.best {
		x.best = sum
		x.opened = append(x.opened[:0], x.open...)
	}
	if save <= x.setup || i == len(x.windows) {
		return
	}
	bound := sum - save + x.setup
	if bound >= x.best {
		return
	}
	if x.nodes++; x.nodes > choosingNodes {
		x.missed = min(x.missed, bound)
		return
	}
	row, next := x.costs[x.order[i]], x.depths[i+1]
	gain := 0
	for a := range now {
		next[a] = min(now[a], row[a])
		gain += now[a] - next[a]
	}
	if gain > x.setup {
		x.open = append(x.open, x.order[i])
		x.branch(i+1, spent+x.setup)
		x.open = x.open[:len(x.open)-1]
	}
	copy(x.depths[i+1], now)
	x.branch(i+1, spent)
}
