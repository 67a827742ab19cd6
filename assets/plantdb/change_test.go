package plantdb_test

import (
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"

	"gorm.io/gorm/schema"
)

func entries(t testing.TB, db *plantdb.DB) []plantdb.Entry {
	t.Helper()
	var all []plantdb.Entry
	if err := db.SQL(bg).Order("chain_id, position").Find(&all).Error; err != nil {
		t.Fatal(err)
	}
	return all
}

func TestEntryShowsWhatWasBeforeAndAfter(t *testing.T) {
	db := plantdbtest.Open(t)
	spec := assets.Specification{Name: "EP 630/4", NameKey: "ep 630/4", Values: []assets.CatalogueValue{{Quantity: "thickness_m", Value: 0.016, Unit: "m", Class: assets.ClassB, Source: "hand <book>"}}}
	change(t, db, noon, func(c *plantdb.Change, ch *plantdb.Chain) error { return plantdb.Create(c, ch, &spec) })
	spec.Plies = 4
	change(t, db, noon.Add(time.Hour), func(c *plantdb.Change, ch *plantdb.Chain) error { return plantdb.Correct(c, ch, &spec) })
	all := entries(t, db)
	want := []string{
		`[{"after":{"name":"EP 630/4","name_key":"ep 630/4","values":[{"Class":"B","Quantity":"thickness_m","Source":"hand <book>","Unit":"m","Value":0.016}]},"id":1,"table":"specifications"}]`,
		`[{"after":{"plies":4},"before":{"plies":0},"id":1,"table":"specifications"}]`,
	}
	if len(all) != len(want) {
		t.Fatalf("%d entries, want %d", len(all), len(want))
	}
	for i, e := range all {
		if e.Changes != want[i] || e.Position != int64(i+1) || e.PersonID != 7 || e.Origin != plantdb.Screen {
			t.Errorf("entry %d: %+v\nwant changes %s", i+1, e, want[i])
		}
	}
}

func TestActThatChangesNothingLeavesNoEntry(t *testing.T) {
	db := plantdbtest.Open(t)
	spec := assets.Specification{Name: "a", NameKey: "a"}
	change(t, db, noon, func(c *plantdb.Change, ch *plantdb.Chain) error { return plantdb.Create(c, ch, &spec) })
	change(t, db, noon, func(c *plantdb.Change, ch *plantdb.Chain) error { return plantdb.Correct(c, ch, &spec) })
	change(t, db, noon, func(*plantdb.Change, *plantdb.Chain) error { return nil })
	if all := entries(t, db); len(all) != 1 {
		t.Errorf("%d entries, want one", len(all))
	}
}

func TestClockSetBack(t *testing.T) {
	db := plantdbtest.Open(t)
	earlier := noon.Add(-3 * time.Hour)
	for i, now := range []time.Time{noon, earlier, noon.Add(time.Hour)} {
		name := fmt.Sprint("belt ", i)
		change(t, db, now, func(c *plantdb.Change, ch *plantdb.Chain) error {
			return plantdb.Create(c, ch, &assets.Specification{Name: name, NameKey: name})
		})
	}
	all := entries(t, db)
	if len(all) != 3 || all[1].At != assets.InstantOf(noon) || all[1].ClockAt != assets.InstantOf(earlier) || all[2].ClockAt != 0 {
		t.Errorf("entries %+v; want the second at its predecessor's time with the clock's beside it", all)
	}
	position, err := db.PositionAt(bg, 0, assets.InstantOf(noon))
	if err != nil || position != 2 {
		t.Errorf("position at noon %d, %v; want the last of the two", position, err)
	}
	if position, err := db.PositionAt(bg, 0, assets.InstantOf(earlier)); err != nil || position != -1 {
		t.Errorf("position before the first entry %d, %v; want none", position, err)
	}
}

func TestFailedChangeLeavesNothingAndGivesItsNumbersBack(t *testing.T) {
	db := plantdbtest.Open(t)
	create := func(name string, then error) error {
		return db.Change(bg, act(noon), func(c *plantdb.Change) error {
			ch, err := c.Chain(0)
			if err != nil {
				return err
			}
			return errors.Join(plantdb.Create(c, ch, &assets.Specification{Name: name, NameKey: name}), then)
		})
	}
	broken := errors.New("the light went out")
	if err := create("lost", broken); !errors.Is(err, broken) {
		t.Fatalf("got %v", err)
	}
	if err := create("kept", nil); err != nil {
		t.Fatal(err)
	}
	if err := create("kept", nil); !plantdb.IsDuplicate(err) || !errors.Is(err, assets.ErrConflict) {
		t.Errorf("the same name twice: %v, want a duplicate, which is a conflict", err)
	}
	if rows := held(t, db, plantdb.AsOf{}, 1); len(rows) != 1 || rows[0].Name != "kept" || len(entries(t, db)) != 1 {
		t.Errorf("number 1 is %+v, want the row that was kept", rows)
	}
}

func TestChainThatWasNotDeclared(t *testing.T) {
	s := plantdbtest.Plant(t)
	other := plantdbtest.PlantIn(t, s.DB, "Odden Mill")
	err := s.DB.Change(bg, plantdb.Act{Action: "x", Now: noon, Customers: []int64{other.Customer.ID}}, func(c *plantdb.Change) error {
		_, err := c.Chain(s.Customer.ID)
		return err
	})
	if !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a chain that was not declared: %v, want not found", err)
	}
	err = s.DB.Change(bg, plantdb.Act{Action: "x", Now: noon, Customers: []int64{99}}, func(*plantdb.Change) error { return nil })
	if !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a customer that is not there: %v", err)
	}
	nested := s.DB.Change(bg, s.Act(noon), func(c *plantdb.Change) error {
		return c.Change(bg, s.Act(noon), func(*plantdb.Change) error { return nil })
	})
	if nested == nil {
		t.Error("a change inside a change was let through")
	}
}

// TestTwoServersWriteAtOnce lets two handles write to two customers' chains, named in opposite order, and take
// numbers in opposite order.
func TestTwoServersWriteAtOnce(t *testing.T) {
	address := plantdbtest.Address(t)
	first := plantdbtest.PlantIn(t, plantdbtest.Again(t, address), "Hollin Quarry")
	second := plantdbtest.PlantIn(t, first.DB, "Odden Mill")
	handles := []*plantdb.DB{first.DB, plantdbtest.Again(t, address)}
	orders := [][]int64{{first.Plant.ID, second.Plant.ID}, {second.Plant.ID, first.Plant.ID}}
	const each = 20
	var wait sync.WaitGroup
	errs := make(chan error, 2*each)
	for server, db := range handles {
		wait.Add(1)
		go func() {
			defer wait.Done()
			for i := range each {
				errs <- db.Change(bg, plantdb.Act{Action: "add lines", Now: noon, Plants: orders[server]}, func(c *plantdb.Change) error {
					for _, plant := range orders[server] {
						ch, err := c.PlantChain(plant)
						if err != nil {
							return err
						}
						name := fmt.Sprint("line ", server, " ", i)
						line := func() error {
							return plantdb.Create(c, ch, &assets.Line{PlantID: plant, Name: name, NameKey: name})
						}
						contact := func() error { return plantdb.Create(c, ch, &assets.Contact{PlantID: plant}) }
						steps := []func() error{line, contact}
						if server == 1 { // takes its numbers in the other order
							steps = []func() error{contact, line}
						}
						for _, step := range steps {
							if err := step(); err != nil {
								return err
							}
						}
					}
					return nil
				})
			}
		}()
	}
	wait.Wait()
	close(errs)
	for err := range errs {
		if err != nil {
			t.Error(err)
		}
	}
	position := map[int64]int64{}
	for _, e := range entries(t, first.DB) {
		if position[e.ChainID]++; e.Position != position[e.ChainID] {
			t.Fatalf("chain %d has a gap before position %d", e.ChainID, e.Position)
		}
	}
	for _, site := range []*plantdbtest.Site{first, second} {
		var lines, lowest, highest int64
		if err := first.DB.SQL(bg).Raw("SELECT count(DISTINCT id), min(id), max(id) FROM lines WHERE plant_id = ?", site.Plant.ID).Row().Scan(&lines, &lowest, &highest); err != nil {
			t.Fatal(err)
		}
		if lines != 1+2*each || highest-lowest+1 != lines {
			t.Errorf("%s: %d lines with numbers %d to %d, want %d without gap", site.Plant.Name, lines, lowest, highest, 1+2*each)
		}
	}
}

func TestReadingOfOneMomentSeesNoLaterChange(t *testing.T) {
	db := plantdbtest.Open(t)
	create := func(name string) {
		change(t, db, noon, func(c *plantdb.Change, ch *plantdb.Chain) error {
			return plantdb.Create(c, ch, &assets.Specification{Name: name, NameKey: name})
		})
	}
	create("first")
	err := db.InSnapshot(bg, func(tx *plantdb.DB) error {
		for i := range 2 {
			rows, err := plantdb.Rows[assets.Specification](tx.SQL(bg))
			if err != nil {
				return err
			}
			if len(rows) != 1 {
				t.Errorf("%d rows, want the one that was there when the reading began", len(rows))
			}
			create(fmt.Sprint("while reading ", i))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if rows, err := plantdb.Rows[assets.Specification](db.SQL(bg)); err != nil || len(rows) != 3 {
		t.Errorf("%d rows afterwards, %v; want all three", len(rows), err)
	}
}

// TestEveryRowBelongsToAnEntry looks for rows that were written past the journal: each carries the position of an
// entry, and what ended it as well.
func TestEveryRowBelongsToAnEntry(t *testing.T) {
	s := plantdbtest.Plant(t)
	belt := s.Belt
	belt.LoopLengthM = 119
	s.Change(t, noon, func(c *plantdb.Change) error {
		ch, err := c.PlantChain(s.Plant.ID)
		if err != nil {
			return err
		}
		return plantdb.Amend(c, ch, &belt, assets.InstantOf(noon.AddDate(0, -1, 0)))
	})
	looked := 0
	for _, row := range kept {
		parsed, err := schema.Parse(row, &sync.Map{}, schema.NamingStrategy{})
		if err != nil {
			t.Fatal(err)
		}
		for _, column := range []string{"known_from", "known_to"} {
			if parsed.LookUpField(column) == nil {
				continue
			}
			var stray int64
			query := "SELECT count(*) FROM " + parsed.Table + " x WHERE x." + column + " IS NOT NULL AND NOT EXISTS (SELECT 1 FROM journal_entries e WHERE e.position = x." + column + ")"
			if err := s.DB.SQL(bg).Raw(query).Scan(&stray).Error; err != nil || stray != 0 {
				t.Errorf("%s.%s: %d rows name no entry, %v", parsed.Table, column, stray, err)
			}
			looked++
		}
	}
	if looked < 40 {
		t.Errorf("only %d columns looked at", looked)
	}
}
