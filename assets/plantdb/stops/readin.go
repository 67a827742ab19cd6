package stops

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/window"
)

// Held reads what a calendar file is compared with: all stops and recurring stops of a plant, withdrawn ones too, and in which
// of them work is placed.
func Held(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) (window.Held, error) {
	h := window.Held{Placed: map[int64]bool{}}
	var err error
	if h.Windows, err = plantdb.Rows[assets.StopWindow](ofScope(ctx, db, scope).Where("plant_id = ?", plantID).Order("id")); err != nil {
		return h, err
	}
	if h.Series, err = plantdb.Rows[assets.StopRecurrence](ofScope(ctx, db, scope).Where("plant_id = ?", plantID).Order("id")); err != nil {
		return h, err
	}
	where, args := plantdb.ScopeSQL(scope, "plant_id")
	var placed []int64
	err = db.SQL(ctx).Raw("SELECT DISTINCT window_id FROM orders WHERE plant_id = ? AND window_id <> 0 AND known_to IS NULL AND valid_to IS NULL AND state IN ('placed', 'started') AND "+where,
		append([]any{plantID}, args...)...).Scan(&placed).Error
	for _, id := range placed {
		h.Placed[id] = true
	}
	return h, err
}

// TakeIn does what a calendar file does, all of it or nothing. assets.ErrConflict when somebody changed one of the stops since
// they were compared.
func TakeIn(c *plantdb.Change, changes []window.Change) error {
	series := map[string]int64{} // number of a recurring stop by its UID
	for _, ch := range changes {
		if ch.Series == nil || !writes(ch.Do) {
			continue
		}
		r := *ch.Series
		var err error
		if ch.Do == window.TakeAway {
			err = WithdrawRecurrence(c, r.ID, r.RowID, "")
		} else {
			err = SaveRecurrence(c, &r)
		}
		if err != nil {
			return err
		}
		series[r.CalendarUID] = r.ID
	}
	for _, ch := range changes {
		if ch.Window == nil || !writes(ch.Do) {
			continue
		}
		w := *ch.Window
		if w.Source.PlannedLocal != "" && w.Source.RecurrenceID == 0 {
			w.Source.RecurrenceID = series[w.Source.CalendarUID]
		}
		if err := Save(c, &w); err != nil {
			return err
		}
	}
	return nil
}

func writes(d window.Doing) bool {
	return d == window.Add || d == window.Alter || d == window.TakeAway
}
