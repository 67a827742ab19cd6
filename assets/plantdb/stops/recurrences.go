package stops

import (
	"context"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/window"
)

// Recurrences lists the recurring stops of a plant that are not withdrawn.
func Recurrences(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) ([]assets.StopRecurrence, error) {
	return plantdb.Rows[assets.StopRecurrence](ofScope(ctx, db, scope).Where("plant_id = ? AND withdrawn = ?", plantID, false).Order("id"))
}

// Recurrence returns one recurring stop, withdrawn or not.
func Recurrence(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.StopRecurrence, error) {
	return oneOf(plantdb.Rows[assets.StopRecurrence](ofScope(ctx, db, scope).Where("id = ?", id)))
}

// SaveRecurrence adds a recurring stop (ID 0) or changes it. Single stops of it that have a row of their own stay as they are.
func SaveRecurrence(c *plantdb.Change, next *assets.StopRecurrence) error {
	if err := window.Check(*next); err != nil {
		return err
	}
	bad := assets.Invalid{}
	if err := areOf(c, bad, next.PlantID, next.LineID, next.ConveyorIDs); err != nil {
		return err
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(next.PlantID)
	if err != nil {
		return err
	}
	if next.ID == 0 {
		if err := plantdb.Create(c, ch, next); err != nil || window.Numbers(next.ID) {
			return err
		}
		return assets.Invalid{"": fmt.Sprintf("this customer has had %d recurring stops, and there can be no more; change one that is there, or add single stops", window.MostRecurring)}
	}
	return plantdb.Amend(c, ch, next, c.Now())
}

// WithdrawRecurrence withdraws a recurring stop: no more of it come. Single stops of it with a row of their own, because something was
// said of them or work is placed in them, stay until they are withdrawn themselves.
func WithdrawRecurrence(c *plantdb.Change, id, rowID int64, why string) error {
	r, err := plantdb.ReadRow[assets.StopRecurrence](c, id)
	if err != nil {
		return err
	}
	if rowID != 0 && rowID != r.RowID {
		return assets.ErrConflict
	}
	ch, err := c.PlantChain(r.PlantID)
	if err != nil {
		return err
	}
	r.Withdrawn = true
	if why != "" {
		r.Note = why
	}
	return plantdb.Amend(c, ch, &r, c.Now())
}
