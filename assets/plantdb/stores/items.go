package stores

import (
	"context"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Items lists what is kept in stock: the company's list and those of customers the scope reaches.
func Items(ctx context.Context, db *plantdb.DB, scope assets.Scope, asOf plantdb.AsOf) ([]assets.StockItem, error) {
	where, args := plantdb.CustomerSQL(scope, "customer_id")
	return list[assets.StockItem](db.SQL(ctx).Scopes(asOf.Rows).Where("(customer_id = 0 OR "+where+")", args...).Order("kind, name_key, id"))
}

// Item returns one item of the scope.
func Item(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.StockItem, error) {
	where, args := plantdb.CustomerSQL(scope, "customer_id")
	return one[assets.StockItem](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows).Where("id = ?", id).Where("(customer_id = 0 OR "+where+")", args...))
}

// SaveItem adds an item (ID 0) or changes it from now on. The unit of an item with movements stays.
func SaveItem(c *plantdb.Change, next *assets.StockItem) error {
	bad := checkItem(next)
	var n int64
	err := c.Tx().Raw("SELECT count(*) FROM stock_items WHERE name_key = ? AND customer_id = ? AND id <> ? AND known_to IS NULL AND valid_to IS NULL",
		next.NameKey, next.CustomerID, next.ID).Scan(&n).Error
	if err != nil {
		return err
	}
	if n > 0 {
		bad.Add("name", "the list has an item of this name already")
	}
	if err := unitStays(c, bad, next); err != nil {
		return err
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.Chain(next.CustomerID)
	if err != nil {
		return err
	}
	return save(c, ch, next)
}

func checkItem(next *assets.StockItem) assets.Invalid {
	bad := assets.Invalid{}
	needText(bad, "name", next.Name, "the item's name")
	next.NameKey = assets.NameKey(next.Name)
	if !slices.Contains(assets.StockKinds, next.Kind) {
		bad.Add("kind", "choose the kind from the list")
	}
	if !slices.Contains(assets.StockUnits, next.Unit) {
		bad.Add("unit", "choose the unit from the list")
	}
	if next.ShelfLifeDays < 0 || next.ShelfLifeDays > 20000 {
		bad.Add("shelf_life_days", "the shelf life is a number of days from 0 (does not age) to 20 000")
	}
	if next.LeadTimeDays < 0 || next.LeadTimeDays > 1000 {
		bad.Add("lead_time_days", "the lead time is a number of days from 0 to 1000")
	}
	if !(next.ServiceLevel == 0 || next.ServiceLevel >= 0.5 && next.ServiceLevel <= 0.9999) {
		bad.Add("service_level", "the service level is a chance from 50 to 99.99 %")
	}
	if next.CostPerUnit < 0 {
		bad.Add("cost_per_unit", "a cost is 0 (not known) or more")
	}
	if next.PackQuantity < 0 {
		bad.Add("pack_quantity", "a pack holds more than nothing; 0: any quantity")
	}
	if next.Kind == assets.StockBelt && (next.SpecificationID == 0 || !(next.WidthM > 0)) {
		bad.Add("specification", "belt is kept by specification and width; give both")
	}
	if next.Kind == assets.StockBelt && next.Unit != assets.UnitMetre {
		bad.Add("unit", "belt is kept by the metre")
	}
	if next.LeadTimeDays > 0 || next.ServiceLevel > 0 {
		classed(bad, next.Class, next.Source)
	}
	return bad
}

func unitStays(c *plantdb.Change, bad assets.Invalid, next *assets.StockItem) error {
	if next.ID == 0 {
		return nil
	}
	held, err := plantdb.ReadRow[assets.StockItem](c, next.ID)
	if err != nil || held.Unit == next.Unit {
		return err
	}
	var n int64
	err = c.Tx().Raw("SELECT count(*) FROM (SELECT 1 FROM stock_movements WHERE item_id = ? LIMIT 1) AS m", next.ID).Scan(&n).Error
	if n > 0 {
		bad.Add("unit", "the unit of an item that has been moved stays; end it and make a new one")
	}
	return err
}

// Policies lists how items are kept at the places of a scope.
func Policies(ctx context.Context, db *plantdb.DB, scope assets.Scope, asOf plantdb.AsOf) ([]assets.StockPolicy, error) {
	return list[assets.StockPolicy](db.SQL(ctx).Scopes(asOf.Rows, inPlaces(scope)).Where("ended = ?", false).Order("id"))
}

// SavePolicy writes how an item is kept at a place (ID 0) or changes it.
func SavePolicy(c *plantdb.Change, next *assets.StockPolicy) error {
	bad := assets.Invalid{}
	if !(next.ServiceLevel == 0 || next.ServiceLevel >= 0.5 && next.ServiceLevel <= 0.9999) {
		bad.Add("service_level", "the service level is a chance from 50 to 99.99 %")
	}
	if next.LeadTimeDays < 0 || next.LeadTimeDays > 1000 {
		bad.Add("lead_time_days", "the lead time is a number of days from 0 to 1000")
	}
	if next.FixedPoint < 0 || next.Spare < 0 {
		bad.Add("fixed_point", "reorder point and spare are 0 or more")
	}
	classed(bad, next.Class, next.Source)
	if err := bad.Err(); err != nil {
		return err
	}
	if next.PlantID != 0 {
		next.CustomerID = 0
	}
	ch, err := Place{next.CustomerID, next.PlantID}.chain(c)
	if err != nil {
		return err
	}
	return save(c, ch, next)
}
