package kit

import (
	"fmt"

	"carryside/assets"
)

// Check is one step of the usual order in which a cutter that no longer cuts through is gone over.
type Check string

// The checks in their order: what costs nothing first, new blades last. Common practice of the trade: most cutters that leave
// threads have a worn pad below a sound blade.
const (
	CheckSide  Check = "pad side"    // turn the pad
	CheckPad   Check = "pad"         // a new pad
	CheckDepth Check = "blade depth" // set the blades to go through
	CheckBlade Check = "blade"       // new blades
	CheckNone  Check = ""            // nothing is left to check
)

// Checks lists the order.
var Checks = []Check{CheckSide, CheckPad, CheckDepth, CheckBlade}

// Answer is what came of a check.
type Answer string

// Answers.
const (
	Through  Answer = "cuts through"      // done; what was changed is booked
	Still    Answer = "still not through" // go on to the next
	Skipped  Answer = "could not be done" // no other side, no spare: go on, with the reason
	NotAsked Answer = ""
)

// Step is where somebody stands in the order of checks.
type Step struct {
	Check  Check
	Ask    string // what to do, in a sentence
	Why    string // what the counters say about it
	Skip   string // why it cannot be done; "" when it can
	Solved Check  // the check that made it cut through; "" while none has
}

// Next returns the check that is due after the answers so far, with what the counters say. The same answers always lead to
// the same place; an answer out of order is assets.Invalid.
//
//	counters  those of the cutter
//	spares    cutter pads on hand
//	blades    blades on hand
func Next(counters []Counter, spares, blades int, answers map[Check]Answer) (Step, error) {
	for i, check := range Checks {
		switch a := answers[check]; a {
		case Through:
			return Step{Solved: check}, after(i, answers)
		case Still, Skipped:
			continue
		case NotAsked:
			return stepOf(check, counters, spares, blades), after(i, answers)
		default:
			return Step{}, assets.Invalid{"answer": "choose what came of the check from the list"}
		}
	}
	return Step{Ask: "All four checks are done and it still leaves threads: take the cutter out of use and send it to service."}, nil
}

// after refuses answers to checks behind the one that is due.
func after(i int, answers map[Check]Answer) error {
	for _, later := range Checks[i+1:] {
		if answers[later] != NotAsked {
			return assets.Invalid{"answer": "answer the checks in their order: " + string(later) + " comes later"}
		}
	}
	return nil
}

func stepOf(check Check, counters []Counter, spares, blades int) Step {
	s := Step{Check: check}
	up, other, padded := Side(counters)
	switch check {
	case CheckSide:
		s.Ask = "Turn the pad over and cut a strip of waste belt."
		switch {
		case !padded:
			s.Skip = "no pad is on record for this cutter"
		case other.ID == 0 || other.Spent():
			s.Why, s.Skip = countWords(up), "the other side is spent as well"
		default:
			s.Why = countWords(up) + "; " + countWords(other)
		}
	case CheckPad:
		s.Ask = "Put a new pad in, unused on both sides, and cut a strip of waste belt."
		s.Why = fmt.Sprintf("%d on hand", spares)
		if spares == 0 {
			s.Skip = "no pad is on hand here"
		}
	case CheckDepth:
		s.Ask = "Set the blades a little deeper, a tenth or two of a millimetre into the pad and not more, and cut a strip of waste belt."
		s.Why = "too deep spends the pad; too shallow leaves the lowest threads"
	case CheckBlade:
		s.Ask = "Put new blades in and cut a strip of waste belt. The old ones go into the box for blades, counted."
		for _, c := range counters {
			if c.Counts == assets.WearBladeCuts && c.EndedAt == 0 {
				s.Why = countWords(c)
			}
		}
		if blades == 0 {
			s.Skip = "no blades are on hand here"
		}
	}
	return s
}

func countWords(c Counter) string {
	of := ""
	if c.Limit > 0 {
		of = fmt.Sprintf(" of %.0f", c.Limit)
	}
	name := c.Part
	if side := c.Counts.PadSide(); side != "" {
		name += " side " + side
	} else if name == "" {
		name = string(c.Counts)
	}
	return fmt.Sprintf("%s: %.0f%s cuts", name, c.Count, of)
}
