package intakedb_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/assets/plantdb/intakedb"
	"carryside/assets/plantdb/plantdbtest"
)

// BenchmarkHundredThousandReadings brings in a plant's list of 100,000 readings of 100 conveyors, from the text to
// the journal entry, into a fresh database each time.
func BenchmarkHundredThousandReadings(b *testing.B) {
	var list strings.Builder
	list.WriteString("Tag,Date,Hours run\n")
	begin := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)
	for day := range 1000 {
		for conveyor := range 100 {
			fmt.Fprintf(&list, "CV-%d,%s,%.1f\n", conveyor, begin.AddDate(0, 0, day).Format("2006-01-02"), 100+16.3*float64(day))
		}
	}
	var conveyors strings.Builder
	conveyors.WriteString("Tag,Description,Speed (m/s),Width (mm),Belt length (m),Installed\n")
	for i := range 100 {
		fmt.Fprintf(&conveyors, "CV-%d,Conveyor %d,1.5,800,120,2021-04-01\n", i, i)
	}
	now := plantdbtest.Noon
	for b.Loop() {
		b.StopTimer()
		db := plantdbtest.Open(b)
		reg := &intakedb.Registry{DB: db, Scope: assets.JobScope(), HostZone: "Europe/Oslo"}
		bring := func(name, list string) {
			book, err := intake.ReadCSV(name, []byte(list), intake.CSVOptions{})
			if err != nil {
				b.Fatal(err)
			}
			outcome, changes, err := intake.Judge(bg, book, reg, intake.Options{Plant: "Fennick Pit", Now: now, Zoned: time.UTC})
			if err != nil || len(outcome.Refused) > 0 {
				b.Fatalf("%v, refused %v", err, outcome.Refused)
			}
			began := time.Now()
			if err := reg.Apply(bg, changes); err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(time.Since(began).Seconds()*1000, "write-ms")
		}
		bring("conveyors.csv", conveyors.String())
		b.StartTimer()
		bring("readings.csv", list.String())
	}
}
