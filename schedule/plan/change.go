package plan

import (
	"fmt"
	"slices"
)

// With gives the case as it would be with the changes; the case itself stays as it is.
func (c *Case) With(changes []Change) *Case {
	out := *c
	out.Windows, out.Technicians = slices.Clone(c.Windows), slices.Clone(c.Technicians)
	out.Tools, out.Stock = slices.Clone(c.Tools), slices.Clone(c.Stock)
	for _, x := range changes {
		out.apply(x)
	}
	return &out
}

// apply makes one change in lists of the case's own.
func (c *Case) apply(x Change) {
	switch x.Kind {
	case LongerStop:
		w := &c.Windows[x.Of]
		if x.Start >= 0 {
			w.Start = x.Start
		}
		if x.End >= 0 {
			w.End = x.End
		}
	case PersonAvailable:
		t := &c.Technicians[x.Of]
		t.Available = withSpan(t.Available, Span{x.Start, x.End})
	case ToolAvailable:
		k := &c.Tools[x.Of]
		k.Available = withSpan(k.Available, Span{x.Start, x.End})
	case AnotherPerson:
		t := c.Technicians[x.Of]
		t.ID = fmt.Sprintf("%s (second)", t.ID)
		c.Technicians = append(c.Technicians, t)
	case AnotherTool:
		k := c.Tools[x.Of]
		k.ID = fmt.Sprintf("%s (second)", k.ID)
		c.Tools = append(c.Tools, k)
	case StockArrives:
		s := &c.Stock[x.Of]
		s.Arrivals = append(slices.Clone(s.Arrivals), Arrival{x.Time, x.Quantity})
	}
}

// withSpan adds a stretch in its place.
func withSpan(list []Span, s Span) []Span {
	i, _ := slices.BinarySearchFunc(list, s, func(a, b Span) int { return a.From - b.From })
	return slices.Insert(slices.Clone(list), i, s)
}
