package plan

import (
	"math"
	"math/rand/v2"
	"slices"
)

// A lane is one chain of the remove-and-reinsert search: it takes some jobs out of its plan, puts them back, and keeps the outcome
// when it is cheaper, or with falling probability when it is dearer (simulated annealing; Shaw 1998, Ropke and Pisinger 2006).
//
// A lane depends on its seed and on the steps it has made, never on time or on what runs beside it.
type lane struct {
	p     *problem
	s     *state
	r     *repairer
	rng   *rand.Rand
	steps int

	bestCost int
	best     []placement

	cycle, inCycle int // length of the present cooling and steps made in it
	scale          float64

	jobs  []int // taken out or looking for a place in this step
	in    []bool
	saved []placement
	was   []int // jobs of saved
}

// firstCycle is the length of the first cooling in steps; each later one is twice as long, up to lastCycle.
const (
	firstCycle = 8_000
	lastCycle  = 256_000
)

// newLane starts a chain at a plan.
func newLane(p *problem, from []placement, seed, number uint64) *lane {
	l := &lane{p: p, s: newState(p), rng: rand.New(rand.NewPCG(seed, number)), cycle: firstCycle, in: make([]bool, len(p.jobs))}
	l.s.restore(from)
	l.r = newRepairer(l.s, l.rng)
	l.bestCost, l.best = l.s.cost, l.s.snapshot()
	l.scale = l.step0()
	return l
}

// step0 is the typical cost of a placed job, from which temperatures are taken.
func (l *lane) step0() float64 {
	cost, n := l.s.cost, 0
	for j := range l.p.jobs {
		if l.s.placed(j) {
			n++
		} else {
			cost -= l.p.jobs[j].out
		}
	}
	return max(1, float64(cost)/float64(max(1, n)))
}

// Temperatures as shares of the typical cost of a job, at the beginning and the end of a cooling.
const (
	hot  = 0.7
	cold = 0.01
)

// temperature falls geometrically from hot to cold over a cycle.
func (l *lane) temperature() float64 {
	x := float64(l.inCycle) / float64(l.cycle)
	return l.scale * hot * math.Pow(cold/hot, x)
}

// run makes up to n steps; halt is asked before each.
func (l *lane) run(n int, halt func() bool) {
	for i := 0; i < n && !halt(); i++ {
		l.step()
	}
}

// step removes, reinserts, and keeps or takes back.
func (l *lane) step() {
	l.steps++
	l.turn()
	before := l.s.cost
	l.choose()
	l.remove()
	l.s.favour, l.s.shut = l.favoured()
	l.r.pickBy = []rule{byRegret, byRegret, byLoss, byTurn}[l.rng.IntN(4)]
	l.r.noise = []int{0, 0, 50, 200}[l.rng.IntN(4)]
	l.r.repair(l.jobs, l.rng.IntN(2) == 0)
	l.s.favour, l.s.shut = -1, -1
	if l.s.cost > before && float64(l.s.cost-before) > -math.Log(1-l.rng.Float64())*l.temperature() {
		l.undo()
	} else if l.s.cost < l.bestCost {
		l.bestCost = l.s.cost
		l.keep()
	}
	for _, j := range l.jobs {
		l.in[j] = false
	}
}

// turn begins the next cooling when one is over, at the best plan.
func (l *lane) turn() {
	if l.inCycle++; l.inCycle <= l.cycle {
		return
	}
	l.inCycle = 0
	l.cycle = min(2*l.cycle, lastCycle)
	l.s.restore(l.best)
}

// keep copies the plan as the best one.
func (l *lane) keep() {
	for j := range l.best {
		from, to := &l.s.at[j], &l.best[j]
		to.option, to.start = from.option, from.start
		to.crew, to.tools = append(to.crew[:0], from.crew...), append(to.tools[:0], from.tools...)
	}
}

// adopt takes a plan over from another chain.
func (l *lane) adopt(cost int, from []placement) {
	l.s.restore(from)
	l.bestCost = cost
	l.keep()
}

// remove takes the chosen jobs out, with all that wait for them, and remembers where they stood.
func (l *lane) remove() {
	l.was = l.was[:0]
	for i := 0; i < len(l.jobs); i++ {
		t := &l.p.jobs[l.jobs[i]]
		for k := range t.after {
			l.add(t.after[k].job)
		}
		for k := range t.before {
			if len(l.jobs) < most && l.rng.IntN(2) == 0 {
				l.add(t.before[k].job)
			}
		}
	}
	for _, j := range l.jobs {
		if !l.s.placed(j) {
			continue
		}
		if len(l.saved) == len(l.was) {
			l.saved = append(l.saved, placement{})
		}
		from, to := &l.s.at[j], &l.saved[len(l.was)]
		to.option, to.start = from.option, from.start
		to.crew, to.tools = append(to.crew[:0], from.crew...), append(to.tools[:0], from.tools...)
		l.was = append(l.was, j)
		l.s.take(j)
	}
	// What is waited for goes first when jobs are placed in turn; the rest in a random order.
	l.rng.Shuffle(len(l.jobs), func(a, b int) { l.jobs[a], l.jobs[b] = l.jobs[b], l.jobs[a] })
}

// undo puts everything back.
func (l *lane) undo() {
	for _, j := range l.jobs {
		if l.s.placed(j) {
			l.s.take(j)
		}
	}
	for i, j := range l.was {
		l.s.put(j, &l.saved[i])
	}
}

// add lists a job once.
func (l *lane) add(j int) {
	if !l.in[j] && len(l.p.jobs[j].options) > 0 {
		l.in[j] = true
		l.jobs = append(l.jobs, j)
	}
}

// shuffled gives the list in a random order, without touching it.
func (l *lane) shuffled(list []int) []int {
	out := slices.Clone(list)
	l.rng.Shuffle(len(out), func(a, b int) { out[a], out[b] = out[b], out[a] })
	return out
}
