package kit

import (
	"math"
	"slices"

	"carryside/assets"
)

// Counter is a counter with where it stands.
type Counter struct {
	assets.KitCounter
	Count float64
}

// Used is the share of the limit that is used; 0 where no limit is known.
func (c Counter) Used() float64 {
	if c.Limit <= 0 {
		return 0
	}
	return c.Count / c.Limit
}

// Left is how many counts are left to the limit, never below 0; infinite where none is known.
func (c Counter) Left() float64 {
	if c.Limit <= 0 {
		return math.Inf(1)
	}
	return math.Max(0, c.Limit-c.Count)
}

// Spent tells whether the limit is reached.
func (c Counter) Spent() bool { return c.Limit > 0 && c.Count >= c.Limit }

// Cycle is how many times the limit has been reached: the k of the occurrence that asks for service.
func (c Counter) Cycle() int {
	if c.Limit <= 0 {
		return 0
	}
	return int(math.Floor(c.Count/c.Limit + 1e-9))
}

// Job is planned work that uses a piece of kit.
type Job struct {
	OrderID int64
	Number  int64
	Day     assets.Day
}

// Lasting says for which planned jobs a counter lasts.
type Lasting struct {
	For    []Job   // jobs before the limit
	Past   *Job    // the first that would go past it; nil: none of those planned
	Left   float64 // counts left when all of For are done
	PerJob float64 // counts a job; 0: not known, and For says nothing
}

// Last works out for which of the planned jobs, in order of their day, a counter lasts.
func (c Counter) Last(jobs []Job) Lasting {
	l := Lasting{Left: c.Left(), PerJob: c.PerJob}
	if c.PerJob <= 0 || c.Limit <= 0 {
		return l
	}
	for i := range jobs {
		if l.Left < c.PerJob {
			l.Past = &jobs[i]
			return l
		}
		l.Left -= c.PerJob
		l.For = append(l.For, jobs[i])
	}
	return l
}

// Side returns the counter of the side of a cutter's pad that is up, and that of the other side; ok is false where none is
// up.
func Side(counters []Counter) (up, other Counter, ok bool) {
	for _, c := range counters {
		if c.EndedAt != 0 || c.Counts.PadSide() == "" {
			continue
		}
		if c.InUse {
			up, ok = c, true
		}
	}
	for _, c := range counters {
		if ok && c.EndedAt == 0 && c.Counts.PadSide() != "" && c.Part == up.Part && c.ID != up.ID {
			other = c
		}
	}
	return up, other, ok
}

// Moves tells whether a job moves a counter: one that is fitted and, of a pad, the side that is up.
func (c Counter) Moves() bool {
	return c.EndedAt == 0 && (c.Counts.PadSide() == "" || c.InUse)
}

// Done is what a signed job counts on a piece of kit.
type Done struct {
	CounterID int64
	Quantity  float64
}

// OfJob returns what a signed job counts on the counters of a piece of kit: what was counted on the job where somebody
// counted, by counter or by what is counted, else the counter's own figure for a job. Counters for which none is known do not move.
// What was counted on one side of a pad stays on that side if the pad was turned before it arrived, and the other side does not move.
func OfJob(counters []Counter, counted assets.JobCounted) []Done {
	var out []Done
	for _, c := range counters {
		n, own := counted.Counters[c.ID]
		if !own && (!c.Moves() || otherSideCounted(c, counters, counted)) || c.EndedAt != 0 {
			continue
		}
		if !own {
			n = c.PerJob
			if of, said := counted.Wear[c.Counts]; said {
				n = of
			}
		}
		if n > 0 {
			out = append(out, Done{c.ID, n})
		}
	}
	return out
}

// otherSideCounted tells whether the cuts of a job were counted on the other side of a pad.
func otherSideCounted(c Counter, counters []Counter, counted assets.JobCounted) bool {
	return c.Counts.PadSide() != "" && slices.ContainsFunc(counters, func(o Counter) bool {
		_, said := counted.Counters[o.ID]
		return said && o.ID != c.ID && o.KitID == c.KitID && o.Part == c.Part && o.Counts.PadSide() != ""
	})
}
