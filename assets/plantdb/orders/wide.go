package orders

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/round"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// WideInspections says of which lines a plant's open inspections are that rules raised for lines or for the plant: they are of no
// conveyor of their own.
func WideInspections(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) (round.Wide, error) {
	var rows []struct {
		OrderID, TargetID int64
		TargetKind        rules.TargetKind
	}
	open := []workorder.State{workorder.Raised, workorder.Accepted, workorder.Placed, workorder.Started}
	err := db.SQL(ctx).Table("occurrences").Select("order_id, target_id, target_kind").Scopes(plantdb.InScope(scope, "plant_id")).
		Where("plant_id = ? AND target_kind IN ?", plantID, []rules.TargetKind{rules.TargetLine, rules.TargetPlant}).
		Where("order_id IN (SELECT id FROM orders WHERE plant_id = ? AND kind = ? AND state IN ? AND known_to IS NULL AND valid_to IS NULL)", plantID, workorder.KindInspection, open).Scan(&rows).Error
	out := round.Wide{}
	for _, r := range rows {
		line := r.TargetID
		if r.TargetKind == rules.TargetPlant {
			line = round.WholePlant
		}
		out[r.OrderID] = append(out[r.OrderID], line)
	}
	return out, err
}
