package registry

import (
	"context"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Plants lists the plants within the scope by name.
func Plants(ctx context.Context, db *plantdb.DB, scope assets.Scope) ([]assets.Plant, error) {
	return list[assets.Plant](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "id")).Order("name_key, id"))
}

// Plant returns one plant.
func Plant(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.Plant, error) {
	return one[assets.Plant](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "id")).Where("id = ?", id))
}

// PlantsByName finds plants by a typed name; customers may have plants of the same name.
func PlantsByName(ctx context.Context, db *plantdb.DB, scope assets.Scope, name string) ([]assets.Plant, error) {
	return list[assets.Plant](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "id")).Where("name_key = ?", assets.NameKey(name)).Order("id"))
}

// PlantSize is how much a plant holds: what the head of its screens and the list of plants say.
type PlantSize struct {
	PlantID    int64
	Conveyors  int // in use
	Splices    int // running
	OpenOrders int
	Held       int // readings that wait for a decision
}

// Sizes counts the plants of the scope, or one of them (plantID not 0).
func Sizes(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) ([]PlantSize, error) {
	where, args := plantdb.ScopeSQL(scope, "p.id")
	if plantID != 0 {
		where, args = where+" AND p.id = ?", append(args, plantID)
	}
	var sizes []PlantSize
	err := db.SQL(ctx).Raw(`SELECT p.id AS plant_id,
		(SELECT count(*) FROM conveyors c WHERE c.plant_id = p.id AND c.known_to IS NULL AND c.valid_to IS NULL AND c.status <> 'retired') AS conveyors,
		(SELECT count(*) FROM splices s WHERE s.plant_id = p.id AND s.known_to IS NULL AND s.valid_to IS NULL AND s.ended IS NULL) AS splices,
		(SELECT count(*) FROM orders o WHERE o.plant_id = p.id AND o.known_to IS NULL AND o.valid_to IS NULL
			AND o.state IN ('raised', 'accepted', 'placed', 'started')) AS open_orders,
		(SELECT count(*) FROM held_readings h WHERE h.plant_id = p.id AND h.decision = '') AS held
		FROM plants p WHERE p.known_to IS NULL AND p.valid_to IS NULL AND `+where+` ORDER BY p.id`, args...).Scan(&sizes).Error
	return sizes, err
}
