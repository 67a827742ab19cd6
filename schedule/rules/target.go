package rules

import (
	"strings"
	"time"

	"carryside/assets"
)

// Target is one thing a rule looks at, with what an order about it needs.
type Target struct {
	Kind       TargetKind
	ID         int64
	ConveyorID int64
	BeltID     int64
	SpliceID   int64
	LineID     int64
	FindingID  int64
	// FollowUpOrderID is the order that a finding led to so far; 0: none.
	FollowUpOrderID int64
	ConveyorTag     string // "Q3"; "" for a line or the plant
	Words           string // as a title says it: "splice 2", "belt", the name of the line or plant
}

// Name says which one it is, among all of the plant: "Q3 splice 2".
func (t Target) Name() string { return strings.TrimSpace(t.ConveyorTag + " " + t.Words) }

// stretch is the time in which a target is in a rule's scope; a zero until is open.
type stretch struct {
	from, until time.Time
}

// holds tells whether an instant lies in it; the end does not.
func (s stretch) holds(t time.Time) bool {
	return !t.Before(s.from) && (s.until.IsZero() || t.Before(s.until))
}

// inScope is a target with the time it is in scope and the date its clocks count from.
type inScope struct {
	Target
	stretch
	own assets.When // made or fitted; zero for what has no date of its own
}

// TargetOf returns a target of the plant by its number.
func (o *Outlook) TargetOf(kind TargetKind, id int64) (Target, bool) {
	switch kind {
	case TargetSplice:
		if s := o.splices[id]; s != nil {
			return o.spliceTarget(s), true
		}
	case TargetBelt:
		if b := o.belts[id]; b != nil {
			return o.beltTarget(b), true
		}
	case TargetConveyor:
		if c := o.conveyors[id]; c != nil {
			return o.conveyorTarget(c), true
		}
	case TargetLine:
		if l := o.lines[id]; l != nil {
			return Target{Kind: TargetLine, ID: l.ID, LineID: l.ID, Words: l.Name}, true
		}
	case TargetPlant:
		return o.plantTarget(), id == o.in.Plant.ID
	case TargetFinding:
		for i := range o.in.Findings {
			if f := &o.in.Findings[i]; f.ID == id {
				return o.findingTarget(f), true
			}
		}
	case TargetCounter, TargetKit, TargetItem:
		return o.storesTarget(kind, id)
	case TargetPerson:
		return o.ticketTarget(id)
	}
	return Target{}, false
}

func (o *Outlook) tag(conveyorID int64) string {
	if c := o.conveyors[conveyorID]; c != nil {
		return c.Tag
	}
	return ""
}

func (o *Outlook) lineOf(conveyorID int64) int64 {
	if c := o.conveyors[conveyorID]; c != nil {
		return c.LineID
	}
	return 0
}

func (o *Outlook) spliceTarget(s *assets.Splice) Target {
	return Target{Kind: TargetSplice, ID: s.ID, ConveyorID: s.ConveyorID, BeltID: s.BeltID, SpliceID: s.ID,
		LineID: o.lineOf(s.ConveyorID), ConveyorTag: o.tag(s.ConveyorID), Words: "splice " + s.Number}
}

func (o *Outlook) beltTarget(b *assets.Belt) Target {
	return Target{Kind: TargetBelt, ID: b.ID, ConveyorID: b.ConveyorID, BeltID: b.ID,
		LineID: o.lineOf(b.ConveyorID), ConveyorTag: o.tag(b.ConveyorID), Words: "belt"}
}

func (o *Outlook) conveyorTarget(c *assets.Conveyor) Target {
	return Target{Kind: TargetConveyor, ID: c.ID, ConveyorID: c.ID, LineID: c.LineID, ConveyorTag: c.Tag, Words: "conveyor"}
}

func (o *Outlook) plantTarget() Target {
	return Target{Kind: TargetPlant, ID: o.in.Plant.ID, Words: o.in.Plant.Name}
}

func (o *Outlook) findingTarget(f *assets.Finding) Target {
	t := Target{Kind: TargetFinding, ID: f.ID, ConveyorID: f.ConveyorID, BeltID: f.BeltID, SpliceID: f.SpliceID,
		LineID: o.lineOf(f.ConveyorID), FindingID: f.ID, FollowUpOrderID: f.FollowUpOrderID, ConveyorTag: o.tag(f.ConveyorID), Words: f.Target}
	switch s := o.splices[f.SpliceID]; {
	case s != nil:
		t.Words = "splice " + s.Number
	case t.Words == "" && f.BeltID != 0:
		t.Words = "belt"
	case t.Words == "":
		t.Words = "conveyor"
	}
	return t
}
