package plan

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Bounds of the search for help: how many sentences a job gets, how many times the case is planned again for one job and for all, and how far a
// stop is lengthened.
const (
	helpsPerJob   = 3
	largeHelpsJob = 2
	asksPerKind   = 60
	asksPerJob    = 120
	asksInAll     = 600
	longestExtra  = 480
	windowsAsked  = 3
	personsAsked  = 4
	toolsAsked    = 3
	pairsAsked    = 3
	largeAsksJob  = 40
	largeAsksRest = 1_500
	// largeAsksWork bounds the asks of the largest cases, in which each lays the whole plan again, and heldWork the hints held.
	largeAsksWork = 800_000
	heldWork      = 16_000
)

// A remedy is a set of changes that was tried and places the job.
type remedy struct {
	changes []Change
	size    int // minutes or quantity, to choose the smallest among its kind
}

// A relief looks for what would place one job.
type relief struct {
	x    *explainer
	job  int
	left int // plans that may still be made for this job
	kind int // and for the present kind of change
}

// help gives the smallest changes found that place the job, each planned again to see that it does.
func (x *explainer) help(j int) (words []string, changes [][]Change) {
	if x.s.late() {
		return nil, nil
	}
	h := &relief{x: x, job: j, left: asksPerJob}
	total := asksInAll
	if !x.s.proven {
		h.left, total = largeAsksJob, min(largeAsksRest, largeAsksWork/len(x.p.jobs))
	}
	h.left = min(h.left, total-x.asked)
	most := helpsPerJob
	if !x.s.proven {
		most = largeHelpsJob
	}
	var found []remedy
	for _, kind := range []func() (remedy, bool){h.longer, h.person, h.tool, h.stock, h.presence} {
		if h.kind = asksPerKind; len(found) < most {
			if r, ok := kind(); ok && h.holds(r.changes) {
				found = append(found, r)
			}
		}
	}
	if h.kind = asksPerKind; len(found) == 0 {
		if r, ok := h.together(); ok && h.holds(r.changes) {
			found = append(found, r)
		}
	}
	for _, r := range found {
		words, changes = append(words, x.sentence(j, r.changes)), append(changes, r.changes)
	}
	return words, changes
}

// helpAwaited tries for a job for which nothing was found what places a job it waits for, where that is left out too.
func (x *explainer) helpAwaited(l *LeftOut, all []LeftOut) {
	h := &relief{x: x, job: l.Job, left: min(asksPerJob, asksInAll-x.asked), kind: asksPerKind}
	for _, w := range x.p.jobs[l.Job].before {
		i := slices.IndexFunc(all, func(o LeftOut) bool { return o.Job == w.job })
		if i < 0 || !x.s.proven {
			continue
		}
		for _, changes := range all[i].Changes {
			if h.works(changes) {
				l.Help, l.Changes = append(l.Help, x.sentence(l.Job, changes)), append(l.Changes, changes)
				return
			}
		}
	}
}

// works says whether the job is placed when the case is changed and planned again. Where the plan is proven every optimum of the changed
// case places it; else a cheaper plan with it is found.
func (h *relief) works(changes []Change) bool {
	if h.spent() {
		return false
	}
	if !h.x.s.proven {
		h.count()
		return h.fits(changes)
	}
	p := newProblem(h.x.p.c.With(changes))
	if len(p.jobs[h.job].options) == 0 {
		return false
	}
	h.count()
	nodes := replanNodes
	t := tabulate(p, h.x.s.tables, &nodes, h.x.s.late)
	if t == nil {
		return false
	}
	cost, _, a := optimum(p.requiring(h.job), t, h.x.s.cost, h.x.s.late)
	return a == possible && below(p.forbidding(h.job), t, cost+1, h.x.s.late) == none
}

// count counts one plan made.
func (h *relief) count() {
	h.left--
	h.kind--
	h.x.asked++
}

// A hint of a large case is seen to hold by heldChains chains of heldSteps steps each; that is done for up to heldInAll hints.
const (
	heldChains = 2
	heldSteps  = 500
	heldInAll  = 16
)

// holds says whether the job is still placed when a large case is planned again with the changes, from the plan there is and with the
// change open to every job: what the job alone could do with a longer stop another one may do better. Every chain has to place it. A
// proven case needs no second look.
func (h *relief) holds(changes []Change) bool {
	if h.x.s.proven {
		return true
	}
	if h.x.held >= min(heldInAll, heldWork/len(h.x.p.jobs)) || h.x.s.late() {
		return false
	}
	h.x.held++
	p := newProblemUnless(h.x.p.c.With(changes), h.x.s.late)
	if p == nil {
		return false
	}
	at := p.carried(h.x.p, h.x.s.best)
	var placed [heldChains]bool
	h.x.s.beside(heldChains, h.x.s.set.Workers, func(i int) {
		l := newLane(p, at, h.x.s.set.Seed+uint64(i), uint64(h.job))
		l.cycle, l.inCycle = heldSteps*3/2, heldSteps/2
		l.run(heldSteps, h.x.s.late)
		placed[i] = l.steps == heldSteps && l.best[h.job].option >= 0
	})
	return placed == [heldChains]bool{true, true}
}

// spent says whether no more plans may be made.
func (h *relief) spent() bool { return h.left <= 0 || h.kind <= 0 || h.x.s.late() }

// fits says whether the job fits into the plan at less than leaving it out, once the case is changed.
func (h *relief) fits(changes []Change) bool {
	p := h.x.p.changedFor(h.job, changes)
	s := newState(p)
	for j := range h.x.s.best {
		if pl := &h.x.s.best[j]; pl.option >= 0 {
			s.put(j, pl)
		}
	}
	for k := range p.jobs[h.job].options {
		if s.try(h.job, k) < 0 {
			return true
		}
	}
	return false
}

// longer finds the stop that needs the fewest minutes more.
func (h *relief) longer() (best remedy, ok bool) {
	for i, o := range h.cheapest() {
		if i == windowsAsked {
			break
		}
		for _, end := range []bool{true, false} {
			most := h.room(o.Window, end)
			if ok {
				most = min(most, best.size-1)
			}
			if r, works := h.leastLonger(o.Window, end, most); works {
				best, ok = r, true
			}
		}
	}
	return best, ok
}

// cheapest are the job's windows, cheapest first.
func (h *relief) cheapest() []Option {
	list := slices.Clone(h.x.p.c.Jobs[h.job].Options)
	slices.SortStableFunc(list, func(a, b Option) int { return a.Cost - b.Cost })
	return list
}

// leastLonger is the smallest lengthening of a window, up to most minutes, that works. A longer stop does not always do what a shorter
// one does, since it may invite other jobs; so lengths are tried upwards, from the first that could be worth it, before the last stretch
// is halved.
func (h *relief) leastLonger(w int, end bool, most int) (remedy, bool) {
	change := func(n int) []Change { return []Change{h.x.lengthen(w, end, n)} }
	from := h.worthFrom(h.lacking(w), most, change)
	failed := from - 1
	for _, more := range []int{0, 30, 120, longestExtra} {
		n := min(from+more, most)
		if n <= failed {
			return remedy{}, false
		}
		if h.works(change(n)) {
			n = h.least(failed+1, n, change)
			return remedy{change(n), n}, true
		}
		failed = n
	}
	return remedy{}, false
}

// worthFrom is the smallest size up to most at which the job is not too dear, above most where there is none. The more is changed the
// cheaper is the cheapest plan with the job, so halving finds it; it may be less than what the job itself lacks, where another job makes
// room for it. Without a proof it is what the job lacks.
func (h *relief) worthFrom(lacking, most int, changes func(int) []Change) int {
	if !h.x.s.proven || most < 1 {
		return lacking
	}
	switch h.worth(changes(most)) {
	case none:
		return most + 1
	case unknown:
		return lacking
	}
	least := 1
	for end := most; least < end && !h.spent(); {
		if mid := (least + end) / 2; h.worth(changes(mid)) == none {
			least = mid + 1
		} else {
			end = mid
		}
	}
	return least
}

// worth says whether with changes there is a plan with the job that is cheaper than the one there is.
func (h *relief) worth(changes []Change) answer {
	p := newProblem(h.x.p.c.With(changes))
	if len(p.jobs[h.job].options) == 0 {
		return none
	}
	h.count()
	return below(p.requiring(h.job), h.x.s.tables, h.x.s.cost, h.x.s.late)
}

// lacking is how many minutes a window is short of for the job by itself, at least 1.
func (h *relief) lacking(w int) int {
	least := 1
	for _, o := range obstacles(h.x.p.c, h.job, w) {
		least = max(least, o.lacking)
	}
	return least
}

// least halves its way to the smallest size from least to most whose changes work; most is known to.
func (h *relief) least(least, most int, changes func(int) []Change) int {
	for least < most && !h.spent() {
		if mid := (least + most) / 2; h.works(changes(mid)) {
			most = mid
		} else if !h.spent() {
			least = mid + 1
		}
	}
	return most
}

// lengthen is a window that ends so many minutes later, or starts so many earlier.
func (x *explainer) lengthen(w int, end bool, minutes int) Change {
	c := Change{Kind: LongerStop, Of: w, Start: -1, End: -1}
	if end {
		c.End = x.p.c.Windows[w].End + minutes
	} else {
		c.Start = x.p.c.Windows[w].Start - minutes
	}
	return c
}

// room is how many minutes a window can be longer at its end or its start without leaving the horizon or meeting another stop of one
// of its conveyors, and no more than what the job lacks and a good while.
func (h *relief) room(w int, end bool) int {
	c := h.x.p.c
	me := &c.Windows[w]
	most := me.Start
	if end {
		most = c.Horizon - me.End
	}
	most = min(most, h.lacking(w)+longestExtra)
	for v := range c.Windows {
		o := &c.Windows[v]
		if v == w || o.Site != me.Site || !slices.ContainsFunc(o.Scope, func(k int) bool { return slices.Contains(me.Scope, k) }) {
			continue
		}
		if end && o.Start >= me.End {
			most = min(most, o.Start-me.End)
		}
		if !end && o.End <= me.Start {
			most = min(most, me.Start-o.End)
		}
	}
	return most
}

// person finds a person of whom a second one would do, nearest to the job first.
func (h *relief) person() (remedy, bool) {
	for _, r := range h.alike(h.persons(), AnotherPerson) {
		if h.works(r.changes) {
			return r, true
		}
	}
	return remedy{}, false
}

// alike makes a remedy of each thing doubled.
func (h *relief) alike(things []int, kind ChangeKind) []remedy {
	var out []remedy
	for _, i := range things {
		out = append(out, remedy{changes: []Change{{Kind: kind, Of: i}}})
	}
	return out
}

// persons are those who hold what the job needs, cheapest and nearest first, a few per qualification.
func (h *relief) persons() []int {
	c, site := h.x.p.c, h.x.p.jobs[h.job].site
	var out []int
	for _, n := range c.Jobs[h.job].Crew {
		var list []int
		for t := range c.Technicians {
			if slices.ContainsFunc(c.Technicians[t].Qualifications, func(q Qualification) bool { return q.Name == n.Qualification }) {
				list = append(list, t)
			}
		}
		slices.SortStableFunc(list, func(a, b int) int {
			x, y := &c.Technicians[a], &c.Technicians[b]
			return cmp.Or(cmp.Compare(x.calloutAt(site), y.calloutAt(site)), cmp.Compare(c.Travel[x.Home][site], c.Travel[y.Home][site]))
		})
		for _, t := range list[:min(len(list), personsAsked)] {
			if !slices.Contains(out, t) {
				out = append(out, t)
			}
		}
	}
	return out
}

// calloutAt is what the person costs at a site, windows of their own aside.
func (t *Technician) calloutAt(site int) int {
	if t.Home == site {
		return 0
	}
	return t.Callout
}

// tool finds a tool of which a second one would do, narrowest first.
func (h *relief) tool() (remedy, bool) {
	for _, r := range h.alike(h.tools(), AnotherTool) {
		if h.works(r.changes) {
			return r, true
		}
	}
	return remedy{}, false
}

// tools are those that suit the job, narrowest first, a few per need.
func (h *relief) tools() []int {
	c := h.x.p.c
	var out []int
	for _, n := range c.Jobs[h.job].Tools {
		var list []int
		for k := range c.Tools {
			if t := &c.Tools[k]; t.Suits(n) && (t.Mobile || t.Site == h.x.p.jobs[h.job].site) {
				list = append(list, k)
			}
		}
		slices.SortStableFunc(list, func(a, b int) int { return c.Tools[a].WidthMM - c.Tools[b].WidthMM })
		for _, k := range list[:min(len(list), toolsAsked)] {
			if !slices.Contains(out, k) {
				out = append(out, k)
			}
		}
	}
	return out
}

// stock finds the smallest quantity of one item that would do.
func (h *relief) stock() (remedy, bool) {
	for _, n := range h.x.p.c.Jobs[h.job].Stock {
		for i, o := range h.cheapest() {
			if i == windowsAsked {
				break
			}
			if r, ok := h.leastStock(n, o.Window); ok {
				return r, true
			}
		}
	}
	return remedy{}, false
}

// leastStock is the smallest quantity of an item that works in a window, coming as late as works. More than the job itself takes is
// tried too, since others that wait for the item may be served first.
func (h *relief) leastStock(n StockNeed, w int) (remedy, bool) {
	lo, hi := startsIn(h.x.p.c, &h.x.p.c.Jobs[h.job], w)
	at := max(0, lo)
	change := func(q int) []Change { return []Change{{Kind: StockArrives, Of: n.Item, Quantity: q, Time: at}} }
	failed := 0
	for _, most := range []int{n.Quantity, h.wanted(n.Item)} {
		if most > failed && h.works(change(most)) {
			most = h.least(failed+1, most, change)
			at = h.latest(at, hi, func(t int) []Change { return []Change{{Kind: StockArrives, Of: n.Item, Quantity: most, Time: t}} })
			// What comes later serves fewer others first.
			most = h.least(1, most, change)
			return remedy{change(most), most}, true
		}
		failed = most
	}
	return remedy{}, false
}

// wanted is how much of an item all jobs take that are left out.
func (h *relief) wanted(item int) int {
	sum := 0
	for j := range h.x.s.best {
		for _, n := range h.x.p.c.Jobs[j].Stock {
			if n.Item == item && h.x.s.best[j].option < 0 {
				sum += n.Quantity
			}
		}
	}
	return sum
}

// latest halves its way to the last moment from early to late whose changes work; early is known to.
func (h *relief) latest(early, late int, changes func(int) []Change) int {
	for early < late && !h.spent() {
		if mid := (early + late + 1) / 2; h.works(changes(mid)) {
			early = mid
		} else {
			late = mid - 1
		}
	}
	return early
}

// presence finds a person or tool who is not there in a window and would do if they were, for just the job and the ways.
func (h *relief) presence() (remedy, bool) {
	for i, o := range h.cheapest() {
		if i == pairsAsked {
			break
		}
		for _, r := range h.stays(o.Window) {
			if h.works(r.changes) {
				return h.shortest(r.changes[0]), true
			}
		}
	}
	return remedy{}, false
}

// shortest makes a stretch of availability that works as short as works: it may have freed somebody else for the job.
func (h *relief) shortest(c Change) remedy {
	until := func(n int) []Change { return []Change{{Kind: c.Kind, Of: c.Of, Start: c.Start, End: c.Start + n}} }
	c.End = c.Start + h.leastBelow(c.End-c.Start, until)
	from := func(n int) []Change { return []Change{{Kind: c.Kind, Of: c.Of, Start: c.End - n, End: c.End}} }
	n := h.leastBelow(c.End-c.Start, from)
	return remedy{from(n), n}
}

// leastBelow is the smallest size up to most that works; most itself unless one less does.
func (h *relief) leastBelow(most int, changes func(int) []Change) int {
	if most <= 1 || !h.x.s.proven || !h.works(changes(most-1)) {
		return most
	}
	return h.least(1, most-1, changes)
}

// stays are stretches of availability around the job's earliest work in a window for those who suit and are not there then.
func (h *relief) stays(w int) []remedy {
	c, job := h.x.p.c, &h.x.p.c.Jobs[h.job]
	site := c.Windows[w].Site
	lo, hi := startsIn(c, job, w)
	if lo > hi {
		return nil
	}
	var out []remedy
	stay := func(kind ChangeKind, of, home int, available []Span) {
		s := Span{lo - c.Travel[home][site], lo + job.Duration + c.Travel[site][home]}
		if s.From >= 0 && !slices.ContainsFunc(available, func(a Span) bool { return a.From <= s.To && s.From <= a.To }) {
			out = append(out, remedy{changes: []Change{{Kind: kind, Of: of, Start: s.From, End: s.To}}})
		}
	}
	for _, t := range h.persons() {
		stay(PersonAvailable, t, c.Technicians[t].Home, c.Technicians[t].Available)
	}
	for _, k := range h.tools() {
		stay(ToolAvailable, k, c.Tools[k].Site, c.Tools[k].Available)
	}
	return out
}

// together finds changes that only work together: for the cheapest windows, each obstacle removed, then two changes of different kinds.
func (h *relief) together() (remedy, bool) {
	for i, o := range h.cheapest() {
		if i == pairsAsked {
			break
		}
		for _, set := range h.sets(o.Window) {
			if h.works(set) {
				return h.thinned(set), true
			}
		}
	}
	return remedy{}, false
}

// sets are combinations of changes for one window: a longer stop with a person or a tool more, then all of them with the stock.
func (h *relief) sets(w int) [][]Change {
	var longer []Change
	if extra := h.room(w, true); extra > 0 {
		longer = []Change{h.x.lengthen(w, true, extra)}
	}
	var all []Change
	var sets [][]Change
	add := func(list []remedy) {
		if len(list) == 0 {
			return
		}
		all = append(all, list[0].changes...)
		if len(longer) > 0 {
			sets = append(sets, slices.Concat(longer, list[0].changes))
		}
	}
	add(h.alike(h.persons(), AnotherPerson))
	add(h.alike(h.tools(), AnotherTool))
	lo, _ := startsIn(h.x.p.c, &h.x.p.c.Jobs[h.job], w)
	for _, n := range h.x.p.c.Jobs[h.job].Stock {
		add([]remedy{{changes: []Change{{Kind: StockArrives, Of: n.Item, Quantity: n.Quantity, Time: lo}}}})
	}
	if len(all) > 1 {
		sets = append(sets, all)
	}
	if len(longer)+len(all) > 2 && len(longer) > 0 {
		sets = append(sets, slices.Concat(longer, all))
	}
	return sets
}

// thinned takes away what a set works without, and makes its stop as short as works.
func (h *relief) thinned(set []Change) remedy {
	for i := 0; i < len(set) && len(set) > 1; {
		less := slices.Delete(slices.Clone(set), i, i+1)
		if h.works(less) {
			set = less
		} else {
			i++
		}
	}
	if first := set[0]; first.Kind == LongerStop && first.End >= 0 {
		most := first.End - h.x.p.c.Windows[first.Of].End
		most = h.least(min(most, h.lacking(first.Of)), most, func(n int) []Change {
			return slices.Concat([]Change{h.x.lengthen(first.Of, true, n)}, set[1:])
		})
		set = slices.Concat([]Change{h.x.lengthen(first.Of, true, most)}, set[1:])
	}
	for i := range set {
		if set[i].Kind == StockArrives {
			with := func(q int) []Change {
				out := slices.Clone(set)
				out[i].Quantity = q
				return out
			}
			set = with(h.least(1, set[i].Quantity, with))
		}
	}
	return remedy{changes: set}
}

// sentence says a set of changes for a job in words.
func (x *explainer) sentence(j int, changes []Change) string {
	words := make([]string, len(changes))
	for i, c := range changes {
		words[i] = x.words(x.p.jobs[j].site, c)
	}
	return strings.Join(words, ", together with ")
}

// words says one change for a job of a site.
func (x *explainer) words(site int, c Change) string {
	switch c.Kind {
	case LongerStop:
		w := &x.p.c.Windows[c.Of]
		if c.End >= 0 {
			return fmt.Sprintf("%d min more in window %s, until %s", c.End-w.End, w.ID, x.p.c.at(site, c.End))
		}
		return fmt.Sprintf("%d min more in window %s, from %s", w.Start-c.Start, w.ID, x.p.c.at(site, c.Start))
	case PersonAvailable:
		return fmt.Sprintf("technician %s available from %s to %s as well", x.p.c.Technicians[c.Of].ID, x.p.c.at(site, c.Start), x.p.c.at(site, c.End))
	case ToolAvailable:
		if why := x.p.c.Tools[c.Of].Barred; why != "" {
			return fmt.Sprintf("tool %s available from %s to %s as well (%s)", x.p.c.Tools[c.Of].ID, x.p.c.at(site, c.Start), x.p.c.at(site, c.End), why)
		}
		return fmt.Sprintf("tool %s available from %s to %s as well", x.p.c.Tools[c.Of].ID, x.p.c.at(site, c.Start), x.p.c.at(site, c.End))
	case AnotherPerson:
		return fmt.Sprintf("one more person like technician %s", x.p.c.Technicians[c.Of].ID)
	case AnotherTool:
		return fmt.Sprintf("one more tool like %s", x.p.c.Tools[c.Of].ID)
	default:
		return fmt.Sprintf("%s of stock %s by %s", x.p.c.amount(c.Of, c.Quantity), x.p.c.Stock[c.Of].ID, x.p.c.at(site, c.Time))
	}
}
