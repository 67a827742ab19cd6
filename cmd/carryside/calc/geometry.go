package calc

import "carryside/assets/loop"

// geometryKinds are loops, pairs of pulleys and cutting figures.
var geometryKinds = map[string]Kind{
	"loop":        measuredLoop,
	"two-pulleys": measuredPair,
	"cutting":     cutting,
}

// measuredLoop works out a belt's way round its pulleys.
func measuredLoop(c *Case) (any, error) {
	in := c.Object("input")
	l := loop.Loop{
		Sense:       loop.Sense(in.Text("sense")),
		ThicknessMM: in.Number("belt_thickness_mm"),
		NeutralMM:   in.optional("neutral_layer_from_inner_face_mm"),
	}
	for _, p := range in.Objects("pulleys") {
		l.Pulleys = append(l.Pulleys, loop.Pulley{
			XMM: p.Number("x_mm"), YMM: p.Number("y_mm"), DiameterMM: p.Number("diameter_mm"), Face: loop.Face(p.Text("face")),
		})
	}
	path, err := l.Measure()
	if err != nil {
		return nil, err
	}
	return map[string]any{
		"length_mm": path.LengthMM, "wraps_deg": path.WrapsDeg, "runs_mm": path.RunsMM,
		"bends": path.Bends, "reverse_bends": path.ReverseBends,
	}, nil
}

// measuredPair works out the closed forms for two pulleys.
func measuredPair(c *Case) (any, error) {
	in := c.Object("input")
	p := loop.Pair{
		Arrangement: loop.Arrangement(in.Text("arrangement")),
		CentresMM:   in.Number("centre_distance_mm"),
		LargeMM:     in.Number("diameter_large_mm"),
		SmallMM:     in.Number("diameter_small_mm"),
		ThicknessMM: in.Number("belt_thickness_mm"),
		NeutralMM:   in.optional("neutral_layer_from_inner_face_mm"),
	}
	path, err := p.Measure()
	if err != nil {
		return nil, err
	}
	if p.Arrangement == loop.Crossed {
		return map[string]any{"length_mm": path.LengthMM, "wrap_each_deg": path.WrapSmallDeg}, nil
	}
	return map[string]any{"length_mm": path.LengthMM, "wrap_small_deg": path.WrapSmallDeg, "wrap_large_deg": path.WrapLargeDeg}, nil
}

// cuttingFormulas are the formulas of the cutting kind, by what a case says it works out.
var cuttingFormulas = map[string]func(in *Fields) (any, error){
	"cut length":               cutLength,
	"stepped splice":           steppedSplice,
	"bias offset":              biasOffset,
	"fingers across the width": fingers,
	"roll length":              rollLength,
	"roll length from turns":   rollLengthFromTurns,
	"roll outer diameter":      rollOuter,
	"belt mass":                beltMass,
	"take-up":                  takeUp,
}

// cutting works out the formula that the case names.
func cutting(c *Case) (any, error) {
	what, in := c.Text("what"), c.Object("input")
	if c.Err() != nil {
		return nil, nil
	}
	formula := cuttingFormulas[what]
	if formula == nil {
		return nil, &Refusal{Kind: loop.BadInput, Text: "there is no formula for " + what + "; name one of those of the cutting figures"}
	}
	return formula(in)
}

func cutLength(in *Fields) (any, error) {
	length, err := loop.Cut{
		PathMM: in.Number("path_mm"), FitStretchPercent: in.Number("fit_stretch_percent"),
		SpliceAllowanceMM: in.Number("splice_allowance_mm"), Splices: int(in.Whole("splices")), TrimEachEndMM: in.Number("trim_each_end_mm"),
	}.LengthMM()
	return map[string]any{"cut_length_mm": length}, err
}

func steppedSplice(in *Fields) (any, error) {
	f, err := loop.Stepped{
		Plies: int(in.Whole("plies")), StepMM: in.Number("step_mm"), WidthMM: in.Number("width_mm"),
		Bias: bias(in), TrimEachEndMM: in.Number("trim_each_end_mm"),
	}.Figures()
	return map[string]any{
		"steps": f.Steps, "splice_length_mm": f.SpliceLengthMM, "bias_offset_mm": f.BiasOffsetMM,
		"allowance_mm": f.AllowanceMM, "ply_count_efficiency": f.PlyCountEfficiency,
	}, err
}

func biasOffset(in *Fields) (any, error) {
	offset, err := bias(in).OffsetMM(in.Number("width_mm"))
	return map[string]any{"offset_mm": offset}, err
}

// bias reads a slant in whichever way it is given; one of the two is needed.
func bias(in *Fields) loop.Bias {
	b := loop.Bias{PerWidth: in.optional("bias_per_width"), FromSquareDeg: in.optional("bias_from_square_deg")}
	if b.PerWidth == nil && b.FromSquareDeg == nil {
		in.fail("bias_from_square_deg", "")
	}
	return b
}

func fingers(in *Fields) (any, error) {
	f, err := loop.Fingers{WidthMM: in.Number("width_mm"), PitchMM: in.Number("pitch_mm"), FingerLengthMM: in.Number("finger_length_mm")}.Figures()
	return map[string]any{
		"full_fingers": f.Full, "remnant_mm": f.RemnantMM, "remnant_allowed": f.RemnantAllowed,
		"flank_mm": f.FlankMM, "half_angle_deg": f.HalfAngleDeg, "weld_line_per_width": f.WeldLinePerWidth,
	}, err
}

func rollLength(in *Fields) (any, error) {
	length, turns, err := loop.Roll{OuterMM: in.Number("outer_mm"), CoreMM: in.Number("core_mm"), ThicknessMM: in.Number("thickness_mm")}.Length()
	return map[string]any{"length_m": length, "turns": turns}, err
}

func rollLengthFromTurns(in *Fields) (any, error) {
	length, err := loop.LengthOfTurns(in.Number("outer_mm"), in.Number("core_mm"), in.Number("turns"))
	return map[string]any{"length_m": length}, err
}

func rollOuter(in *Fields) (any, error) {
	outer, err := loop.OuterMM(in.Number("length_m"), in.Number("thickness_mm"), in.Number("core_mm"))
	return map[string]any{"outer_mm": outer}, err
}

func beltMass(in *Fields) (any, error) {
	kg, plan, err := loop.MassKG(in.Number("width_mm"), in.Number("length_m"), in.Number("mass_per_area_kg_m2"))
	return map[string]any{"mass_kg": kg, "above_25_kg_lift_plan": plan}, err
}

func takeUp(in *Fields) (any, error) {
	b, err := loop.TakeUp{
		NewBeltMM: in.Number("position_new_belt_mm"), NowMM: in.Number("position_now_mm"), EndMM: in.Number("end_of_travel_mm"),
		CutOutMM: in.Number("cut_out_mm"), OverlapMM: in.Number("splice_overlap_mm"),
	}.Budget()
	return map[string]any{
		"used_percent": b.UsedPercent, "loop_shortened_per_resplice_mm": b.ShortenedMM,
		"travel_per_resplice_mm": b.TravelMM, "resplices_left": b.ResplicesLeft,
	}, err
}

// optional reads a number that may be absent.
func (f *Fields) optional(name string) *float64 {
	if !f.Has(name) {
		return nil
	}
	v := f.Number(name)
	return &v
}
