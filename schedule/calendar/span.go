package calendar

import (
	"cmp"
	"slices"
)

// span is a stretch of instants in Unix seconds, start included, end excluded.
type span struct{ start, end int64 }

// clip returns the part of a span from an instant on; false when nothing is left.
func (s span) clip(from int64) (span, bool) {
	s.start = max(s.start, from)
	return s, s.start < s.end
}

// merged sorts spans and joins those that touch or overlap; it reuses the slice.
func merged(spans []span) []span {
	slices.SortFunc(spans, func(a, b span) int { return cmp.Compare(a.start, b.start) })
	out := spans[:0]
	for _, s := range spans {
		if n := len(out); n > 0 && s.start <= out[n-1].end {
			out[n-1].end = max(out[n-1].end, s.end)
			continue
		}
		out = append(out, s)
	}
	return out
}

// without returns the parts of sorted spans that no span of taken, sorted too, covers.
func without(spans, taken []span) []span {
	var left []span
	for _, s := range spans {
		for _, t := range taken {
			if t.end <= s.start || t.start >= s.end {
				continue
			}
			if s.start < t.start {
				left = append(left, span{s.start, t.start})
			}
			s.start = t.end
			if s.start >= s.end {
				break
			}
		}
		if s.start < s.end {
			left = append(left, s)
		}
	}
	return left
}

// totalSeconds adds the lengths of spans that do not overlap.
func totalSeconds(spans []span) int64 {
	sum := int64(0)
	for _, s := range spans {
		sum += s.end - s.start
	}
	return sum
}
