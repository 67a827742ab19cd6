package plan

import (
	"reflect"
	"slices"
)

// patterns are those of window w for a problem that has the same jobs and rules, ok only when every job it has in the window could be done
// there in just the same ways. Jobs it no longer has there are left out.
func (t *tables) patterns(p *problem, w int) (list []pattern, ok bool) {
	if t == nil || !t.p.sameResources(p) {
		return nil, false
	}
	option := make([]int, len(p.jobs))
	for j := range option {
		option[j] = -1
	}
	for _, j := range p.ofWindow[w] {
		was, is := t.p.jobs[j].in(w), p.jobs[j].in(w)
		if was < 0 || !reflect.DeepEqual(&t.p.jobs[j].options[was], &p.jobs[j].options[is]) {
			return nil, false
		}
		option[j] = is
	}
	for _, s := range t.sites {
		if i := slices.Index(s.windows, w); i >= 0 {
			return renumbered(s.patterns[i], option), true
		}
	}
	return nil, false
}

// renumbered are the patterns of jobs that all have an option, with those options.
func renumbered(list []pattern, option []int) []pattern {
	out := make([]pattern, 0, len(list))
	for _, x := range list {
		options, whole := x.options, true
		for i, j := range x.jobs {
			if option[j] < 0 {
				whole = false
				break
			}
			if option[j] != options[i] {
				options = slices.Clone(options)
				options[i] = option[j]
			}
		}
		if whole {
			x.options = options
			out = append(out, x)
		}
	}
	return out
}

// in is the task's option in window w, -1 when it has none.
func (t *task) in(w int) int {
	return slices.IndexFunc(t.options, func(o option) bool { return o.window == w })
}

// sameResources says whether persons and tools have the same numbers and stock the same levels in both problems.
func (p *problem) sameResources(q *problem) bool {
	return p.people == q.people && p.resources == q.resources && reflect.DeepEqual(p.items, q.items)
}
