package web

import (
	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/workorder"
)

// These forms answer: which belt is on the conveyor, since when, and how long is its loop?

// workCautions are the usual cautions of a job at a conveyor, for a form that leads to it.
func (r *Request) workCautions(reg *assets.Register, c assets.Conveyor, kind workorder.Kind) []string {
	return cautions(c, viewOf(&Fleet{Register: reg}, r.F), workorder.Order{Kind: kind})
}

func specOptions(reg *assets.Register) []Option {
	out := []Option{{Label: "not in the catalogue"}}
	for _, s := range reg.Specifications {
		out = append(out, Option{Value: plainInt(s.ID), Label: s.Name})
	}
	return out
}

func (p *formPage) beltFields(reg *assets.Register, b assets.Belt) {
	f := p.Form
	spec := ""
	if b.SpecificationID != 0 {
		spec = plainInt(b.SpecificationID)
	}
	p.section("The belt",
		f.Select("specification_id", "Specification", spec, specOptions(reg)),
		f.Text("specification", "Specification as written", b.Specification).Hinted("As it stands on the delivery note, e.g. EP 1000/4 6+3"),
		f.Quantity("width_m", "Width", unit.Width, b.WidthM, b.AsTyped),
		f.Quantity("loop_length_m", "Loop length", unit.LoopLength, b.LoopLengthM, b.AsTyped).Hinted("Once round, middle of the belt"),
		f.Quantity("thickness_m", "Thickness", unit.Thickness, b.ThicknessM, b.AsTyped).Hinted("Empty: as the catalogue has it"),
		f.Quantity("working_tension_n_per_m", "Working tension", unit.BeltTension, b.WorkingTensionNPerM, b.AsTyped).Hinted("Empty: as the catalogue has it"),
		f.Text("roll_number", "Roll or batch number", b.RollNumber))
	p.section("When it was fitted",
		f.Known("fitted", "Fitted", b.Fitted).Must(),
		f.Text("fitted_by", "Fitted by", b.FittedBy).Hinted("A person or crew, as it should stand in the records"),
		f.Optional("take_up_used_m", "Take-up travel used then", unit.Travel, b.TakeUpUsedM, b.AsTyped).Hinted("From the new-belt end"),
		f.Area("remark", "Remark", b.Remark).OverBoth())
}

// belt reads the fields of a belt.
func (e *entry) belt(b *assets.Belt) {
	b.SpecificationID, b.Specification, b.RollNumber = e.id("specification_id"), e.text("specification"), e.text("roll_number")
	b.WidthM = e.notBelowNought("width_m", "the width", unit.Width)
	b.LoopLengthM = e.notBelowNought("loop_length_m", "the loop length", unit.LoopLength)
	b.ThicknessM = e.notBelowNought("thickness_m", "the thickness", unit.Thickness)
	b.WorkingTensionNPerM = e.notBelowNought("working_tension_n_per_m", "the working tension", unit.BeltTension)
	b.Fitted = e.mustWhen("fitted", "the day on which the belt was fitted, or 'not known'")
	b.FittedBy, b.Remark = e.text("fitted_by"), e.text("remark")
	if b.FittedBy == "" {
		b.FittedByID = 0
	}
	if b.TakeUpUsedM = e.optional("take_up_used_m", unit.Travel); b.TakeUpUsedM != nil && *b.TakeUpUsedM < 0 {
		e.bad.Add("take_up_used_m", "the travel used cannot be below 0; count it from the new-belt end")
	}
	b.AsTyped = e.typedOf("width_m", "loop_length_m", "thickness_m", "working_tension_n_per_m", "take_up_used_m")
}

// typedOf picks what was typed for the named fields.
func (e *entry) typedOf(names ...string) assets.AsTyped {
	out := assets.AsTyped{}
	for _, n := range names {
		if text, ok := e.typed[n]; ok {
			out[n] = text
		}
	}
	return out
}

// fitBelt fits a belt on a conveyor; the one that is on comes off.
func (s *Site) fitBelt(r *Request) error {
	c, err := s.conveyorAsked(r)
	if err != nil {
		return err
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	former, on := reg.BeltOn(c.ID, 0)
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Fit the belt", Leave: r.At("conveyors", c.ID), Cautions: r.workCautions(reg, c, workorder.KindBeltChange)}
		p.Sheet, p.Say = "Belt of "+c.Tag, "Fit a belt on "+c.Tag
		start := assets.Belt{}
		if on {
			start.WidthM, start.SpecificationID, start.Specification = former.WidthM, former.SpecificationID, former.Specification
		}
		p.beltFields(reg, start)
		if on {
			p.Facts, p.FactsOf = r.beltFacts(reg, former), "The belt that comes off"
			p.Says = []string{"It comes off on the day the new one is fitted; its splices end with it as 'belt removed'."}
			p.section("The belt that comes off", f.Text("removed_why", "Why it comes off", "").Must().Hinted("Worn, torn, another width").OverBoth())
		}
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		b := assets.Belt{PlantID: r.PlantID(), ConveyorID: c.ID}
		e.belt(&b)
		why := ""
		if on {
			why = e.must("removed_why", "the reason why the old belt comes off")
		}
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Registers.FitBelt(r.Context(), r.Scope, r.act("fit a belt on "+c.Tag, why), &b, why)
		return r.At("conveyors", c.ID), "Belt fitted on " + c.Tag + ". Enter its splices next.", err
	})
}

func (r *Request) beltFacts(reg *assets.Register, b assets.Belt) []fact {
	spec := b.Specification
	if s, ok := reg.Specification(b.SpecificationID); ok {
		spec = s.Name
	}
	return []fact{{"Specification", orNotKnown(spec)}, {"Width", r.F.Width(b.WidthM)}, {"Loop", r.F.Loop(b.LoopLengthM)},
		{"Roll", orNotKnown(b.RollNumber)}, {"Fitted", r.F.When(b.Fitted)}, {"Splices running", Int(int64(len(reg.SplicesOf(b.ID))))}}
}

func orNotKnown(s string) string {
	if s == "" {
		return "not known"
	}
	return s
}

// editBelt changes or corrects a belt.
func (s *Site) editBelt(r *Request) error {
	b, err := s.beltAsked(r)
	if err != nil {
		return err
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	c, _ := reg.Conveyor(b.ConveyorID)
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the change", Leave: r.At("conveyors", b.ConveyorID)}
		p.Sheet, p.Say = "Belt of "+c.Tag, "Change what is known of the belt of "+c.Tag
		p.Sub = "A loop made shorter is so from now on; anything else of a belt does not change, so another value of it corrects what stood here."
		f.version(b.Version)
		p.beltFields(reg, b)
		if b.Removed == nil {
			r.Offer(&p.Page, "Take it off", "belts/:belt/remove", false, b.ID)
		} else {
			p.section("When it came off", f.Known("removed", "Came off", b.RemovedWhen).Must(), f.Text("removed_why", "Why", b.RemovedWhy))
		}
		p.section("", fromWhen(f, ""))
		p.reason(false, "Needed for a correction")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := b
		next.RowID = e.rowID()
		e.belt(&next)
		if b.Removed != nil {
			next.RemovedWhen, next.RemovedWhy = e.mustWhen("removed", "the day on which the belt came off"), e.text("removed_why")
			next.Removed = &next.RemovedWhen.At
		}
		from := e.changesFrom()
		e.onlyCorrections(from, b.Version, "loop_length_m", "take_up_used_m", "remark")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Registers.AlterBelt(r.Context(), r.Scope, r.act(pick(from == 0, "correct", "change")+" the belt of "+c.Tag, e.text("reason")), &next, from)
		return r.At("conveyors", b.ConveyorID), "Belt of " + c.Tag + pick(from == 0, " corrected.", " changed from now on."), err
	})
}

// removeBelt takes a belt off without another in its place.
func (s *Site) removeBelt(r *Request) error {
	b, err := s.beltAsked(r)
	if err != nil {
		return err
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	c, _ := reg.Conveyor(b.ConveyorID)
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Take it off", Leave: r.At("conveyors", b.ConveyorID), Cautions: r.workCautions(reg, c, workorder.KindBeltChange), Facts: r.beltFacts(reg, b), FactsOf: "The belt"}
		p.Sheet, p.Say = "Belt of "+c.Tag, "Take the belt off "+c.Tag
		p.Says = []string{"Its splices end with it as 'belt removed'. To put another on, fit that one instead: the old one comes off with it."}
		f.version(b.Version)
		p.section("", f.Known("removed", "Came off", assets.When{}).Must(), f.Text("removed_why", "Why", "").Must())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		when, why := e.mustWhen("removed", "the day on which the belt came off"), e.must("removed_why", "the reason why it came off")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Registers.RemoveBelt(r.Context(), r.Scope, r.act("take the belt off "+c.Tag, why), r.PlantID(), b.ID, e.rowID(), when, why)
		return r.At("conveyors", b.ConveyorID), "The belt of " + c.Tag + " is off.", err
	})
}
