package reporting

import (
	"context"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
)

// GrantsOf returns the grants in force of the person of a name. Of several of one name nobody can tell who is meant.
func GrantsOf(ctx context.Context, db *plantdb.DB, name string, now time.Time) ([]assets.Grant, error) {
	people, err := registry.PeopleCalled(ctx, db, name)
	if err != nil {
		return nil, err
	}
	if len(people) == 0 {
		return nil, fmt.Errorf("nobody of this installation is called %s; give the name as the page People has it: %w", name, assets.ErrNotFound)
	}
	if len(people) > 1 {
		return nil, fmt.Errorf("%d people of this installation are called %s; tell them apart on the page People first", len(people), name)
	}
	return registry.GrantsOf(ctx, db, people[0].ID, assets.InstantOf(now))
}
