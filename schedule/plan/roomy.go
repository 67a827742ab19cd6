package plan

import (
	"math/bits"
	"slices"
)

// A pool is persons of a qualification, or tools that suit a need: those of whom each job of the packing that wants the pool takes some.
type pool struct {
	members int
	wants   []int // per item: how many it takes

}

// roomy is a quick necessary condition, so that sets that can never be packed are seen without trying all crews: in every stretch from
// the earliest start of one job to the latest end of another, the jobs that must lie in it take no more minutes of a pool than its
// members have (energetic reasoning; Baptiste, Le Pape and Nuijten 2001).
//
// It is asked at the first node, and at every node once the search has proved to be a long one.
func (k *packing) roomy() bool {
	if k.rough || k.nodes > 1 && k.nodes < 50+4*len(k.units) {
		return true
	}
	if k.pools == nil {
		k.pools = k.makePools()
	}
	k.byEnd = sized(k.byEnd, len(k.items))
	for i := range k.byEnd {
		h := i
		for ; h > 0 && k.latestEnd(k.byEnd[h-1]) > k.latestEnd(i); h-- {
			k.byEnd[h] = k.byEnd[h-1]
		}
		k.byEnd[h] = i
	}
	for i := range k.pools {
		if !k.fits(&k.pools[i]) {
			return false
		}
	}
	return true
}

// latestEnd is when an item ends at the latest.
func (k *packing) latestEnd(i int) int { return k.items[i].hi + k.items[i].t.duration }

// fits checks one pool over all stretches: from each earliest start, the jobs not before it are summed up by their latest ends.
func (k *packing) fits(x *pool) bool {
	for a, wants := range x.wants {
		if wants == 0 {
			continue
		}
		from, minutes := k.items[a].lo, 0
		for _, i := range k.byEnd {
			if x.wants[i] == 0 || k.items[i].lo < from {
				continue
			}
			minutes += x.wants[i] * k.items[i].t.duration
			if minutes > x.members*(k.latestEnd(i)-from) {
				return false
			}
		}
	}
	return true
}

// makePools lists the pools: for every need the set of all who could serve it in any of the packing's options, and every union of two
// such sets, each with what every job takes of it for certain.
func (k *packing) makePools() []pool {
	var sets []resourceSet
	for u := range k.units {
		set := resourceSet{}
		for c := range k.units[u].list {
			set.add(k.units[u].list[c].resource)
		}
		if !slices.ContainsFunc(sets, set.same) {
			sets = append(sets, set)
		}
	}
	for i, n := 0, min(len(sets), maxPoolSets); i < n; i++ {
		for h := range i {
			if set := sets[i].union(sets[h]); !slices.ContainsFunc(sets, set.same) {
				sets = append(sets, set)
			}
		}
	}
	out := make([]pool, 0, len(sets))
	for _, set := range sets {
		if k.waives(set) {
			continue
		}
		x := pool{members: set.size(), wants: make([]int, len(k.items))}
		for u := range k.units {
			if k.within(&k.units[u], set) {
				x.wants[k.units[u].item]++
			}
		}
		out = append(out, x)
	}
	return out
}

// waives says whether somebody of the set may be in two places at once: then its minutes say nothing.
func (k *packing) waives(set resourceSet) bool {
	for r := range k.waived.resources {
		if set.has(r) {
			return true
		}
	}
	return false
}

// maxPoolSets bounds the unions that are made.
const maxPoolSets = 8

// within says whether everybody who could serve the unit is in the set.
func (k *packing) within(u *unit, set resourceSet) bool {
	for c := range u.list {
		if !set.has(u.list[c].resource) {
			return false
		}
	}
	return true
}

// A resourceSet is a set of resources.
type resourceSet []uint64

// add puts a resource into the set.
func (s *resourceSet) add(r int) {
	for len(*s) <= r/64 {
		*s = append(*s, 0)
	}
	(*s)[r/64] |= 1 << (r % 64)
}

// has says whether a resource is in the set.
func (s resourceSet) has(r int) bool { return r/64 < len(s) && s[r/64]>>(r%64)&1 == 1 }

// size is how many resources are in the set.
func (s resourceSet) size() int {
	n := 0
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

// union is the set of what is in either.
func (s resourceSet) union(t resourceSet) resourceSet {
	out := make(resourceSet, max(len(s), len(t)))
	copy(out, s)
	for i := range t {
		out[i] |= t[i]
	}
	return out
}

// same says whether two sets hold the same.
func (s resourceSet) same(t resourceSet) bool {
	for i := range max(len(s), len(t)) {
		var a, b uint64
		if i < len(s) {
			a = s[i]
		}
		if i < len(t) {
			b = t[i]
		}
		if a != b {
			return false
		}
	}
	return true
}
