package outlook_test

import (
	"maps"
	"slices"
	"sync"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/due"
)

// The first night looks at everybody, the next at nobody, one after a reading at that plant's customer alone, and after a week at
// everybody again. What it hands over are the forecasts that a look at each plant alone gives.
func TestANightLooksAtWhatChanged(t *testing.T) {
	db := demo(t)
	customers, err := registry.Customers(ctx, db, job)
	if err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	handed := map[int64][]due.Forecast{}
	n := outlook.Nightly{Keep: func(_ outlook.CustomerLaws, p *outlook.Standings, fs []due.Forecast) {
		mu.Lock()
		defer mu.Unlock()
		handed[p.Register.Plant.ID] = fs
	}}
	night := func(now time.Time) outlook.Night {
		t.Helper()
		clear(handed)
		done, err := n.Run(ctx, db, now)
		if err != nil {
			t.Fatal(err)
		}
		if done.Customers != len(customers) || done.Plants != len(handed) {
			t.Errorf("%+v of %d customers, %d plants handed over", done, len(customers), len(handed))
		}
		return done
	}
	first := night(fleetdb.Day)
	if first.Refitted != len(customers) || first.Splices == 0 {
		t.Fatalf("the first night: %+v", first)
	}
	for plant, fs := range handed {
		compareAlone(t, db, plant, fs)
	}
	if second := night(fleetdb.Day.AddDate(0, 0, 1)); second.Refitted != 0 {
		t.Errorf("nothing changed, and %+v", second)
	}
	plant, customer := readOne(t, db)
	if third := night(fleetdb.Day.AddDate(0, 0, 2)); third.Refitted != 1 || !slices.Contains(slices.Collect(maps.Keys(handed)), plant) {
		t.Errorf("a reading came at a plant of customer %d, and %+v", customer, third)
	}
	if last := night(fleetdb.Day.AddDate(0, 0, 10)); last.Refitted != len(customers) {
		t.Errorf("after a week %+v", last)
	}
}

// compareAlone holds forecasts against those of the plant alone.
func compareAlone(t *testing.T, db *plantdb.DB, plant int64, got []due.Forecast) {
	t.Helper()
	p, err := outlook.Stand(ctx, db, job, plant, plantdb.AsOf{}, assets.InstantOf(fleetdb.Day))
	if err != nil {
		t.Fatal(err)
	}
	laws, err := outlook.StudyCustomer(ctx, db, p.Register.Plant.CustomerID, plantdb.AsOf{}, fleetdb.Day)
	if err != nil {
		t.Fatal(err)
	}
	kinds, err := registry.SpliceKinds(ctx, db, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	found, err := outlook.ReadLifeFindings(ctx, db, job, plant, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	want := due.Forecasts(fleetdb.Day, p.Register, p.Rules, p.Clocks, due.LifeModel{Laws: laws.Laws, Cost: due.CostIn(p.Register, kinds),
		Trends:   due.CrossingsOf(due.Trends(fleetdb.Day, p.Register, kinds, found.Measured)),
		Findings: due.Demands(fleetdb.Day, p.Register, p.Rules, found.Demanding)})
	if len(got) != len(want) {
		t.Fatalf("plant %d: %d forecasts, want %d", plant, len(got), len(want))
	}
	for i := range want {
		if got[i].SpliceID != want[i].SpliceID || got[i].Band != want[i].Band || got[i].Advice != want[i].Advice {
			t.Errorf("plant %d: %+v, want %+v", plant, got[i], want[i])
		}
	}
}

// readOne enters a reading at a conveyor that has some.
func readOne(t *testing.T, db *plantdb.DB) (plant, customer int64) {
	t.Helper()
	p, err := outlook.Stand(ctx, db, job, 1, plantdb.AsOf{}, assets.InstantOf(fleetdb.Day))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range p.Register.Conveyors {
		last, err := clocks.LastReadings(ctx, db, job, c.ID, 1)
		if err != nil {
			t.Fatal(err)
		}
		if len(last) == 0 {
			continue
		}
		act := plantdb.Act{Origin: plantdb.Command, Action: "read a meter", Now: fleetdb.Day.AddDate(0, 0, 1), Plants: []int64{1}}
		err = db.Change(ctx, act, func(c *plantdb.Change) error {
			_, err := clocks.AddReading(c, clocks.Entered{ConveyorID: last[0].ConveyorID, At: last[0].At + 60e6, ShownH: last[0].ShownH, Origin: "test"})
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return 1, p.Register.Plant.CustomerID
	}
	t.Fatal("no conveyor of plant 1 has a reading")
	return 0, 0
}
