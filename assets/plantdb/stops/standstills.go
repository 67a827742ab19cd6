package stops

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Standstills lists how a plant's conveyors stood by failures, the newest first: those that had not ended at an instant or ended
// later, as known and as it stood at asOf; since 0: all. What was entered in error is left out.
func Standstills(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, since assets.Instant, asOf plantdb.AsOf) ([]assets.Standstill, error) {
	tx := db.SQL(ctx).Scopes(asOf.Rows, plantdb.InScope(scope, "plant_id")).
		Where("plant_id = ? AND left_out = ? AND (until_at IS NULL OR until_at > ?)", plantID, false, since)
	if asOf.Valid != 0 {
		tx = tx.Where("from_at <= ?", asOf.Valid)
	}
	all, err := plantdb.Rows[assets.Standstill](tx.Order("from_at DESC, id DESC"))
	for i := range all {
		if u := all[i].UntilAt; u != nil && asOf.Valid != 0 && *u > asOf.Valid {
			all[i].UntilAt = nil // it still stood then
		}
	}
	return all, err
}

// Standstill returns one of them, left out or not.
func Standstill(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID, id int64) (assets.Standstill, error) {
	return oneOf(plantdb.Rows[assets.Standstill](ofScope(ctx, db, scope).Where("plant_id = ? AND id = ?", plantID, id)))
}

// SaveStandstill adds a standstill (ID 0), or says that it was otherwise than held so far: its end, its cause, or that there was none.
// One whose client number is there already is not added again: s then holds what was entered first, and again is true. A
// conveyor stands once at a time.
func SaveStandstill(c *plantdb.Change, s *assets.Standstill) (again bool, err error) {
	if s.ID == 0 && s.ClientID != "" {
		held, err := plantdb.Rows[assets.Standstill](c.Tx().Scopes(plantdb.AsOf{}.Rows).Where("plant_id = ? AND client_id = ?", s.PlantID, s.ClientID))
		if err != nil {
			return false, err
		}
		if len(held) > 0 {
			*s = held[0]
			return true, nil
		}
	}
	if err := checkStandstill(c, *s); err != nil {
		return false, err
	}
	ch, err := c.PlantChain(s.PlantID)
	if err != nil {
		return false, err
	}
	if s.ID == 0 {
		s.EnteredBy = c.Act.PersonID
		return false, plantdb.Create(c, ch, s)
	}
	held, err := plantdb.ReadRow[assets.Standstill](c, s.ID)
	switch {
	case err != nil:
		return false, err
	case held.PlantID != s.PlantID:
		return false, fmt.Errorf("standstill %d: %w", s.ID, assets.ErrNotFound)
	case held.RowID != s.RowID:
		return false, assets.ErrConflict
	}
	s.ClientID, s.EnteredBy = held.ClientID, held.EnteredBy
	return false, plantdb.Correct(c, ch, s)
}

func checkStandstill(c *plantdb.Change, s assets.Standstill) error {
	bad := assets.Invalid{}
	conveyor, err := plantdb.ReadRow[assets.Conveyor](c, s.ConveyorID)
	if err != nil || conveyor.PlantID != s.PlantID {
		bad.Add("conveyor", "there is no such conveyor in this plant; choose one from the list")
	}
	if !slices.Contains(assets.Causes, s.Cause) {
		bad.Add("cause", "choose a cause from the list")
	}
	if s.Cause == assets.CauseOther && strings.TrimSpace(s.Text) == "" {
		bad.Add("text", "say in a few words what made it stand")
	}
	if s.FromAt <= 0 || s.FromAt > c.Now() {
		bad.Add("from_at", "give the time at which it stopped; it cannot lie in the future")
	}
	if u := s.UntilAt; u != nil && *u <= s.FromAt {
		bad.Add("until_at", "it ran again after it had stopped; give a later time")
	} else if u != nil && *u > c.Now() {
		bad.Add("until_at", "this lies in the future; leave it empty while it stands")
	}
	if h := s.WorkedH; h != nil && !(*h >= 0 && *h <= 10000) {
		bad.Add("worked_h", "give the hours of work of all people together, 0 to 10000")
	}
	if s.SpliceID != 0 {
		if sp, err := plantdb.ReadRow[assets.Splice](c, s.SpliceID); err != nil || sp.ConveyorID != s.ConveyorID {
			bad.Add("splice", "this splice is not of this conveyor; choose one from the list")
		}
	}
	if err := bad.Err(); err != nil || s.LeftOut {
		return err
	}
	return standsOnce(c, s)
}

// standsOnce refuses a standstill that overlaps another of its conveyor: its hours would count twice.
func standsOnce(c *plantdb.Change, s assets.Standstill) error {
	others, err := plantdb.Rows[assets.Standstill](c.Tx().Scopes(plantdb.AsOf{}.Rows).
		Where("plant_id = ? AND conveyor_id = ? AND left_out = ? AND id <> ? AND (until_at IS NULL OR until_at > ?)", s.PlantID, s.ConveyorID, false, s.ID, s.FromAt))
	if err != nil {
		return err
	}
	for _, o := range others {
		if s.UntilAt == nil || o.FromAt < *s.UntilAt {
			return assets.Invalid{"from_at": "this conveyor is entered as standing in that time already; correct that standstill, or give other times"}
		}
	}
	return nil
}
