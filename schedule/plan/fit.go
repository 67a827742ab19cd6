package plan

// A fitting is scratch room of try, kept so that trying allocates nothing.
type fitting struct {
	best placement
	crew []int
	kit  []int
	free [][]*candidate // per crew need: who is free now
	pick []int
	low  int
	// nodes counts how often a crew was extended, so that huge crews are not enumerated to the end.
	nodes int
}

// crewNodes bounds the enumeration of one crew at one start.
const crewNodes = 400

// pinned is taken off the price of a locked person or tool, so that they are always chosen first.
const pinned = never / (1 << 20)

// try looks for the cheapest place of job j in its option k and gives what the plan's cost would rise by against leaving it out; the
// place itself is in s.fit.best. It answers never when there is no place. Of starts that cost the same the first is taken.
func (s *state) try(j, k int) int {
	t := &s.p.jobs[j]
	o := &t.options[k]
	if o.window == s.shut {
		return never
	}
	lo, hi := s.bounds(t, o)
	best, floor := never, s.floor(t, o)
	for at := lo; at <= hi; {
		if at = s.clear(t, at); at > hi {
			break
		}
		ahead := never
		kit := s.kit(t, o, at, &ahead)
		crew := s.available(t, o, at, &ahead)
		if kit && crew {
			if price, full := s.crew(t, o); full && price < best {
				best = price
				s.fit.best.option, s.fit.best.start = k, at
				s.fit.best.crew = append(s.fit.best.crew[:0], s.fit.crew...)
				s.fit.best.tools = append(s.fit.best.tools[:0], s.fit.kit...)
				if best>>priceShift <= floor {
					break
				}
			}
		}
		if ahead >= never {
			break
		}
		at = max(at+1, ahead)
	}
	if best >= never {
		return never
	}
	return o.cost - t.out + s.setup(t, o) + best>>priceShift
}

// setup is what isolating for the job in the option would add.
func (s *state) setup(t *task, o *option) int {
	if t.group < 0 || s.setups[t.group*s.p.windows+o.window] > 0 || o.window == s.favour {
		return 0
	}
	if s.share != nil {
		return t.setup / max(1, int(s.share[t.group]))
	}
	return t.setup
}

// priceShift leaves room below a crew's cost for the preference among crews that cost the same.
const priceShift = 12

// price is what a person adds to the cost of the option, with a preference for persons wanted by fewer jobs.
func (s *state) price(o *option, k *candidate) int {
	cost := -k.former * o.change
	if at := k.resource*s.p.windows + o.window; s.visits[at] == 0 && o.window != s.favour {
		cost += s.p.callout[at]
	}
	cost = cost<<priceShift + min(s.p.scarce[k.resource]/8, 1<<(priceShift-4)-1)
	if k.locked {
		cost -= pinned
	}
	return cost
}

// floor is a cost no crew of the option can be below at present: for every need the cheapest persons, free or not, each counted once a need.
func (s *state) floor(t *task, o *option) int {
	sum := 0
	if o.change > 0 {
		sum = len(o.former) * o.change
		for n := range o.people {
			for i := range o.people[n] {
				sum -= o.people[n][i].former * o.change
			}
		}
	}
	for n := range o.people {
		if t.needs[n].Number == 1 {
			sum += s.cheapest(o, o.people[n])
		}
	}
	return max(0, sum)
}

// cheapest is the least call-out among persons who could come.
func (s *state) cheapest(o *option, list []candidate) int {
	least := never
	if o.window == s.favour {
		return 0
	}
	for i := range list {
		at := list[i].resource*s.p.windows + o.window
		if s.p.callout[at] == 0 || s.visits[at] > 0 {
			return 0
		}
		least = min(least, s.p.callout[at])
	}
	return least
}

// atLeast is a price that try cannot be below, found without looking at anybody's day.
func (s *state) atLeast(t *task, o *option) int {
	return o.cost - t.out + s.setup(t, o) + s.floor(t, o)
}

// kit chooses a tool for every need at the start, narrowest first; ahead is lowered to the next start at which one more is free.
func (s *state) kit(t *task, o *option, at int, ahead *int) bool {
	s.fit.kit = s.fit.kit[:0]
	all := true
	for n := range o.tools {
		found := -1
		for i := range o.tools[n] {
			k := &o.tools[n][i]
			switch when := s.next(k, o.site, at, t.duration); {
			case when > at:
				*ahead = min(*ahead, when)
			case contains(s.fit.kit, k.resource):
			case found < 0 || k.locked:
				found = k.resource
			}
		}
		if found < 0 {
			all = false
			continue
		}
		s.fit.kit = append(s.fit.kit, found)
	}
	if all {
		return s.lockedKit(t)
	}
	return s.rematch(t, o, at)
}

// lockedKit says whether every locked tool was chosen.
func (s *state) lockedKit(t *task) bool {
	if t.locked != nil {
		for _, k := range t.locked.Tools {
			if !contains(s.fit.kit, s.p.people+k) {
				return false
			}
		}
	}
	return true
}

// rematch chooses tools by trying all ways where two needs want the same tools and the first choice left one without.
func (s *state) rematch(t *task, o *option, at int) bool {
	if len(o.tools) < 2 {
		return false
	}
	s.fit.kit = s.fit.kit[:0]
	return s.rematchFrom(t, o, at, 0)
}

// rematchFrom extends a choice of tools by need n.
func (s *state) rematchFrom(t *task, o *option, at, n int) bool {
	if n == len(o.tools) {
		return s.lockedKit(t)
	}
	for i := range o.tools[n] {
		k := &o.tools[n][i]
		if contains(s.fit.kit, k.resource) || s.next(k, o.site, at, t.duration) > at {
			continue
		}
		s.fit.kit = append(s.fit.kit, k.resource)
		if s.rematchFrom(t, o, at, n+1) {
			return true
		}
		s.fit.kit = s.fit.kit[:len(s.fit.kit)-1]
	}
	return false
}

// available lists who is free at the start for every crew need, cheapest first; false when somebody is lacking.
func (s *state) available(t *task, o *option, at int, ahead *int) bool {
	f := &s.fit
	for len(f.free) < len(o.people) {
		f.free = append(f.free, nil)
	}
	all := true
	for n := range o.people {
		f.free[n] = f.free[n][:0]
		for i := range o.people[n] {
			k := &o.people[n][i]
			if when := s.next(k, o.site, at, t.duration); when > at {
				*ahead = min(*ahead, when)
				continue
			}
			f.free[n] = append(f.free[n], k)
		}
		if len(f.free[n]) < t.needs[n].Number {
			all = false
		}
	}
	return all
}

// crew chooses the cheapest crew among who is free; its price carries the preference in its low bits.
func (s *state) crew(t *task, o *option) (price int, full bool) {
	f := &s.fit
	f.crew, f.pick = f.crew[:0], f.pick[:0]
	base := 0
	if o.change > 0 {
		base = len(o.former) * o.change << priceShift
	}
	if t.heads == 0 {
		return base, t.locked == nil || len(t.locked.Technicians) == 0
	}
	for n := range o.people {
		s.sortFree(o, n)
	}
	f.low, f.nodes = never, 0
	s.crewFrom(t, o, 0, 0, 0, base)
	if f.low >= never || !s.lockedCrew(t) {
		return never, false
	}
	if t.locked != nil {
		f.low += pinned * len(t.locked.Technicians)
	}
	return max(f.low, 0), true
}

// lockedCrew says whether every locked person was chosen.
func (s *state) lockedCrew(t *task) bool {
	if t.locked != nil {
		for _, k := range t.locked.Technicians {
			if !contains(s.fit.crew, k) {
				return false
			}
		}
	}
	return true
}

// sortFree sorts who is free for need n by price; the lists are short, so insertion does.
func (s *state) sortFree(o *option, n int) {
	list := s.fit.free[n]
	for i := 1; i < len(list); i++ {
		k := list[i]
		price := s.price(o, k)
		h := i
		for ; h > 0 && s.price(o, list[h-1]) > price; h-- {
			list[h] = list[h-1]
		}
		list[h] = k
	}
}

// crewFrom extends the crew in pick by the head-th person of need n, taken from place from of the free list on.
func (s *state) crewFrom(t *task, o *option, n, head, from, price int) {
	f := &s.fit
	if n == len(o.people) {
		if price < f.low {
			f.low = price
			f.crew = append(f.crew[:0], f.pick...)
		}
		return
	}
	if head == t.needs[n].Number {
		s.crewFrom(t, o, n+1, 0, 0, price)
		return
	}
	for i := from; i < len(f.free[n]); i++ {
		if f.nodes++; f.nodes > crewNodes && f.low < never || f.nodes > 16*crewNodes {
			return
		}
		k := f.free[n][i]
		if contains(f.pick, k.resource) {
			continue
		}
		add := s.price(o, k)
		if n == len(o.people)-1 && head == t.needs[n].Number-1 && price+add >= f.low {
			return
		}
		f.pick = append(f.pick, k.resource)
		s.crewFrom(t, o, n, head+1, i+1, price+add)
		f.pick = f.pick[:len(f.pick)-1]
	}
}

// contains is slices.Contains for the shortest of lists, kept small enough to be inlined.
func contains(list []int, x int) bool {
	for _, y := range list {
		if y == x {
			return true
		}
	}
	return false
}
