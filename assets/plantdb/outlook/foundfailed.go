package outlook

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/stops"
	"carryside/schedule/cohort"
)

// stopNow is the grade that ends a splice's service: stop and act now.
const stopNow = 4

// findFailed says of splices that failed which failure was found by a look, and when they were last seen in service before: a
// finding of grade 4 on the splice led to the order that remade it, and the conveyor is not known to have stood by it. They failed
// somewhere between the two looks. Without a look before they failed on the date they ended.
func findFailed(ctx context.Context, tx *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, splices []cohort.Splice) error {
	by := map[int64]*cohort.Splice{} // by the order that remade them
	for i := range splices {
		if s := &splices[i]; s.RetiredWhy == assets.RetiredFailed && s.RetiredOrderID != 0 {
			by[s.RetiredOrderID] = s
		}
	}
	if len(by) == 0 {
		return nil
	}
	graded, err := looks(ctx, tx, scope, plantID, asOf, "follow_up_order_id <> 0 AND grade >= ? AND splice_id <> 0", stopNow)
	if err != nil {
		return err
	}
	found := map[int64]*cohort.Splice{} // by splice
	for _, f := range graded {
		s := by[f.FollowUpOrderID]
		if s != nil && s.ID == f.SpliceID && s.Found == nil && !f.FoundAt.Time().After(s.Ended.Time()) {
			s.Found = &cohort.Found{At: f.FoundAt.Time()}
			found[s.ID] = s
		}
	}
	if len(found) == 0 {
		return nil
	}
	if err := forgetStandstills(ctx, tx, scope, plantID, asOf, found); err != nil {
		return err
	}
	ids := make([]int64, 0, len(found))
	for id := range found {
		ids = append(ids, id)
	}
	before, err := looks(ctx, tx, scope, plantID, asOf, "splice_id <> 0 AND splice_id IN ? AND (grade IS NULL OR grade < ?)", ids, stopNow)
	for _, f := range before { // from old to new: the last one before stays
		if s := found[f.SpliceID]; f.FoundAt.Time().Before(s.Found.At) {
			s.Found.Sound = f.FoundAt.Time()
		}
	}
	for _, s := range found {
		if !s.Found.Sound.After(s.Made.At.Time()) {
			s.Found = nil // nobody looked before: that only bad findings are written down says nothing of when it failed
		}
	}
	return err
}

// forgetStandstills leaves the dates of splices as they are whose failure stopped their conveyor: it is known when that was.
func forgetStandstills(ctx context.Context, tx *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, found map[int64]*cohort.Splice) error {
	stood, err := stops.Standstills(ctx, tx, scope, plantID, 0, asOf)
	if err != nil {
		return err
	}
	for _, st := range stood {
		for id, s := range found {
			if st.SpliceID == id || st.OrderID != 0 && st.OrderID == s.RetiredOrderID {
				s.Found = nil
				delete(found, id)
			}
		}
	}
	return nil
}

// looks are findings of a plant by the time they were made.
func looks(ctx context.Context, tx *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, where string, args ...any) ([]assets.Finding, error) {
	q := tx.SQL(ctx).Scopes(asOf.Rows, plantdb.InScope(scope, "plant_id")).Where("plant_id = ?", plantID)
	if asOf.Valid != 0 {
		q = q.Where("found_at <= ?", asOf.Valid)
	}
	return plantdb.Rows[assets.Finding](q.Where(where, args...).Order("found_at, id"))
}
