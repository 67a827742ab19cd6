package outlook

import (
	"context"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/due"
	"carryside/schedule/workorder"

	"gorm.io/gorm"
)

// LifeFindings are the findings on a plant's live splices, and on its belts as they run, that can set a date.
type LifeFindings struct {
	Measured  []assets.Finding // with a measurement, from old to new, on splices no more than trends take; those on belts as a whole behind
	Demanding []assets.Finding // of grade 3 and more not answered for good, and what was found on the same splices or belts since
}

// ReadLifeFindings reads them as of an instant and as known at a position.
func ReadLifeFindings(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) (f LifeFindings, err error) {
	err = db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		live, args := asOf.On("s")
		those := func(where string, more ...any) *gorm.DB {
			q := tx.SQL(ctx).Scopes(asOf.Rows, plantdb.InScope(scope, "plant_id")).Where("plant_id = ? AND splice_id <> 0", plantID).
				Where("splice_id IN (SELECT s.id FROM splices s WHERE s.plant_id = ? AND s.ended IS NULL AND "+live+")", append([]any{plantID}, args...)...)
			if asOf.Valid != 0 {
				q = q.Where("found_at <= ?", asOf.Valid)
			}
			return q.Where(where, more...)
		}
		on := func(where string, more ...any) ([]assets.Finding, error) {
			return plantdb.Rows[assets.Finding](those(where, more...).Order("found_at, id"))
		}
		newest := those("measurement IS NOT NULL").Model(&assets.Finding{}).
			Select("id, splice_id, found_at, quantity, measurement, measurement_unit, row_number() OVER (PARTITION BY splice_id, quantity, measurement_unit ORDER BY found_at DESC, id DESC) AS nth")
		f.Measured, err = plantdb.Rows[assets.Finding](tx.SQL(ctx).Table("(?) AS findings", newest).
			Select("id, splice_id, found_at, quantity, measurement, measurement_unit").Where("nth <= ?", due.TrendOf).Order("found_at, id"))
		if err != nil {
			return err
		}
		if err := f.readBelts(ctx, tx, scope, plantID, asOf); err != nil {
			return err
		}
		graded, err := on("grade >= 3 AND refused_by = 0")
		if err != nil || len(graded) == 0 {
			return err
		}
		if graded, err = unanswered(ctx, tx, plantID, asOf, graded); err != nil || len(graded) == 0 {
			return err
		}
		splices := make([]int64, len(graded))
		for i, g := range graded {
			splices[i] = g.SpliceID
		}
		since, err := on("grade < 3 AND found_at > ? AND splice_id IN ?", graded[0].FoundAt, splices)
		f.Demanding = append(append(f.Demanding, graded...), since...)
		return err
	})
	if err != nil {
		return f, fmt.Errorf("read the findings on the splices of plant %d: %w", plantID, err)
	}
	return f, nil
}

// readBelts adds what was found on the belts as they run as a whole.
func (f *LifeFindings) readBelts(ctx context.Context, tx *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) error {
	live, args := asOf.On("b")
	on := func(where string, more ...any) ([]assets.Finding, error) {
		q := tx.SQL(ctx).Scopes(asOf.Rows, plantdb.InScope(scope, "plant_id")).Where("plant_id = ? AND splice_id = 0", plantID).
			Where("belt_id IN (SELECT b.id FROM belts b WHERE b.plant_id = ? AND b.removed IS NULL AND "+live+")", append([]any{plantID}, args...)...)
		if asOf.Valid != 0 {
			q = q.Where("found_at <= ?", asOf.Valid)
		}
		return plantdb.Rows[assets.Finding](q.Where(where, more...).Order("found_at, id"))
	}
	var quantities []string
	for _, g := range due.BeltGauges {
		quantities = append(quantities, g.Quantity)
	}
	measured, err := on("quantity IN ? AND measurement IS NOT NULL", quantities)
	if err != nil {
		return err
	}
	f.Measured = append(f.Measured, measured...)
	// Of those that led to an order only the ones whose order is still open are asked for: two narrow questions.
	graded, err := on("grade >= 3 AND refused_by = 0 AND follow_up_order_id = 0")
	if err != nil {
		return err
	}
	followed, err := on("grade >= 3 AND refused_by = 0 AND follow_up_order_id IN (SELECT o.id FROM orders o WHERE o.plant_id = ? AND o.valid_to IS NULL AND o.known_to IS NULL AND o.state IN ?)",
		plantID, []workorder.State{workorder.Raised, workorder.Accepted, workorder.Placed, workorder.Started})
	if graded = append(graded, followed...); err != nil || len(graded) == 0 {
		return err
	}
	first, belts := graded[0].FoundAt, make([]int64, len(graded))
	for i, g := range graded {
		first, belts[i] = min(first, g.FoundAt), g.BeltID
	}
	since, err := on("grade < 3 AND found_at > ? AND belt_id IN ?", first, belts)
	f.Demanding = append(append(f.Demanding, graded...), since...)
	return err
}

// unanswered leaves out findings whose follow-up was done.
func unanswered(ctx context.Context, tx *plantdb.DB, plantID int64, asOf plantdb.AsOf, found []assets.Finding) (left []assets.Finding, err error) {
	var followed []int64
	for _, f := range found {
		if f.FollowUpOrderID != 0 {
			followed = append(followed, f.FollowUpOrderID)
		}
	}
	closed := map[int64]bool{}
	if len(followed) > 0 {
		os, err := plantdb.Rows[workorder.Order](tx.SQL(ctx).Scopes(asOf.Rows).Where("plant_id = ? AND id IN ?", plantID, followed))
		if err != nil {
			return nil, err
		}
		for _, o := range os {
			closed[o.ID] = o.State == workorder.Done || o.State == workorder.Signed
		}
	}
	for _, f := range found {
		if !closed[f.FollowUpOrderID] {
			left = append(left, f)
		}
	}
	return left, nil
}
