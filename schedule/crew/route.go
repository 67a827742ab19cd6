package crew

import (
	"cmp"
	"slices"
	"time"

	"carryside/assets"
)

// Visit is a stop at a plant that some people work in.
type Visit struct {
	PlantID    int64
	WindowID   int64
	Start, End time.Time
	People     []int64 // ascending
	Orders     []int64 // IDs, in the order they were given
}

// Leg is a way before a visit, or home after the last one.
type Leg struct {
	From, To int64 // plants; 0: the depot
	Minutes  int   // 0 with Known false: nobody has given the way
	Known    bool
	Before   int // place of the visit it leads to; the number of visits: the way home
}

// Route is the visits of people who go to the same stops of a stretch of time together, with the ways.
type Route struct {
	People []int64
	Home   int64 // plant; 0: the depot
	Visits []Visit
	Legs   []Leg
}

// night is how long a crew stays out between two visits; in a longer pause it goes home.
const night = 14 * time.Hour

// Routes gathers visits by who goes: people with the same visits share a van. ways are given from and to a place, the same back unless
// given too. In order of the first visit.
func Routes(visits []Visit, members []assets.CrewMember, ways []assets.TravelTime) []Route {
	slices.SortStableFunc(visits, func(a, b Visit) int { return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.WindowID, b.WindowID)) })
	of := map[int64][]int{} // visits by person
	var people []int64
	for i, v := range visits {
		for _, id := range v.People {
			if of[id] == nil {
				people = append(people, id)
			}
			of[id] = append(of[id], i)
		}
	}
	var out []Route
	taken := map[int64]bool{}
	for _, id := range people {
		if taken[id] {
			continue
		}
		r := Route{Home: homeOf(members, id)}
		for _, other := range people {
			if !taken[other] && slices.Equal(of[other], of[id]) && homeOf(members, other) == r.Home {
				taken[other] = true
				r.People = append(r.People, other)
			}
		}
		for _, i := range of[id] {
			r.Visits = append(r.Visits, visits[i])
		}
		r.Legs = legs(r, ways)
		out = append(out, r)
	}
	return out
}

func homeOf(members []assets.CrewMember, person int64) int64 {
	for _, m := range members {
		if m.PersonID == person {
			return m.HomePlantID
		}
	}
	return 0
}

// legs are the ways of a route: out from home, on to the next plant where the pause is short, else home and out again.
func legs(r Route, ways []assets.TravelTime) []Leg {
	var out []Leg
	at := r.Home
	add := func(to int64, before int) {
		if to != at {
			minutes, known := Way(ways, at, to)
			out = append(out, Leg{From: at, To: to, Minutes: minutes, Known: known, Before: before})
			at = to
		}
	}
	for i, v := range r.Visits {
		if i > 0 && v.Start.Sub(r.Visits[i-1].End) > night {
			add(r.Home, i)
		}
		add(v.PlantID, i)
	}
	add(r.Home, len(r.Visits))
	return out
}

// Way is how long it takes from one place to another; known is false where nobody has given it.
func Way(ways []assets.TravelTime, from, to int64) (minutes int, known bool) {
	back := -1
	for _, w := range ways {
		switch {
		case w.FromPlantID == from && w.ToPlantID == to:
			return w.Minutes, true
		case w.FromPlantID == to && w.ToPlantID == from:
			back = w.Minutes
		}
	}
	return max(back, 0), back >= 0
}
