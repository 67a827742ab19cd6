package plan

import "slices"

// An ordering is one necessary condition that a precedence puts on the choice of windows, with the price of breaking it.
//
// When the job that waits is in one of its windows late, the one waited for must be in one of before:
//
//	sum of y(after, w) over late <= sum of y(before, w) over before
//
// One such row is made for every window of the job that waits: the windows up to it against those early enough, and with a longest
// lag the windows from it on against those late enough. As sets they are nested, so that no row says less than the next.
type ordering struct {
	after, before  int
	lates, befores []int // options of the two jobs
	price, kept    int   // in 1/scale: now, and at the highest bound
	course         float64
}

// orderings lists the rows of all precedences that rule something out.
func orderings(p *problem) []ordering {
	var list []ordering
	for b := range p.jobs {
		for _, l := range p.jobs[b].before {
			list = append(list, ordersOf(p, l, b)...)
		}
	}
	return list
}

// ordersOf makes the rows of one precedence.
func ordersOf(p *problem, l link, b int) []ordering {
	a, after := &p.jobs[l.job], &p.jobs[b]
	var list []ordering
	for k := range after.options {
		last, first := after.options[k].hi, after.options[k].lo
		early := ordering{after: b, before: l.job}
		late := ordering{after: b, before: l.job}
		for h := range after.options {
			if after.options[h].hi <= last {
				early.lates = append(early.lates, h)
			}
			if after.options[h].lo >= first {
				late.lates = append(late.lates, h)
			}
		}
		for h := range a.options {
			if a.options[h].lo+a.duration+l.min <= last {
				early.befores = append(early.befores, h)
			}
			if l.max < never && a.options[h].hi+a.duration+l.max >= first {
				late.befores = append(late.befores, h)
			}
		}
		list = append(list, early)
		if l.max < never {
			list = append(list, late)
		}
	}
	return list
}

// charge adds the row's price to the places of the job that waits and takes it off those of the one waited for.
func (o *ordering) charge(extra [][]int) {
	if o.price == 0 {
		return
	}
	for _, k := range o.lates {
		extra[o.after][k] += o.price
	}
	for _, k := range o.befores {
		extra[o.before][k] -= o.price
	}
}

// lack is 1 when the choice breaks the row, -1 when it keeps it with room to spare, else 0; placed holds the chosen options.
func (o *ordering) lack(placed []int) float64 {
	lack := 0.0
	if slices.Contains(o.lates, placed[o.after]) {
		lack++
	}
	if slices.Contains(o.befores, placed[o.before]) {
		lack--
	}
	if lack < 0 && o.price == 0 {
		return 0
	}
	return lack
}
