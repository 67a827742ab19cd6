package web

import (
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/workorder"
)

// emergencyKinds are the splices that are made in an emergency, the quickest first. Common practice.
var emergencyKinds = []assets.KindPair{{Form: assets.FormHinged, Bond: assets.BondNone}, {Form: assets.FormBoltedPlate, Bond: assets.BondNone}, {Form: assets.FormHook, Bond: assets.BondNone},
	{Form: assets.FormFinger, Bond: assets.BondHotPressed}, {Form: assets.FormStepped, Bond: assets.BondColdBonded}, {Form: assets.FormStepped, Bond: assets.BondHotVulcanised}}

// emergencyModes are the ways in which a splice failed, and that nobody saw it.
func emergencyModes() []string { return append(slices.Clone(failureModes), "not seen") }

// emergencySplice answers: a splice failed and was remade at once; which, how, with what? It is made to be filled in from a phone in under
// a minute: what can be known is filled in.
func (s *Site) emergencySplice(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	asked := r.Query("splice")
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Record it as done", Leave: r.At("orders"), Cautions: []string{
			"Isolate with your own lock and tag, try to start, prove dead, before anybody goes near a torn belt.",
			"A torn belt can run back or fall: pin or lower the take-up, clamp both ends, keep from under it.",
			"Site rules, local codes and qualified people decide. This form never says that a conveyor is safe to run."}}
		p.Sheet, p.Say = "Emergency splice", "Record a splice that failed and was remade at once"
		p.Says = []string{"The failed splice is retired, the new one begins at nought on every clock, and an order stands as done and waits for its signature. Everything can be corrected later."}
		var splices []Option
		if asked == "" {
			splices = append(splices, Option{Label: "choose the splice that failed"})
		}
		for _, o := range r.targetOptions(reg) {
			if len(o.Value) > 1 && o.Value[0] == 's' && (asked == "" || o.Value == "s"+asked) {
				splices = append(splices, o)
			}
		}
		var kinds []Option
		for i, k := range emergencyKinds {
			kinds = append(kinds, Option{Value: plainInt(int64(i + 1)), Label: assets.KindWords(k.Form, k.Bond)})
		}
		modes := []Option{{Label: "choose how"}}
		for _, m := range emergencyModes() {
			modes = append(modes, Option{Value: m, Label: m})
		}
		p.section("", f.Select("target", "Which splice failed", pick(asked == "", "", "s"+asked), splices).Must(), f.Select("failure_mode", "How it failed", "", modes).Must(),
			f.Select("made_as", "Remade as", "1", kinds).Must(), f.At("at", "Done", r.thisMinute()).Must(), f.Number("hours", "Hours of work", "1", "h"),
			f.Quantity("shortening_m", "Belt cut out", unit.Travel, 0, nil), f.Area("note", "Anything else", "").OverBoth())
		p.folded("How long the conveyor stood, if you know it", f.At("from_at", "Stopped", 0), f.At("until_at", "Could run again", 0).Hinted("Empty while it stands. That it can run again is decided at the conveyor by the site's rules, not here."))
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		o := workorder.Order{PlantID: r.PlantID(), Kind: workorder.KindResplice, Crew: 1, DoneNote: e.text("note")}
		e.target(&o, reg)
		if o.SpliceID == 0 {
			e.bad.Add("target", "choose the splice that failed from the list")
		}
		sp, _ := reg.Splice(o.SpliceID)
		o.Title = "emergency remake of splice " + sp.Number
		mode := oneOf(e, "failure_mode", "say how it failed; 'not seen' is an answer too", emergencyModes()...)
		o.Reason = "failed: " + mode + "; remade at once"
		k := emergencyKinds[max(1, min(e.whole("made_as", 1, len(emergencyKinds)), len(emergencyKinds)))-1]
		at, hours := e.moment("at"), e.number("hours")
		made := Resplice{OldSpliceID: o.SpliceID, RetiredWhy: assets.RetiredFailed, FailureMode: mode, LoopShorterM: e.notBelowNought("shortening_m", "the length", unit.Travel), MadeByID: r.Who.Person.ID}
		made.New = assets.Splice{PlantID: o.PlantID, ConveyorID: o.ConveyorID, BeltID: o.BeltID, Form: k.Form, Bond: k.Bond, Remark: "made in an emergency", Made: assets.Exactly(at.Time(), r.F.zone())}
		stood := e.stoodBy(o, mode)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		raised, done, event, err := workorder.Emergency(o, r.actor(), at.Time(), r.Now, hours)
		if err != nil {
			return "", "", err
		}
		number, err := s.Orders.Emergency(r.Context(), r.Scope, r.act("record an emergency splice", o.Reason), raised, done, event, made, stood)
		return r.At("orders", number), fmt.Sprintf("Recorded as order %d; it waits for its signature.", number), err
	})
}

// stoodBy reads how long a conveyor stood by the splice that failed; nil where nobody said.
func (e *entry) stoodBy(o workorder.Order, mode string) *assets.Standstill {
	if e.text("from_at") == "" {
		if e.text("until_at") != "" {
			e.bad.Add("from_at", "give the time at which it stopped, or leave both empty")
		}
		return nil
	}
	st := &assets.Standstill{PlantID: o.PlantID, ConveyorID: o.ConveyorID, SpliceID: o.SpliceID, FromAt: e.moment("from_at"), Cause: assets.CauseSplice, Text: mode}
	if e.text("until_at") != "" {
		until := e.moment("until_at")
		st.UntilAt = &until
	}
	return st
}
