package plan

import "math/rand/v2"

// A repairer puts jobs back into a plan one by one: the one first that stands to lose most by waiting.
type repairer struct {
	s       *state
	jobs    []int
	prices  [][]int // per job of jobs and option: what placing it there would add, never when it cannot
	stale   [][]bool
	waiting []int32 // per job of the case: 1 + its place in jobs while it looks for one, else 0
	share   []int32
	pickBy  rule
	rng     *rand.Rand
	noise   int // per mille of a price by which it may be misjudged, for variety
}

// A rule is how the next job to be placed is picked.
type rule int

const (
	byRegret rule = iota // the largest difference between the best and the second-best place
	byLoss               // the largest difference between being left out and the best place
	byTurn               // in the order given
)

// newRepairer is a repairer for the state.
func newRepairer(s *state, rng *rand.Rand) *repairer {
	return &repairer{s: s, waiting: make([]int32, len(s.p.jobs)), share: make([]int32, len(s.p.c.Groups)), rng: rng}
}

// repair places what it can of the jobs, each where that is cheaper than leaving it out. With shared, a group's set-up is spread over
// its jobs while places are compared.
func (r *repairer) repair(jobs []int, shared bool) {
	r.begin(jobs, shared)
	for {
		i, k := r.pick()
		if i < 0 {
			break
		}
		r.place(i, k)
	}
	for i, j := range r.jobs {
		if r.waiting[j] > 0 {
			r.leave(i)
		}
	}
	r.s.share = nil
}

// begin lists the jobs and marks every price as unknown.
func (r *repairer) begin(jobs []int, shared bool) {
	r.jobs = append(r.jobs[:0], jobs...)
	for len(r.prices) < len(jobs) {
		r.prices, r.stale = append(r.prices, nil), append(r.stale, nil)
	}
	for i, j := range jobs {
		n := len(r.s.p.jobs[j].options)
		r.prices[i], r.stale[i] = sized(r.prices[i], n), sized(r.stale[i], n)
		for k := range r.stale[i] {
			r.stale[i][k] = true
		}
		r.waiting[j] = int32(i + 1)
	}
	if shared {
		r.s.share = r.share
		for _, j := range jobs {
			if g := r.s.p.jobs[j].group; g >= 0 {
				r.share[g]++
			}
		}
	}
}

// sized is a slice of length n, made from the old one where there is room.
func sized[T any](old []T, n int) []T {
	if cap(old) < n {
		return make([]T, n)
	}
	return old[:n]
}

// leave takes a job off the waiting list.
func (r *repairer) leave(i int) {
	j := r.jobs[i]
	r.waiting[j] = 0
	if g := r.s.p.jobs[j].group; g >= 0 && r.s.share != nil {
		r.share[g]--
	}
}

// place puts a waiting job into its option k, and lists which prices that touched.
func (r *repairer) place(i, k int) {
	j := r.jobs[i]
	if r.s.try(j, k) >= never {
		// A share of the set-up changed nothing about what is possible: the price was known for this very state.
		r.prices[i][k] = never
		return
	}
	r.s.put(j, &r.s.fit.best)
	r.leave(i)
	t := &r.s.p.jobs[j]
	w := t.options[k].window
	for h, other := range r.jobs {
		if r.waiting[other] > 0 {
			r.touch(h, other, t, w)
		}
	}
}

// touch marks the prices of a waiting job that a job placed in window w may have changed.
func (r *repairer) touch(h, other int, t *task, w int) {
	o := &r.s.p.jobs[other]
	all := shares(o, t)
	row := r.s.p.nearTo[w*r.s.p.windows:]
	for k := range o.options {
		if all || row[o.options[k].window] {
			r.stale[h][k] = true
		}
	}
}

// shares says whether two jobs wait for each other, exclude each other or take the same stock.
func shares(a, b *task) bool {
	for _, l := range a.before {
		if l.job == b.id {
			return true
		}
	}
	for _, n := range a.stock {
		for _, m := range b.stock {
			if n.Item == m.Item {
				return true
			}
		}
	}
	return false
}

// pick chooses the next job and its option; -1 when no waiting job is better placed than left out.
func (r *repairer) pick() (job, opt int) {
	job, opt = -1, -1
	best := -never
	for i, j := range r.jobs {
		if r.waiting[j] == 0 || !r.ready(j) {
			continue
		}
		k, first, second := r.places(i, j)
		if k < 0 {
			continue
		}
		score := 0
		switch r.pickBy {
		case byRegret:
			score = second - first
		case byLoss:
			score = -first
		case byTurn:
			return i, k
		}
		if r.s.p.jobs[j].must {
			score += never / 8
		}
		if score > best {
			best, job, opt = score, i, k
		}
	}
	return job, opt
}

// ready says whether every job that j waits for is decided.
func (r *repairer) ready(j int) bool {
	for _, l := range r.s.p.jobs[j].before {
		if r.waiting[l.job] > 0 {
			return false
		}
		if !r.s.placed(l.job) {
			return false
		}
	}
	return true
}

// opens is the most that waiting jobs could save once job j stands in its option k.
func (r *repairer) opens(t *task, k int) int {
	sum := 0
	for i := range t.after {
		if l := &t.after[i]; r.waiting[l.job] > 0 {
			sum += l.ahead[k]
		}
	}
	return sum
}

// places gives the best option of a waiting job and the prices of the best and the second-best one, where being left out is a
// place of price 0. A job that others wait for is also worth what its place leaves open to them. Options are looked at cheapest first, and one that cannot be among the two best stays unlooked at.
func (r *repairer) places(i, j int) (k, first, second int) {
	k = -1
	t := &r.s.p.jobs[j]
	for h := range t.options {
		opens := r.opens(t, h)
		if r.stale[i][h] {
			if o := &t.options[h]; r.noise == 0 && r.s.atLeast(t, o)+opens >= second {
				continue
			}
			r.stale[i][h] = false
			r.prices[i][h] = r.misjudged(r.s.try(j, h), t)
		}
		switch price := r.prices[i][h] + opens; {
		case price < first:
			k, first, second = h, price, first
		case price < second:
			second = price
		}
	}
	return k, first, second
}

// misjudged is the price with noise.
func (r *repairer) misjudged(price int, t *task) int {
	if r.noise == 0 || price >= never || price >= 0 {
		return price
	}
	cost := price + t.out
	return price + cost*(r.rng.IntN(2*r.noise+1)-r.noise)/1000
}
