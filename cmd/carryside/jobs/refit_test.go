package jobs

import (
	"context"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/samplefleet"
)

// A night leaves one run on record with the plants it looked at, and in the book laws of that night, which are the ones
// found by whoever asks within a day; another server at the same tick leaves no second run.
func TestANightlyRefitIsWhatOthersForecastBy(t *testing.T) {
	ctx := context.Background()
	dsn := plantdbtest.Address(t)
	db := plantdbtest.Again(t, dsn)
	if err := fleetdb.Write(ctx, db, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	night := time.Date(2026, 11, 26, 1, 0, 0, 0, time.UTC)
	ended := func() time.Time { return night.Add(9 * time.Second) }
	books := []*outlook.LawBook{new(outlook.LawBook), new(outlook.LawBook)}
	for _, b := range books {
		if err := RefitJob(Store{db, b}, ended).Do(ctx, night); err != nil {
			t.Fatal(err)
		}
	}
	runs, err := orders.Runs(ctx, db, "refit", 5)
	if err != nil || len(runs) != 1 {
		t.Fatalf("%d runs on record (%v), want one of two servers'", len(runs), err)
	}
	r := runs[0]
	if r.DueAt != assets.InstantOf(night) || r.EndedAt != assets.InstantOf(ended()) || r.Plants == 0 || r.Error != "" {
		t.Errorf("on record is %+v", r)
	}
	plant, err := registry.PlantAsOf(ctx, db, assets.JobScope(), 1, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	for i, b := range books {
		for _, later := range []time.Duration{time.Minute, 23 * time.Hour} {
			laws, err := b.Laws(ctx, db, plant.Plant.CustomerID, night.Add(later))
			if err != nil {
				t.Fatal(err)
			}
			if !laws.At.Equal(night) || len(laws.Laws) == 0 {
				t.Errorf("server %d, %s later: %d laws fitted at %s, want those of %s", i, later, len(laws.Laws), laws.At, night)
			}
		}
	}
}

func TestTheTickOfANight(t *testing.T) {
	for now, want := range map[string]string{
		"2026-11-26T01:00:00Z":      "2026-11-26T01:00:00Z",
		"2026-11-26T00:59:59Z":      "2026-11-25T01:00:00Z",
		"2026-11-26T23:10:00-05:00": "2026-11-27T01:00:00Z",
	} {
		at, err := time.Parse(time.RFC3339, now)
		if err != nil {
			t.Fatal(err)
		}
		if got := refitTick(at).Format(time.RFC3339); got != want {
			t.Errorf("%s: the tick of %s, want %s", now, got, want)
		}
	}
}
