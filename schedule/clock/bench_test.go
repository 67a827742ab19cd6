package clock

import (
	"testing"
	"time"
)

// BenchmarkProjectAndAsk is what a screen does for one splice: thirteen weekly readings, one projection, one date with its band.
func BenchmarkProjectAndAsk(b *testing.B) {
	plan := twoShifts(b)
	points := []Point{{at(b, "2025-01-06T05:00Z"), 0}}
	for range 13 {
		last := points[len(points)-1]
		points = append(points, Point{last.At.Add(week), last.Hours + 60})
	}
	line := NewLine(points)
	for b.Loop() {
		p := Project(line, plan, 90*24*time.Hour, time.Time{})
		if _, _, ok := p.Band(4000, 1.28); !ok {
			b.Fatal("not reached")
		}
	}
}
