package planned

import (
	"context"
	"encoding/json"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Draft returns what a person has moved on a plant's horizon; an empty one where nothing is.
func Draft(ctx context.Context, db *plantdb.DB, personID, plantID int64) (assets.PlanDraft, error) {
	var rows []assets.PlanDraft
	err := db.SQL(ctx).Where("person_id = ? AND plant_id = ?", personID, plantID).Find(&rows).Error
	if err != nil || len(rows) == 0 {
		return assets.PlanDraft{PersonID: personID, PlantID: plantID}, err
	}
	return rows[0], nil
}

// SaveDraft keeps what a person has moved; a draft without moves is none. It is no fact and stands outside the journal: only
// what is published is.
func SaveDraft(ctx context.Context, db *plantdb.DB, d *assets.PlanDraft) error {
	return db.InTx(ctx, func(tx *plantdb.DB) error { return saveDraft(ctx, tx, d) })
}

func saveDraft(ctx context.Context, tx *plantdb.DB, d *assets.PlanDraft) error {
	if len(d.Moves) == 0 {
		return tx.SQL(ctx).Exec("DELETE FROM plan_drafts WHERE person_id = ? AND plant_id = ?", d.PersonID, d.PlantID).Error
	}
	moves, err := json.Marshal(d.Moves)
	if err != nil {
		return err
	}
	// The number is made of the newest one: drafts come and go, and nothing else names them.
	err = tx.SQL(ctx).Exec(`INSERT INTO plan_drafts (id, person_id, plant_id, at, moves) VALUES ((SELECT coalesce(max(id), 0) + 1 FROM plan_drafts), ?, ?, ?, ?)
		ON CONFLICT (person_id, plant_id) DO UPDATE SET at = excluded.at, moves = excluded.moves`, d.PersonID, d.PlantID, d.At, string(moves)).Error
	if err != nil {
		return fmt.Errorf("keep what was moved: %w", err)
	}
	return nil
}

// Plans lists what was published for a plant, newest first.
func Plans(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, most int) ([]assets.PublishedPlan, error) {
	return plantdb.Rows[assets.PublishedPlan](db.SQL(ctx).Model(&assets.PublishedPlan{}).Scopes(plantdb.InScope(scope, "plant_id")).
		Where("plant_id = ?", plantID).Order("published_at DESC, id DESC").Limit(most))
}
