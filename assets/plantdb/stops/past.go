package stops

import (
	"cmp"
	"context"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Past is one change of a stop: what it was and became, and by whom. Before is nil where it was entered.
type Past struct {
	At       assets.Instant
	PersonID int64
	Action   string
	Reason   string
	Before   *assets.StopWindow
	After    assets.StopWindow
}

// History lists the changes of a stop (id 0: of all stops of the plant) since an instant, newest first, at most limit. Stops of
// which nothing but their entry is known are left out of a plant's list, so that a year of them does not hide what moved.
func History(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID, id int64, since assets.Instant, limit int) ([]Past, error) {
	where, args := plantdb.ScopeSQL(scope, "plant_id")
	tx := db.SQL(ctx).Where("plant_id = ? AND valid_to IS NULL AND "+where, append([]any{plantID}, args...)...)
	if id != 0 {
		tx = tx.Where("id = ?", id)
	} else {
		tx = tx.Where("id IN (SELECT x.id FROM stop_windows x WHERE x.plant_id = ? AND x.known_to IS NOT NULL)", plantID)
	}
	rows, err := plantdb.Rows[assets.StopWindow](tx.Order("id, known_from"))
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	entries, err := entriesOf(ctx, db, plantID, rows)
	if err != nil {
		return nil, err
	}
	var out []Past
	for i, w := range rows {
		e, ok := entries[w.KnownFrom]
		if !ok || e.At < since {
			continue
		}
		p := Past{At: e.At, PersonID: e.PersonID, Action: e.Action, Reason: e.Reason, After: w}
		if i > 0 && rows[i-1].ID == w.ID {
			p.Before = &rows[i-1]
		} else if id == 0 {
			continue
		}
		out = append(out, p)
	}
	slices.SortStableFunc(out, func(a, b Past) int { return cmp.Compare(b.At, a.At) })
	return out[:min(len(out), limit)], nil
}

// entriesOf reads who wrote rows of a plant, by position in the chain of its customer.
func entriesOf(ctx context.Context, db *plantdb.DB, plantID int64, rows []assets.StopWindow) (map[int64]plantdb.Entry, error) {
	customer, err := db.CustomerOf(ctx, plantID)
	if err != nil {
		return nil, err
	}
	positions := make([]int64, len(rows))
	for i, w := range rows {
		positions[i] = w.KnownFrom
	}
	var found []plantdb.Entry
	err = db.SQL(ctx).Select("position", "at", "person_id", "action", "reason").
		Where("chain_id = (SELECT c.id FROM chains c WHERE c.customer_id = ?) AND position IN ?", customer, positions).Find(&found).Error
	of := make(map[int64]plantdb.Entry, len(found))
	for _, e := range found {
		of[e.Position] = e
	}
	return of, err
}
