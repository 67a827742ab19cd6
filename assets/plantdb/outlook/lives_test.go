package outlook_test

import (
	"context"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/samplefleet"
	"carryside/schedule/cohort"
	"carryside/schedule/life"
)

// The demo's splices are drawn from stated laws: the fit of what the register holds of them has the law inside its limits.
func TestTheLawOfAPlantsFastenersIsFoundAgainInItsHistory(t *testing.T) {
	ctx := context.Background()
	today := time.Date(2025, 11, 25, 12, 0, 0, 0, time.UTC)
	fleet := samplefleet.Demo(today)
	db := plantdbtest.Open(t)
	if err := fleetdb.Write(ctx, db, fleet); err != nil {
		t.Fatal(err)
	}
	clips := samplefleet.Cohorts["heavy clips"]
	lives, err := outlook.Lives(ctx, db, assets.JobScope(), fleet.Plants[0].ID, plantdb.AsOf{}, assets.InstantOf(today), "")
	if err != nil {
		t.Fatal(err)
	}
	ever := 0
	for _, s := range fleet.Splices {
		if s.PlantID == fleet.Plants[0].ID {
			ever++
		}
	}
	if len(lives) != ever {
		t.Errorf("%d lives of %d splices the plant ever had", len(lives), ever)
	}
	laws, err := cohort.Study(cohort.Sort(lives))
	if err != nil {
		t.Fatal(err)
	}
	l := laws[0]
	if l.Key.Form != assets.FormBoltedPlate || l.Clock != cohort.Passes {
		t.Fatalf("most failures in %s by %s", l.Key.Words(), l.Clock)
	}
	holds := func(limits [2]life.Figure, v float64) bool { return float64(limits[0]) <= v && v <= float64(limits[1]) }
	if !holds(l.Own.Limits.Shape, clips.Shape) || !holds(l.Own.Limits.Scale, clips.ScalePasses) {
		t.Errorf("shape %v in %v, scale %v in %v", clips.Shape, l.Own.Limits.Shape, clips.ScalePasses, l.Own.Limits.Scale)
	}
}
