package reports_test

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/clock"
	"carryside/schedule/due"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// fleet is 400 plants of 100 conveyors and 150 splices: 60,000 rows, made plant by plant as a registry
// loads them.
type fleet struct{ plants int }

func (f fleet) Plants(context.Context) ([]reports.PlantName, error) {
	var out []reports.PlantName
	for i := range f.plants {
		out = append(out, reports.PlantName{ID: int64(i + 1), Name: fmt.Sprintf("Terminal %03d", i+1), Customer: fmt.Sprintf("Customer %02d", i/10), Zone: berlin})
	}
	return out, nil
}

func (f fleet) PlantAt(_ context.Context, id int64, at time.Time) (reports.Plant, error) {
	reg := &assets.Register{Plant: assets.Plant{Version: assets.Version{ID: id}, Zone: "Europe/Berlin"}, Lines: []assets.Line{{Version: assets.Version{ID: 1}, Name: "Intake"}}}
	p := reports.Plant{Register: reg, Findings: map[int64]assets.Finding{}}
	clocks := due.Clocks{Lines: map[int64]due.Line{}, Duties: map[int64]clock.Duty{}}
	read := clock.NewLine([]clock.Point{{At: local("2019-01-01T00:00"), Hours: 0}, {At: local("2025-01-01T00:00"), Hours: 30000}, {At: built, Hours: 40000}})
	line := due.NewLine(read, clock.Project(read, nil, 90*24*time.Hour, time.Time{}))
	grade := 2
	for i := range int64(100) {
		c := assets.Conveyor{Version: assets.Version{ID: i + 1}, LineID: 1, Tag: fmt.Sprintf("CV-%d", i+1), SpeedMPS: 1.5, Pulleys: make([]assets.Pulley, 4)}
		b := assets.Belt{Version: assets.Version{ID: i + 1}, ConveyorID: i + 1, LoopLengthM: 80 + float64(i)}
		reg.Conveyors, reg.Belts = append(reg.Conveyors, c), append(reg.Belts, b)
		clocks.Lines[c.ID] = line
		clocks.Duties[b.ID] = due.Duty([]assets.Conveyor{c}, []assets.Belt{b})
	}
	for i := range int64(150) {
		made := assets.Exactly(local("2020-06-01T10:00").AddDate(0, 0, int(id*7+i*11)%1800), berlin)
		reg.Splices = append(reg.Splices, assets.Splice{Version: assets.Version{ID: i + 1}, ConveyorID: i%100 + 1, BeltID: i%100 + 1,
			Number: fmt.Sprint(i/100 + 1), Form: assets.FormFinger, Bond: assets.BondHotPressed, Made: made, MadeBy: "M. Okkerdal"})
		p.Findings[i+1] = assets.Finding{FoundDay: "2026-05-04", Category: "edge open", Grade: &grade}
	}
	reg.Arrange()
	var limits []rules.Rule
	for i, t := range []rules.Trigger{{Kind: rules.TriggerPasses, Passes: 2e6}, {Kind: rules.TriggerHours, Hours: 30000}, {Kind: rules.TriggerInterval, CountedFrom: rules.FromMade, Every: 60, Unit: "month"}} {
		limits = append(limits, rules.Rule{Version: assets.Version{ID: int64(i + 1)}, Name: "age limit", Class: assets.ClassP, Trigger: t, Template: rules.Template{Kind: workorder.KindResplice}})
	}
	p.Standings = due.Plant(at, reg, limits, clocks)
	return p, nil
}

func fleetReport(plants int) *reports.Report {
	entry := must(reports.Find("splice-age"))
	return must(entry.Build(context.Background(), reports.Inputs{Source: fleet{plants}, Built: built}, ""))
}

// BenchmarkRegisterOfTheFleet writes the workbook of 60,000 splices; compare its time with that of
// BenchmarkBareStream (the same cells, nothing else) and BenchmarkRowsAlone.
func BenchmarkRegisterOfTheFleet(b *testing.B) {
	for b.Loop() {
		measured(b, func() {
			if p := must(fleetReport(400).WriteXLSX(context.Background(), io.Discard)); p.Rows != 60000 {
				b.Fatal(p.Rows)
			}
		})
	}
}

// BenchmarkRowsAlone computes the rows of 60,000 splices without writing them.
func BenchmarkRowsAlone(b *testing.B) {
	for b.Loop() {
		measured(b, func() {
			n := 0
			for _, err := range fleetReport(400).Rows(context.Background()) {
				if err != nil {
					b.Fatal(err)
				}
				n++
			}
			if n != 60000 {
				b.Fatal(n)
			}
		})
	}
}

// BenchmarkBareStream streams the same cells with the spreadsheet library alone.
func BenchmarkBareStream(b *testing.B) {
	var some [][]any
	for row, err := range fleetReport(10).Rows(context.Background()) {
		if err != nil {
			b.Fatal(err)
		}
		var cells []any
		for _, c := range row {
			if v, ok := c.Figure(); ok {
				cells = append(cells, excelize.Cell{StyleID: 1, Value: v})
			} else if c.Kind() == reports.KindDay {
				cells = append(cells, excelize.Cell{StyleID: 1, Value: 46000.0})
			} else {
				cells = append(cells, excelize.Cell{StyleID: 1, Value: c.Plain()})
			}
		}
		some = append(some, cells)
	}
	for b.Loop() {
		measured(b, func() {
			f := excelize.NewFile()
			defer f.Close()
			s := must(f.NewStreamWriter("Sheet1"))
			for i := range 60000 {
				if err := s.SetRow(fmt.Sprintf("A%d", i+1), some[i%len(some)]); err != nil {
					b.Fatal(err)
				}
			}
			if err := s.Flush(); err != nil {
				b.Fatal(err)
			}
			if err := f.Write(io.Discard); err != nil {
				b.Fatal(err)
			}
		})
	}
}

// measured runs f and reports the highest heap seen while it runs, above what stood before.
func measured(b *testing.B, f func()) {
	runtime.GC()
	var before, now runtime.MemStats
	runtime.ReadMemStats(&before)
	stop, done := make(chan struct{}), make(chan uint64)
	go func() {
		var peak uint64
		for {
			select {
			case <-stop:
				done <- peak
				return
			case <-time.After(20 * time.Millisecond):
				runtime.ReadMemStats(&now)
				peak = max(peak, now.HeapInuse)
			}
		}
	}()
	f()
	close(stop)
	if peak := <-done; peak > before.HeapInuse {
		b.ReportMetric(float64(peak-before.HeapInuse)/1e6, "peakMB")
	}
}
