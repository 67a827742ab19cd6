package horizon

import (
	"cmp"
	"fmt"
	"slices"

	"carryside/schedule/plan"
)

// layStops makes the windows of the stops. A case asks that windows of one conveyor never overlap; stops of a plant may, when
// the whole plant stands and a line was stopped for the day. Where two overlap, each isolation group belongs to the one in
// which an order of it stands, else to the longer one, and the other loses the whole group.
func (s *Sheet) layStops() {
	for i := range s.in.Plants {
		s.layPlantStops(i)
	}
}

// claim is a stop with the conveyors it still has.
type claim struct {
	stop       *Stop
	start, end int
	scope      map[int]bool // conveyors
	stands     map[int]bool // groups of which an order stands in it
}

func (s *Sheet) layPlantStops(site int) {
	p := &s.in.Plants[site]
	var claims []*claim
	for k := range p.Stops {
		st := &p.Stops[k]
		c := &claim{stop: st, start: max(0, s.above(st.Start)), end: min(s.Case.Horizon, s.floor(st.End)), scope: map[int]bool{}, stands: map[int]bool{}}
		if c.start >= c.end {
			continue
		}
		for _, v := range p.Conveyors {
			if st.Scope(v) && !begunOn(p, v.ID, st.ID) {
				c.scope[s.conveyors[v.ID]] = true
			}
		}
		for _, o := range p.Orders {
			if o.At != nil && o.At.StopID == st.ID {
				c.stands[s.groupOf[o.ConveyorID]] = true
			}
		}
		if len(c.scope) > 0 {
			claims = append(claims, c)
		}
	}
	slices.SortStableFunc(claims, func(a, b *claim) int { return cmp.Or(a.start-b.start, a.end-b.end, cmp.Compare(a.stop.ID, b.stop.ID)) })
	for i, a := range claims {
		for _, b := range claims[i+1:] {
			if b.start >= a.end {
				break
			}
			s.share(a, b)
		}
	}
	for _, c := range claims {
		s.addWindow(site, c)
	}
}

// begunOn tells whether work on a conveyor has begun in a stop: nothing else is planned there in it.
func begunOn(p *Plant, conveyorID, stopID int64) bool {
	return slices.ContainsFunc(p.Orders, func(o Order) bool {
		return o.Begun && o.ConveyorID == conveyorID && o.At != nil && o.At.StopID == stopID
	})
}

// share gives each group that two overlapping stops have to one of them.
func (s *Sheet) share(a, b *claim) {
	for c := range a.scope {
		if !b.scope[c] {
			continue
		}
		g := s.Case.Conveyors[c].Group
		loser := b
		switch {
		case a.stands[g] != b.stands[g]:
			if b.stands[g] {
				loser = a
			}
		case b.end-b.start > a.end-a.start:
			loser = a
		}
		for k := range loser.scope {
			if s.Case.Conveyors[k].Group == g {
				delete(loser.scope, k)
			}
		}
	}
}

func (s *Sheet) addWindow(site int, c *claim) {
	if len(c.scope) == 0 {
		return
	}
	w := plan.Window{ID: c.stop.Name, Site: site, Start: c.start, End: c.end}
	for k := range c.scope {
		w.Scope = append(w.Scope, k)
	}
	slices.Sort(w.Scope)
	if slices.ContainsFunc(s.Case.Windows, func(o plan.Window) bool { return o.ID == w.ID }) {
		w.ID = fmt.Sprintf("%s (%d)", w.ID, c.stop.ID)
	}
	s.windowOf[c.stop.ID] = len(s.Case.Windows)
	if c.stop.Alias != 0 {
		s.windowOf[c.stop.Alias] = len(s.Case.Windows)
	}
	s.Case.Windows, s.stops = append(s.Case.Windows, w), append(s.stops, c.stop)
}
