package plan

// A row is one necessary condition on which windows the jobs are in, beyond what groups and windows see by themselves, with the price
// of breaking it:
//
//	sum over terms of takes × y(job, option) <= limit
//
// Every plan keeps every row; the bound pays a row's price for each unit above the limit and is given it for each unit below.
type row struct {
	terms       []term
	limit       int
	most        int // the largest takes, at least 1, so that rows of metres and rows of jobs move alike
	price, kept int // in 1/scale: now, and at the highest bound
	course      float64
}

// A term is what a job in one of its options takes of a row.
type term struct{ job, option, takes int }

// newRow makes a row of terms.
func newRow(terms []term, limit int) row {
	r := row{terms: terms, limit: limit, most: 1}
	for _, x := range terms {
		r.most = max(r.most, x.takes, -x.takes)
	}
	return r
}

// charge adds the row's price to the places that take of it; it returns what the bound is owed for the limit.
func (r *row) charge(asked [][]int) int {
	if r.price == 0 {
		return 0
	}
	for _, x := range r.terms {
		asked[x.job][x.option] += r.price * x.takes
	}
	return -r.price * r.limit
}

// lack is how far the choice breaks the row, in units of its largest takes; below zero when it keeps it with room to spare. placed
// holds the chosen options.
func (r *row) lack(placed []int) float64 {
	taken := -r.limit
	for _, x := range r.terms {
		if placed[x.job] == x.option {
			taken += x.takes
		}
	}
	if taken < 0 && r.price == 0 {
		return 0
	}
	return float64(taken) / float64(r.most)
}

// rows lists the conditions of a case: what precedences rule out, and what stock does not suffice for.
func rows(p *problem) []row {
	return append(orderings(p), shortages(p)...)
}

// orderings lists the rows of all precedences that rule something out.
//
// When the job that waits is in one of its windows late, the one waited for must be in one of before:
//
//	sum of y(after, w) over late <= sum of y(before, w) over before
//
// One such row is made for every window of the job that waits: the windows up to it against those early enough, and with a longest
// lag the windows from it on against those late enough. As sets they are nested, so that no row says less than the next.
func orderings(p *problem) []row {
	var list []row
	for b := range p.jobs {
		for _, l := range p.jobs[b].before {
			list = append(list, ordersOf(p, l, b)...)
		}
	}
	return list
}

// ordersOf makes the rows of one precedence.
func ordersOf(p *problem, l link, b int) []row {
	a, after := &p.jobs[l.job], &p.jobs[b]
	var list []row
	for k := range after.options {
		last, first := after.options[k].hi, after.options[k].lo
		var early, late []term
		for h := range after.options {
			if after.options[h].hi <= last {
				early = append(early, term{b, h, 1})
			}
			if after.options[h].lo >= first {
				late = append(late, term{b, h, 1})
			}
		}
		for h := range a.options {
			if a.options[h].lo+a.duration+l.min <= last {
				early = append(early, term{l.job, h, -1})
			}
			if l.max < never && a.options[h].hi+a.duration+l.max >= first {
				late = append(late, term{l.job, h, -1})
			}
		}
		list = append(list, newRow(early, 0))
		if l.max < never {
			list = append(list, newRow(late, 0))
		}
	}
	return list
}

// shortages lists the rows of stock that cannot serve all who want it: what is taken for certain before more comes is no more than has
// come by then.
func shortages(p *problem) []row {
	var list []row
	for i := range p.items {
		s := &p.items[i]
		for m, level := range s.levels {
			until := never
			if m+1 < len(s.times) {
				until = s.times[m+1]
			}
			if terms, most := takers(p, i, until); most > level {
				list = append(list, newRow(terms, level))
			}
		}
	}
	return list
}

// takers are the places in which a job takes of an item before a time whenever it starts; most is what all of them together could take.
func takers(p *problem, item, until int) (terms []term, most int) {
	for j := range p.jobs {
		takes := 0
		for k := range p.jobs[j].options {
			o := &p.jobs[j].options[k]
			if o.hi >= until {
				continue
			}
			for _, n := range o.stock {
				if n.Item == item && n.Quantity > 0 {
					terms = append(terms, term{j, k, n.Quantity})
					takes = max(takes, n.Quantity)
				}
			}
		}
		most += takes
	}
	return terms, most
}
