package jobsheet

import (
	"math"
	"slices"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// States of a step.
const (
	Done          = "done"
	Failed        = "failed" // a check that was not passed
	NotApplicable = "not applicable"
)

// States lists them in the order forms offer them.
var States = []string{Done, Failed, NotApplicable}

// LongMetres is the unit of what is measured along the belt with a tape, kept in metres like "m", which stands for what is measured in
// millimetres: typed in the smaller unit, 104.25 would be a belt of ten centimetres.
const LongMetres = "m (long)"

// most is the greatest value that can be meant at a step, by its unit as kept: our own bounds against slips of the keys. Only a temperature can
// be below nothing.
var most = map[string]float64{"m": 100, LongMetres: 50_000, "degC": 400, "kg": 200_000, "min": 10_000, "h": 1_000, "bar": 400, "%": 1_000, "fingers": 10_000, "N·m": 100_000}

// coldest is the lowest temperature of a belt or a press that can be meant, in degrees Celsius.
const coldest = -60

// Mistyped says what is wrong with a value of a step, as kept; "" when it can be meant.
func Mistyped(kept string, value float64) string {
	least := 0.0
	if kept == "degC" {
		least = coldest
	}
	switch top, known := most[kept]; {
	case math.IsNaN(value) || math.IsInf(value, 0) || known && value > top:
		return "this is more than can be meant here; check digits and unit"
	case value < least && kept == "degC":
		return "this is colder than can be meant here; check digits and unit"
	case value < least:
		return "what is measured here has no sign; say the side or the direction in the note"
	}
	return ""
}

// For picks the template of a kind of work at a splice kind: first the one for just this kind of splice, then the one for its form, its bond, any;
// where there is none (ID 0) the usual steps.
func For(all []assets.JobTemplate, kind workorder.Kind, form assets.Form, bond assets.Bond) assets.JobTemplate {
	for _, of := range []assets.KindPair{{Form: form, Bond: bond}, {Form: form}, {Bond: bond}, {}} {
		i := slices.IndexFunc(all, func(t assets.JobTemplate) bool {
			return t.OrderKind == string(kind) && t.Form == of.Form && t.Bond == of.Bond
		})
		if i >= 0 {
			return all[i]
		}
	}
	return assets.JobTemplate{OrderKind: string(kind), Form: form, Bond: bond, Steps: Usual(kind, form, bond)}
}

// Usual returns the steps and checks of a kind of work at a splice kind: common practice, class D. Every list begins with isolation and
// ends with tracking and run-in where a belt was opened.
func Usual(kind workorder.Kind, form assets.Form, bond assets.Bond) []assets.JobStep {
	switch kind {
	case workorder.KindResplice, workorder.KindInsertPiece:
		return joined(begin(), opened(), splicing(form, bond), closed(), checks(form, bond))
	case workorder.KindBeltChange:
		return joined(begin(), opened(), []assets.JobStep{
			measured("length", "New belt measured against the computed cut length before the old one leaves", "cut length", LongMetres, nil, nil),
			step("draw_in", "Old belt drawn out with the new one behind it, rated winch and clamps, nobody in line with the rope")}, splicing(form, bond), closed(), checks(form, bond))
	case workorder.KindRunIn:
		return joined([]assets.JobStep{step("seen_running", "Splice watched running from outside the guards through one whole turn of the belt")}, begin(), []assets.JobStep{
			measured("gap", "Splice looked at along its whole seam, opening measured", "opening", "m", nil, mm(1)),
			check("no_lift", "No tip, step edge or cover strip lifts when the belt is bent over the smallest pulley")}, runIn())
	case workorder.KindRetension:
		return joined(begin(), []assets.JobStep{measured("travel", "Take-up read before", "take-up travel used", "m", nil, nil), step("set", "Take-up set by the maker's figure or the plant's own, both sides alike"),
			measured("travel_after", "Take-up read after", "take-up travel used", "m", nil, nil)}, runIn())
	case workorder.KindInspection:
		return []assets.JobStep{step("running", "Belt watched running from outside the guards: tracking, noise, seams as they pass"),
			step("isolated", "Isolated with own lock and tag, tried to start, proved dead, before anything is touched"),
			measured("gap", "Seam opened by hand where it gives, opening measured", "opening", "m", nil, nil), check("graded", "Each finding graded and entered, with a photo from grade 2 on")}
	}
	return joined(begin(), []assets.JobStep{step("work", "Work done as the order says")}, []assets.JobStep{step("unlocked", "Tools and people counted out, guards on, own lock removed last")})
}

func joined(parts ...[]assets.JobStep) []assets.JobStep {
	var out []assets.JobStep
	for _, p := range parts {
		out = append(out, p...)
	}
	return out
}

func at(v float64) *float64 { return &v }

// mm is a length given in millimetres, as stored.
func mm(v float64) *float64 { return at(v / 1000) }

func step(key, words string) assets.JobStep { return assets.JobStep{Key: key, Words: words} }

func check(key, words string) assets.JobStep {
	return assets.JobStep{Key: key, Words: words, Check: true}
}

func measured(key, words, what, unit string, least, most *float64) assets.JobStep {
	return assets.JobStep{Key: key, Words: words, Measure: what, Unit: unit, Least: least, Most: most}
}

func checked(key, words, what, unit string, most *float64) assets.JobStep {
	s := measured(key, words, what, unit, nil, most)
	s.Check = true
	return s
}

func photo(s assets.JobStep) assets.JobStep { s.Photo = true; return s }

func begin() []assets.JobStep {
	return []assets.JobStep{step("isolated", "Isolated with own lock and tag, tried to start, proved dead; permit shown to the crew")}
}

func opened() []assets.JobStep {
	return []assets.JobStep{step("take_up", "Take-up weight raised and pinned or screws slackened"), step("clamped", "Belt clamped on both sides of the cut with clamps rated for it; on an incline at the lower side too"),
		measured("cut_out", "Old splice cut out square to the centre line", "length removed", "m", nil, nil)}
}

func closed() []assets.JobStep {
	return []assets.JobStep{step("released", "Clamps off, take-up let down slowly, travel read"), step("unlocked", "Tools and blades counted out, guards on, own lock removed last")}
}

func runIn() []assets.JobStep {
	return []assets.JobStep{checked("tracking", "Tracking under run-in, 20 minutes", "off centre", "m", mm(30)), check("run_in", "Splice watched through the run-in, nothing opens")}
}

func checks(form assets.Form, bond assets.Bond) []assets.JobStep {
	list := []assets.JobStep{checked("alignment", "Alignment over 10 ft (3 m) by straight edge", "off line", "m", mm(6.35))} // 6.35 mm in 3.05 m: common practice in handbooks of light belts
	if form.Mechanical() {
		list = append(list, check("fasteners", "Every fastener seated, tightened to its figure, ends square, pin secured"))
	} else {
		list = append(list, checked("edge_step", "Step at the edges", "edge step", "m", mm(1)), photo(check("surface", "Surface: no blister, no porosity, no open tip or ply edge")))
	}
	return append(append(list, check("flexed", "Flexed over the smallest pulley, nothing opens")), runIn()...)
}
