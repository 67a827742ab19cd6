package loop

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"carryside/assets"
)

// pulleyCase is a pulley as the case files spell it.
type pulleyCase struct {
	X    float64 `json:"x_mm"`
	Y    float64 `json:"y_mm"`
	D    float64 `json:"diameter_mm"`
	Face Face    `json:"face"`
}

// loopCase is one case of loops.json. The figures were worked out with 50-digit arithmetic (mpmath) from tangents and
// arcs, checked against tangents found by bisection with arcs as 4000 chords, and against the perimeter of convex
// hulls.
type loopCase struct {
	ID    string `json:"id"`
	Name  string `json:"name"`
	Input struct {
		Sense     Sense        `json:"sense"`
		Thickness float64      `json:"belt_thickness_mm"`
		Neutral   *float64     `json:"neutral_layer_from_inner_face_mm"`
		Pulleys   []pulleyCase `json:"pulleys"`
	} `json:"input"`
	Expected struct {
		Error   string    `json:"error"`
		Length  float64   `json:"length_mm"`
		Wraps   []float64 `json:"wraps_deg"`
		Runs    []float64 `json:"runs_mm"`
		Bends   int       `json:"bends"`
		Reverse int       `json:"reverse_bends"`
	} `json:"expected"`
}

func (c loopCase) loop() Loop {
	l := Loop{Sense: c.Input.Sense, ThicknessMM: c.Input.Thickness, NeutralMM: c.Input.Neutral}
	for _, p := range c.Input.Pulleys {
		l.Pulleys = append(l.Pulleys, Pulley{p.X, p.Y, p.D, p.Face})
	}
	return l
}

// read decodes a file of testdata.
func read[T any](t testing.TB, name string) []T {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	var cases []T
	if err := json.Unmarshal(text, &cases); err != nil || len(cases) == 0 {
		t.Fatalf("%s: %d cases, %v", name, len(cases), err)
	}
	return cases
}

// failing is what a check needs of a test, or of one draw of a property.
type failing interface {
	Helper()
	Errorf(format string, args ...any)
}

// near fails unless a figure is within a tolerance.
func near(t failing, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %v, want %v within %g", what, got, want, tolerance)
	}
}

// refusedAs fails unless an error is a refusal of that class with a sentence.
func refusedAs(t testing.TB, err error, class string) {
	t.Helper()
	var r *Refused
	if !errors.As(err, &r) || r.Class() != class || r.Error() == "" {
		t.Errorf("got %v, want a refusal of class %s", err, class)
	}
}

func TestLoopsOfTheTables(t *testing.T) {
	for _, c := range read[loopCase](t, "loops.json") {
		t.Run(c.ID+" "+c.Name, func(t *testing.T) {
			path, err := c.loop().Measure()
			if c.Expected.Error != "" {
				refusedAs(t, err, c.Expected.Error)
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			near(t, "length", path.LengthMM, c.Expected.Length, 1e-5)
			for i := range c.Expected.Wraps {
				near(t, "wrap", path.WrapsDeg[i], c.Expected.Wraps[i], 1e-6)
				near(t, "run", path.RunsMM[i], c.Expected.Runs[i], 1e-5)
			}
			if path.Bends != c.Expected.Bends || path.ReverseBends != c.Expected.Reverse {
				t.Errorf("bends %d of them reverse %d, want %d and %d", path.Bends, path.ReverseBends, c.Expected.Bends, c.Expected.Reverse)
			}
		})
	}
}

func TestOnlyAFewMillimetresDecide(t *testing.T) {
	flat := func(d, x float64) Loop {
		return Loop{Sense: Clockwise, Pulleys: []Pulley{{0, 0, d, Inner}, {x, 0, d, Inner}}}
	}
	// Tail and head, and a third pulley of 100 mm whose place decides.
	third := func(x, y, thickness float64, face Face) Loop {
		l := flat(300, 4000)
		l.ThicknessMM = thickness
		l.Pulleys = append(l.Pulleys, Pulley{x, y, 100, face})
		return l
	}
	nan, inf := math.NaN(), math.Inf(1)
	tests := map[string]struct {
		loop Loop
		want string // class, or "" for a loop that holds
	}{
		"pulleys that touch do not overlap":                   {flat(400, 400), ""},
		"pulleys that touch in tenths of a millimetre":        {flat(0.3, 0.3), ""},
		"a hundredth of a millimetre less and they overlap":   {flat(400, 399.99), PulleysOverlap},
		"two pulleys at one place":                            {flat(400, 0), PulleysOverlap},
		"overlap of two that are no neighbours":               {Loop{Sense: Clockwise, Pulleys: []Pulley{{0, 0, 300, Inner}, {4000, 0, 300, Inner}, {3000, -400, 100, Outer}, {250, 0, 300, Inner}}}, PulleysOverlap},
		"third pulley inside the loop without touching a run": {third(2000, -101, 0, Inner), ""},
		"run lies on a pulley listed in its place":            {third(2000, -100, 0, Inner), ""},
		"snub pressed into the return run":                    {third(2000, -190, 0, Outer), ""},
		"pulley as tall as both runs":                         {Loop{Sense: Clockwise, Pulleys: append(flat(300, 4000).Pulleys, Pulley{2000, -20, 500, Inner})}, BeltHitsPulley},
		"pulley top just under the belt":                      {Loop{Sense: Clockwise, ThicknessMM: 2, Pulleys: append(flat(300, 4000).Pulleys, Pulley{2000, -50.5, 401, Inner})}, ""},
		"pulley top pressed into the belt":                    {Loop{Sense: Clockwise, ThicknessMM: 2, Pulleys: append(flat(300, 4000).Pulleys, Pulley{2000, -50, 401, Inner})}, BeltHitsPulley},
		"belt thicker than the gap of a reverse bend":         {third(3850, -150, 30, Outer), NoTangent},
		"no sense given":                                      {Loop{Pulleys: flat(300, 4000).Pulleys}, BadInput},
		"a face that a belt does not have":                    {Loop{Sense: Clockwise, Pulleys: []Pulley{{0, 0, 300, "top"}, {4000, 0, 300, Inner}}}, BadInput},
		"negative diameter":                                   {flat(-300, 4000), BadInput},
		"diameter that is not a number":                       {flat(nan, 4000), BadInput},
		"endless diameter":                                    {flat(inf, 4000), BadInput},
		"place that is not a number":                          {flat(300, nan), BadInput},
		"place beyond any plant":                              {flat(300, 1e300), BadInput},
		"negative thickness":                                  {third(2000, -101, -1, Inner), BadInput},
		"thickness that is not a number":                      {third(2000, -101, nan, Inner), BadInput},
		"neutral layer outside the belt":                      {Loop{Sense: Clockwise, ThicknessMM: 6, NeutralMM: ptr(6.1), Pulleys: flat(300, 4000).Pulleys}, BadInput},
		"no pulleys at all":                                   {Loop{Sense: Clockwise}, BadInput},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := tt.loop.Measure()
			if tt.want == "" && err != nil {
				t.Fatal(err)
			}
			if tt.want != "" {
				refusedAs(t, err, tt.want)
			}
		})
	}
}

func ptr(v float64) *float64 { return &v }

func TestSketchTakesPulleysDrawnTooLarge(t *testing.T) {
	l := Loop{Sense: Clockwise, Pulleys: []Pulley{{0, 0, 1500, Inner}, {10000, 0, 1500, Inner}, {9200, -900, 1000, Inner}}}
	if _, err := l.Measure(); err == nil {
		t.Fatal("overlapping pulleys measured")
	}
	path, err := l.Sketch()
	if err != nil || !(path.LengthMM > 20000) {
		t.Fatalf("sketch: %v, %v", path, err)
	}
}

// pairCase is one case of two-pulleys.json: closed forms, arithmetic.
type pairCase struct {
	ID    string `json:"id"`
	Input struct {
		Arrangement Arrangement `json:"arrangement"`
		Centres     float64     `json:"centre_distance_mm"`
		Large       float64     `json:"diameter_large_mm"`
		Small       float64     `json:"diameter_small_mm"`
		Thickness   float64     `json:"belt_thickness_mm"`
	} `json:"input"`
	Expected struct {
		Error  string   `json:"error"`
		Length float64  `json:"length_mm"`
		Small  float64  `json:"wrap_small_deg"`
		Large  float64  `json:"wrap_large_deg"`
		Each   *float64 `json:"wrap_each_deg"`
	} `json:"expected"`
}

func TestPairsOfTheTables(t *testing.T) {
	for _, c := range read[pairCase](t, "two-pulleys.json") {
		t.Run(c.ID, func(t *testing.T) {
			in := c.Input
			got, err := Pair{Arrangement: in.Arrangement, CentresMM: in.Centres, LargeMM: in.Large, SmallMM: in.Small, ThicknessMM: in.Thickness}.Measure()
			if c.Expected.Error != "" {
				refusedAs(t, err, c.Expected.Error)
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			small, large := c.Expected.Small, c.Expected.Large
			if c.Expected.Each != nil {
				small, large = *c.Expected.Each, *c.Expected.Each
			}
			near(t, "length", got.LengthMM, c.Expected.Length, 1e-5)
			near(t, "wrap on the small pulley", got.WrapSmallDeg, small, 1e-6)
			near(t, "wrap on the large pulley", got.WrapLargeDeg, large, 1e-6)
		})
	}
}

func TestPairsRefused(t *testing.T) {
	good := Pair{Arrangement: Crossed, CentresMM: 300, LargeMM: 300, SmallMM: 296}
	if _, err := good.Measure(); err != nil {
		t.Fatal(err)
	}
	tests := map[string]struct {
		change func(*Pair)
		want   string
	}{
		"crossed belt too thick to pass between":  {func(p *Pair) { p.ThicknessMM = 2.5 }, NoTangent},
		"pulleys overlap":                         {func(p *Pair) { p.CentresMM = 297.9 }, PulleysOverlap},
		"an arrangement that does not exist":      {func(p *Pair) { p.Arrangement = "quarter turn" }, BadInput},
		"no diameter":                             {func(p *Pair) { p.SmallMM = 0 }, BadInput},
		"centre distance that is not a number":    {func(p *Pair) { p.CentresMM = math.NaN() }, BadInput},
		"neutral layer on the far side of a face": {func(p *Pair) { p.NeutralMM = ptr(-1) }, BadInput},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			p := good
			tt.change(&p)
			_, err := p.Measure()
			refusedAs(t, err, tt.want)
		})
	}
}

func TestLoopOfTheRegister(t *testing.T) {
	pulleys := []assets.Pulley{
		{Role: assets.PulleyTail, DiameterM: 0.32, Placed: true},
		{Role: assets.PulleyHead, XM: 8, DiameterM: 0.4, Placed: true},
		{Role: assets.PulleySnub, XM: 7.55, YM: -0.12, DiameterM: 0.16, OuterFace: true, Placed: true},
	}
	l, placed := Of(pulleys, 0.006)
	if !placed {
		t.Fatal("placed pulleys make no loop")
	}
	path, err := l.Measure()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "length", path.LengthMM, 17183.121741, 1e-5) // G-03 of loops.json
	pulleys[1].Placed = false
	if _, placed = Of(pulleys, 0.006); placed {
		t.Error("a pulley without a place was measured")
	}
	if _, placed = Of(nil, 0.006); placed {
		t.Error("a conveyor without pulleys was measured")
	}
}
