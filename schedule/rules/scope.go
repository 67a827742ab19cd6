package rules

import (
	"slices"
	"time"

	"carryside/assets"
)

// Targets returns what a rule looks at now, in the order of the register: "5 splices in scope today".
func (o *Outlook) Targets(r Rule) []Target {
	var out []Target
	for _, t := range o.inScope(r, o.in.Now) {
		if t.holds(o.in.Now) {
			out = append(out, t.Target)
		}
	}
	return out
}

// Matches tells whether a splice is in a scope as the register has it; life used is not looked at, because
// it changes with time.
func (o *Outlook) Matches(sc Scope, s *assets.Splice) bool {
	return o.matchesConveyor(sc, s.ConveyorID) && matchesKind(sc, s) && among(sc.Families, o.family[s.BeltID]) &&
		(!sc.AgeUnknown || s.Made.IsZero() || s.Made.Unknown())
}

func matchesKind(sc Scope, s *assets.Splice) bool {
	return among(sc.Forms, s.Form) && among(sc.Bonds, s.Bond)
}

// among tells whether a value passes a filter; an empty filter passes everything.
func among[T comparable](filter []T, v T) bool { return len(filter) == 0 || slices.Contains(filter, v) }

func (o *Outlook) matchesConveyor(sc Scope, conveyorID int64) bool {
	c := o.conveyors[conveyorID]
	if c == nil {
		c = &assets.Conveyor{}
	}
	return among(sc.Conveyors, conveyorID) && among(sc.Lines, c.LineID) &&
		(sc.WashDown == nil || *sc.WashDown == c.WashDown) && (sc.Outdoor == nil || *sc.Outdoor == c.Outdoor)
}

// matchesBelt tells whether a belt passes a scope: by its conveyor, its family and, where the scope names a
// kind of splice, by a splice of that kind in it.
func (o *Outlook) matchesBelt(sc Scope, b *assets.Belt) bool {
	if !o.matchesConveyor(sc, b.ConveyorID) || !among(sc.Families, o.family[b.ID]) {
		return false
	}
	if len(sc.Forms)+len(sc.Bonds) == 0 && !sc.AgeUnknown {
		return true
	}
	return slices.ContainsFunc(o.inBelt[b.ID], func(s *assets.Splice) bool { return o.Matches(sc, s) })
}

// inScope returns a rule's targets that come into scope by an instant, with the time each is in scope. Later
// ones may be left out: the date on which a share of life is used costs a projection to find.
func (o *Outlook) inScope(r Rule, by time.Time) []inScope {
	switch r.Scope.Target {
	case TargetBelt:
		return o.beltsIn(r.Scope)
	case TargetConveyor:
		return o.conveyorsIn(r.Scope)
	case TargetLine:
		return o.linesIn(r.Scope)
	case TargetPlant:
		return []inScope{{Target: o.plantTarget()}}
	}
	return o.splicesIn(r.Scope, by)
}

func (o *Outlook) splicesIn(sc Scope, by time.Time) []inScope {
	var out []inScope
	for i := range o.in.Splices {
		s := &o.in.Splices[i]
		if !o.Matches(sc, s) {
			continue
		}
		t := inScope{Target: o.spliceTarget(s), own: s.Made, stretch: stretch{from: s.Made.At.Time()}}
		if s.Ended != nil {
			t.until = s.Ended.Time()
		}
		if sc.UsedFrom > 0 {
			at, ok := o.lifeUsedReaches(s, sc.UsedFrom, by)
			if !ok {
				continue
			}
			t.from = later(t.from, at)
		}
		if t.until = o.notAfterRetirement(t.until, s.ConveyorID); t.until.IsZero() || t.from.Before(t.until) {
			out = append(out, t)
		}
	}
	return out
}

func (o *Outlook) beltsIn(sc Scope) []inScope {
	var out []inScope
	for i := range o.in.Belts {
		b := &o.in.Belts[i]
		if !o.matchesBelt(sc, b) {
			continue
		}
		t := inScope{Target: o.beltTarget(b), own: b.Fitted, stretch: stretch{from: b.Fitted.At.Time()}}
		if b.Removed != nil {
			t.until = b.Removed.Time()
		}
		t.until = o.notAfterRetirement(t.until, b.ConveyorID)
		out = append(out, t)
	}
	return out
}

func (o *Outlook) conveyorsIn(sc Scope) []inScope {
	var out []inScope
	for i := range o.in.Conveyors {
		c := &o.in.Conveyors[i]
		belt := o.fitted[c.ID]
		ofBelt := len(sc.Forms)+len(sc.Bonds)+len(sc.Families) == 0 && !sc.AgeUnknown || belt != nil && o.matchesBelt(sc, belt)
		if o.matchesConveyor(sc, c.ID) && ofBelt {
			out = append(out, inScope{Target: o.conveyorTarget(c), stretch: stretch{until: o.notAfterRetirement(time.Time{}, c.ID)}})
		}
	}
	return out
}

func (o *Outlook) linesIn(sc Scope) []inScope {
	var out []inScope
	for i := range o.in.Lines {
		if l := &o.in.Lines[i]; among(sc.Lines, l.ID) {
			out = append(out, inScope{Target: Target{Kind: TargetLine, ID: l.ID, LineID: l.ID, Words: l.Name}})
		}
	}
	return out
}

// notAfterRetirement ends a stretch when the conveyor is retired; a retired one without a date is never in scope.
func (o *Outlook) notAfterRetirement(until time.Time, conveyorID int64) time.Time {
	c := o.conveyors[conveyorID]
	if c == nil || c.Status != assets.ConveyorRetired {
		return until
	}
	retired := c.Retired.At.Time()
	if c.Retired.At == 0 {
		retired = time.Unix(1, 0).UTC()
	}
	if until.IsZero() || retired.Before(until) {
		return retired
	}
	return until
}
