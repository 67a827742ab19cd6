package cohort

import (
	"cmp"
	"slices"

	"carryside/schedule/life"
)

// Cohort is the lives that are taken to follow one law.
type Cohort struct {
	Key   Key
	Lives []Life
}

// Sort sorts lives into their closest cohorts, those with most failures first.
func Sort(lives []Life) []Cohort {
	at := map[Key]int{}
	var all []Cohort
	for _, l := range lives {
		i, there := at[l.Key]
		if !there {
			i = len(all)
			at[l.Key] = i
			all = append(all, Cohort{Key: l.Key})
		}
		all[i].Lives = append(all[i].Lives, l)
	}
	slices.SortStableFunc(all, func(a, b Cohort) int {
		return cmp.Or(cmp.Compare(b.Failures(), a.Failures()), cmp.Compare(len(b.Lives), len(a.Lives)), cmp.Compare(a.Key.Words(), b.Key.Words()))
	})
	return all
}

// Gather collects the lives of all cohorts that a wider one holds.
func Gather(k Key, all []Cohort) Cohort {
	c := Cohort{Key: k}
	for _, one := range all {
		if k.Holds(one.Key) {
			c.Lives = append(c.Lives, one.Lives...)
		}
	}
	return c
}

// Failures counts the lives that ended by failure.
func (c Cohort) Failures() (n int) {
	for _, l := range c.Lives {
		if l.Outcome == Failed || l.Outcome == FailedWithin {
			n++
		}
	}
	return n
}

// On returns the observations on a clock, of lives that are known on it.
func (c Cohort) On(clock Clock) []life.Observation {
	var os []life.Observation
	for _, l := range c.Lives {
		if o, ok := l.On(clock); ok {
			os = append(os, o)
		}
	}
	return os
}

// For is For of each of some lives, which stay as they are.
func For(mode string, lives []Life) []Life {
	out := make([]Life, len(lives))
	for i, l := range lives {
		out[i] = l.For(mode)
	}
	return out
}

// Way is a way of failing and how many of a cohort failed in it.
type Way struct {
	Mode     string
	Failures int
}

// Ways are the ways of failing that were written down in a cohort, the most frequent first.
func (c Cohort) Ways() []Way {
	of := map[string]int{}
	for _, l := range c.Lives {
		if l.Mode != "" && l.Outcome != LeftOut {
			of[l.Mode]++
		}
	}
	var all []Way
	for mode, n := range of {
		all = append(all, Way{mode, n})
	}
	slices.SortFunc(all, func(a, b Way) int { return cmp.Or(cmp.Compare(b.Failures, a.Failures), cmp.Compare(a.Mode, b.Mode)) })
	return all
}

// FailedBy tells whether any life of a cohort failed in a way.
func (c Cohort) FailedBy(mode string) bool {
	return slices.ContainsFunc(c.Lives, func(l Life) bool { return l.Mode == mode && l.Outcome != LeftOut })
}
