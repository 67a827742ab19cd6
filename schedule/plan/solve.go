package plan

import (
	"context"
	"sync"
	"time"
)

// Settings say how long to search and whom to tell.
type Settings struct {
	// Seed sets the course of the search; the same seed takes the same course.
	Seed uint64
	// Steps ends the search after so many counted steps; no limit when 0.
	Steps int
	// Limit ends the search when Clock reaches it, unless it is 0 or Clock is nil.
	Limit time.Duration
	// Clock is the time used so far; the package has no clock of its own.
	Clock func() time.Duration
	// Workers is how many chains run at the same time; they never change the outcome. 2 when 0.
	Workers int
	// Tell hears of the first plan and of everything better, one call at a time; nil when nobody listens.
	Tell func(Progress)
	// Plain leaves out reasons and hints.
	Plain bool
}

// A solver is one run.
type solver struct {
	p    *problem
	set  Settings
	ctx  context.Context
	best []placement
	// cost includes mustCost for every job that has to be placed and is not.
	cost   int
	bound  int
	proven bool
	steps  int
	told   *Progress // the last that was told
	tables *tables   // of a small case
	lanes  []*lane
	dual   *dual // nil before it begins and once it has converged
	epochs int
	mu     sync.Mutex // guards broke
	broke  any        // what a chain panicked with
}

// Solve searches for the cheapest plan of the case until it is proven, the steps or the time are used up, or ctx is cancelled; then it
// gives the best plan found.
//
// The search is counted, not timed: with the same case, seed and steps it gives the same plan whatever the machine and the workers.
// ErrNoPlan when locked jobs could not all be placed and it is not proven that they cannot.
func Solve(ctx context.Context, c *Case, set Settings) (*Plan, error) {
	if set.Workers <= 0 {
		set.Workers = 2
	}
	s := &solver{p: newProblem(c), set: set, ctx: ctx}
	s.first()
	if s.cost >= mustCost && !s.locksFirst() {
		return s.refuse()
	}
	if !s.small() {
		s.large()
	}
	return s.finish()
}

// explaining is the share of the time, in parts of it, that a search which proves nothing leaves for reasons and hints.
const explaining = 15

// halt says whether the search has to end: time is up but for what the reasons need, or somebody cancelled.
func (s *solver) halt() bool {
	return s.over(s.set.Limit - s.set.Limit/explaining)
}

// late says whether everything has to end.
func (s *solver) late() bool { return s.over(s.set.Limit) }

// over says whether the clock has reached a limit or somebody cancelled.
func (s *solver) over(limit time.Duration) bool {
	return s.ctx.Err() != nil || s.set.Clock != nil && s.set.Limit > 0 && s.set.Clock() >= limit
}

// left is how many steps may still be made.
func (s *solver) left() int {
	if s.set.Steps == 0 {
		return never
	}
	return max(0, s.set.Steps-s.steps)
}

// first makes the first plan and the simplest bound.
func (s *solver) first() {
	g := greedy(s.p)
	s.cost, s.best = g.cost, g.snapshot()
	s.bound = trivialBound(s.p)
	s.tell()
}

// better takes a plan over when it is cheaper.
func (s *solver) better(cost int, at []placement) {
	if cost < s.cost {
		s.cost = cost
		s.best = make([]placement, len(at))
		for j := range at {
			s.best[j] = at[j].clone()
		}
		s.tell()
	}
}

// raise takes a bound over when it is higher. A bound may only be above the cost by a slip, so it is held there.
func (s *solver) raise(bound int) {
	if bound > s.bound {
		s.bound = bound
		s.tell()
	}
}

// tell reports the best plan and bound, once there is a plan with everything in it that has to be.
func (s *solver) tell() {
	if s.set.Tell == nil || s.cost >= mustCost {
		return
	}
	now := Progress{Cost: s.cost, Bound: min(s.bound, s.cost), Jobs: len(s.p.jobs)}
	for j := range s.best {
		if s.best[j].option >= 0 {
			now.Placed++
		}
	}
	if s.told == nil || now != *s.told {
		s.told = &now
		s.set.Tell(now)
	}
}

// Steps of the chain that goes ahead of the proof of a small case, at least and for each job beyond a few, and the size up to which a
// proof is tried.
const (
	warmSteps    = 1_500
	warmStepsJob = 400
	warmJobs     = 14
	tableJobs    = 64
)

// small tries to prove the optimum with tables; it says whether it did, or whether time is up.
func (s *solver) small() bool {
	if len(s.p.jobs) > tableJobs {
		return false
	}
	if len(s.p.jobs) > 0 {
		l := newLane(s.p, s.best, s.set.Seed, 0)
		l.run(min(warmSteps+warmStepsJob*max(0, len(s.p.jobs)-warmJobs), s.left()), s.halt)
		s.steps += l.steps
		s.better(l.bestCost, l.best)
	}
	nodes := never
	if s.tables = tabulate(s.p, nil, &nodes, s.halt); s.tables == nil {
		return s.halt()
	}
	parts := s.tables.parts(&nodes, s.halt)
	if parts == nil {
		return s.halt()
	}
	s.raise(leastOf(parts))
	cost, best, proven := search(parts, s.cost, false, &nodes, s.halt)
	if best != nil {
		s.better(cost, best)
	}
	if proven {
		s.proven = true
		s.bound = s.cost
		s.tell()
	}
	return proven || s.halt()
}

// laneCount is how many chains there are, however many workers run them.
const laneCount = 2

// epochSteps is how many steps each chain makes between two looks at the others.
const epochSteps = 200

// boundFrom is the epoch in which the bound begins, when there is a plan to measure its steps by.
const boundFrom = 8

// boundAhead is for how many epochs the bound is given twice its share, since its first rounds say most.
const boundAhead = 30

// boundWork is the work on the bound in an epoch: about a quarter of the whole.
func (s *solver) boundWork() int {
	work := min(max(40*len(s.p.jobs), 4_000), 80_000)
	if s.epochs < boundFrom+boundAhead {
		work *= 2
	}
	return work
}

// large searches with chains, and raises the bound beside them, until something ends it.
func (s *solver) large() {
	for i := range laneCount {
		s.lanes = append(s.lanes, newLane(s.p, s.best, s.set.Seed, uint64(i+1)))
	}
	for !s.halt() && s.left() > 0 && s.cost > s.bound {
		s.epoch()
	}
}

// epoch lets every chain make its steps and the bound its rounds, and takes over the best plan and bound.
func (s *solver) epoch() {
	if s.epochs++; s.epochs == boundFrom && s.cost < mustCost {
		s.dual = newDual(s.p, s.cost, s.halt)
	}
	n := min(epochSteps, (s.left()+laneCount-1)/laneCount)
	pieces, atOnce := len(s.lanes), s.set.Workers
	if s.dual != nil {
		// The bound comes beside the chains, but for a single worker.
		if pieces++; atOnce > 1 {
			atOnce++
		}
	}
	converged := false
	s.beside(pieces, atOnce, func(i int) {
		if i < len(s.lanes) {
			s.lanes[i].run(n, s.halt)
		} else {
			converged = !s.dual.advance(s.boundWork())
		}
	})
	s.steps += n * laneCount
	s.gather(converged)
}

// beside does so many pieces of work that touch nothing in common, some at a time.
func (s *solver) beside(pieces, atOnce int, do func(i int)) {
	slots := make(chan struct{}, atOnce)
	var all sync.WaitGroup
	for i := range pieces {
		all.Go(func() {
			defer s.catch()
			slots <- struct{}{}
			defer func() { <-slots }()
			do(i)
		})
	}
	all.Wait()
	if s.broke != nil {
		panic(s.broke)
	}
}

// catch keeps what a chain panicked with, so that it is raised again where Solve was called and the caller can deal with it.
func (s *solver) catch() {
	if r := recover(); r != nil {
		s.mu.Lock()
		s.broke = r
		s.mu.Unlock()
	}
}

// gather takes over what an epoch found.
func (s *solver) gather(converged bool) {
	for _, l := range s.lanes {
		s.better(l.bestCost, l.best)
	}
	for _, l := range s.lanes {
		if l.inCycle == l.cycle && l.bestCost > s.cost {
			l.adopt(s.cost, s.best)
		}
	}
	if s.dual != nil {
		s.raise(s.dual.bound())
		if converged {
			s.dual = nil
		}
	}
}
