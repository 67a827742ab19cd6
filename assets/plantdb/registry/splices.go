package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"

	"gorm.io/gorm"
)

// Target names what is asked about: a conveyor, one of its belts or one of its splices. The narrowest that
// is not 0 counts.
type Target struct{ ConveyorID, BeltID, SpliceID int64 }

// on narrows a query of rows that name all three; spliceColumn holds the splice.
func (t Target) on(tx *gorm.DB, spliceColumn string) *gorm.DB {
	switch {
	case t.SpliceID != 0:
		return tx.Where(spliceColumn+" = ?", t.SpliceID)
	case t.BeltID != 0:
		return tx.Where("belt_id = ?", t.BeltID)
	}
	return tx.Where("conveyor_id = ?", t.ConveyorID)
}

// Splice returns one splice.
func Splice(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64, asOf plantdb.AsOf) (assets.Splice, error) {
	splices, err := SpliceHistory(ctx, db, scope, Target{SpliceID: id}, asOf)
	if err == nil && len(splices) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return assets.Splice{}, err
	}
	return splices[0], nil
}

// SpliceHistory returns the splices of a conveyor or belt, running and ended, newest first.
func SpliceHistory(ctx context.Context, db *plantdb.DB, scope assets.Scope, of Target, asOf plantdb.AsOf) ([]assets.Splice, error) {
	splices, err := list[assets.Splice](of.on(ofPlants(ctx, db, scope, asOf), "id").Order("made_at DESC, id DESC"))
	if err != nil {
		return nil, err
	}
	return splices, nameSplices(ctx, db, splices)
}

// nameSplices fills in who made each.
func nameSplices(ctx context.Context, db *plantdb.DB, splices []assets.Splice) error {
	ids := make([]int64, len(splices))
	for i, s := range splices {
		ids[i] = s.MadeByID
	}
	names, err := Names(ctx, db, ids)
	for i := range splices {
		splices[i].MadeBy = names[splices[i].MadeByID]
	}
	return err
}
