package registry

import (
	"context"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Belt returns one belt.
func Belt(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64, asOf plantdb.AsOf) (assets.Belt, error) {
	b, err := one[assets.Belt](ofPlants(ctx, db, scope, asOf).Where("id = ?", id))
	if err != nil {
		return b, err
	}
	belts := []assets.Belt{b}
	err = nameBelts(ctx, db, belts)
	return belts[0], err
}

// BeltHistory returns the belts of a conveyor, newest first.
func BeltHistory(ctx context.Context, db *plantdb.DB, scope assets.Scope, conveyorID int64, asOf plantdb.AsOf) ([]assets.Belt, error) {
	belts, err := list[assets.Belt](ofPlants(ctx, db, scope, asOf).Where("conveyor_id = ?", conveyorID).Order("fitted_at DESC, id DESC"))
	if err != nil {
		return nil, err
	}
	return belts, nameBelts(ctx, db, belts)
}

// BeltStretches returns every row of a belt that is known now, from old to new: how its loop became shorter.
func BeltStretches(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) ([]assets.Belt, error) {
	return list[assets.Belt](db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("id = ? AND known_to IS NULL", id).Order("valid_from"))
}

// nameBelts fills in who fitted each.
func nameBelts(ctx context.Context, db *plantdb.DB, belts []assets.Belt) error {
	ids := make([]int64, len(belts))
	for i, b := range belts {
		ids[i] = b.FittedByID
	}
	names, err := Names(ctx, db, ids)
	for i := range belts {
		belts[i].FittedBy = names[belts[i].FittedByID]
	}
	return err
}

// Removal says when and why a belt came off, and how its splices ended.
type Removal struct {
	When    assets.When
	Why     string
	Splices assets.RetiredWhy // "": belt-removed
}

// FitBelt fits a belt. The one that is on the conveyor comes off with it, for the reason given, and its
// splices end. A belt that is off again already (Removed set) is added to the past instead and must not
// overlap another.
func FitBelt(c *plantdb.Change, b *assets.Belt, formerWhy string) error {
	conveyor, err := current[assets.Conveyor](c, b.ConveyorID, 0)
	if err != nil {
		return err
	}
	b.PlantID = conveyor.PlantID
	bad := checkBelt(c, b)
	if conveyor.Status == assets.ConveyorRetired && b.Removed == nil {
		bad.Add("", "this conveyor is retired; no belt is fitted on it")
	}
	if err := checkTimeOfBelt(c, bad, b); err != nil {
		return err
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(b.PlantID)
	if err != nil {
		return err
	}
	if b.Removed == nil {
		if err := replaceBelt(c, ch, b, formerWhy); err != nil {
			return err
		}
	}
	return plantdb.Create(c, ch, b)
}

func replaceBelt(c *plantdb.Change, ch *plantdb.Chain, b *assets.Belt, why string) error {
	former, on, err := beltOn(c, b.ConveyorID)
	if err != nil || !on {
		return err
	}
	return takeOff(c, ch, &former, Removal{When: b.Fitted, Why: why}, "fitted")
}

// RemoveBelt takes a belt off without another in its place; its splices end with it.
func RemoveBelt(c *plantdb.Change, id, rowID int64, r Removal) error {
	belt, err := current[assets.Belt](c, id, rowID)
	if err != nil {
		return err
	}
	bad := assets.Invalid{}
	if belt.Removed != nil {
		bad.Add("", "this belt is off already")
	}
	couldBe(bad, "removed", r.When, c.Now())
	if surelyBefore(r.When, belt.Fitted) || r.When.At < belt.Fitted.At {
		bad.Add("removed", "the belt was fitted on "+day(belt.Fitted)+"; it cannot come off before")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(belt.PlantID)
	if err != nil {
		return err
	}
	return takeOff(c, ch, &belt, r, "removed")
}

// takeOff ends a belt and its running splices. field names the date in the form, for the refusal of one that lies
// before a splice of the belt was made.
func takeOff(c *plantdb.Change, ch *plantdb.Chain, belt *assets.Belt, r Removal, field string) error {
	if r.Splices == "" {
		r.Splices = assets.RetiredBeltRemoved
	}
	splices, err := list[assets.Splice](c.Tx().Scopes(plantdb.AsOf{}.Rows).Where("belt_id = ? AND ended IS NULL", belt.ID).Order("id"))
	if err != nil {
		return err
	}
	for _, s := range splices {
		if surelyBefore(r.When, s.Made) {
			return assets.Invalid{field: "splice " + s.Number + " was made in the belt that comes off on " + day(s.Made) + ", later than this; correct one of the dates"}
		}
	}
	at := r.When.At
	belt.Removed, belt.RemovedWhen, belt.RemovedWhy = &at, r.When, r.Why
	if err := plantdb.Correct(c, ch, belt); err != nil { // a life date is so from the belt's beginning
		return fmt.Errorf("take the belt off: %w", err)
	}
	for i := range splices {
		if err := endSplice(c, ch, &splices[i], Retirement{When: r.When, Why: r.Splices}); err != nil {
			return err
		}
	}
	return nil
}

// AlterBelt changes a belt from an instant on (0: corrects it from its beginning): a loop made shorter, a
// roll number read wrongly.
func AlterBelt(c *plantdb.Change, next *assets.Belt, from assets.Instant) error {
	held, err := current[assets.Belt](c, next.ID, 0)
	if err != nil {
		return err
	}
	next.PlantID, next.ConveyorID = held.PlantID, held.ConveyorID
	bad := checkBelt(c, next)
	if err := checkTimeOfBelt(c, bad, next); err != nil {
		return err
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(next.PlantID)
	if err != nil {
		return err
	}
	return save(c, ch, next, from)
}

// beltOn returns the belt that is on a conveyor now.
func beltOn(c *plantdb.Change, conveyorID int64) (belt assets.Belt, on bool, err error) {
	belts, err := list[assets.Belt](c.Tx().Scopes(plantdb.AsOf{}.Rows).Where("conveyor_id = ? AND removed IS NULL", conveyorID))
	if err != nil || len(belts) == 0 {
		return assets.Belt{}, false, err
	}
	return belts[0], true, nil
}

func checkBelt(c *plantdb.Change, b *assets.Belt) assets.Invalid {
	bad := assets.Invalid{}
	atLeast(bad, "width_m", b.WidthM, 0, "the width")
	atLeast(bad, "loop_length_m", b.LoopLengthM, 0, "the loop length")
	atLeast(bad, "thickness_m", b.ThicknessM, 0, "the thickness")
	atLeast(bad, "working_tension_n_per_m", b.WorkingTensionNPerM, 0, "the working tension")
	if b.TakeUpUsedM != nil {
		atLeast(bad, "take_up_used_m", *b.TakeUpUsedM, 0, "the take-up travel used")
	}
	if b.Fitted.IsZero() {
		bad.Add("fitted", "give the day on which the belt was fitted, or say that it is not known")
	}
	couldBe(bad, "fitted", b.Fitted, c.Now())
	if b.Removed != nil {
		couldBe(bad, "removed", b.RemovedWhen, c.Now())
		if *b.Removed < b.Fitted.At {
			bad.Add("removed", "the belt would come off before it was fitted")
		}
	}
	return bad
}

// checkTimeOfBelt holds that a conveyor has one belt at a time. A belt that will replace the one that is on
// must have been fitted after it.
func checkTimeOfBelt(c *plantdb.Change, bad assets.Invalid, b *assets.Belt) error {
	others, err := list[assets.Belt](c.Tx().Scopes(plantdb.AsOf{}.Rows).Where("conveyor_id = ? AND id <> ?", b.ConveyorID, b.ID))
	if err != nil {
		return err
	}
	for _, o := range others {
		replaced := b.ID == 0 && b.Removed == nil && o.Removed == nil
		switch {
		case replaced && b.Fitted.At < o.Fitted.At:
			bad.Add("fitted", "the belt that is on was fitted on "+day(o.Fitted)+", later than this one; say when this one came off, or correct a date")
		case !replaced && overlap(*b, o):
			bad.Add("fitted", "another belt was on this conveyor then, fitted on "+day(o.Fitted)+"; one belt is on at a time")
		}
	}
	return nil
}

func overlap(a, b assets.Belt) bool {
	return (b.Removed == nil || a.Fitted.At < *b.Removed) && (a.Removed == nil || b.Fitted.At < *a.Removed)
}
