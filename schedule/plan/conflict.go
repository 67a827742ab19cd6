package plan

import (
	"fmt"
	"slices"
	"strings"
)

// A lockCheck answers whether locked jobs can hold together. A set of them can when they and all they wait for can be packed; jobs
// beyond that can be left out, so the whole case has a plan exactly when the set of all locks holds.
type lockCheck struct {
	p      *problem
	halt   func() bool
	locked []int
	tried  int
}

// newLockCheck lists the locked jobs.
func newLockCheck(p *problem, halt func() bool) *lockCheck {
	x := &lockCheck{p: p, halt: halt}
	for j := range p.jobs {
		if p.jobs[j].locked != nil {
			x.locked = append(x.locked, j)
		}
	}
	return x
}

// lockNodes bounds one question; lockWays how many ways of choosing windows for jobs waited for are tried.
const (
	lockNodes = 200_000
	lockWays  = 20_000
)

// hold says whether the locked jobs of the set hold together, and how.
func (x *lockCheck) hold(set []int, w waiver) (at map[int]placement, a answer) {
	x.tried++
	var jobs []int
	for _, j := range set {
		jobs = x.withBefores(jobs, j)
	}
	q := &lockQuestion{x: x, jobs: jobs, options: make([]int, len(jobs)), waived: w, ways: lockWays}
	a = q.ask(0)
	if a == possible {
		at = map[int]placement{}
		for i, j := range jobs {
			at[j] = q.best[i]
		}
	}
	return at, a
}

// withBefores adds a job and all it waits for.
func (x *lockCheck) withBefores(jobs []int, j int) []int {
	if slices.Contains(jobs, j) {
		return jobs
	}
	jobs = append(jobs, j)
	for _, l := range x.p.jobs[j].before {
		jobs = x.withBefores(jobs, l.job)
	}
	return jobs
}

// A lockQuestion tries every choice of windows for the jobs; locked ones have one window only.
type lockQuestion struct {
	x       *lockCheck
	jobs    []int
	options []int
	waived  waiver
	ways    int
	best    []placement
}

// ask chooses the window of the i-th job.
func (q *lockQuestion) ask(i int) answer {
	if i == len(q.jobs) {
		if q.ways--; q.ways < 0 {
			return unknown
		}
		k := newPackingWaiving(q.x.p, q.jobs, q.options, q.waived)
		k.budget, k.halt = lockNodes, q.x.halt
		k.any = true
		_, a := k.solve(never)
		q.best = k.best
		return a
	}
	sum := none
	for k := range q.x.p.jobs[q.jobs[i]].options {
		q.options[i] = k
		switch q.ask(i + 1) {
		case possible:
			return possible
		case unknown:
			sum = unknown
		}
	}
	return sum
}

// smallest finds a smallest set of locks that cannot hold together among those of up to two, else one from which none can be taken
// away. Nil when that is not proven.
func (x *lockCheck) smallest() []int {
	for _, j := range x.locked {
		if _, a := x.hold([]int{j}, waiver{}); a == none {
			return []int{j}
		}
	}
	for i, j := range x.locked {
		for _, k := range x.locked[i+1:] {
			if x.halt() {
				return nil
			}
			if !x.meet(j, k) {
				continue
			}
			if _, a := x.hold([]int{j, k}, waiver{}); a == none {
				return []int{j, k}
			}
		}
	}
	return x.thinned()
}

// meet says whether two locked jobs could disturb each other by themselves.
func (x *lockCheck) meet(j, k int) bool {
	a, b := &x.p.jobs[j], &x.p.jobs[k]
	if len(a.before)+len(b.before) > 0 || len(a.stock) > 0 && len(b.stock) > 0 {
		return true
	}
	return x.p.nearTo[a.locked.Window*x.p.windows+b.locked.Window]
}

// thinned takes one lock after another away as long as the rest still cannot hold together.
func (x *lockCheck) thinned() []int {
	set := slices.Clone(x.locked)
	if _, a := x.hold(set, waiver{}); a != none {
		return nil
	}
	for i := 0; i < len(set); {
		less := slices.Delete(slices.Clone(set), i, i+1)
		if _, a := x.hold(less, waiver{}); a == none {
			set = less
		} else {
			i++
		}
	}
	return set
}

// explain says in sentences what a set of locks that cannot hold together fights over.
func (x *lockCheck) explain(set []int) []string {
	if len(set) == 1 {
		return x.alone(set[0])
	}
	var over []string
	feuds := x.feuds(set)
	for _, f := range feuds {
		if _, a := x.hold(set, f.waived); a == possible {
			over = append(over, f.words)
		}
	}
	what := strings.Join(over, ", or ")
	if len(over) == 0 {
		what = x.several(set, feuds)
	}
	return []string{fmt.Sprintf("%s cannot hold together; they fight over %s", x.names(set), what)}
}

// several names feuds that only together are what the set fights over: none can be taken away. What is named first is taken away last.
func (x *lockCheck) several(set []int, feuds []feud) string {
	holds := func(list []feud) bool {
		_, a := x.hold(set, together(list))
		return a == possible
	}
	if !holds(feuds) {
		return "several rules together"
	}
	for i := len(feuds) - 1; i >= 0; i-- {
		if less := slices.Delete(slices.Clone(feuds), i, i+1); holds(less) {
			feuds = less
		}
	}
	words := make([]string, len(feuds))
	for i := range feuds {
		words[i] = feuds[i].words
	}
	return strings.Join(words, ", and ")
}

// together waives what all of the feuds are over.
func together(list []feud) waiver {
	all := waiver{resources: map[int]bool{}}
	for _, f := range list {
		for r := range f.waived.resources {
			all.resources[r] = true
		}
		all.conveyors = all.conveyors || f.waived.conveyors
		all.apart = all.apart || f.waived.apart
		all.before = all.before || f.waived.before
		all.stock = all.stock || f.waived.stock
	}
	return all
}

// names lists locked jobs with their windows and starts.
func (x *lockCheck) names(set []int) string {
	words := make([]string, len(set))
	for i, j := range set {
		words[i] = x.name(j)
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// name is a locked job in words.
func (x *lockCheck) name(j int) string {
	l := x.p.jobs[j].locked
	text := fmt.Sprintf("job %s locked in window %s", x.p.c.Jobs[j].ID, x.p.c.Windows[l.Window].ID)
	if l.Start >= 0 {
		text += fmt.Sprintf(" at %s to %s", x.p.c.at(x.p.jobs[j].site, l.Start), x.p.c.at(x.p.jobs[j].site, l.Start+x.p.jobs[j].duration))
	}
	for _, t := range l.Technicians {
		text += " with " + x.p.c.Technicians[t].ID
	}
	for _, k := range l.Tools {
		text += " with " + x.p.c.Tools[k].ID
	}
	return text
}

// A feud is one thing that jobs may fight over.
type feud struct {
	words  string
	waived waiver
}

// feuds lists what the jobs of a set could fight over: persons and tools one by one, then all of a qualification or class, then the
// rules between jobs.
func (x *lockCheck) feuds(set []int) []feud {
	c := x.p.c
	var list []feud
	wanted := make([]int, x.p.resources)
	ofQual, ofClass := map[int]map[int]bool{}, map[int]map[int]bool{}
	for _, j := range set {
		x.wants(j, wanted, ofQual, ofClass)
	}
	for r, n := range wanted {
		if n > 1 {
			list = append(list, feud{x.p.resourceName(r), waiver{resources: map[int]bool{r: true}}})
		}
	}
	for q := range c.Qualifications {
		if len(ofQual[q]) > 1 {
			list = append(list, feud{"the persons who may work as " + c.Qualifications[q], waiver{resources: ofQual[q]}})
		}
	}
	for k := range c.Classes {
		if len(ofClass[k]) > 1 {
			list = append(list, feud{"the tools of class " + c.Classes[k], waiver{resources: ofClass[k]}})
		}
	}
	return append(list,
		feud{x.shared(set), waiver{conveyors: true}}, feud{"the rule that they may not run at the same time", waiver{apart: true}},
		feud{"which of them waits for which, and how long", waiver{before: true}}, feud{x.items(set), waiver{stock: true}})
}

// wants counts who could serve a locked job.
func (x *lockCheck) wants(j int, wanted []int, ofQual, ofClass map[int]map[int]bool) {
	t := &x.p.jobs[j]
	mine := map[int]bool{}
	for k := range t.options {
		o := &t.options[k]
		for n := range o.people {
			note(ofQual, t.needs[n].Qualification, o.people[n], mine)
		}
		for n := range o.tools {
			note(ofClass, t.tools[n].Class, o.tools[n], mine)
		}
	}
	for r := range mine {
		wanted[r]++
	}
}

// note adds candidates to a set of sets and to one of the job.
func note(sets map[int]map[int]bool, of int, list []candidate, mine map[int]bool) {
	if sets[of] == nil {
		sets[of] = map[int]bool{}
	}
	for i := range list {
		sets[of][list[i].resource] = true
		mine[list[i].resource] = true
	}
}

// resourceName is the id of a person or tool with its noun.
func (p *problem) resourceName(r int) string {
	if r < p.people {
		return "technician " + p.c.Technicians[r].ID
	}
	return "tool " + p.c.Tools[r-p.people].ID
}

// shared names the conveyors that jobs of the set have in common.
func (x *lockCheck) shared(set []int) string {
	var names []string
	for i, j := range set {
		for _, k := range set[:i] {
			id := x.p.c.Conveyors[x.p.jobs[j].conveyor].ID
			if x.p.jobs[k].conveyor == x.p.jobs[j].conveyor && !slices.Contains(names, id) {
				names = append(names, id)
			}
		}
	}
	return "conveyor " + strings.Join(names, ", ")
}

// items names the stock that jobs of the set take.
func (x *lockCheck) items(set []int) string {
	var names []string
	for _, j := range set {
		for _, n := range x.p.jobs[j].stock {
			if id := x.p.c.Stock[n.Item].ID; !slices.Contains(names, id) {
				names = append(names, id)
			}
		}
	}
	return "stock " + strings.Join(names, ", ")
}

// alone says why one lock cannot be kept whatever the other locks are.
func (x *lockCheck) alone(j int) []string {
	c := x.p.c
	w := x.p.jobs[j].locked.Window
	name := x.name(j) + " cannot be kept"
	out := []string{name}
	for _, o := range obstacles(c, j, w) {
		out[0] += "; " + o.words
	}
	if len(obstacles(c, j, w)) > 0 {
		return out
	}
	for i, l := range x.p.jobs[j].before {
		if !slices.ContainsFunc(x.p.jobs[j].before[:i], func(m link) bool { return m.job == l.job }) {
			out[0] += fmt.Sprintf("; it must wait for job %s, which cannot end in time", c.Jobs[l.job].ID)
		}
	}
	if n := len(x.p.jobs[j].locked.Technicians); n > x.p.jobs[j].heads {
		out[0] += fmt.Sprintf("; %d persons are locked to it and its crew is %d", n, x.p.jobs[j].heads)
	}
	if n := len(x.p.jobs[j].locked.Tools); n > len(x.p.jobs[j].tools) {
		out[0] += fmt.Sprintf("; %d tools are locked to it and it takes %d", n, len(x.p.jobs[j].tools))
	}
	if out[0] == name {
		out[0] += fmt.Sprintf("; at no start in the window is there a different person for each of the %d in its crew, and a tool for each of the %d it takes", x.p.jobs[j].heads, len(x.p.jobs[j].tools))
	}
	return out
}
