package drawing

import (
	"math"
	"sort"
)

// label is a piece of writing beside a mark, with the room it takes.
type label struct {
	x, y   float64 // middle of its first line's foot
	w, h   float64
	from   float64 // where its leader begins, in an overview
	rank   int     // room is given in this order: past, 80 to 100 %, unknown, others
	level  int
	step   float64 // height of a level; below zero goes down
	beside bool    // stands beside its mark, not above or below
	anchor string  // "" is the middle; start or end where a take-up stands beside it
	splice Splice
}

// rankOf is the order in which splices get room for their labels.
func rankOf(b Band) int {
	switch b {
	case Past:
		return 0
	case Opening:
		return 1
	case Unknown:
		return 2
	}
	return 3
}

func (l *label) touches(o *label) bool {
	y, oy := l.y-float64(l.level)*l.step, o.y-float64(o.level)*o.step
	return math.Abs(l.x-o.x) < (l.w+o.w)/2+4 && math.Abs(y-oy) < math.Max(l.h, o.h)
}

// settle gives every label a level: of two that touch, the left one goes up. What would stand higher than
// most loses its writing, the last in rank first; its mark stays.
func settle(labels []*label, most int) []*label {
	for {
		sort.SliceStable(labels, func(i, j int) bool { return labels[i].x > labels[j].x })
		high := -1
		for i, l := range labels {
			l.level = 0
			for l.blocked(labels[:i]) {
				l.level++
			}
			if l.level > most {
				high = i
			}
		}
		if high < 0 {
			return labels
		}
		labels = withoutLast(labels, labels[high])
	}
}

func (l *label) blocked(by []*label) bool {
	for _, o := range by {
		if l.touches(o) {
			return true
		}
	}
	return false
}

// withoutLast drops, of the labels near one that found no room, the last in rank.
func withoutLast(labels []*label, crowded *label) []*label {
	drop := crowded
	for _, l := range labels {
		if math.Abs(l.x-crowded.x) < l.w+crowded.w && l.rank > drop.rank {
			drop = l
		}
	}
	kept := labels[:0]
	for _, l := range labels {
		if l != drop {
			kept = append(kept, l)
		}
	}
	return kept
}
