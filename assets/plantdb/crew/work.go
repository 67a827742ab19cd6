package crew

import (
	"context"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Travel lists the ways between plants, 0 for the depot. They are the company's: whoever asks for a scope gets those whose
// plants are all within it.
func Travel(ctx context.Context, db *plantdb.DB, scope assets.Scope) ([]assets.TravelTime, error) {
	from, fromArgs := plantdb.ScopeSQL(scope, "from_plant_id")
	to, toArgs := plantdb.ScopeSQL(scope, "to_plant_id")
	return plantdb.Rows[assets.TravelTime](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows).
		Where("(from_plant_id = 0 OR "+from+")", fromArgs...).Where("(to_plant_id = 0 OR "+to+")", toArgs...).Order("from_plant_id, to_plant_id, id"))
}

// SaveTravel adds a way (ID 0) or changes it. The act declares the company.
func SaveTravel(c *plantdb.Change, next *assets.TravelTime) error {
	bad := assets.Invalid{}
	if next.FromPlantID == next.ToPlantID {
		bad.Add("to", "a way leads from one place to another")
	}
	if next.Minutes < 1 || next.Minutes > 7*24*60 {
		bad.Add("minutes", "give the way in minutes, from 1 to 10080")
	}
	all, err := Travel(c.Context(), c.DB, assets.JobScope())
	if err != nil {
		return err
	}
	for _, t := range all {
		if t.ID != next.ID && t.FromPlantID == next.FromPlantID && t.ToPlantID == next.ToPlantID {
			bad.Add("to", "this way is given already; change that one")
		}
	}
	if err := bad.Err(); err != nil {
		return err
	}
	return save(c, 0, next)
}

// EndTravel lets a way be not known any more. The act declares the company.
func EndTravel(c *plantdb.Change, id, rowID int64) error {
	return end[assets.TravelTime](c, id, rowID, func(*assets.TravelTime) int64 { return 0 })
}

// Templates lists what kinds of work take: the company's and those of customers within the scope.
func Templates(ctx context.Context, db *plantdb.DB, scope assets.Scope) ([]assets.WorkTemplate, error) {
	where, args := plantdb.CustomerSQL(scope, "customer_id")
	return plantdb.Rows[assets.WorkTemplate](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows).Where("(customer_id = 0 OR "+where+")", args...).Order("order_kind, form, bond, customer_id, id"))
}

// SaveTemplate adds what a kind of work takes (ID 0) or changes it.
func SaveTemplate(c *plantdb.Change, next *assets.WorkTemplate) error {
	bad := assets.Invalid{}
	if next.OrderKind == "" {
		bad.Add("order_kind", "choose the kind of order")
	}
	if next.DurationMin < 1 || next.DurationMin > 60*24*60 {
		bad.Add("duration_min", "give the time in the stop in minutes, from 1 on")
	}
	if !slices.Contains(assets.Classes, next.Class) {
		bad.Add("class", "choose the class of evidence")
	}
	if (next.Class == assets.ClassA || next.Class == assets.ClassB) && strings.TrimSpace(next.Source) == "" {
		bad.Add("source", "name the source: class A and B rest on one")
	}
	for _, n := range next.Crew {
		if n.Number < 1 || n.Number > 50 || n.QualificationID == 0 {
			bad.Add("crew", "name a ticket and how many people, from 1 to 50")
		}
	}
	all, err := Templates(c.Context(), c.DB, assets.JobScope())
	if err != nil {
		return err
	}
	for _, t := range all {
		if t.ID != next.ID && t.CustomerID == next.CustomerID && t.OrderKind == next.OrderKind && t.Form == next.Form && t.Bond == next.Bond {
			bad.Add("order_kind", "there is an entry for this work already; change that one")
		}
	}
	if err := bad.Err(); err != nil {
		return err
	}
	return save(c, next.CustomerID, next)
}

// EndTemplate takes an entry away.
func EndTemplate(c *plantdb.Change, id, rowID int64) error {
	return end[assets.WorkTemplate](c, id, rowID, func(t *assets.WorkTemplate) int64 { return t.CustomerID })
}
