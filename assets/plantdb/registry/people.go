package registry

import (
	"context"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Names returns the names of people by number.
func Names(ctx context.Context, db *plantdb.DB, ids []int64) (map[int64]string, error) {
	names := map[int64]string{}
	ids = slices.Clone(ids)
	slices.Sort(ids)
	for some := range slices.Chunk(slices.Compact(ids), 10000) {
		var people []assets.Person
		if err := db.SQL(ctx).Select("id", "name").Where("id IN ?", some).Find(&people).Error; err != nil {
			return nil, err
		}
		for _, p := range people {
			names[p.ID] = p.Name
		}
	}
	return names, nil
}

// Person returns one person of the table of people.
func Person(ctx context.Context, db *plantdb.DB, id int64) (assets.Person, error) {
	return one[assets.Person](db.SQL(ctx).Where("id = ?", id))
}

// People lists the people of the company and of the customers within the scope by name; signing names only
// those who hold a role.
func People(ctx context.Context, db *plantdb.DB, scope assets.Scope, signing bool) ([]assets.Person, error) {
	where, args := plantdb.CustomerSQL(scope, "customer_id")
	tx := db.SQL(ctx).Where("("+where+" OR customer_id = 0)", args...).Order("name_key, id")
	if signing {
		tx = tx.Where("role <> ''")
	}
	return list[assets.Person](tx)
}

// GrantsOf returns the grants a person holds.
func GrantsOf(ctx context.Context, db *plantdb.DB, personID int64) ([]assets.Grant, error) {
	return list[assets.Grant](db.SQL(ctx).Where("person_id = ? AND known_to IS NULL", personID).Order("id"))
}
