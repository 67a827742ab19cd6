package intake

import (
	"fmt"
	"math"

	"carryside/assets"
)

// givesSplice tells whether a row gives a record of a splice: one of the splice's own cells is filled.
func (e *entry) givesSplice() bool {
	if !e.t.records[KindSplice] {
		return false
	}
	for _, n := range []string{"splice_number", "splice_position", "splice_kind", "made_on", "made_by"} {
		v := e.get(n)
		if v.set || v.text != "" {
			return true
		}
	}
	for _, r := range e.remarks {
		if r.Class == "not_read" && (r.Field == "splice_kind" || r.Field == "made_on") {
			return true
		}
	}
	return false
}

// takeSplice finds the splice that a row is about, or makes it.
func (g *group) takeSplice(e *entry) {
	vals := e.kindVals(KindSplice)
	vals.put("retired_on", e.get("retired_on"))
	vals.put("remark", e.remarkText())
	made := vals.get("made_on")
	if ended := vals.get("retired_on"); endsBefore(ended, made) {
		e.refuse(e.t.byField["retired_on"], faultContradicts, fieldNamed["retired_on"].shown(ended), "lies before the day on which the splice was made; correct one of the two")
		return
	}
	belt := e.belt
	if belt == nil {
		belt = g.beltAt(made)
	}
	if vals.get("retired_why").set && !vals.get("retired_on").set {
		vals[fieldNamed["retired_on"]] = value{set: true, open: true, from: made.from}
	}
	th, fresh := g.findSplice(e, vals, belt)
	if e.refusal != nil {
		return
	}
	if fresh {
		th = g.newSplice(e, vals, belt)
	}
	if c := th.clash(vals); c != nil {
		e.refuseClash(c, th.origin, "splice")
		return
	}
	th.merge(e, vals)
}

// newSplice makes a splice, in its belt; where the conveyor has none a belt of which nothing is known is implied.
func (g *group) newSplice(e *entry, vals values, belt *thing) *thing {
	if belt == nil {
		belt = &thing{kind: KindBelt, implied: true, vals: values{}}
		g.belts = append(g.belts, belt)
	}
	th := &thing{kind: KindSplice, vals: values{}, belt: belt}
	g.splices = append(g.splices, th)
	if !vals.get("made_on").set {
		fitted := belt.vals.get("fitted_on")
		vals[fieldNamed["made_on"]] = value{set: true, open: true, from: fitted.from, text: e.get("made_on").text}
		text := "no date is given: kept as not known"
		if fitted.from != "" {
			text += ", not before the belt was fitted on " + string(fitted.from)
		}
		th.remark("date_unknown", "made_on", text)
	}
	return th
}

// findSplice finds the splice a row is about; fresh tells that it is one of its own.
func (g *group) findSplice(e *entry, vals values, belt *thing) (th *thing, fresh bool) {
	made := vals.get("made_on")
	marked := vals.get("splice_number").set || vals.get("splice_position").set
	var alike, live, unmarked []*thing
	for _, s := range g.splices {
		have := s.vals.get("made_on")
		sameDay := made.set && have.set && !have.open && made.sameDays(have)
		if marked && sameDay && s.belt == belt && !s.vals.get("splice_number").set && !s.vals.get("splice_position").set {
			unmarked = append(unmarked, s)
		}
		if (marked && !s.sameMark(vals)) || (!marked && s.belt != belt) {
			continue
		}
		if sameDay {
			alike = append(alike, s)
		}
		if s.live() {
			live = append(live, s)
		}
	}
	if s := pick(alike, marked); s != nil {
		return s, false
	}
	if len(unmarked) == 1 && unmarked[0].stored {
		return unmarked[0], false
	}
	if !made.set {
		return g.undatedSplice(e, vals, marked, belt, live)
	}
	if len(live) == 0 {
		return nil, true
	}
	if len(live) > 1 && !marked {
		e.refuse(e.t.byField["made_on"], faultSameOrNew, fieldNamed["made_on"].shown(made), fmt.Sprintf("can be one of %d live splices of the belt; give the splice's number or position", len(live)))
		return nil, false
	}
	return g.datedSplice(e, vals, live[len(live)-1])
}

// pick takes the splice of that day: of several without a mark the one that has none either.
func pick(alike []*thing, marked bool) *thing {
	if len(alike) == 0 {
		return nil
	}
	if !marked {
		for _, s := range alike {
			if !s.vals.get("splice_number").set && !s.vals.get("splice_position").set {
				return s
			}
		}
		if len(alike) > 1 {
			return nil
		}
	}
	return alike[0]
}

// undatedSplice finds the splice of a row without a date: the one not known either, else the live one.
func (g *group) undatedSplice(e *entry, vals values, marked bool, belt *thing, live []*thing) (*thing, bool) {
	ended := vals.get("retired_on").set
	for _, s := range g.splices {
		have := s.vals.get("made_on")
		if ((marked && s.sameMark(vals)) || (!marked && s.belt == belt)) && (!have.set || have.open) && (s.live() != ended || (ended && s.live())) {
			return s, false
		}
	}
	if len(live) == 1 && !ended {
		return live[0], false
	}
	if len(live) > 1 && !ended {
		e.refuse(e.t.byField["conveyor"], faultSameOrNew, e.tag, fmt.Sprintf("has %d live splices, and the row says neither which nor when; give its number, position or date", len(live)))
		return nil, false
	}
	return nil, true
}

// datedSplice judges a splice whose date no splice of that mark has.
func (g *group) datedSplice(e *entry, vals values, live *thing) (*thing, bool) {
	made, have := vals.get("made_on"), live.vals.get("made_on")
	switch g.sameOrNew(e, "made_on", made, have, vals.get("retired_on")) {
	case asCorrection:
		live.change(fieldNamed["made_on"], made, false)
		e.news++
		return live, false
	case asSame:
		delete(vals, fieldNamed["made_on"])
		return live, false
	case asNew:
		live.change(fieldNamed["retired_on"], made, false)
		live.change(fieldNamed["retired_why"], textValue(string(assets.RetiredUnknown)), false)
		live.cause = e
		e.remark("takes_the_place_of", "made_on", fmt.Sprintf("takes the place of the splice made %s, which ends that day, why not known: please confirm", whenWords(have)))
		return nil, true
	case asEarlier:
		if !vals.get("retired_on").set {
			vals[fieldNamed["retired_on"]] = have
			vals.put("retired_why", textValue(string(assets.RetiredUnknown)))
		}
		return nil, true
	}
	return nil, false
}

// sameMark tells whether a row's number, else its position, names this splice.
func (th *thing) sameMark(vals values) bool {
	number, have := vals.get("splice_number"), th.vals.get("splice_number")
	if number.set && have.set {
		return spliceMark(number.text) == spliceMark(have.text)
	}
	at, was := vals.get("splice_position"), th.vals.get("splice_position")
	if at.set && was.set {
		return math.Abs(at.num-was.num) <= math.Max(at.step/2, 0.01*was.num)
	}
	return false
}

// endSplices ends the splices of belts that have ended.
func (g *group) endSplices() {
	for _, s := range g.splices {
		if s.belt == nil || !s.live() {
			continue
		}
		removed := s.belt.vals.get("removed_on")
		now := s.belt.cause != nil || len(s.belt.changes) > 0 || !s.belt.stored
		if !removed.set || (s.stored && !now) {
			continue
		}
		s.change(fieldNamed["retired_on"], removed, false)
		s.change(fieldNamed["retired_why"], textValue(string(assets.RetiredBeltRemoved)), false)
		if s.cause = s.belt.cause; s.cause == nil {
			s.cause = s.belt.origin
		}
	}
}

// spliceValues are the register's values of a splice.
func spliceValues(s *assets.Splice) values {
	vals := values{}
	vals.put("splice_number", textValue(s.Number))
	if s.PositionM != nil {
		vals[fieldNamed["splice_position"]] = value{set: true, num: *s.PositionM}
	}
	if s.Form != "" || s.Bond != "" {
		k := spliceKind{form: s.Form, bond: s.Bond}.with(spliceKind{})
		vals[fieldNamed["splice_kind"]] = value{set: true, text: s.KindWritten, kind: &k}
	}
	made := whenValue(s.Made)
	if !made.set {
		made = value{set: true, open: true}
	}
	vals[fieldNamed["made_on"]] = made
	vals.put("made_by", textValue(s.MadeBy))
	vals.put("retired_on", whenValue(s.Retired))
	if s.Ended != nil && !vals.get("retired_on").set {
		vals[fieldNamed["retired_on"]] = value{set: true, open: true}
	}
	vals.put("retired_why", textValue(string(s.RetiredWhy)))
	vals.put("failure_mode", textValue(s.FailureMode))
	vals.put("finger_pitch", numValue(s.FingerPitchM))
	vals.put("finger_length", numValue(s.FingerLengthM))
	vals.put("step_length", numValue(s.StepLengthM))
	vals.put("bias_angle", numValue(s.BiasAngleDeg))
	vals.put("remark", textValue(s.Remark))
	return vals
}
