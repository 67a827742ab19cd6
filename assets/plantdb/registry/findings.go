package registry

import (
	"context"
	"slices"
	"strconv"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/migrations"

	"gorm.io/gorm"
)

// FindingsOf lists what was found at a conveyor, belt or splice, newest first; limit 0 for all.
func FindingsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, of Target, asOf plantdb.AsOf, limit int) ([]assets.Finding, error) {
	tx := of.on(ofPlants(ctx, db, scope, asOf), "splice_id").Order("found_at DESC, id DESC")
	if limit > 0 {
		tx = tx.Limit(limit)
	}
	return namedFindings(ctx, db, tx)
}

// FindingsOfPlant lists what was found at a plant since an instant, newest first; limit 0 for all.
func FindingsOfPlant(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, since assets.Instant, asOf plantdb.AsOf, limit int) ([]assets.Finding, error) {
	tx := ofPlants(ctx, db, scope, asOf).Where("plant_id = ? AND found_at >= ?", plantID, since).Order("found_at DESC, id DESC")
	if limit > 0 {
		tx = tx.Limit(limit)
	}
	return namedFindings(ctx, db, tx)
}

// Finding returns one finding.
func Finding(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.Finding, error) {
	return FindingAsOf(ctx, db, scope, id, plantdb.AsOf{})
}

// FindingAsOf returns one finding as it stood at a moment.
func FindingAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64, asOf plantdb.AsOf) (assets.Finding, error) {
	found, err := namedFindings(ctx, db, ofPlants(ctx, db, scope, asOf).Where("id = ?", id).Limit(1))
	if err == nil && len(found) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return assets.Finding{}, err
	}
	return found[0], nil
}

// OpenGrades lists a plant's findings of a grade or worse that have neither an order nor a signed refusal,
// oldest first.
func OpenGrades(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, grade int) ([]assets.Finding, error) {
	return namedFindings(ctx, db, ofPlants(ctx, db, scope, plantdb.AsOf{}).
		Where("plant_id = ? AND grade >= ? AND follow_up_order_id = 0 AND refused_by = 0", plantID, grade).Order("found_at, id"))
}

// LastFindings returns the newest finding up to an instant (asOf.Valid, 0: now) of each of some splices of a plant, by
// splice, as known at asOf's position: when it was found, its category and grade, nothing else of it.
func LastFindings(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, splices []int64, asOf plantdb.AsOf) (map[int64]assets.Finding, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	last := make(map[int64]assets.Finding, len(splices))
	for some := range slices.Chunk(splices, 2000) {
		found, err := lastFindings(ctx, db, plantID, some, asOf)
		if err != nil {
			return nil, err
		}
		for _, f := range found {
			last[f.SpliceID] = f
		}
	}
	return last, nil
}

// lastFindings takes one step down the index for each splice. A list of parameters would be four times as slow as
// numbers written out; SQLite is given them as one JSON text, so that it prepares the statement once.
func lastFindings(ctx context.Context, db *plantdb.DB, plantID int64, splices []int64, asOf plantdb.AsOf) ([]assets.Finding, error) {
	var ids []byte
	for i, id := range splices {
		if i > 0 {
			ids = append(ids, ',')
		}
		ids = strconv.AppendInt(ids, id, 10)
	}
	asked, args := "SELECT unnest(ARRAY["+string(ids)+"]::bigint[])", []any(nil)
	if db.Engine() == migrations.SQLite {
		asked, args = "SELECT value FROM json_each(?)", []any{"[" + string(ids) + "]"}
	}
	held, more := plantdb.AsOf{Known: asOf.Known}.On("f")
	newest := `WITH asked (s) AS (` + asked + `) SELECT (SELECT f.row_id FROM findings f WHERE f.splice_id = asked.s AND f.splice_id <> 0 AND ` + held + `
		AND f.found_at <= ? ORDER BY f.found_at DESC, f.id DESC LIMIT 1) FROM asked`
	args = append(append(args, more...), latest(asOf.Valid), plantID)
	return list[assets.Finding](db.SQL(ctx).Select("id, splice_id, found_at, found_day, category, grade").Where("row_id IN ("+newest+") AND plant_id = ?", args...))
}

// latest is an instant, or the end of time where none is given.
func latest(until assets.Instant) assets.Instant {
	if until == 0 {
		return 1<<63 - 1
	}
	return until
}

// namedFindings runs a query of findings and fills in who found each.
func namedFindings(ctx context.Context, db *plantdb.DB, tx *gorm.DB) ([]assets.Finding, error) {
	found, err := list[assets.Finding](tx)
	if err != nil {
		return nil, err
	}
	ids := make([]int64, len(found))
	for i, f := range found {
		ids[i] = f.FoundByID
	}
	names, err := Names(ctx, db, ids)
	for i := range found {
		found[i].FoundBy = names[found[i].FoundByID]
	}
	return found, err
}

// AddFinding records a finding. One with a client number that is known already is not recorded again: f then
// holds what was recorded first, and again is true.
func AddFinding(c *plantdb.Change, f *assets.Finding) (again bool, err error) {
	if f.ClientID != "" {
		held, err := list[assets.Finding](c.Tx().Scopes(plantdb.AsOf{}.Rows).Where("client_id = ?", f.ClientID))
		if err != nil {
			return false, err
		}
		if len(held) > 0 && held[0].PlantID == f.PlantID {
			*f = held[0]
			return true, nil
		}
	}
	if err := checkFinding(c, f); err != nil {
		return false, err
	}
	ch, err := c.PlantChain(f.PlantID)
	if err != nil {
		return false, err
	}
	return false, plantdb.Create(c, ch, f)
}

// CorrectFinding corrects a finding.
func CorrectFinding(c *plantdb.Change, next *assets.Finding) error {
	if err := checkFinding(c, next); err != nil {
		return err
	}
	ch, err := c.PlantChain(next.PlantID)
	if err != nil {
		return err
	}
	return plantdb.Correct(c, ch, next)
}

// RefuseFollowUp signs that a finding gets no order, and why.
func RefuseFollowUp(c *plantdb.Change, id, rowID int64, why string) error {
	f, err := current[assets.Finding](c, id, rowID)
	if err != nil {
		return err
	}
	bad := assets.Invalid{}
	needText(bad, "refused_why", why, "the reason for which nothing is done")
	if f.FollowUpOrderID != 0 {
		bad.Add("", "this finding has its order; withdraw that instead")
	}
	if c.Act.PersonID == 0 {
		bad.Add("", "a refusal is signed by a person")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	f.RefusedBy, f.RefusedWhy = c.Act.PersonID, why
	return amendFinding(c, &f)
}

// FollowUp points a finding to the order that came of it.
func FollowUp(c *plantdb.Change, id, orderID int64) error {
	f, err := current[assets.Finding](c, id, 0)
	if err != nil {
		return err
	}
	f.FollowUpOrderID = orderID
	return amendFinding(c, &f)
}

func amendFinding(c *plantdb.Change, f *assets.Finding) error {
	ch, err := c.PlantChain(f.PlantID)
	if err != nil {
		return err
	}
	return plantdb.Amend(c, ch, f, c.Now())
}

func checkFinding(c *plantdb.Change, f *assets.Finding) error {
	bad := assets.Invalid{}
	needText(bad, "category", f.Category, "the kind of finding")
	if f.Grade != nil && (*f.Grade < 0 || *f.Grade > 4) {
		bad.Add("grade", "the grade is 0 to 4")
	}
	if f.Grade == nil && f.Measurement == nil && f.Text == "" {
		bad.Add("text", "say what was found: a grade, a measurement or a few words")
	}
	if f.Measurement != nil && f.Quantity == "" {
		bad.Add("quantity", "say what was measured")
	}
	if f.FoundAt == 0 {
		bad.Add("found_at", "say when this was found")
	}
	if f.FoundAt > c.Now() {
		bad.Add("found_at", "this lies in the future; give the time at which it was found")
	}
	if err := placeFinding(c, bad, f); err != nil {
		return err
	}
	return bad.Err()
}

// placeFinding fills in plant, conveyor and belt from the narrowest thing named and refuses what does not
// belong together.
func placeFinding(c *plantdb.Change, bad assets.Invalid, f *assets.Finding) error {
	conveyorID, plantID := f.ConveyorID, f.PlantID
	if f.SpliceID != 0 {
		s, err := current[assets.Splice](c, f.SpliceID, 0)
		if err != nil {
			return err
		}
		f.BeltID, f.ConveyorID = s.BeltID, s.ConveyorID
	} else if f.BeltID != 0 {
		b, err := current[assets.Belt](c, f.BeltID, 0)
		if err != nil {
			return err
		}
		f.ConveyorID = b.ConveyorID
	}
	if f.ConveyorID == 0 {
		bad.Add("conveyor_id", "say at which conveyor this was found")
		return nil
	}
	conveyor, err := current[assets.Conveyor](c, f.ConveyorID, 0)
	if err != nil {
		return err
	}
	f.PlantID = conveyor.PlantID
	if conveyorID != 0 && conveyorID != f.ConveyorID || plantID != 0 && plantID != f.PlantID {
		bad.Add("target", "this splice or belt is on another conveyor")
	}
	return nil
}
