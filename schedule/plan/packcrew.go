package plan

import "slices"

// least is a bound on what the crews will cost: per window what is spent, the dearest open head whose every candidate must be called out,
// and former persons who can no longer be in the crew; and no less than what the window is known to cost. With nothing open it is the cost.
func (k *packing) least() int {
	k.extra = sized(k.extra, len(k.windows))
	clear(k.extra)
	for u := range k.units {
		x := &k.units[u]
		if x.done || x.need < 0 {
			continue
		}
		low := k.leastCallout(x)
		if low >= never {
			return never
		}
		w := k.items[x.item].window
		k.extra[w] = max(k.extra[w], low)
	}
	for i := range k.items {
		k.extra[k.items[i].window] += k.stranded(i)
	}
	sum := 0
	for w := range k.windows {
		sum += max(k.floors[w], k.spent[w]+k.extra[w])
	}
	return sum
}

// leastCallout is the cheapest call-out for an open head; never when nobody is left for it.
func (k *packing) leastCallout(x *unit) int {
	o := k.items[x.item].o
	low := never
	for c := range x.list {
		if k.viable(x, &x.list[c]) {
			if low = min(low, k.callout(o, &x.list[c])); low == 0 {
				return 0
			}
		}
	}
	return low
}

// stranded is the change cost that item i cannot escape any more and that is not paid yet.
func (k *packing) stranded(i int) int {
	x := &k.items[i]
	if x.o.change == 0 {
		return 0
	}
	open := 0
	for _, r := range x.serves[:x.t.heads] {
		if r < 0 {
			open++
		}
	}
	lost := 0
	for _, f := range x.o.former {
		if !contains(x.serves[:x.t.heads], f) {
			lost++
		}
	}
	if open == 0 {
		return 0
	}
	return max(0, lost-open*k.repeats(x.o)) * x.o.change
}

// repeats is how many entries of former one person can satisfy at most.
func (k *packing) repeats(o *option) int {
	most := 1
	for i, f := range o.former {
		n := 0
		for _, g := range o.former[:i+1] {
			if g == f {
				n++
			}
		}
		most = max(most, n)
	}
	return most
}

// callout is what one more job of the person in the window adds.
func (k *packing) callout(o *option, c *candidate) int {
	at := c.resource*k.p.windows + o.window
	if k.called[at] > 0 {
		return 0
	}
	return k.p.callout[at]
}

// viable says whether a candidate could still serve a unit: not in the job already, and with a start left.
func (k *packing) viable(u *unit, c *candidate) bool {
	x := &k.items[u.item]
	if contains(x.serves, c.resource) || upTo(c.starts, x.lo) > x.hi {
		return false
	}
	// Heads of one need are alike: they are chosen in ascending order, so that no crew comes up twice.
	if u.need >= 0 && u.slot > 0 {
		if before := &k.units[x.first+u.slot-1]; before.need == u.need && before.done && x.serves[before.slot] > c.resource {
			return false
		}
	}
	return !k.lockedOut(u, c)
}

// lockedOut says whether choosing the candidate leaves too few heads or tools for those locked to the job.
func (k *packing) lockedOut(u *unit, c *candidate) bool {
	x := &k.items[u.item]
	l := x.t.locked
	if l == nil || c.locked {
		return false
	}
	open, missing := 0, 0
	if u.need >= 0 {
		for _, r := range x.serves[:x.t.heads] {
			if r < 0 {
				open++
			}
		}
		for _, t := range l.Technicians {
			if !contains(x.serves, t) {
				missing++
			}
		}
	} else {
		for _, r := range x.serves[x.t.heads:] {
			if r < 0 {
				open++
			}
		}
		for _, t := range l.Tools {
			if !contains(x.serves, k.p.people+t) {
				missing++
			}
		}
	}
	return open <= missing
}

// nextUnit is the open unit with the fewest candidates left; heads of one need go in their order. -1 when all are chosen.
func (k *packing) nextUnit() int {
	best, fewest := -1, never
	for u := range k.units {
		x := &k.units[u]
		if x.done {
			continue
		}
		if x.need >= 0 && x.slot > 0 {
			if before := &k.units[k.items[x.item].first+x.slot-1]; before.need == x.need && !before.done {
				continue
			}
		}
		n := 0
		for c := range x.list {
			if k.viable(x, &x.list[c]) {
				n++
			}
		}
		if n < fewest {
			best, fewest = u, n
		}
	}
	return best
}

// choose branches on who serves unit u, the cheapest and least wanted first.
func (k *packing) choose(u int) {
	x := &k.units[u]
	item := &k.items[x.item]
	list := make([]*candidate, 0, len(x.list))
	for c := range x.list {
		if k.viable(x, &x.list[c]) {
			list = append(list, &x.list[c])
		}
	}
	if x.need >= 0 {
		slices.SortStableFunc(list, func(a, b *candidate) int {
			if d := k.callout(item.o, a) - a.former*item.o.change - k.callout(item.o, b) + b.former*item.o.change; d != 0 {
				return d
			}
			return k.p.scarce[a.resource] - k.p.scarce[b.resource]
		})
	}
	x.done = true
	for _, c := range list {
		k.assign(x, item, c)
	}
	x.done = false
}

// assign explores one choice.
func (k *packing) assign(u *unit, x *packed, c *candidate) {
	m := k.mark()
	add := 0
	key := c.resource*k.p.windows + x.o.window
	if u.need >= 0 {
		add = k.callout(x.o, c)
		k.called[key]++
	}
	k.spent[x.window] += add
	x.serves[u.slot] = c.resource
	x.domains = append(x.domains, c.starts)
	paid := 0
	if u.need >= 0 {
		paid = k.settled(u.item)
		k.spent[x.window] += paid
	}
	for i := range k.items {
		if i != u.item && contains(k.items[i].serves, c.resource) && !k.waived.resources[c.resource] {
			k.pairs = append(k.pairs, pair{a: i, b: u.item, ab: k.p.travel[k.items[i].o.site][x.o.site], ba: k.p.travel[x.o.site][k.items[i].o.site]})
		}
	}
	k.search()
	x.domains = x.domains[:len(x.domains)-1]
	x.serves[u.slot] = -1
	k.spent[x.window] -= add + paid
	if u.need >= 0 {
		k.called[key]--
	}
	k.back(m)
}

// settled is the change cost of an item whose crew has just become complete.
func (k *packing) settled(i int) int {
	x := &k.items[i]
	for _, r := range x.serves[:x.t.heads] {
		if r < 0 {
			return 0
		}
	}
	return missing(x.o, x.serves[:x.t.heads])
}
