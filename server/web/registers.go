package web

import (
	"context"
	"fmt"
	"strings"

	"carryside/assets"
)

// Registers is what the forms of the register need. Reading gives what is so now; assets.ErrNotFound outside
// the scope. Writing is one change of the journal each; a row whose RowID is not the newest any more is
// assets.ErrConflict, what cannot be so is assets.Invalid by field name. Names of people (MadeBy, FittedBy,
// FoundBy) come as typed: the change finds or adds the person at the plant's customer.
type Registers interface {
	Conveyor(ctx context.Context, scope assets.Scope, id int64) (assets.Conveyor, error)
	Belt(ctx context.Context, scope assets.Scope, id int64) (assets.Belt, error)
	Splice(ctx context.Context, scope assets.Scope, id int64) (assets.Splice, error)
	Finding(ctx context.Context, scope assets.Scope, id int64) (assets.Finding, error)

	// AddConveyor gives the conveyor its number.
	AddConveyor(ctx context.Context, scope assets.Scope, act Act, c *assets.Conveyor) error
	// AlterConveyor changes it from an instant on; from 0 corrects it from its beginning.
	AlterConveyor(ctx context.Context, scope assets.Scope, act Act, c *assets.Conveyor, from assets.Instant) error
	RetireConveyor(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64, when assets.When) error

	// FitBelt fits a belt; the one that is on comes off for the reason given.
	FitBelt(ctx context.Context, scope assets.Scope, act Act, b *assets.Belt, formerWhy string) error
	AlterBelt(ctx context.Context, scope assets.Scope, act Act, b *assets.Belt, from assets.Instant) error
	RemoveBelt(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64, when assets.When, why string) error

	// MakeSplice gives the splice its number and, where it has none, its mark.
	MakeSplice(ctx context.Context, scope assets.Scope, act Act, s *assets.Splice) error
	RetireSplice(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64, end SpliceEnd) error
	CorrectSplice(ctx context.Context, scope assets.Scope, act Act, s *assets.Splice) error

	// AddFinding records a finding once for each ClientID; again tells that it was there already.
	AddFinding(ctx context.Context, scope assets.Scope, act Act, f *assets.Finding) (again bool, err error)
	CorrectFinding(ctx context.Context, scope assets.Scope, act Act, f *assets.Finding) error
	RefuseFollowUp(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64, why string) error

	// SaveLine adds a line (ID 0), changes it from an instant on, or from 0 corrects it.
	SaveLine(ctx context.Context, scope assets.Scope, act Act, l *assets.Line, from assets.Instant) error
	EndLine(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64) error
}

// SpliceEnd says when and why a splice ended.
type SpliceEnd struct {
	When        assets.When
	Why         assets.RetiredWhy
	FailureMode string
}

// ofPlant refuses a thing of another plant as if it were not there.
func (r *Request) ofPlant(plantID int64, err error) error {
	if err == nil && plantID != r.PlantID() {
		err = fmt.Errorf("a thing of plant %d asked for at plant %d: %w", plantID, r.PlantID(), assets.ErrNotFound)
	}
	return err
}

// conveyorAsked reads the conveyor an address names.
func (s *Site) conveyorAsked(r *Request) (assets.Conveyor, error) {
	id, err := r.ID("conveyor")
	if err != nil {
		return assets.Conveyor{}, err
	}
	c, err := s.Registers.Conveyor(r.Context(), r.Scope, id)
	return c, r.ofPlant(c.PlantID, err)
}

// beltAsked reads the belt an address names.
func (s *Site) beltAsked(r *Request) (assets.Belt, error) {
	id, err := r.ID("belt")
	if err != nil {
		return assets.Belt{}, err
	}
	b, err := s.Registers.Belt(r.Context(), r.Scope, id)
	return b, r.ofPlant(b.PlantID, err)
}

// spliceAsked reads the splice an address names.
func (s *Site) spliceAsked(r *Request) (assets.Splice, error) {
	id, err := r.ID("splice")
	if err != nil {
		return assets.Splice{}, err
	}
	sp, err := s.Registers.Splice(r.Context(), r.Scope, id)
	return sp, r.ofPlant(sp.PlantID, err)
}

// findingAsked reads the finding an address names.
func (s *Site) findingAsked(r *Request) (assets.Finding, error) {
	id, err := r.ID("finding")
	if err != nil {
		return assets.Finding{}, err
	}
	f, err := s.Registers.Finding(r.Context(), r.Scope, id)
	return f, r.ofPlant(f.PlantID, err)
}

// register returns the plant's register as it is now.
func (s *Site) register(r *Request) (*assets.Register, error) {
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return nil, err
	}
	return fl.Register, nil
}

// lineOptions are the lines of a plant, for a choice.
func lineOptions(reg *assets.Register, none string) []Option {
	out := []Option{{Label: none}}
	for _, l := range reg.Lines {
		out = append(out, Option{Value: plainInt(l.ID), Label: l.Name})
	}
	return out
}

// mostListed is how many conveyors a choice lists; in a larger plant the tag is typed.
const mostListed = 200

// ConveyorTag adds a field that names a conveyor by its tag: a choice, or in a large plant a text.
func (f *Form) ConveyorTag(name, label, none, tag string, reg *assets.Register) *Field {
	if len(reg.Conveyors) > mostListed {
		return f.Text(name, label, tag).Hinted("Its tag; empty: " + none)
	}
	options := []Option{{Label: none}}
	for _, c := range reg.Conveyors {
		if c.Status != assets.ConveyorRetired {
			options = append(options, Option{Value: c.Tag, Label: strings.TrimSpace(c.Tag + " " + c.Name)})
		}
	}
	return f.Select(name, label, tag, options)
}

// fromWhen is whether a change holds from now on or corrects what was held of the past.
func fromWhen(f *Form, what string) *Field {
	return f.Radio("from", "What is changed here", "now", []Option{{Value: "now", Label: "is so from now on"}, {Value: "always", Label: "was so all along: a correction"}}).
		Hinted("A correction changes what reports say of past days, needs a reason and is kept as a correction. " + what).OverBoth()
}

// changesFrom reads fromWhen: the instant from which a change holds, 0 for a correction, which needs its
// reason.
func (e *entry) changesFrom() assets.Instant {
	if oneOf(e, "from", "say whether this is so from now on or corrects the past", "now", "always") == "always" {
		e.reason()
		return 0
	}
	return assets.InstantOf(e.r.Now)
}
