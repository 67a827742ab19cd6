package calendar

import (
	"slices"
	"time"
)

// span is a stretch of instants, start included, end excluded.
type span struct{ start, end time.Time }

// hours returns the elapsed hours of a span.
func (s span) hours() float64 { return s.end.Sub(s.start).Hours() }

// clip returns the part of a span inside [from, to); false when nothing is left.
func (s span) clip(from, to time.Time) (span, bool) {
	if s.start.Before(from) {
		s.start = from
	}
	if s.end.After(to) {
		s.end = to
	}
	return s, s.start.Before(s.end)
}

// merged sorts spans and joins those that touch or overlap; it reuses the slice.
func merged(spans []span) []span {
	slices.SortFunc(spans, func(a, b span) int { return a.start.Compare(b.start) })
	out := spans[:0]
	for _, s := range spans {
		if n := len(out); n > 0 && !s.start.After(out[n-1].end) {
			if s.end.After(out[n-1].end) {
				out[n-1].end = s.end
			}
			continue
		}
		out = append(out, s)
	}
	return out
}

// without returns the parts of sorted spans that no span of taken covers.
func without(spans, taken []span) []span {
	var left []span
	for _, s := range spans {
		for _, t := range taken {
			if !t.end.After(s.start) || !t.start.Before(s.end) {
				continue
			}
			if s.start.Before(t.start) {
				left = append(left, span{s.start, t.start})
			}
			s.start = t.end
			if !s.start.Before(s.end) {
				break
			}
		}
		if s.start.Before(s.end) {
			left = append(left, s)
		}
	}
	return left
}

// totalHours adds the elapsed hours of spans that do not overlap.
func totalHours(spans []span) float64 {
	sum := 0.0
	for _, s := range spans {
		sum += s.hours()
	}
	return sum
}
