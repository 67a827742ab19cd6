package loop

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// soundLoops are the loops of the tables that hold.
func soundLoops(t testing.TB) []Loop {
	var loops []Loop
	for _, c := range read[loopCase](t, "loops.json") {
		if c.Expected.Error == "" {
			loops = append(loops, c.loop())
		}
	}
	if len(loops) < 10 {
		t.Fatalf("only %d sound loops", len(loops))
	}
	return loops
}

// reversed is the same belt run backwards: the pulleys in the other order, the other sense.
func (l Loop) reversed() Loop {
	l.Pulleys = slices.Clone(l.Pulleys)
	slices.Reverse(l.Pulleys)
	l.Sense = map[Sense]Sense{Clockwise: Counterclockwise, Counterclockwise: Clockwise}[l.Sense]
	return l
}

// moved turns a loop about the origin and shifts it.
func (l Loop) moved(angle, dx, dy float64) Loop {
	l.Pulleys = slices.Clone(l.Pulleys)
	sin, cos := math.Sincos(angle)
	for i, p := range l.Pulleys {
		l.Pulleys[i].XMM, l.Pulleys[i].YMM = p.XMM*cos-p.YMM*sin+dx, p.XMM*sin+p.YMM*cos+dy
	}
	return l
}

// mirrored is the loop seen from the other side of the conveyor.
func (l Loop) mirrored() Loop {
	l = l.reversed()
	slices.Reverse(l.Pulleys)
	for i := range l.Pulleys {
		l.Pulleys[i].XMM = -l.Pulleys[i].XMM
	}
	return l
}

func TestLoopIsTheSameTurnedShiftedReversedAndMirrored(t *testing.T) {
	loops := soundLoops(t)
	rapid.Check(t, func(t *rapid.T) {
		l := rapid.SampledFrom(loops).Draw(t, "loop")
		want, err := l.Measure()
		if err != nil {
			t.Fatal(err)
		}
		angle := rapid.Float64Range(-math.Pi, math.Pi).Draw(t, "angle")
		shift := rapid.Float64Range(-1e6, 1e6).Draw(t, "shift")
		for name, other := range map[string]Loop{"moved": l.moved(angle, shift, -shift/3), "reversed": l.reversed(), "mirrored": l.mirrored()} {
			got, err := other.Measure()
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if math.Abs(got.LengthMM-want.LengthMM) > 1e-5 || got.Bends != want.Bends || got.ReverseBends != want.ReverseBends {
				t.Fatalf("%s: length %v bends %d/%d, want %v %d/%d", name, got.LengthMM, got.Bends, got.ReverseBends, want.LengthMM, want.Bends, want.ReverseBends)
			}
		}
	})
}

func TestTwoPulleysAgreeWithTheClosedForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		large := rapid.Float64Range(5, 2000).Draw(t, "large")
		small := rapid.Float64Range(5, 2000).Draw(t, "small")
		gap := rapid.Float64Range(0.5, 50000).Draw(t, "gap")
		thick := rapid.Float64Range(0, 30).Draw(t, "thickness")
		p := Pair{Arrangement: Open, CentresMM: (large+small)/2 + gap, LargeMM: large, SmallMM: small, ThicknessMM: thick}
		closed, err := p.Measure()
		if err != nil {
			t.Fatal(err)
		}
		path, err := Loop{Sense: Counterclockwise, ThicknessMM: thick, Pulleys: []Pulley{{0, 0, large, Inner}, {0, p.CentresMM, small, Inner}}}.Measure()
		if err != nil {
			t.Fatal(err)
		}
		near(t, "length", path.LengthMM, closed.LengthMM, 1e-6)
		near(t, "wrap", path.WrapsDeg[0], closed.WrapLargeDeg, 1e-7)
		near(t, "wrap", path.WrapsDeg[1], closed.WrapSmallDeg, 1e-7)
	})
}

// TestConvexLoopIsItsHull checks loops that touch with the inner face only against the perimeter of the convex hull of
// many points on each pulley's circle at the neutral layer: a method that knows no tangents.
func TestConvexLoopIsItsHull(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 9).Draw(t, "pulleys")
		l := Loop{Sense: Counterclockwise, ThicknessMM: rapid.Float64Range(0, 20).Draw(t, "thickness")}
		for i := range n {
			angle := 2 * math.Pi * float64(i) / float64(n)
			l.Pulleys = append(l.Pulleys, Pulley{5000 * math.Cos(angle), 3000 * math.Sin(angle), rapid.Float64Range(50, 600).Draw(t, "diameter"), Inner})
		}
		path, err := l.Measure()
		if err != nil {
			t.Fatal(err)
		}
		var points []Point
		const each = 2000
		for i, p := range l.Pulleys {
			for k := range each {
				sin, cos := math.Sincos(2 * math.Pi * float64(k) / each)
				points = append(points, Point{p.XMM + l.radiusMM(i)*cos, p.YMM + l.radiusMM(i)*sin})
			}
		}
		hull := hullLength(points)
		// The polygon lies inside: by less than (2 pi / 2000)² / 24 of the arcs, and half a step of each run's slant.
		if hull > path.LengthMM+1e-6 || path.LengthMM-hull > 1e-5*path.LengthMM {
			t.Fatalf("length %v, hull %v", path.LengthMM, hull)
		}
	})
}

// hullLength is the perimeter of the convex hull (Andrew's monotone chain).
func hullLength(points []Point) float64 {
	slices.SortFunc(points, func(a, b Point) int {
		if a.XMM != b.XMM {
			return int(math.Copysign(1, a.XMM-b.XMM))
		}
		return int(math.Copysign(1, a.YMM-b.YMM))
	})
	half := func(ps []Point) []Point {
		var h []Point
		for _, p := range ps {
			for len(h) > 1 && cross(h[len(h)-2], h[len(h)-1], p) <= 0 {
				h = h[:len(h)-1]
			}
			h = append(h, p)
		}
		return h
	}
	length := 0.0
	lower := half(points)
	slices.Reverse(points)
	for _, h := range [][]Point{lower, half(points)} {
		for i := 1; i < len(h); i++ {
			length += math.Hypot(h[i].XMM-h[i-1].XMM, h[i].YMM-h[i-1].YMM)
		}
	}
	return length
}

func TestWalkingTheBeltGivesItsLength(t *testing.T) {
	for _, l := range soundLoops(t) {
		path, err := l.Measure()
		if err != nil {
			t.Fatal(err)
		}
		const steps = 40000
		chords := 0.0
		before, _ := path.At(0)
		for i := 1; i <= steps; i++ {
			place, direction := path.At(path.LengthMM * float64(i) / steps)
			chord := math.Hypot(place.XMM-before.XMM, place.YMM-before.YMM)
			chords += chord
			ahead, _ := path.At(path.LengthMM*float64(i)/steps + 1e-3)
			if lean := math.Abs(math.Remainder(math.Atan2(ahead.YMM-place.YMM, ahead.XMM-place.XMM)-direction, 2*math.Pi)); lean > 1e-3 {
				t.Fatalf("at step %d the belt runs %v rad off its direction", i, lean)
			}
			before = place
		}
		// A chord of a step on the smallest radius (3.4 mm) is short by step²/(24 r²).
		near(t, "sum of chords", chords, path.LengthMM, 2e-4*path.LengthMM)
		if chords > path.LengthMM+1e-6 {
			t.Errorf("chords of %v mm are longer than the belt, %v mm", chords, path.LengthMM)
		}
	}
}

func TestAtTakesAnyDistance(t *testing.T) {
	path, err := Loop{Sense: Clockwise, Pulleys: []Pulley{{0, 0, 200, Inner}, {10000, 0, 200, Inner}}}.Measure()
	if err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct{ distance, x, y, direction float64 }{
		"zero mark at the tail, on top":   {0, 0, 100, 0},
		"half way along the carry side":   {5000, 5000, 100, 0},
		"middle of the head":              {10000 + 50*math.Pi, 10100, 0, -math.Pi / 2},
		"half way back":                   {15000 + 100*math.Pi, 5000, -100, -math.Pi},
		"once round and half way along":   {path.LengthMM + 5000, 5000, 100, 0},
		"backwards from the zero mark":    {-100*math.Pi - 5000, 5000, -100, -math.Pi},
		"not a number is the zero mark":   {math.NaN(), 0, 100, 0},
		"endless is the zero mark":        {math.Inf(1), 0, 100, 0},
		"a whole round is the zero mark":  {path.LengthMM, 0, 100, 0},
		"the middle of the tail's arc":    {20000 + 150*math.Pi, -100, 0, -3 * math.Pi / 2},
		"backwards into the tail's arc":   {-50 * math.Pi, -100, 0, -3 * math.Pi / 2},
		"just before the head's arc ends": {10000 + 100*math.Pi - 1e-9, 10000, -100, -math.Pi},
	} {
		t.Run(name, func(t *testing.T) {
			place, direction := path.At(tt.distance)
			near(t, "x", place.XMM, tt.x, 1e-6)
			near(t, "y", place.YMM, tt.y, 1e-6)
			near(t, "direction", math.Remainder(direction-tt.direction, 2*math.Pi), 0, 1e-9)
		})
	}
	low, high := path.Box()
	near(t, "left", low.XMM, -100, 1e-9)
	near(t, "right", high.XMM, 10100, 1e-9)
	near(t, "bottom", low.YMM, -100, 1e-9)
	near(t, "top", high.YMM, 100, 1e-9)
}

func TestPiecesJoin(t *testing.T) {
	for _, l := range soundLoops(t) {
		path, err := l.Measure()
		if err != nil {
			t.Fatal(err)
		}
		pieces, at := path.Pieces(), 0.0
		for i, c := range pieces {
			next := pieces[(i+1)%len(pieces)]
			near(t, "joint in x", next.From.XMM, c.To.XMM, 1e-6)
			near(t, "joint in y", next.From.YMM, c.To.YMM, 1e-6)
			near(t, "start", c.StartMM, at, 1e-6)
			at += c.LengthMM
			end, _ := c.at(c.LengthMM)
			near(t, "end in x", end.XMM, c.To.XMM, 1e-6)
			near(t, "end in y", end.YMM, c.To.YMM, 1e-6)
		}
		near(t, "sum of the pieces", at, path.LengthMM, 1e-6)
	}
}

func TestAnyPulleyListIsAnsweredNotPanicked(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := Loop{
			Sense:       rapid.SampledFrom([]Sense{Clockwise, Counterclockwise}).Draw(t, "sense"),
			ThicknessMM: rapid.Float64().Draw(t, "thickness"),
		}
		for range rapid.IntRange(0, 8).Draw(t, "pulleys") {
			l.Pulleys = append(l.Pulleys, Pulley{
				XMM: rapid.Float64().Draw(t, "x"), YMM: rapid.Float64Range(-3000, 3000).Draw(t, "y"),
				DiameterMM: rapid.Float64().Draw(t, "diameter"), Face: rapid.SampledFrom([]Face{Inner, Outer}).Draw(t, "face"),
			})
		}
		for _, work := range []func() (*Path, error){l.Measure, l.Sketch} {
			path, err := work()
			if err == nil && (math.IsNaN(path.LengthMM) || math.IsInf(path.LengthMM, 0)) {
				t.Fatalf("a length of %v was given out", path.LengthMM)
			}
		}
	})
}
