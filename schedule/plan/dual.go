package plan

import "math"

// A dual is the Lagrangian bound of a large case.
//
// Which job is in which window, y(j,w), is asked twice: the isolation groups choose windows for their jobs, paying placement, change,
// set-ups and leaving out; the windows choose jobs, paying call-outs and changed persons, and take only sets that can be packed into them.
// That both choose alike is dropped, and every pair (job, window) gets a price instead that the group pays and the window earns. For
// any prices lambda >= 0
//
//	bound(lambda) = sum over groups of  min over choices y of [placement, set-up, change, left out + sum of lambda y]
//	              + sum over windows of min over sets S of    [crews(S) - sum of lambda in S]
//
// is no more than the cost of any plan: Lagrangian decomposition (Guignard and Kim 1987). Both sides are solved as whole choices, so
// set-ups are paid in full and hours of persons, tools and conveyors count in whole jobs, not in minutes. Precedences count by the
// windows they rule out and stock by what comes before a window, each such row with a price of its own. What is dropped is that windows
// disturb each other. The prices are moved by a subgradient method with smoothed
// directions (Held, Wolfe and Crowder 1974; Camerini, Fratta and Maffioli 1975). All bounds are computed in whole numbers, so no
// rounding can lift one above the truth.
type dual struct {
	p       *problem
	prices  [][]int // per job and option, in 1/scale of a cost unit
	groups  []*choosing
	windows []*pricing
	rows    []row
	asked   [][]int // what groups pay per job and option: the price, and that of the rows
	placed  []int   // option the groups chose last
	best    int     // highest bound so far, in 1/scale
	bestAt  [][]int
	pace    float64 // share of the distance to the target taken in a step
	stuck   int
	course  [][]float64 // smoothed direction
	wanted  [][]int8    // per job and option: 1 when only the group chose it, -1 when only the window did
	target  int
	halt    func() bool
	next    int // of the evaluation going on: who is asked next
	value   int // and what has been summed up
}

// scale is how finely prices are told apart.
const scale = 1 << 10

// newDual starts without prices; cost is that of a known plan, from which the first steps are measured.
func newDual(p *problem, cost int, halt func() bool) *dual {
	d := &dual{p: p, best: math.MinInt, pace: startPace, target: cost * scale, halt: halt, rows: rows(p), placed: make([]int, len(p.jobs))}
	for j := range p.jobs {
		n := len(p.jobs[j].options)
		d.prices, d.bestAt = append(d.prices, make([]int, n)), append(d.bestAt, make([]int, n))
		d.asked = append(d.asked, make([]int, n))
		d.course, d.wanted = append(d.course, make([]float64, n)), append(d.wanted, make([]int8, n))
	}
	for g := range p.c.Groups {
		if len(p.ofGroup[g]) > 0 {
			d.groups = append(d.groups, newChoosing(p, p.ofGroup[g]))
		}
	}
	for j := range p.jobs {
		if p.jobs[j].group < 0 {
			d.groups = append(d.groups, newChoosing(p, []int{j}))
		}
	}
	for w := range p.c.Windows {
		if len(p.ofWindow[w]) > 0 {
			d.windows = append(d.windows, newPricing(p, w, halt))
		}
	}
	return d
}

// bound is the highest bound found so far, rounded up since costs are whole.
func (d *dual) bound() int {
	if d.best == math.MinInt {
		return 0
	}
	return ceilDiv(d.best, scale)
}

// ceilDiv is a/b rounded up, b > 0.
func ceilDiv(a, b int) int {
	q := a / b
	if a%b > 0 {
		q++
	}
	return q
}

// The pace is halved after patience rounds that gained next to nothing; below slowest the method has converged.
const (
	startPace = 0.05
	patience  = 30
	slowest   = 1.0 / 4096
	smooth    = 0.7
)

// advance goes on with the evaluation of the present prices for so many units of work, and from one round to the next; false when it
// was stopped or nothing is left to gain. Work is counted, not timed, so that the course does not depend on the machine.
func (d *dual) advance(work int) bool {
	for work > 0 {
		switch i := d.next; {
		case i == 0:
			d.start()
		case i <= len(d.groups):
			work -= d.askGroup(d.groups[i-1])
		case i <= len(d.groups)+len(d.windows):
			work -= d.askWindow(d.windows[i-1-len(d.groups)])
		default:
			d.next = 0
			if !d.close() {
				return false
			}
			continue
		}
		// What was cut short by a halt must not be summed up to a bound.
		if d.halt() {
			return false
		}
		d.next++
	}
	return true
}

// start begins a round: what groups are asked for is the price and that of the rows.
func (d *dual) start() {
	d.value = 0
	for j := range d.wanted {
		clear(d.wanted[j])
		copy(d.asked[j], d.prices[j])
	}
	for i := range d.rows {
		d.value += d.rows[i].charge(d.asked)
	}
}

// askGroup lets a group choose; it returns the work that took.
func (d *dual) askGroup(g *choosing) int {
	d.value += g.solve(d.asked)
	for i, k := range g.picked {
		d.placed[g.jobs[i]] = k
		if k >= 0 {
			d.wanted[g.jobs[i]][k]++
		}
	}
	return 1 + g.nodes/16
}

// askWindow lets a window choose; it returns the work that took.
func (d *dual) askWindow(w *pricing) int {
	d.value -= w.solve(d.prices)
	for _, i := range w.picked {
		d.wanted[w.jobs[i]][w.options[i]]--
	}
	return 1 + w.nodes/8 + w.packed
}

// close ends a round: it keeps the bound and moves the prices; false when nothing is left to gain.
func (d *dual) close() bool {
	value := d.value
	if value > d.best {
		if value-d.best > d.best/20_000 {
			d.stuck = 0
		}
		d.best = value
		for j := range d.prices {
			copy(d.bestAt[j], d.prices[j])
		}
		for i := range d.rows {
			d.rows[i].kept = d.rows[i].price
		}
	}
	if d.stuck++; d.stuck > patience {
		d.pace /= 2
		d.stuck = 0
		d.goBack()
	}
	return d.move(value) && d.pace > slowest
}

// goBack takes the prices of the highest bound again.
func (d *dual) goBack() {
	for j := range d.prices {
		copy(d.prices[j], d.bestAt[j])
		clear(d.course[j])
	}
	for i := range d.rows {
		d.rows[i].price, d.rows[i].course = d.rows[i].kept, 0
	}
}

// move goes along the smoothed direction: a place that only the group wants becomes dearer, one that only the window wants cheaper.
func (d *dual) move(value int) bool {
	norm := 0.0
	for j := range d.course {
		for k := range d.course[j] {
			lack := float64(d.wanted[j][k])
			if lack < 0 && d.prices[j][k] == 0 {
				lack = 0
			}
			c := smooth*d.course[j][k] + (1-smooth)*lack
			d.course[j][k] = c
			norm += c * c
		}
	}
	for i := range d.rows {
		r := &d.rows[i]
		r.course = smooth*r.course + (1-smooth)*r.lack(d.placed)
		norm += r.course * r.course
	}
	if norm < 1e-9 {
		return false
	}
	step := d.pace * max(float64(d.target-value), float64(d.target)/1000) / norm
	for j := range d.prices {
		for k := range d.prices[j] {
			d.prices[j][k] = max(0, d.prices[j][k]+int(math.Round(step*d.course[j][k])))
		}
	}
	for i := range d.rows {
		r := &d.rows[i]
		r.price = max(0, r.price+int(math.Round(step*r.course/float64(r.most))))
	}
	return true
}
