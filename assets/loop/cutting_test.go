package loop

import (
	"encoding/json"
	"math"
	"testing"
)

// figureCase is one case of formulas.json: arithmetic; the rules it names are common practice, steps = plies - 1 as
// tabulated from DIN 22102-3.
type figureCase struct {
	ID       string             `json:"id"`
	What     string             `json:"what"`
	Input    map[string]float64 `json:"input"`
	Expected map[string]any     `json:"expected"`
}

// figures works out a case as name and figure; flags are 1 and 0.
func (c figureCase) figures(t *testing.T) (map[string]float64, error) {
	in := c.Input
	slant := Bias{}
	if v, there := in["bias_per_width"]; there {
		slant.PerWidth = &v
	}
	if v, there := in["bias_from_square_deg"]; there {
		slant.FromSquareDeg = &v
	}
	switch c.What {
	case "cut length":
		v, err := Cut{in["path_mm"], in["fit_stretch_percent"], in["splice_allowance_mm"], int(in["splices"]), in["trim_each_end_mm"]}.LengthMM()
		return map[string]float64{"cut_length_mm": v}, err
	case "stepped splice":
		f, err := Stepped{int(in["plies"]), in["step_mm"], in["width_mm"], slant, in["trim_each_end_mm"]}.Figures()
		return map[string]float64{
			"steps": float64(f.Steps), "splice_length_mm": f.SpliceLengthMM, "bias_offset_mm": f.BiasOffsetMM,
			"allowance_mm": f.AllowanceMM, "ply_count_efficiency": f.PlyCountEfficiency,
		}, err
	case "bias offset":
		v, err := slant.OffsetMM(in["width_mm"])
		return map[string]float64{"offset_mm": v}, err
	case "fingers across the width":
		f, err := Fingers{in["width_mm"], in["pitch_mm"], in["finger_length_mm"]}.Figures()
		return map[string]float64{
			"full_fingers": float64(f.Full), "remnant_mm": f.RemnantMM, "remnant_allowed": flag(f.RemnantAllowed), "flank_mm": f.FlankMM,
			"half_angle_deg": f.HalfAngleDeg, "weld_line_per_width": f.WeldLinePerWidth,
		}, err
	case "roll length":
		length, turns, err := Roll{in["outer_mm"], in["core_mm"], in["thickness_mm"]}.Length()
		return map[string]float64{"length_m": length, "turns": turns}, err
	case "roll length from turns":
		v, err := LengthOfTurns(in["outer_mm"], in["core_mm"], in["turns"])
		return map[string]float64{"length_m": v}, err
	case "roll outer diameter":
		v, err := OuterMM(in["length_m"], in["thickness_mm"], in["core_mm"])
		return map[string]float64{"outer_mm": v}, err
	case "belt mass":
		kg, plan, err := MassKG(in["width_mm"], in["length_m"], in["mass_per_area_kg_m2"])
		return map[string]float64{"mass_kg": kg, "above_25_kg_lift_plan": flag(plan)}, err
	case "take-up":
		b, err := TakeUp{in["position_new_belt_mm"], in["position_now_mm"], in["end_of_travel_mm"], in["cut_out_mm"], in["splice_overlap_mm"]}.Budget()
		return map[string]float64{
			"used_percent": b.UsedPercent, "loop_shortened_per_resplice_mm": b.ShortenedMM, "travel_per_resplice_mm": b.TravelMM,
			"resplices_left": float64(b.ResplicesLeft),
		}, err
	}
	t.Fatalf("no formula for %q", c.What)
	return nil, nil
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func TestFiguresOfTheTables(t *testing.T) {
	for _, c := range read[figureCase](t, "formulas.json") {
		t.Run(c.ID+" "+c.What, func(t *testing.T) {
			got, err := c.figures(t)
			if err != nil {
				t.Fatal(err)
			}
			if len(got) != len(c.Expected) {
				t.Errorf("got %v, want the figures %v", got, c.Expected)
			}
			for name, want := range c.Expected {
				if b, isFlag := want.(bool); isFlag {
					want = flag(b)
				}
				near(t, name, got[name], want.(float64), 1e-4) // the tables are rounded to four decimals
			}
		})
	}
}

func TestCountsAreTakenInDecimals(t *testing.T) {
	for name, tt := range map[string]struct {
		width, pitch float64
		full         int
		remnant      float64
		allowed      bool
	}{
		"24 in wide, 1 in fingers":                          {609.6, 25.4, 24, 0, true},
		"0.6 mm of 0.1 mm, which binary division makes 5":   {0.6, 0.1, 6, 0, true},
		"a remnant of exactly half a finger may stay":       {1010.7, 20.2, 50, 0.7, false},
		"a remnant of half a finger in tenths may stay":     {0.25, 0.1, 2, 0.05, true},
		"a remnant just under half a finger would lift":     {0.249, 0.1, 2, 0.049, false},
		"a belt narrower than half a finger has no fingers": {5, 20, 0, 5, false},
	} {
		t.Run(name, func(t *testing.T) {
			f, err := Fingers{tt.width, tt.pitch, 80}.Figures()
			if err != nil {
				t.Fatal(err)
			}
			if f.Full != tt.full || f.RemnantAllowed != tt.allowed || f.RemnantMM != tt.remnant {
				t.Errorf("got %d fingers and %v mm allowed %v, want %d, %v, %v", f.Full, f.RemnantMM, f.RemnantAllowed, tt.full, tt.remnant, tt.allowed)
			}
		})
	}
	// 2 x 0.3 / 0.1 is 6 in decimals; in binary floating point it is 5.999...
	b, err := TakeUp{NewBeltMM: 0, NowMM: 0.3, EndMM: 1, CutOutMM: 0.1}.Budget()
	if err != nil || b.ResplicesLeft != 6 {
		t.Errorf("got %d re-splices left, %v; want 6", b.ResplicesLeft, err)
	}
	// 25.000 kg is not above 25 kg: 0.4 m x 12.5 m x 5 kg/m², and 1.1 m x 10.1 m x 2.2502250225022502 is.
	if _, plan, err := MassKG(400, 12.5, 5); err != nil || plan {
		t.Errorf("25 kg asks for a lift plan: %v, %v", plan, err)
	}
	if _, plan, err := MassKG(400, 12.5, 5.0001); err != nil || !plan {
		t.Errorf("a little above 25 kg asks for none: %v, %v", plan, err)
	}
}

func TestTakeUpTighterThanNewGivesNothingBack(t *testing.T) {
	for name, tu := range map[string]TakeUp{
		"scale upwards":   {NewBeltMM: 100, NowMM: -900, EndMM: 800, CutOutMM: 80, OverlapMM: 80},
		"scale backwards": {NewBeltMM: 900, NowMM: 1900, EndMM: 60, CutOutMM: 80, OverlapMM: 80},
		"as new":          {NewBeltMM: 100, NowMM: 100, EndMM: 800, CutOutMM: 80, OverlapMM: 80},
	} {
		b, err := tu.Budget()
		if err != nil || b.ResplicesLeft != 0 || b.UsedPercent > 0 {
			t.Errorf("%s: %+v, %v; want nothing left and nothing used", name, b, err)
		}
	}
}

func TestFiguresRefused(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, work := range map[string]func() error{
		"cut length of no path":            func() error { _, err := Cut{}.LengthMM(); return err },
		"cut length with negative trim":    func() error { _, err := Cut{PathMM: 8000, TrimEachEndMM: -1}.LengthMM(); return err },
		"cut length with negative splices": func() error { _, err := Cut{PathMM: 8000, Splices: -1}.LengthMM(); return err },
		"cut length stretched to no end":   func() error { _, err := Cut{PathMM: 8000, FitStretchPercent: inf}.LengthMM(); return err },
		"stepped splice of one ply": func() error {
			_, err := Stepped{Plies: 1, StepMM: 200, WidthMM: 800, Bias: Bias{PerWidth: ptr(0.4)}}.Figures()
			return err
		},
		"stepped splice without steps": func() error {
			_, err := Stepped{Plies: 3, WidthMM: 800, Bias: Bias{PerWidth: ptr(0.4)}}.Figures()
			return err
		},
		"bias given twice":                   func() error { _, err := Bias{PerWidth: ptr(0.4), FromSquareDeg: ptr(22)}.OffsetMM(800); return err },
		"bias not given":                     func() error { _, err := Bias{}.OffsetMM(800); return err },
		"bias along the belt":                func() error { _, err := Bias{FromSquareDeg: ptr(90)}.OffsetMM(800); return err },
		"bias backwards":                     func() error { _, err := Bias{PerWidth: ptr(-0.4)}.OffsetMM(800); return err },
		"bias that is not a number":          func() error { _, err := Bias{FromSquareDeg: ptr(nan)}.OffsetMM(800); return err },
		"bias on no width":                   func() error { _, err := Bias{PerWidth: ptr(0.4)}.OffsetMM(0); return err },
		"fingers of no pitch":                func() error { _, err := Fingers{600, 0, 80}.Figures(); return err },
		"fingers of no length":               func() error { _, err := Fingers{600, 20, 0}.Figures(); return err },
		"more fingers than a belt can have":  func() error { _, err := Fingers{1e9, 1e-9, 80}.Figures(); return err },
		"roll smaller than its core":         func() error { _, _, err := Roll{100, 200, 10}.Length(); return err },
		"roll of a belt without thickness":   func() error { _, _, err := Roll{500, 76, 0}.Length(); return err },
		"roll with negative turns":           func() error { _, err := LengthOfTurns(500, 76, -1); return err },
		"roll of negative length":            func() error { _, err := OuterMM(-1, 10, 76); return err },
		"mass of no width":                   func() error { _, _, err := MassKG(0, 10, 5); return err },
		"mass that is not a number":          func() error { _, _, err := MassKG(600, nan, 5); return err },
		"take-up without travel":             func() error { _, err := TakeUp{NewBeltMM: 5, EndMM: 5, CutOutMM: 80}.Budget(); return err },
		"re-splice that takes nothing out":   func() error { _, err := TakeUp{EndMM: 900}.Budget(); return err },
		"re-splice that cuts less than zero": func() error { _, err := TakeUp{EndMM: 900, CutOutMM: -80, OverlapMM: 160}.Budget(); return err },
		"take-up that stands nowhere":        func() error { _, err := TakeUp{NowMM: nan, EndMM: 900, CutOutMM: 80}.Budget(); return err },
	} {
		t.Run(name, func(t *testing.T) { refusedAs(t, work(), BadInput) })
	}
}

func TestRefusalsNameTheField(t *testing.T) {
	_, err := Fingers{600, -20, 80}.Figures()
	refused, ok := err.(*Refused)
	if !ok || refused.Field != "pitch_mm" {
		t.Errorf("got %v, want a refusal of pitch_mm", err)
	}
	if _, err := json.Marshal(refused); err != nil {
		t.Error(err)
	}
}

func TestResplicesShortenTheLoop(t *testing.T) {
	cut, overlap, err := FingerResplice(80, 20)
	if err != nil || cut != 120 || overlap != 80 {
		t.Errorf("finger: %v, %v, %v", cut, overlap, err)
	}
	cut, overlap, err = SteppedResplice(400, 600, 25)
	if err != nil || cut != 450 || overlap != 600 {
		t.Errorf("stepped: %v, %v, %v", cut, overlap, err)
	}
	_, _, err = FingerResplice(0, 20)
	refusedAs(t, err, BadInput)
	_, _, err = SteppedResplice(400, -1, 0)
	refusedAs(t, err, BadInput)
}
