package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"

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
	found, err := namedFindings(ctx, db, ofPlants(ctx, db, scope, plantdb.AsOf{}).Where("id = ?", id).Limit(1))
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

// LastFindings returns the newest finding up to an instant (0: now) of each running splice of a plant, and
// of each conveyor the newest that is about no splice, by what it is about.
func LastFindings(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, until assets.Instant) (map[Target]assets.Finding, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	if until == 0 {
		until = 1<<63 - 1
	}
	newest := func(of, table, live string) string {
		return `SELECT (SELECT f.row_id FROM findings f WHERE ` + of + ` AND f.known_to IS NULL AND f.valid_to IS NULL
			AND f.found_at <= ? ORDER BY f.found_at DESC, f.id DESC LIMIT 1) FROM ` + table + ` t
			WHERE t.plant_id = ? AND t.known_to IS NULL AND t.valid_to IS NULL AND ` + live
	}
	ofSplices := newest("f.splice_id = t.id AND f.splice_id <> 0", "splices", "t.ended IS NULL")
	ofConveyors := newest("f.conveyor_id = t.id AND f.splice_id = 0", "conveyors", "t.status <> 'retired'")
	found, err := namedFindings(ctx, db, db.SQL(ctx).Where("row_id IN ("+ofSplices+" UNION ALL "+ofConveyors+")", until, plantID, until, plantID))
	last := make(map[Target]assets.Finding, len(found))
	for _, f := range found {
		t := Target{SpliceID: f.SpliceID}
		if f.SpliceID == 0 {
			t = Target{ConveyorID: f.ConveyorID}
		}
		last[t] = f
	}
	return last, err
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
