package plantdb_test

import (
	"fmt"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/samplefleet"
)

// BenchmarkAsKnownThen reads a plant with its standings as known now and as known before its corrections, by how much of it
// was corrected how often. 'then/now' is what the aim of 1.5 is for.
//
//	go test -run '^$' -bench AsKnownThen ./assets/plantdb
func BenchmarkAsKnownThen(b *testing.B) {
	for _, c := range []struct{ percent, times int }{{0, 0}, {10, 1}, {10, 5}, {10, 50}, {100, 5}} {
		b.Run(fmt.Sprintf("%d percent corrected %d times", c.percent, c.times), func(b *testing.B) {
			db := plantdbtest.Open(b)
			if err := fleetdb.Write(bg, db, samplefleet.Demo(fleetdb.Day)); err != nil {
				b.Fatal(err)
			}
			before := fleetdb.Day.Add(time.Second)
			correctMuch(b, db, c.percent, c.times)
			now, then := 0.0, 0.0
			for b.Loop() {
				now += stand(b, db, 0)
				then += stand(b, db, assets.InstantOf(before))
			}
			b.ReportMetric(now/float64(b.N), "now-ms")
			b.ReportMetric(then/float64(b.N), "then-ms")
			b.ReportMetric(then/now, "then/now")
		})
	}
}

// stand reads the first plant as of a day, as known at an instant, 0: now, and returns how many milliseconds it took.
func stand(b *testing.B, db *plantdb.DB, known assets.Instant) float64 {
	day := assets.InstantOf(fleetdb.Day.AddDate(0, -1, 0))
	began := time.Now()
	asOf := plantdb.AsOf{Valid: day}
	if known != 0 {
		var err error
		if asOf, err = db.KnownAt(bg, 1, day, known); err != nil {
			b.Fatal(err)
		}
	}
	p, err := outlook.Stand(bg, db, assets.PlantScope(1), 1, asOf, day)
	if err != nil || len(p.Standings) == 0 {
		b.Fatal(len(p.Standings), err)
	}
	return float64(time.Since(began).Microseconds()) / 1000
}

// correctMuch corrects so many of a hundred conveyors, belts and splices of the first plant so often.
func correctMuch(b *testing.B, db *plantdb.DB, percent, times int) {
	reg, err := registry.PlantAsOf(bg, db, assets.PlantScope(1), 1, plantdb.AsOf{})
	if err != nil {
		b.Fatal(err)
	}
	for n := range times {
		act := plantdb.Act{Origin: plantdb.Command, Action: "correct", Now: fleetdb.Day.Add(time.Duration(n+1) * time.Hour), Plants: []int64{1}}
		err := db.Change(bg, act, func(c *plantdb.Change) error {
			ch, err := c.PlantChain(1)
			if err != nil {
				return err
			}
			remark := fmt.Sprint("corrected ", n)
			for i := range reg.Conveyors {
				if i*100 < percent*len(reg.Conveyors) {
					reg.Conveyors[i].Remark = remark
					if err := plantdb.Correct(c, ch, &reg.Conveyors[i]); err != nil {
						return err
					}
				}
			}
			for i := range reg.Splices {
				if i*100 < percent*len(reg.Splices) {
					reg.Splices[i].Remark = remark
					if err := plantdb.Correct(c, ch, &reg.Splices[i]); err != nil {
						return err
					}
				}
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
	}
}
