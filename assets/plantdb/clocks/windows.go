package clocks

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Windows lists the stop windows of a plant that overlap a span and are not withdrawn, in order of time.
func Windows(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, in Span) ([]assets.StopWindow, error) {
	var windows []assets.StopWindow
	err := db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).
		Where(`plant_id = ? AND withdrawn = ? AND "start" < ? AND "end" > ?`, plantID, false, in.to(), in.From).Order(`"start", id`).Find(&windows).Error
	return windows, err
}

// Window returns one stop window.
func Window(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.StopWindow, error) {
	var windows []assets.StopWindow
	err := db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).Where("id = ?", id).Find(&windows).Error
	if err == nil && len(windows) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return assets.StopWindow{}, err
	}
	return windows[0], nil
}

// SaveWindow adds a stop window (ID 0) or moves it.
func SaveWindow(c *plantdb.Change, next *assets.StopWindow) error {
	bad := assets.Invalid{}
	if next.Start == 0 {
		bad.Add("start", "say when the stop begins")
	}
	if next.End <= next.Start {
		bad.Add("end", "the stop must end after it begins")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(next.PlantID)
	if err != nil {
		return err
	}
	if next.ID == 0 {
		return plantdb.Create(c, ch, next)
	}
	return plantdb.Amend(c, ch, next, c.Now())
}

// WithdrawWindow withdraws a stop window in which no open order is placed.
func WithdrawWindow(c *plantdb.Change, id, rowID int64, why string) error {
	w, err := plantdb.ReadRow[assets.StopWindow](c, id)
	if err != nil {
		return err
	}
	if rowID != 0 && rowID != w.RowID {
		return assets.ErrConflict
	}
	var placed int64
	err = c.Tx().Raw("SELECT count(*) FROM orders WHERE window_id = ? AND plant_id = ? AND known_to IS NULL AND valid_to IS NULL AND state IN ('placed', 'started')", id, w.PlantID).Scan(&placed).Error
	if err != nil {
		return err
	}
	if placed > 0 {
		return assets.Invalid{"": "work is placed in this stop; take it out of the stop first"}
	}
	ch, err := c.PlantChain(w.PlantID)
	if err != nil {
		return err
	}
	w.Withdrawn = true
	if why != "" {
		w.Note = why
	}
	return plantdb.Amend(c, ch, &w, c.Now())
}
