package registry

import (
	"context"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Plants lists the plants within the scope by name.
func Plants(ctx context.Context, db *plantdb.DB, scope assets.Scope) ([]assets.Plant, error) {
	return list[assets.Plant](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "id")).Order("name_key, id"))
}

// PlantsOf returns the plants of a customer that are in scope.
func PlantsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, customerID int64) ([]assets.Plant, error) {
	return list[assets.Plant](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "id")).Where("customer_id = ?", customerID).Order("id"))
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

// AddPlant adds a plant of a customer.
func AddPlant(c *plantdb.Change, next *assets.Plant) error {
	if err := checkPlant(c, next); err != nil {
		return err
	}
	ch, err := c.Chain(next.CustomerID)
	if err != nil {
		return err
	}
	if err := plantdb.Create(c, ch, next); err != nil {
		return err
	}
	c.Made(next.ID, next.CustomerID)
	return nil
}

// AlterPlant changes a plant's settings from an instant on (0: corrects them). It stays with its customer.
func AlterPlant(c *plantdb.Change, next *assets.Plant, from assets.Instant) error {
	if err := checkPlant(c, next); err != nil {
		return err
	}
	ch, err := c.PlantChain(next.ID)
	if err != nil {
		return err
	}
	if ch.CustomerID != next.CustomerID {
		return assets.Invalid{"customer_id": "a plant stays with its customer; add it to the other customer as a new plant"}
	}
	return save(c, ch, next, from)
}

func checkPlant(c *plantdb.Change, next *assets.Plant) error {
	bad := assets.Invalid{}
	needText(bad, "name", next.Name, "the plant's name")
	next.NameKey = assets.NameKey(next.Name)
	checkZone(bad, next.Zone)
	checkCurrency(bad, next.Currency)
	checkUnits(bad, next.UnitSystem)
	checkHistory(bad, next, c.Now().Time())
	n, err := count(c, "SELECT count(*) FROM plants WHERE customer_id = ? AND name_key = ? AND id <> ? AND"+isCurrent, next.CustomerID, next.NameKey, next.ID)
	if err != nil {
		return err
	}
	if n > 0 {
		bad.Add("name", "this customer has a plant of this name already")
	}
	return bad.Err()
}

// checkHistory holds that a stated beginning of the records is a day not to come, and says why.
func checkHistory(bad assets.Invalid, next *assets.Plant, now time.Time) {
	if next.History.From == "" {
		next.History = assets.History{}
		return
	}
	day, err := next.History.From.Midnight(next.Location())
	switch {
	case err != nil:
		bad.Add("history_from", "write the day as YYYY-MM-DD, or leave it empty")
	case day.After(now):
		bad.Add("history_from", "give a day that is not to come: failures are on record since a day in the past")
	case strings.TrimSpace(next.History.Why) == "":
		bad.Add("history_why", "say how the plant knows, e.g. the log book begins then")
	}
}

// PlantEntered returns when a plant was entered into the register: its current row may be younger.
func PlantEntered(ctx context.Context, db *plantdb.DB, plantID int64, asOf plantdb.AsOf) (at assets.Instant, err error) {
	err = db.SQL(ctx).Table("plants").Scopes(asOf.KnownRows).Where("id = ?", plantID).Select("coalesce(min(valid_from), 0)").Scan(&at).Error
	return at, err
}

// PlantsMark changes whenever a plant of a customer does: its newest row.
func PlantsMark(ctx context.Context, db *plantdb.DB, customerID int64) (row int64, err error) {
	err = db.SQL(ctx).Table("plants").Where("customer_id = ?", customerID).Select("coalesce(max(row_id), 0)").Scan(&row).Error
	return row, err
}

func checkZone(bad assets.Invalid, zone string) {
	if _, err := time.LoadLocation(zone); err != nil || zone == "" || zone == "Local" {
		bad.Add("zone", "give a time zone by its name, as in Europe/Berlin")
	}
}

func checkCurrency(bad assets.Invalid, code string) {
	if len(code) != 3 || strings.Trim(code, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
		bad.Add("currency", "give the currency by its three letters, as in EUR")
	}
}

func checkUnits(bad assets.Invalid, u assets.UnitSystem) {
	if u != assets.UnitsSI && u != assets.UnitsUS {
		bad.Add("unit_system", "choose SI or US customary units")
	}
}
