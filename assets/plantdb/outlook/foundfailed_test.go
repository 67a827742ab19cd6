package outlook_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/schedule/cohort"
	"carryside/schedule/life"
)

// A splice that a look found failed, and that was remade for it, failed between that look and the one before: made 1 March 2024,
// sound at the look of 1 July, found failed on 1 August, remade on the 20th. Its neighbour was never looked at before.
func TestASpliceFoundFailedByALookFailedBetweenTwo(t *testing.T) {
	s := plantdbtest.Plant(t)
	const order = 77
	look := func(day assets.Day, grade int, followed int64) *assets.Finding {
		return &assets.Finding{PlantID: s.Plant.ID, ConveyorID: s.Conveyor.ID, BeltID: s.Belt.ID, SpliceID: s.Splice.ID, Target: "S1", FoundAt: s.On(day).At,
			Category: "opening along the seam", Grade: &grade, FollowUpOrderID: followed}
	}
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error {
		for _, f := range []*assets.Finding{look("2024-05-01", 1, 0), look("2024-07-01", 2, 0), look("2024-08-01", 4, order), look("2024-08-10", 2, 0)} {
			if _, err := registry.AddFinding(c, f); err != nil {
				return err
			}
		}
		bare := assets.Splice{BeltID: s.Belt.ID, Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Made: s.On("2024-03-01")}
		if err := registry.MakeSplice(c, &bare); err != nil {
			return err
		}
		first := look("2024-08-01", 4, order+1)
		first.SpliceID = bare.ID
		if _, err := registry.AddFinding(c, first); err != nil {
			return err
		}
		if err := registry.RetireSplice(c, bare.ID, bare.RowID, registry.Retirement{When: s.On("2024-08-20"), Why: assets.RetiredFailed, FailureMode: "edge torn", OrderID: order + 1}); err != nil {
			return err
		}
		return registry.RetireSplice(c, s.Splice.ID, s.Splice.RowID, registry.Retirement{When: s.On("2024-08-20"), Why: assets.RetiredFailed, FailureMode: "opened along the seam", OrderID: order})
	})
	one := func() cohort.Life {
		all, err := outlook.Lives(context.Background(), s.DB, s.Scope, s.Plant.ID, plantdb.AsOf{}, assets.InstantOf(plantdbtest.Noon))
		if err != nil || len(all) != 2 || all[1].Outcome != cohort.Failed {
			t.Fatalf("%+v, %v", all, err)
		}
		return all[0]
	}
	l := one()
	o, _ := l.On(cohort.Days)
	day := func(d assets.Day) float64 { return s.On(d).At.Time().Sub(s.On("2024-03-01").At.Time()).Hours() / 24 }
	if o.Event != life.Interval || o.Lower != day("2024-07-01") || o.Upper != day("2024-08-01") || !strings.Contains(l.Reason, "still in service at the look of 1 July 2024, found at the look of 1 August 2024") {
		t.Fatalf("%+v: %s", o, l.Reason)
	}
	// Where the conveyor stood by it, the moment is known.
	s.Change(t, plantdbtest.Noon.Add(time.Minute), func(c *plantdb.Change) error {
		until := s.On("2024-08-20").At
		_, err := stops.SaveStandstill(c, &assets.Standstill{PlantID: s.Plant.ID, ConveyorID: s.Conveyor.ID, SpliceID: s.Splice.ID, Cause: assets.CauseSplice, FromAt: s.On("2024-08-19").At, UntilAt: &until})
		return err
	})
	if o, _ := one().On(cohort.Days); o.Event != life.Failed || o.Life != day("2024-08-20") {
		t.Errorf("%+v", o)
	}
}
