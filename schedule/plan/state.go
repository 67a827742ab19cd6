package plan

import "slices"

// A placement is where a job stands.
type placement struct {
	option int // index into the task's options, -1 when left out
	start  int
	crew   []int // resources, in the order of the crew needs
	tools  []int // resources, in the order of the tool needs
}

// A visit is a job in a resource's or conveyor's line.
type visit struct{ start, end, site, job int }

// A state is a plan in the making: what stands where, and everything kept up to date so that the next step is judged quickly.
// Every state reached is legal but for locked jobs not placed yet (R1 to R14).
type state struct {
	p         *problem
	at        []placement
	lines     [][]visit // per resource, sorted by start
	conveyors [][]visit
	setups    []int32 // group × window: jobs with isolation there
	visits    []int32 // person × window: jobs of the person there
	used      []usage // per item
	cost      int     // of the whole plan (section 4 of the contract: placement, setup, callout, unplaced, change)
	fit       fitting
	// favour is what the search pretends to be given for free: a window's set-ups and call-outs; -1 when nothing.
	favour int
	// shut is a window the search keeps out of; -1 when none.
	shut int
	// share divides the set-up not yet paid for among the jobs of its group that still look for a place; nil when it is not shared.
	share []int32
}

// A usage is what an item's jobs take, by start.
type usage struct{ takes []take }

// A take is a quantity taken at a time.
type take struct{ time, quantity, job int }

// newState is the plan with every job left out.
func newState(p *problem) *state {
	s := &state{
		p: p, at: make([]placement, len(p.jobs)), lines: make([][]visit, p.resources), conveyors: make([][]visit, len(p.c.Conveyors)),
		setups: make([]int32, len(p.c.Groups)*p.windows), visits: make([]int32, len(p.callout)), used: make([]usage, len(p.items)),
		favour: -1, shut: -1,
	}
	for j := range p.jobs {
		s.at[j] = placement{option: -1, crew: make([]int, 0, p.jobs[j].heads), tools: make([]int, 0, len(p.jobs[j].tools))}
		s.cost += p.jobs[j].out
	}
	return s
}

// put places job j at pl, which must be legal.
func (s *state) put(j int, pl *placement) {
	t := &s.p.jobs[j]
	o := &t.options[pl.option]
	to := &s.at[j]
	to.option, to.start = pl.option, pl.start
	to.crew, to.tools = append(to.crew[:0], pl.crew...), append(to.tools[:0], pl.tools...)
	v := visit{pl.start, pl.start + t.duration, o.site, j}
	s.cost += o.cost - t.out
	if t.group >= 0 {
		n := &s.setups[t.group*s.p.windows+o.window]
		if *n == 0 {
			s.cost += t.setup
		}
		*n++
	}
	for _, r := range to.crew {
		n := &s.visits[r*s.p.windows+o.window]
		if *n == 0 {
			s.cost += s.p.callout[r*s.p.windows+o.window]
		}
		*n++
		s.lines[r] = inserted(s.lines[r], v)
	}
	for _, r := range to.tools {
		s.lines[r] = inserted(s.lines[r], v)
	}
	s.cost += missing(o, to.crew)
	s.conveyors[t.conveyor] = inserted(s.conveyors[t.conveyor], v)
	for _, n := range o.stock {
		u := &s.used[n.Item]
		i, _ := slices.BinarySearchFunc(u.takes, pl.start, func(x take, at int) int { return x.time - at })
		u.takes = slices.Insert(u.takes, i, take{pl.start, n.Quantity, j})
	}
}

// missing is the change cost of a crew in the former window: so much for each former person who is not in it.
func missing(o *option, crew []int) int {
	cost := 0
	if o.change > 0 {
		for _, f := range o.former {
			if !slices.Contains(crew, f) {
				cost += o.change
			}
		}
	}
	return cost
}

// inserted puts a visit into a line.
func inserted(line []visit, v visit) []visit {
	i, _ := slices.BinarySearchFunc(line, v.start, func(x visit, at int) int { return x.start - at })
	return slices.Insert(line, i, v)
}

// without takes a job's visit out of a line.
func without(line []visit, start, j int) []visit {
	i, _ := slices.BinarySearchFunc(line, start, func(x visit, at int) int { return x.start - at })
	for line[i].job != j {
		i++
	}
	return slices.Delete(line, i, i+1)
}

// take removes job j from the plan.
func (s *state) take(j int) {
	t, from := &s.p.jobs[j], &s.at[j]
	o := &t.options[from.option]
	s.cost -= o.cost - t.out + missing(o, from.crew)
	if t.group >= 0 {
		n := &s.setups[t.group*s.p.windows+o.window]
		if *n--; *n == 0 {
			s.cost -= t.setup
		}
	}
	for _, r := range from.crew {
		n := &s.visits[r*s.p.windows+o.window]
		if *n--; *n == 0 {
			s.cost -= s.p.callout[r*s.p.windows+o.window]
		}
		s.lines[r] = without(s.lines[r], from.start, j)
	}
	for _, r := range from.tools {
		s.lines[r] = without(s.lines[r], from.start, j)
	}
	s.conveyors[t.conveyor] = without(s.conveyors[t.conveyor], from.start, j)
	for _, n := range o.stock {
		u := &s.used[n.Item]
		i := slices.IndexFunc(u.takes, func(x take) bool { return x.job == j })
		u.takes = slices.Delete(u.takes, i, i+1)
	}
	from.option = -1
}

// placed says whether job j stands in a window.
func (s *state) placed(j int) bool { return s.at[j].option >= 0 }

// end is when a placed job ends.
func (s *state) end(j int) int { return s.at[j].start + s.p.jobs[j].duration }

// window is where a placed job stands.
func (s *state) window(j int) int { return s.p.jobs[j].options[s.at[j].option].window }

// bounds narrows the starts of an option by the jobs waited for and by stock (R13, R14); none when a job waited for is left out.
// Jobs that wait for j must be taken out before j is placed, as removal does.
func (s *state) bounds(t *task, o *option) (lo, hi int) {
	lo, hi = o.lo, o.hi
	for _, l := range t.before {
		if !s.placed(l.job) {
			return 1, 0
		}
		e := s.end(l.job)
		lo = max(lo, e+l.min)
		hi = min(hi, e+l.max)
	}
	for _, n := range o.stock {
		lo = max(lo, s.stockFrom(n))
	}
	return lo, hi
}

// stockFrom is the first time from which the item always holds so much more than its jobs take.
//
// The level after time t is arrivals until t less takes until t (R14). Going back in time from the last event, the answer is the
// event at which the level last falls short of the quantity, plus the wait until it no longer does.
func (s *state) stockFrom(n StockNeed) int {
	x, takes := &s.p.items[n.Item], s.used[n.Item].takes
	total := 0
	for i := range takes {
		total += takes[i].quantity
	}
	from := never
	i, k := len(x.times)-1, len(takes)-1
	for i >= 0 {
		// Between the later of the two events and from, the level is levels[i]-total.
		if x.levels[i]-total < n.Quantity {
			return from
		}
		if k >= 0 && takes[k].time >= x.times[i] {
			from = takes[k].time
			total -= takes[k].quantity
			k--
			for k >= 0 && takes[k].time == from {
				total -= takes[k].quantity
				k--
			}
		} else {
			from = x.times[i]
			i--
		}
	}
	return from
}

// clear is the first start from at on at which neither the conveyor nor an excluded job is in the way (R12).
func (s *state) clear(t *task, at int) int {
	for {
		was := at
		for i := range s.conveyors[t.conveyor] {
			if v := &s.conveyors[t.conveyor][i]; at < v.end && v.start < at+t.duration {
				at = v.end
			}
		}
		for _, k := range t.apart {
			if s.placed(k) && at < s.end(k) && s.at[k].start < at+t.duration {
				at = s.end(k)
			}
		}
		if at == was {
			return at
		}
	}
}

// next is the first start from at on at which the candidate can come to the option's site for the duration (R6 to R8, R10, R11).
func (s *state) next(k *candidate, site, at, duration int) int {
	line := s.lines[k.resource]
	for i := range k.starts {
		span := &k.starts[i]
		if at > span.To {
			continue
		}
		at = max(at, span.From)
		at = s.gap(line, site, at, duration)
		if at <= span.To {
			return at
		}
	}
	return never
}

// gap is the first start from at on that fits into a line with the ways before and after. Ways keep the triangle inequality, so only
// the neighbours matter.
func (s *state) gap(line []visit, site, at, duration int) int {
	lo, hi := 0, len(line)
	for lo < hi {
		mid := (lo + hi) / 2
		if line[mid].end <= at {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	if lo > 0 {
		at = max(at, line[lo-1].end+s.p.travel[line[lo-1].site][site])
	}
	for ; lo < len(line); lo++ {
		v := &line[lo]
		if at+duration+s.p.travel[site][v.site] <= v.start {
			break
		}
		at = max(at, v.end+s.p.travel[v.site][site])
	}
	return at
}

// snapshot copies the placements.
func (s *state) snapshot() []placement {
	out := make([]placement, len(s.at))
	for j := range s.at {
		out[j] = s.at[j].clone()
	}
	return out
}

// clone copies a placement.
func (p *placement) clone() placement {
	return placement{p.option, p.start, slices.Clone(p.crew), slices.Clone(p.tools)}
}

// same says whether two placements are one.
func (p *placement) same(q *placement) bool {
	return p.option == q.option && (p.option < 0 || p.start == q.start && slices.Equal(p.crew, q.crew) && slices.Equal(p.tools, q.tools))
}

// restore makes the state hold exactly the given placements.
func (s *state) restore(to []placement) {
	var back []int
	for j := range s.at {
		if s.at[j].same(&to[j]) {
			continue
		}
		if s.placed(j) {
			s.take(j)
		}
		if to[j].option >= 0 {
			back = append(back, j)
		}
	}
	for _, j := range back {
		s.put(j, &to[j])
	}
}
