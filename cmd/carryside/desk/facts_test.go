package desk

import (
	"context"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/samplefleet"
	"carryside/schedule/workorder"
)

func TestWhatWasReadHoldsUntilTheJournalMovesOn(t *testing.T) {
	db := plantdbtest.Open(t)
	if err := fleetdb.Write(context.Background(), db, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	d := New(db, func() time.Time { return fleetdb.Day }, nil, "test")
	ctx, scope := context.Background(), assets.JobScope()
	reads := 0
	ask := func() int {
		t.Helper()
		n, err := fact(ctx, d, scope, 1, "reads", func() (int, error) { reads++; return reads, nil })
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	if first, again := ask(), ask(); first != 1 || again != 1 {
		t.Errorf("read %d times though nothing was written", reads)
	}
	before, err := d.PlantFrame(ctx, scope, 1)
	if err != nil {
		t.Fatal(err)
	}
	later := fleetdb.Day.Add(time.Hour)
	act := plantdb.Act{Origin: plantdb.Command, Action: "enter readings", Now: later, Plants: []int64{1}}
	err = db.Change(ctx, act, func(c *plantdb.Change) error {
		last, err := clocks.LastReadings(ctx, c.DB, scope, 1, 1)
		if err != nil {
			return err
		}
		_, err = clocks.AddReading(c, clocks.Entered{ConveyorID: 1, At: assets.InstantOf(later), ShownH: last[0].ShownH, Origin: "screen"})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if ask() != 2 {
		t.Error("what was read before an entry is shown after it")
	}
	after, err := d.PlantFrame(ctx, scope, 1)
	if err != nil || after.HoursReadTo != assets.InstantOf(later) || after.Records != before.Records+1 {
		t.Errorf("the frame says hours read to %s and %d entries, %v", after.HoursReadTo, after.Records, err)
	}
	if _, err := d.PlantFrame(ctx, assets.PlantScope(2), 1); err == nil {
		t.Error("a frame kept for one person is shown to another out of scope")
	}
}

func TestOldFactsMakeRoom(t *testing.T) {
	f := facts{plants: map[int64]*plantFacts{}}
	for plant := range int64(mostFleets + 3) {
		f.put(plant, position{1, 1}, "a", plant)
		f.get(0, position{1, 1}, "a") // looked at all the time
	}
	if _, known := f.get(0, position{1, 1}, "a"); !known || len(f.plants) != mostFleets {
		t.Errorf("%d plants kept, the one looked at most among them: %v", len(f.plants), known)
	}
	f.put(0, position{2, 1}, "a", int64(7))
	f.put(0, position{1, 1}, "a", int64(8)) // read before, told after
	if v, known := f.get(0, position{2, 1}, "a"); !known || v != int64(7) {
		t.Errorf("kept %v, want what was read at the newest position", v)
	}
	for i := range 2 * mostFacts {
		f.put(0, position{2, 1}, string(rune('A'+i)), i)
	}
	if n := len(f.plants[0].held); n > mostFacts {
		t.Errorf("%d facts of one plant", n)
	}
}

func TestAPlantOnASheetOfManyKeepsTheForecastsOfItsOpenOrdersAlone(t *testing.T) {
	db := plantdbtest.Open(t)
	ctx, scope := context.Background(), assets.JobScope()
	if err := fleetdb.Write(ctx, db, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	d := New(db, func() time.Time { return fleetdb.Day }, nil, "test")
	few, err := d.fleetAmong(ctx, scope, 1, 1, fleetdb.Day)
	if err != nil {
		t.Fatal(err)
	}
	s, _ := few.Register.Splice(few.Forecasts[0].SpliceID)
	o := workorder.Order{PlantID: 1, Kind: workorder.KindResplice, Title: "remake", SpliceID: s.ID, BeltID: s.BeltID, ConveyorID: s.ConveyorID}
	act := plantdb.Act{Origin: plantdb.Command, Action: "raise", Now: fleetdb.Day, Plants: []int64{1}}
	if err := db.Change(ctx, act, func(c *plantdb.Change) error { return orders.RaiseByHand(c, &o) }); err != nil {
		t.Fatal(err)
	}
	many, err := d.fleetAmong(ctx, scope, 1, 100, fleetdb.Day)
	if err != nil {
		t.Fatal(err)
	}
	open, err := d.OpenOrders(ctx, scope, 1)
	if err != nil {
		t.Fatal(err)
	}
	wanted := map[int64]bool{}
	for _, o := range open {
		wanted[o.SpliceID] = true
	}
	n := 0
	for _, f := range few.Forecasts {
		if wanted[f.SpliceID] {
			n++
		}
	}
	if n == 0 || len(many.Forecasts) != n || len(few.Forecasts) == n {
		t.Errorf("of %d forecasts %d are kept, %d are of splices with open orders", len(few.Forecasts), len(many.Forecasts), n)
	}
	read := 0
	if _, err := d.Horizons(ctx, scope, []int64{1, 2}, fleetdb.Day, 12, func(k int) { read = k }); err != nil || read != 2 {
		t.Errorf("%d of 2 plants were told as read, %v", read, err)
	}
}
