package fleetdb_test

import (
	"context"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/samplefleet"
)

func TestTheDemoIsWrittenDownAsDrawn(t *testing.T) {
	ctx := context.Background()
	db := plantdbtest.Open(t)
	f := samplefleet.Demo(fleetdb.Day)
	if err := fleetdb.Write(ctx, db, f); err != nil {
		t.Fatal(err)
	}
	live := 0
	for _, s := range f.Splices {
		if s.PlantID == 1 && s.Ended == nil {
			live++
		}
	}
	r, err := registry.PlantAsOf(ctx, db, assets.JobScope(), 1, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Splices) != live || len(r.Conveyors) != 15 {
		t.Errorf("%d conveyors and %d live splices, want 15 and %d as drawn", len(r.Conveyors), len(r.Splices), live)
	}
	if r.Splices[0].MadeBy == "" {
		t.Error("the maker of a splice has no name")
	}
	_, n, err := orders.List(ctx, db, assets.PlantScope(1), orders.Filter{PlantID: 1, Limit: 5})
	want := 0
	for _, o := range f.Orders {
		if o.PlantID == 1 {
			want++
		}
	}
	if err != nil || n != want {
		t.Errorf("%d orders of the plant (%v), want %d", n, err, want)
	}
}
