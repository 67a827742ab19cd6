package plantdb_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// act is a change of the company's own chain.
func act(now time.Time) plantdb.Act {
	return plantdb.Act{PersonID: 7, Origin: plantdb.Screen, Action: "test", Now: now, Company: true}
}

// change runs fn on the company's chain and fails the test on an error.
func change(t testing.TB, db *plantdb.DB, now time.Time, fn func(*plantdb.Change, *plantdb.Chain) error) {
	t.Helper()
	err := db.Change(context.Background(), act(now), func(c *plantdb.Change) error {
		ch, err := c.Chain(0)
		if err != nil {
			return err
		}
		return fn(c, ch)
	})
	if err != nil {
		t.Fatal(err)
	}
}

func held(t testing.TB, db *plantdb.DB, asOf plantdb.AsOf, id int64) []assets.Specification {
	t.Helper()
	var rows []assets.Specification
	if err := db.SQL(context.Background()).Scopes(asOf.Rows).Where("id = ?", id).Find(&rows).Error; err != nil {
		t.Fatal(err)
	}
	return rows
}

func TestSpecificationAmendedThenCorrected(t *testing.T) {
	db := plantdbtest.Open(t)
	spec := assets.Specification{Name: "EP 630/4", NameKey: "ep 630/4", Plies: 3}
	change(t, db, noon, func(c *plantdb.Change, ch *plantdb.Chain) error { return plantdb.Create(c, ch, &spec) })
	spec.Plies = 4
	from := assets.InstantOf(noon.AddDate(0, -1, 0))
	change(t, db, noon, func(c *plantdb.Change, ch *plantdb.Chain) error { return plantdb.Amend(c, ch, &spec, from) })
	spec.Name = "EP 630/4 4+2"
	change(t, db, noon, func(c *plantdb.Change, ch *plantdb.Chain) error { return plantdb.Correct(c, ch, &spec) })

	for _, tt := range []struct {
		situation string
		asOf      plantdb.AsOf
		name      string
		plies     int
	}{
		{"now", plantdb.AsOf{}, "EP 630/4 4+2", 4},
		{"before the change, as known now", plantdb.AsOf{Valid: from - 1}, "EP 630/4 4+2", 3},
		{"before the change, as known before the correction", plantdb.AsOf{Valid: from - 1, Known: 2}, "EP 630/4", 3},
		{"after the change, as known before the correction", plantdb.AsOf{Valid: from, Known: 2}, "EP 630/4", 4},
		{"after the change, as known before it", plantdb.AsOf{Valid: from, Known: 1}, "EP 630/4", 3},
	} {
		rows := held(t, db, tt.asOf, spec.ID)
		if len(rows) != 1 || rows[0].Name != tt.name || rows[0].Plies != tt.plies {
			t.Errorf("%s: %+v, want %s with %d plies", tt.situation, rows, tt.name, tt.plies)
		}
	}
	if rows := held(t, db, plantdb.AsOf{Known: -1}, spec.ID); len(rows) != 0 {
		t.Errorf("known before the first entry: %+v", rows)
	}
}

func TestTwoPeopleCorrectTheSameSpecification(t *testing.T) {
	db := plantdbtest.Open(t)
	spec := assets.Specification{Name: "PVC 120", NameKey: "pvc 120"}
	change(t, db, noon, func(c *plantdb.Change, ch *plantdb.Chain) error { return plantdb.Create(c, ch, &spec) })
	mine, theirs := spec, spec
	theirs.Remark = "theirs"
	change(t, db, noon, func(c *plantdb.Change, ch *plantdb.Chain) error { return plantdb.Correct(c, ch, &theirs) })
	mine.Remark = "mine"
	err := db.Change(context.Background(), act(noon), func(c *plantdb.Change) error {
		ch, err := c.Chain(0)
		if err != nil {
			return err
		}
		return plantdb.Correct(c, ch, &mine)
	})
	if !errors.Is(err, assets.ErrConflict) {
		t.Errorf("the later correction: %v, want a conflict", err)
	}
	if rows := held(t, db, plantdb.AsOf{}, spec.ID); len(rows) != 1 || rows[0].Remark != "theirs" {
		t.Errorf("held now: %+v, want the first correction", rows)
	}
}
