package rules

import (
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/loop"
)

// TakeUpTravel is what a finding calls a measured take-up position: metres of travel used, from the new-belt end.
const TakeUpTravel = "take-up travel"

// ResplicesLeft returns how many more re-splices a belt's take-up allows: floor(2 x travel used / what one takes
// out of the loop), with the splice of the belt that takes out most. Travel used is the last one measured since
// the belt was fitted, else the one noted then. False when travel, use or splice lengths are not known.
func ResplicesLeft(c assets.Conveyor, b assets.Belt, splices []assets.Splice, findings []assets.Finding) (int, bool) {
	used, known := TravelUsedM(b, findings)
	cut, overlap := takenOutMM(splices)
	if !known || c.TakeUpTravelM <= 0 || cut+overlap <= 0 {
		return 0, false
	}
	budget, err := loop.TakeUp{NowMM: 1000 * used, EndMM: 1000 * c.TakeUpTravelM, CutOutMM: cut, OverlapMM: overlap}.Budget()
	return budget.ResplicesLeft, err == nil
}

// TravelUsedM returns the take-up travel a belt uses, in metres from the new-belt end: the last one measured since it
// was fitted or re-spliced, else the one noted then. False when neither is known.
func TravelUsedM(b assets.Belt, findings []assets.Finding) (float64, bool) {
	// A re-splice begins a new row of the belt with the travel it left; what was measured before it is past.
	at, used, known := max(b.Fitted.At, b.ValidFrom), 0.0, false
	if b.TakeUpUsedM != nil {
		used, known = *b.TakeUpUsedM, true
	}
	for _, f := range findings {
		if f.ConveyorID == b.ConveyorID && f.Quantity == TakeUpTravel && f.Measurement != nil && f.FoundAt >= at {
			at, used, known = f.FoundAt, *f.Measurement, true
		}
	}
	return used, known
}

// takenOutMM returns what re-splicing takes out of the loop, in mm: the most of the live splices.
func takenOutMM(splices []assets.Splice) (cut, overlap float64) {
	for _, s := range splices {
		if s.Ended != nil {
			continue
		}
		length := s.FingerLengthM
		if s.Form == assets.FormStepped {
			length = s.StepLengthM * float64(s.Steps)
		}
		if 2*length*1000 > cut+overlap {
			cut, overlap = 1000*length, 1000*length
		}
	}
	return cut, overlap
}

// eachTakeUp visits the belts whose take-up leaves fewer re-splices than the rule asks for. The cycle is belt
// and limit until the next re-splice: the splice made last stands for "until". It fell due when that splice
// was made, or when the belt was fitted.
func (o *Outlook) eachTakeUp(r Rule, visit func(Proposal)) {
	for _, b := range o.beltsIn(r.Scope) {
		left, known := o.in.Resplices[b.ID]
		if !known || left >= r.Trigger.ResplicesLeft || !b.until.IsZero() {
			continue
		}
		last, at := o.lastSplice(b)
		due := micro(at)
		p := o.proposal(r, b.Target, fmt.Sprintf("limit %d after splice %d", r.Trigger.ResplicesLeft, last), due, o.day(due), o.raiseAt(r, b, due))
		p.Values = map[string]any{"clock": "take-up", "resplices_left": left, "limit": r.Trigger.ResplicesLeft, "since": due}
		p.Why = o.because(r, fmt.Sprintf("take-up leaves %s since %s, fewer than %d", plural(left, "re-splice"), o.dateWords(due), r.Trigger.ResplicesLeft))
		visit(p)
	}
}

// lastSplice returns the live splice of a belt made last, 0 when none was made since it was fitted, and when.
func (o *Outlook) lastSplice(b inScope) (id int64, at time.Time) {
	at = b.from
	for _, s := range o.inBelt[b.ID] {
		if s.Ended == nil && s.Made.At.Time().After(at) {
			id, at = s.ID, s.Made.At.Time()
		}
	}
	return id, at
}
