package main

import (
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/due"
)

// changedOvernight is at how many customers something is written before the last night measured: one in a hundred.
const changedOvernight = 4

// refit measures nights: the laws of every customer fitted anew and every live splice forecast by them, on two cores; then one
// before which nothing was written, and one before which little was.
func (b *bench) refit() error {
	db, err := plantdb.Open(b.ctx, plantdb.Config{DSN: b.db})
	if err != nil {
		return err
	}
	defer db.Close()
	now, err := fleetNow(b.ctx, db)
	if err != nil {
		return err
	}
	b.table.head("laws fitted anew and every splice forecast", "CPU", "wall", "customers", "splices")
	nightly := outlook.Nightly{Keep: func(outlook.CustomerLaws, *outlook.Standings, []due.Forecast) {}}
	night := func(what, aim string, after time.Duration) error {
		before, began := cpuOfSelf(), time.Now()
		done, err := nightly.Run(b.ctx, db, now.Add(after))
		if err != nil {
			return err
		}
		b.table.line(benchLine{what, seconds(cpuOfSelf() - before), seconds(time.Since(began)), fmt.Sprint(done.Refitted), fmt.Sprint(done.Splices), aim})
		return nil
	}
	if err := night("the first night: the whole fleet", "under 20 s wall", 0); err != nil {
		return err
	}
	if err := night("nothing was written since", "", 24*time.Hour); err != nil {
		return err
	}
	if err := b.readOvernight(db, now); err != nil {
		return err
	}
	return night(fmt.Sprintf("readings came at %d customers", changedOvernight), "", 48*time.Hour)
}

// readOvernight enters a reading at a plant of each of some customers.
func (b *bench) readOvernight(db *plantdb.DB, now time.Time) error {
	customers, err := registry.Customers(b.ctx, db, assets.JobScope())
	if err != nil {
		return err
	}
	for _, c := range customers[:min(changedOvernight, len(customers))] {
		plants, err := registry.PlantsOf(b.ctx, db, assets.JobScope(), c.ID)
		if err != nil {
			return err
		}
		if len(plants) == 0 {
			return fmt.Errorf("%s has no plant to read a meter at", c.Name)
		}
		reg, err := registry.PlantAsOf(b.ctx, db, assets.JobScope(), plants[0].ID, plantdb.AsOf{})
		if err != nil {
			return err
		}
		last, err := clocks.LastReadings(b.ctx, db, assets.JobScope(), reg.Conveyors[0].ID, 1)
		if err != nil {
			return err
		}
		if len(last) == 0 {
			return fmt.Errorf("conveyor %s has no reading to come after", reg.Conveyors[0].Tag)
		}
		act := plantdb.Act{Origin: plantdb.Command, Action: "measure", Now: now.Add(25 * time.Hour), Plants: []int64{plants[0].ID}}
		err = db.Change(b.ctx, act, func(change *plantdb.Change) error {
			_, err := clocks.AddReading(change, clocks.Entered{ConveyorID: last[0].ConveyorID, At: last[0].At + 60e6, ShownH: last[0].ShownH, Origin: "measurement"})
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}
