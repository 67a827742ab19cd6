package clocks

import (
	"context"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/migrations"
)

// TestReadingsOfAPlantAreFetchedByKey tells SQLite that it has the benchmark fleet's ten million readings and asks
// how it would fetch a plant's. Left to its own estimates it reads them all, either as the outer loop or to build a
// filter first; that took 2.4 s in place of 5 ms.
func TestReadingsOfAPlantAreFetchedByKey(t *testing.T) {
	ctx := context.Background()
	db := plantdbtest.Again(t, plantdbtest.SQLiteFile(t))
	err := db.InTx(ctx, func(tx *plantdb.DB) error {
		for _, statement := range []string{"ANALYZE",
			"INSERT INTO sqlite_stat1 (tbl, idx, stat) VALUES ('readings', 'readings', '10000000 250 1 1'), ('conveyors', 'conveyors_search', '40000 134 134 134 1 1 1 1 1'), ('conveyors', 'conveyors_plant', '40000 100'), ('conveyors', 'conveyors_tag', '40000 100 1'), ('conveyors', 'conveyors_rows', '40000 1 1'), ('conveyors', 'conveyors_current', '40000 1')"} {
			if err := tx.SQL(ctx).Exec(statement).Error; err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil { // statistics are read when a connection opens
		t.Fatal(err)
	}
	db = plantdbtest.Again(t, db.Path())
	asked := make([]Asked, 450)
	for i := range asked {
		asked[i] = Asked{int64(i + 1), assets.Instant(i) * 3600e6}
	}
	for name, q := range map[string]query{
		"first and last":     endsQuery(3, 0, plantdb.AsOf{}),
		"a quarter before":   endsQuery(3, 2160, plantdb.AsOf{}),
		"around instants":    aroundQuery(migrations.SQLite, asked, plantdb.AsOf{}),
		"around, as known":   aroundQuery(migrations.SQLite, asked, plantdb.AsOf{Known: 7}),
		"trailing":           trailingQuery(3, 2160, plantdb.AsOf{}),
		"trailing, as known": trailingQuery(3, 2160, plantdb.AsOf{Known: 7}),
	} {
		var plan []struct{ Detail string }
		if err := db.SQL(ctx).Raw("EXPLAIN QUERY PLAN "+q.sql, q.args...).Scan(&plan).Error; err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, step := range plan {
			bad := strings.HasPrefix(step.Detail, "SCAN r") || strings.HasPrefix(step.Detail, "SCAN x") || strings.HasPrefix(step.Detail, "SCAN v") || strings.HasPrefix(step.Detail, "BLOOM FILTER ON")
			if bad {
				t.Errorf("%s reads everything: %s", name, step.Detail)
			}
		}
	}
}
