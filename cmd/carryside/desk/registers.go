package desk

import (
	"context"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/server/web"
)

// write runs one change of a plant's facts for a screen. A name typed in it may be a new person, who stands in the
// company's chain: names says which.
func (d *Desk) write(ctx context.Context, scope assets.Scope, a web.Act, plantID int64, fn func(*plantdb.Change) error, names ...string) error {
	if err := d.db.Reach(ctx, scope, plantID); err != nil {
		return err
	}
	act := act(a, plantID)
	for _, n := range names {
		act.Company = act.Company || strings.TrimSpace(n) != ""
	}
	return d.db.Change(ctx, act, fn)
}

// named returns the number of the person a typed name means at a plant; 0 for none.
func named(c *plantdb.Change, plantID int64, name string) (int64, error) {
	if strings.TrimSpace(name) == "" {
		return 0, nil
	}
	p, err := registry.Plant(c.Context(), c.DB, assets.PlantScope(plantID), plantID)
	if err != nil {
		return 0, err
	}
	return registry.PersonNamed(c, p.CustomerID, name)
}

// Conveyor returns a conveyor as it is now.
func (d *Desk) Conveyor(ctx context.Context, scope assets.Scope, id int64) (assets.Conveyor, error) {
	return registry.Conveyor(ctx, d.db, scope, id, plantdb.AsOf{})
}

// Belt returns a belt as it is now.
func (d *Desk) Belt(ctx context.Context, scope assets.Scope, id int64) (assets.Belt, error) {
	return registry.Belt(ctx, d.db, scope, id, plantdb.AsOf{})
}

// Splice returns a splice as it is now.
func (d *Desk) Splice(ctx context.Context, scope assets.Scope, id int64) (assets.Splice, error) {
	return registry.Splice(ctx, d.db, scope, id, plantdb.AsOf{})
}

// Finding returns a finding with its finder's name.
func (d *Desk) Finding(ctx context.Context, scope assets.Scope, id int64) (assets.Finding, error) {
	return registry.Finding(ctx, d.db, scope, id)
}

// AddConveyor adds a conveyor.
func (d *Desk) AddConveyor(ctx context.Context, scope assets.Scope, a web.Act, next *assets.Conveyor) error {
	return d.write(ctx, scope, a, next.PlantID, func(c *plantdb.Change) error { return registry.AddConveyor(c, next) })
}

// AlterConveyor changes a conveyor from an instant on, or corrects it.
func (d *Desk) AlterConveyor(ctx context.Context, scope assets.Scope, a web.Act, next *assets.Conveyor, from assets.Instant) error {
	return d.write(ctx, scope, a, next.PlantID, func(c *plantdb.Change) error { return registry.AlterConveyor(c, next, from) })
}

// RetireConveyor takes a conveyor out of use.
func (d *Desk) RetireConveyor(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64, when assets.When) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return registry.RetireConveyor(c, id, rowID, when) })
}

// FitBelt fits a belt.
func (d *Desk) FitBelt(ctx context.Context, scope assets.Scope, a web.Act, b *assets.Belt, formerWhy string) error {
	return d.write(ctx, scope, a, b.PlantID, func(c *plantdb.Change) (err error) {
		if b.FittedByID, err = named(c, b.PlantID, b.FittedBy); err != nil {
			return err
		}
		return registry.FitBelt(c, b, formerWhy)
	}, b.FittedBy)
}

// AlterBelt changes a belt from an instant on, or corrects it.
func (d *Desk) AlterBelt(ctx context.Context, scope assets.Scope, a web.Act, b *assets.Belt, from assets.Instant) error {
	return d.write(ctx, scope, a, b.PlantID, func(c *plantdb.Change) (err error) {
		if b.FittedByID, err = named(c, b.PlantID, b.FittedBy); err != nil {
			return err
		}
		return registry.AlterBelt(c, b, from)
	}, b.FittedBy)
}

// RemoveBelt takes a belt off.
func (d *Desk) RemoveBelt(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64, when assets.When, why string) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error {
		return registry.RemoveBelt(c, id, rowID, registry.Removal{When: when, Why: why})
	})
}

// MakeSplice records a splice.
func (d *Desk) MakeSplice(ctx context.Context, scope assets.Scope, a web.Act, s *assets.Splice) error {
	return d.write(ctx, scope, a, s.PlantID, func(c *plantdb.Change) (err error) {
		if s.MadeByID, err = named(c, s.PlantID, s.MadeBy); err != nil {
			return err
		}
		return registry.MakeSplice(c, s)
	}, s.MadeBy)
}

// RetireSplice ends a splice.
func (d *Desk) RetireSplice(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64, end web.SpliceEnd) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error {
		return registry.RetireSplice(c, id, rowID, registry.Retirement{When: end.When, Why: end.Why, FailureMode: end.FailureMode})
	})
}

// CorrectSplice corrects what is held of a splice.
func (d *Desk) CorrectSplice(ctx context.Context, scope assets.Scope, a web.Act, s *assets.Splice) error {
	return d.write(ctx, scope, a, s.PlantID, func(c *plantdb.Change) (err error) {
		if s.MadeByID, err = named(c, s.PlantID, s.MadeBy); err != nil {
			return err
		}
		return registry.CorrectSplice(c, s)
	}, s.MadeBy)
}

// AddFinding records a finding.
func (d *Desk) AddFinding(ctx context.Context, scope assets.Scope, a web.Act, f *assets.Finding) (again bool, err error) {
	err = d.write(ctx, scope, a, f.PlantID, func(c *plantdb.Change) (err error) {
		if f.FoundByID, err = named(c, f.PlantID, f.FoundBy); err != nil {
			return err
		}
		again, err = registry.AddFinding(c, f)
		return err
	}, f.FoundBy)
	return again, err
}

// CorrectFinding corrects a finding.
func (d *Desk) CorrectFinding(ctx context.Context, scope assets.Scope, a web.Act, f *assets.Finding) error {
	return d.write(ctx, scope, a, f.PlantID, func(c *plantdb.Change) (err error) {
		if f.FoundByID, err = named(c, f.PlantID, f.FoundBy); err != nil {
			return err
		}
		return registry.CorrectFinding(c, f)
	}, f.FoundBy)
}

// RefuseFollowUp signs that a finding of grade 3 or more leads to no order.
func (d *Desk) RefuseFollowUp(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64, why string) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return registry.RefuseFollowUp(c, id, rowID, why) })
}

// SaveLine adds or changes a line.
func (d *Desk) SaveLine(ctx context.Context, scope assets.Scope, a web.Act, l *assets.Line, from assets.Instant) error {
	return d.write(ctx, scope, a, l.PlantID, func(c *plantdb.Change) error { return registry.SaveLine(c, l, from) })
}

// EndLine ends a line that has no conveyors any more.
func (d *Desk) EndLine(ctx context.Context, scope assets.Scope, a web.Act, plantID, id, rowID int64) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error { return registry.EndLine(c, id, rowID, c.Now()) })
}
