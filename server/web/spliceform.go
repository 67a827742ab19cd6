package web

import (
	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/workorder"
)

// These forms answer: where in the belt is a splice, how was it made, when and by whom, and why did it end?

func formWords(f assets.Form) string { return f.Words() }

func bondWords(b assets.Bond) string {
	if b == assets.BondNone {
		return "none"
	}
	return b.Words()
}

func (p *formPage) spliceFields(sp assets.Splice) {
	f := p.Form
	p.section("Where and what",
		f.Text("number", "Mark on the belt", sp.Number).Hinted("2 for S2; empty takes the next one free"),
		f.Optional("position_m", "From the zero mark", unit.Distance, sp.PositionM, sp.AsTyped).Hinted("Along the belt in its running direction, from the mark painted on it"),
		f.Select("form", "Form", string(sp.Form), choices("not known", assets.Forms, formWords)),
		f.Select("bond", "Bond", string(sp.Bond), choices("not known", assets.Bonds, bondWords)))
	p.section("Its measures",
		f.Quantity("finger_pitch_m", "Finger width at the root", unit.Finger, sp.FingerPitchM, sp.AsTyped),
		f.Quantity("finger_length_m", "Finger length", unit.Finger, sp.FingerLengthM, sp.AsTyped),
		f.Quantity("step_length_m", "Length of one step", unit.Step, sp.StepLengthM, sp.AsTyped),
		f.Number("steps", "Steps", plainWhole(sp.Steps), "").Hinted("Plies less one"),
		f.Number("bias_angle_deg", "Bias, from square across", plainNumber(sp.BiasAngleDeg), "°"))
	p.section("When and by whom",
		f.Known("made", "Made", sp.Made).Must(),
		f.Text("made_by", "Made by", sp.MadeBy).Hinted("A person or crew, as it should stand in the records"),
		f.Text("made_with", "Made with", sp.MadeWith).Hinted("Press, recipe, number of the cycle record").OverBoth(),
		f.Area("remark", "Remark", sp.Remark).OverBoth())
}

// splice reads the fields of a splice; loopM is the belt's loop, 0 when not known.
func (e *entry) splice(sp *assets.Splice, loopM float64) {
	sp.Number, sp.PositionM = e.text("number"), e.optional("position_m", unit.Distance)
	if sp.PositionM != nil && (*sp.PositionM < 0 || loopM > 0 && *sp.PositionM > loopM) {
		e.bad.Add("position_m", "the place lies on the loop, between 0 and "+e.r.F.Loop(loopM))
	}
	sp.Form = oneOf(e, "form", "choose a form from the list, or leave it as not known", append([]assets.Form{""}, assets.Forms...)...)
	sp.Bond = oneOf(e, "bond", "choose a bond from the list, or leave it as not known", append([]assets.Bond{""}, assets.Bonds...)...)
	sp.FingerPitchM = e.notBelowNought("finger_pitch_m", "the width", unit.Finger)
	sp.FingerLengthM = e.notBelowNought("finger_length_m", "the length", unit.Finger)
	sp.StepLengthM = e.notBelowNought("step_length_m", "the length", unit.Step)
	sp.Steps = e.whole("steps", 0, 20)
	if sp.BiasAngleDeg = e.number("bias_angle_deg"); sp.BiasAngleDeg < -89 || sp.BiasAngleDeg > 89 {
		e.bad.Add("bias_angle_deg", "the bias lies between -89 and 89 degrees")
	}
	sp.Made = e.mustWhen("made", "the day on which the splice was made, or 'not known'")
	sp.MadeBy, sp.MadeWith, sp.Remark = e.text("made_by"), e.text("made_with"), e.text("remark")
	if sp.MadeBy == "" {
		sp.MadeByID = 0
	}
	sp.AsTyped = e.typedOf("position_m", "finger_pitch_m", "finger_length_m", "step_length_m")
}

// makeSplice records a splice in the belt of a conveyor.
func (s *Site) makeSplice(r *Request) error {
	c, err := s.conveyorAsked(r)
	if err != nil {
		return err
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	b, on := reg.BeltOn(c.ID, 0)
	if !on {
		return r.Done(r.At("conveyors", c.ID, "belt"), "There is no belt on "+c.Tag+" yet. Fit it first; its splices come next.")
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Record the splice", Leave: r.At("conveyors", c.ID), Facts: r.beltFacts(reg, b), FactsOf: "The belt it is in", Cautions: r.workCautions(reg, c, workorder.KindResplice)}
		p.Sheet, p.Say = "Splices of "+c.Tag, "Record a splice in the belt of "+c.Tag
		p.Says = []string{"A re-splice that was done for an order is recorded by reporting that order done: old splice, new splice and loop are then booked together."}
		start := assets.Splice{}
		if of := reg.SplicesOf(b.ID); len(of) > 0 {
			like := of[len(of)-1]
			start.Form, start.Bond = like.Form, like.Bond
			start.FingerPitchM, start.FingerLengthM, start.StepLengthM, start.Steps, start.BiasAngleDeg = like.FingerPitchM, like.FingerLengthM, like.StepLengthM, like.Steps, like.BiasAngleDeg
		}
		p.spliceFields(start)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		sp := assets.Splice{PlantID: r.PlantID(), ConveyorID: c.ID, BeltID: b.ID}
		e.splice(&sp, b.LoopLengthM)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Registers.MakeSplice(r.Context(), r.Scope, r.act("record a splice on "+c.Tag, ""), &sp)
		return r.At("conveyors", c.ID), "Splice " + sp.Number + " of " + c.Tag + " recorded.", err
	})
}

// endings are the reasons a person may give; 'not known' is set by the program only.
var endings = []assets.RetiredWhy{assets.RetiredFailed, assets.RetiredPlanned, assets.RetiredBeltRemoved, assets.RetiredConveyorScrapped}

// failureModes are ways in which splices fail, in the words of the trade; another may be typed.
var failureModes = []string{"opened along the seam", "finger tips lifted", "edge torn", "steps let go", "fasteners pulled out", "worn plates or pins", "burnt or under-cured", "cut or impact", "belt beside the splice tore"}

func (p *formPage) endingFields(sp assets.Splice, why []assets.RetiredWhy) {
	f := p.Form
	p.section("How it ended",
		f.Known("retired", "Ended", sp.Retired).Must(),
		f.Select("retired_why", "Why", string(sp.RetiredWhy), choices("choose one", why, assets.RetiredWhy.Words)).Must(),
		f.Text("failure_mode", "Failure mode", sp.FailureMode).Hinted("Only where it failed: "+List(failureModes)+", or your own words").OverBoth())
}

func (e *entry) ending(why []assets.RetiredWhy) SpliceEnd {
	end := SpliceEnd{When: e.mustWhen("retired", "the day on which the splice ended"), FailureMode: e.text("failure_mode")}
	end.Why = oneOf(e, "retired_why", "say why the splice ended: failed, replaced sound, belt removed or conveyor scrapped", why...)
	switch {
	case end.Why == assets.RetiredFailed && end.FailureMode == "":
		e.bad.Add("failure_mode", "say how it failed; 'not seen' is an answer too")
	case end.Why != assets.RetiredFailed && end.Why != "" && end.FailureMode != "":
		e.bad.Add("failure_mode", "only a splice that failed has a failure mode; leave this empty or choose failed")
	}
	return end
}

// retireSplice ends a splice.
func (s *Site) retireSplice(r *Request) error {
	sp, err := s.spliceAsked(r)
	if err != nil {
		return err
	}
	c, err := s.Registers.Conveyor(r.Context(), r.Scope, sp.ConveyorID)
	if err != nil {
		return err
	}
	name := c.Tag + " splice " + sp.Number
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "End this splice", Leave: r.At("conveyors", c.ID), Facts: r.spliceFacts(sp), FactsOf: "The splice"}
		p.Sheet, p.Say = name, "Say when and why "+name+" ended"
		p.Says = []string{"Failed or replaced sound makes all the difference to how long the next ones are trusted.",
			"A splice remade for an order is ended by reporting that order done."}
		f.version(sp.Version)
		p.endingFields(assets.Splice{}, endings)
		p.section("", f.Area("reason", "Note", "").OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		end := e.ending(endings)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Registers.RetireSplice(r.Context(), r.Scope, r.act("end "+name, e.text("reason")), r.PlantID(), sp.ID, e.rowID(), end)
		return r.At("conveyors", c.ID), Capital(name) + " has ended: " + end.Why.Words() + ".", err
	})
}

func (r *Request) spliceFacts(sp assets.Splice) []fact {
	place := "not known"
	if sp.PositionM != nil {
		place = r.F.Distance(*sp.PositionM)
	}
	return []fact{{"Kind", Capital(assets.KindWords(sp.Form, sp.Bond))}, {"From the zero mark", place}, {"Made", r.F.When(sp.Made)}, {"Made by", orNotKnown(sp.MadeBy)}}
}

// correctSplice corrects what is held of a splice, its ending included.
func (s *Site) correctSplice(r *Request) error {
	sp, err := s.spliceAsked(r)
	if err != nil {
		return err
	}
	c, err := s.Registers.Conveyor(r.Context(), r.Scope, sp.ConveyorID)
	if err != nil {
		return err
	}
	belt, err := s.Registers.Belt(r.Context(), r.Scope, sp.BeltID)
	if err != nil {
		return err
	}
	name := c.Tag + " splice " + sp.Number
	why := endings
	if sp.RetiredWhy == assets.RetiredUnknown {
		why = append([]assets.RetiredWhy{assets.RetiredUnknown}, endings...)
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the correction", Leave: r.At("conveyors", c.ID)}
		p.Sheet, p.Say = name, "Correct what is held of "+name
		p.Says = []string{"This is a correction of a past fact: it was so all along. What was held before stays in the records, with who corrected it and why.",
			"A date that moves can move due dates. Orders already raised stay; Today then proposes what to withdraw."}
		f.version(sp.Version)
		p.spliceFields(sp)
		if sp.Ended != nil {
			p.endingFields(sp, why)
		}
		p.reason(true, "What was wrong, and how it is known now")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := sp
		next.RowID = e.rowID()
		e.splice(&next, belt.LoopLengthM)
		if sp.Ended != nil {
			end := e.ending(why)
			next.Retired, next.RetiredWhy, next.FailureMode = end.When, end.Why, end.FailureMode
		}
		e.reason()
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Registers.CorrectSplice(r.Context(), r.Scope, r.act("correct "+name, e.text("reason")), &next)
		return r.At("conveyors", c.ID), Capital(name) + " corrected.", err
	})
}
