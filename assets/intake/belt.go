package intake

import (
	"fmt"
	"sort"

	"carryside/assets"
)

// givesBelt tells whether a row gives a record of a belt.
func (e *entry) givesBelt() bool {
	return e.t.records[KindBelt] && (e.get("width").set || e.get("loop_length").set || e.get("specification").set)
}

// maxOfOneConveyor bounds the belts or splices of one conveyor: each is compared with all others.
const maxOfOneConveyor = 3000

// byDate returns the rows that give something, in order of a date; those without it last.
func (g *group) byDate(name string, gives func(*entry) bool) []*entry {
	var rows []*entry
	for _, e := range g.rows {
		if e.refusal == nil && gives(e) {
			rows = append(rows, e)
		}
	}
	if len(rows) < 2 {
		return rows
	}
	if len(rows) > maxOfOneConveyor {
		for _, e := range rows[maxOfOneConveyor:] {
			e.refuse(e.t.byField["conveyor"], faultRange, e.tag, fmt.Sprintf("stands on more than %d rows of belts or splices, which no conveyor has; check that the column holds the tag", maxOfOneConveyor))
		}
		rows = rows[:maxOfOneConveyor]
	}
	day := make(map[*entry]assets.Day, len(rows))
	for _, e := range rows {
		v := e.get(name)
		switch {
		case !v.set:
			day[e] = "9999"
		case v.from == "":
			day[e] = v.to
		default:
			day[e] = v.from
		}
	}
	sort.SliceStable(rows, func(a, b int) bool { return day[rows[a]] < day[rows[b]] })
	return rows
}

// live tells whether a belt or splice has not ended.
func (th *thing) live() bool {
	if th.kind == KindBelt {
		return !th.vals.get("removed_on").set
	}
	return !th.vals.get("retired_on").set
}

// liveBelt is the belt now on the conveyor, nil for none.
func (g *group) liveBelt() *thing {
	for i := len(g.belts) - 1; i >= 0; i-- {
		if g.belts[i].live() {
			return g.belts[i]
		}
	}
	return nil
}

// takeBelt finds the belt that a row is about, or makes it.
func (g *group) takeBelt(e *entry) {
	vals := e.kindVals(KindBelt)
	if e.t.rank() == KindBelt.rank() && !e.givesSplice() {
		vals.put("remark", e.remarkText())
	}
	if fitted, removed := e.get("fitted_on"), e.get("removed_on"); endsBefore(removed, fitted) {
		e.refuse(e.t.byField["removed_on"], faultContradicts, fieldNamed["removed_on"].shown(removed), "lies before the day on which the belt was fitted; correct one of the two")
		return
	}
	th, fresh := g.findBelt(e, vals)
	if e.refusal != nil {
		return
	}
	if fresh {
		th = &thing{kind: KindBelt, vals: values{}}
		g.belts = append(g.belts, th)
	}
	if c := th.clash(vals); c != nil {
		e.refuseClash(c, th.origin, "belt")
		return
	}
	th.implied = false
	th.merge(e, vals)
	e.belt = th
}

// endsBefore tells whether an end lies before a beginning for sure.
func endsBefore(end, begin value) bool {
	return end.set && begin.set && end.to != "" && begin.from != "" && end.to < begin.from
}

// findBelt finds the belt a row is about by its date of fitting, else its roll number, else the one now on the conveyor.
// fresh tells that it is a belt of its own.
func (g *group) findBelt(e *entry, vals values) (th *thing, fresh bool) {
	fitted, roll := vals.get("fitted_on"), vals.get("roll_number")
	switch {
	case fitted.set:
		for _, b := range g.belts {
			if have := b.vals.get("fitted_on"); have.set && fitted.sameDays(have) {
				return b, false
			}
		}
		return g.datedBelt(e, fitted, vals)
	case roll.set:
		return g.beltByRoll(e, roll)
	}
	if live := g.liveBelt(); live != nil {
		return live, false
	}
	return nil, true
}

// beltByRoll finds a belt by its roll number.
func (g *group) beltByRoll(e *entry, roll value) (*thing, bool) {
	for _, b := range g.belts {
		if sameText(b.vals.get("roll_number").text, roll.text) {
			return b, false
		}
	}
	live := g.liveBelt()
	switch {
	case live == nil:
		return nil, true
	case !live.vals.get("roll_number").set, g.j.opt.SameRecord == "correct":
		return live, false
	}
	e.refuse(e.t.byField["roll_number"], faultSameOrNew, roll.text, fmt.Sprintf("is another roll than %s now on the conveyor: number corrected, or a new belt? Give the day it was fitted, or --same-record correct", quoted(live.vals.get("roll_number").text)))
	return nil, false
}

// datedBelt judges a belt whose date no belt of the conveyor has.
func (g *group) datedBelt(e *entry, fitted value, vals values) (*thing, bool) {
	live := g.liveBelt()
	if live == nil {
		return nil, true
	}
	have := live.vals.get("fitted_on")
	switch g.sameOrNew(e, "fitted_on", fitted, have, vals.get("removed_on")) {
	case asCorrection:
		live.change(fieldNamed["fitted_on"], fitted, false)
		e.news++
		return live, false
	case asSame:
		delete(vals, fieldNamed["fitted_on"])
		return live, false
	case asNew:
		g.endBelt(live, e, fitted)
		e.remark("takes_the_place_of", "fitted_on", fmt.Sprintf("takes the place of the belt fitted %s, which ends that day, why not known", whenWords(have)))
		return nil, true
	case asEarlier:
		return nil, true
	}
	return nil, false
}

// endBelt ends a belt on the day another took its place.
func (g *group) endBelt(b *thing, e *entry, on value) {
	b.change(fieldNamed["removed_on"], on, false)
	b.change(fieldNamed["removed_why"], textValue(string(assets.RetiredUnknown)), false)
	b.cause = e
}

// verdict is what a row with another date than the live record is.
type verdict uint8

const (
	asRefused    verdict = iota
	asCorrection         // the live record's date is made exact or corrected
	asSame               // the live record; the row's date says less than the register's
	asNew                // takes the live record's place
	asEarlier            // ended before the live record began
)

// sameOrNew judges a date beside that of a live record: unknown or around it, more than 31 days later, ended before it, or
// a question for the person who imports.
func (g *group) sameOrNew(e *entry, name string, row, live, ended value) verdict {
	if !live.set || live.open {
		return asCorrection
	}
	if ended.set && ended.to != "" && (live.from != "" && ended.to <= live.from || live.from == "" && ended.to <= live.to) {
		return asEarlier
	}
	if overlaps(row, live) {
		if inside(live, row) {
			return asSame
		}
		return asCorrection
	}
	later := live.to != "" && row.from > live.to
	switch {
	case later && daysBetween(live.to, row.from) > 31, later && g.j.opt.SameRecord == "new":
		return asNew
	case g.j.opt.SameRecord == "correct":
		return asCorrection
	case g.j.opt.SameRecord == "new":
		return asEarlier
	}
	what := "splice"
	if name == "fitted_on" {
		what = "belt"
	}
	e.refuse(e.t.byField[name], faultSameOrNew, fieldNamed[name].shown(row), fmt.Sprintf("stands against %s for the live %s: date corrected, or made anew? Answer with --same-record correct or new", whenWords(live), what))
	return asRefused
}

// overlaps tells whether two dates can be the same day.
func overlaps(a, b value) bool {
	return (a.to == "" || b.from == "" || b.from <= a.to) && (b.to == "" || a.from == "" || a.from <= b.to)
}

// inside tells whether a lies within b and says more.
func inside(a, b value) bool {
	return (b.from == "" || a.from != "" && a.from >= b.from) && (b.to == "" || a.to != "" && a.to <= b.to)
}

func whenWords(v value) string {
	switch {
	case !v.set || v.open:
		return "on a day not known"
	case v.exact():
		return string(v.from)
	case v.text != "":
		return quoted(v.text)
	}
	return intervalWords(v.from, v.to)
}

// compareBelt compares what a row tells of the belt that it refers to.
func (g *group) compareBelt(e *entry) {
	vals := values{}
	for i := range e.vals {
		if f := e.vals[i].c.f; f.kind == KindBelt && (f.shape == shapeQuantity || f.shape == shapeText) && f.name != "fitted_by" && f.name != "removed_why" {
			vals[f] = e.vals[i].v
		}
	}
	if len(vals) == 0 {
		return
	}
	if b := g.beltAt(e.get("made_on")); b != nil {
		g.compare(e, b, vals, "belt")
	}
}

// beltAt is the belt that was on the conveyor on a day: the last one fitted by then, else the one on it now.
func (g *group) beltAt(day value) *thing {
	var best *thing
	if day.set && !day.open {
		at := day.to
		if at == "" {
			at = day.from
		}
		for _, b := range g.belts {
			fitted, removed := b.vals.get("fitted_on"), b.vals.get("removed_on")
			if fitted.set && fitted.from > at || removed.set && removed.to != "" && removed.to < day.from {
				continue
			}
			if best == nil || fitted.from > best.vals.get("fitted_on").from {
				best = b
			}
		}
	}
	if best == nil {
		best = g.liveBelt()
	}
	if best == nil && len(g.belts) > 0 {
		best = g.belts[len(g.belts)-1]
	}
	return best
}

// kindVals are the row's values of a kind of record.
func (e *entry) kindVals(k Kind) values {
	vals := values{}
	for i := range e.vals {
		if f := e.vals[i].c.f; f.kind == k && e.vals[i].v.set {
			vals[f] = e.vals[i].v
		}
	}
	return vals
}

// beltValues are the register's values of a belt.
func beltValues(b *assets.Belt) values {
	vals := values{}
	vals.put("specification", textValue(b.Specification))
	vals.put("roll_number", textValue(b.RollNumber))
	vals.put("width", numValue(b.WidthM))
	vals.put("loop_length", numValue(b.LoopLengthM))
	vals.put("thickness", numValue(b.ThicknessM))
	vals.put("working_tension", numValue(b.WorkingTensionNPerM))
	vals.put("fitted_on", whenValue(b.Fitted))
	if v := vals.get("fitted_on"); v.open && v.from == "" {
		delete(vals, fieldNamed["fitted_on"])
	}
	vals.put("fitted_by", textValue(b.FittedBy))
	vals.put("removed_on", whenValue(b.RemovedWhen))
	if b.Removed != nil && !vals.get("removed_on").set {
		vals[fieldNamed["removed_on"]] = value{set: true, open: true}
	}
	vals.put("removed_why", textValue(b.RemovedWhy))
	vals.put("remark", textValue(b.Remark))
	return vals
}
