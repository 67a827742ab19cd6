package intakedb_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/intakedb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
)

var bg = context.Background()

// judge reads a list and judges it against the register.
func judge(t *testing.T, db *plantdb.DB, list string, now time.Time) (*intakedb.Registry, *intake.Outcome, *intake.Changes) {
	t.Helper()
	book, err := intake.ReadCSV("list.csv", []byte(list), intake.CSVOptions{})
	if err != nil {
		t.Fatal(err)
	}
	reg := &intakedb.Registry{DB: db, Scope: assets.JobScope(), HostZone: "Europe/Oslo"}
	outcome, changes, err := intake.Judge(bg, book, reg, intake.Options{Plant: "Fennick Pit", Now: now, Zoned: time.UTC})
	if err != nil {
		t.Fatal(err)
	}
	return reg, outcome, changes
}

// bringIn imports a list whole and returns what it did.
func bringIn(t *testing.T, db *plantdb.DB, list string, now time.Time) *intake.Outcome {
	t.Helper()
	reg, outcome, changes := judge(t, db, list, now)
	if len(outcome.Refused) > 0 {
		t.Fatalf("refused: %+v", outcome.Refused)
	}
	if err := reg.Apply(bg, changes); err != nil {
		t.Fatal(err)
	}
	return outcome
}

const beltList = `Line,Tag,Description,Speed (m/s),Width (mm),Belt length (m),Installed,Splice no,Splice type,Spliced,By
Primary,CV-01,Jaw discharge,2.1,1000,120,2021-04-01,1,stepped,2021-04-01,R. Asquenne
Primary,CV-01,Jaw discharge,2.1,1000,120,2021-04-01,2,stepped,2022-05-06,R. Asquenne
Primary,CV-02,Surge,1.6,800,64,2020-02-03,1,finger,spring 2020,crew 2
`

func load(t *testing.T, db *plantdb.DB, asOf plantdb.AsOf) *assets.Register {
	t.Helper()
	plants, err := registry.PlantsByName(bg, db, assets.JobScope(), "fennick pit")
	if err != nil || len(plants) != 1 {
		t.Fatalf("plants %+v, %v", plants, err)
	}
	r, err := registry.PlantAsOf(bg, db, assets.JobScope(), plants[0].ID, asOf)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestListBroughtInTwiceChangesNothing(t *testing.T) {
	db := plantdbtest.Open(t)
	now := plantdbtest.Noon
	bringIn(t, db, beltList, now)
	r := load(t, db, plantdb.AsOf{})
	if len(r.Conveyors) != 2 || len(r.Belts) != 2 || len(r.Splices) != 3 || len(r.Lines) != 1 {
		t.Fatalf("%d conveyors, %d belts, %d splices, %d lines; want 2, 2, 3, 1", len(r.Conveyors), len(r.Belts), len(r.Splices), len(r.Lines))
	}
	c, _ := r.ConveyorByTag("cv 1")
	if c.SpeedMPS != 2.1 || r.LineName(c) != "Primary" || r.Plant.Zone != "Europe/Oslo" || !r.Plant.SettingsAsked {
		t.Errorf("conveyor %+v at %+v", c, r.Plant)
	}
	if s := r.SplicesOn(c.ID); len(s) != 2 || s[1].MadeBy != "R. Asquenne" || s[1].Made.Earliest != "2022-05-06" || s[1].Form != assets.FormStepped {
		t.Errorf("its splices %+v", s)
	}
	before, err := db.HeadPosition(bg, r.Plant.ID)
	if err != nil {
		t.Fatal(err)
	}
	outcome := bringIn(t, db, beltList, now.Add(time.Hour))
	for kind, n := range outcome.Counts {
		if n.Created != 0 || n.Changed != 0 {
			t.Errorf("the second time %d %ss were created and %d changed", n.Created, kind, n.Changed)
		}
	}
	if after, err := db.HeadPosition(bg, r.Plant.ID); err != nil || after != before {
		t.Errorf("the journal moved from %d to %d, %v", before, after, err)
	}
}

func TestChangedListCorrectsThePastAndAltersThePresent(t *testing.T) {
	db := plantdbtest.Open(t)
	first, second := plantdbtest.Noon.AddDate(0, -2, 0), plantdbtest.Noon
	bringIn(t, db, beltList, first)
	changed := strings.NewReplacer("2.1", "2.4", "2021-04-01,1,stepped,2021-04-01", "2021-04-01,1,finger,2021-04-01", ",120,", ",118,").Replace(beltList)
	bringIn(t, db, changed, second)
	then := plantdb.AsOf{Valid: assets.InstantOf(first.AddDate(0, 1, 0))}
	for _, tt := range []struct {
		when   string
		asOf   plantdb.AsOf
		speed  float64
		length float64
	}{{"now", plantdb.AsOf{}, 2.4, 118}, {"a month after the first list", then, 2.1, 120}} {
		r := load(t, db, tt.asOf)
		c, _ := r.ConveyorByTag("CV-01")
		b, _ := r.BeltOn(c.ID, tt.asOf.Valid)
		if c.SpeedMPS != tt.speed || b.LoopLengthM != tt.length {
			t.Errorf("%s: %v m/s and %v m, want %v and %v", tt.when, c.SpeedMPS, b.LoopLengthM, tt.speed, tt.length)
		}
		if s := r.SplicesOn(c.ID); len(s) != 2 || s[0].Form != assets.FormFinger {
			t.Errorf("%s: splices %+v; a corrected kind is so from the beginning", tt.when, s)
		}
	}
}

func TestBeltThatTakesAnothersPlace(t *testing.T) {
	db := plantdbtest.Open(t)
	bringIn(t, db, beltList, plantdbtest.Noon)
	bringIn(t, db, `Tag,Width (mm),Belt length (m),Installed,Splice no,Splice type,Spliced
CV-02,800,63,2025-08-09,1,finger,2025-08-09
`, plantdbtest.Noon)
	r := load(t, db, plantdb.AsOf{})
	c, _ := r.ConveyorByTag("CV-02")
	b, _ := r.BeltOn(c.ID, 0)
	if b.LoopLengthM != 63 || len(r.SplicesOn(c.ID)) != 1 {
		t.Errorf("on the conveyor: %+v with %+v", b, r.SplicesOn(c.ID))
	}
	old, err := registry.SpliceHistory(bg, db, assets.JobScope(), registry.Target{ConveyorID: c.ID}, plantdb.AsOf{})
	if err != nil || len(old) != 2 || old[1].Ended == nil {
		t.Errorf("splices %+v, %v; want the old one ended with its belt", old, err)
	}
}

func TestReadingsOfAListAndTheHeldOne(t *testing.T) {
	db := plantdbtest.Open(t)
	bringIn(t, db, beltList, plantdbtest.Noon)
	hours := `Tag,Read on,Hours,Remark
CV-01,2026-01-01,1000,
CV-01,2026-02-01,1300,
CV-01,2026-03-01,900,
CV-01,2026-04-01,40,new meter
CV-01,2026-05-01,340,
`
	for range 2 {
		bringIn(t, db, hours, plantdbtest.Noon)
	}
	r := load(t, db, plantdb.AsOf{})
	c, _ := r.ConveyorByTag("CV-01")
	held, err := clocks.Held(bg, db, assets.JobScope(), r.Plant.ID)
	if err != nil || len(held) != 1 || held[0].ShownH != 900 {
		t.Errorf("held %+v, %v; want 900 h once", held, err)
	}
	readings, err := clocks.Readings(bg, db, assets.JobScope(), c.ID, clocks.Span{}, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	meters, err := clocks.Meters(bg, db, assets.JobScope(), c.ID, plantdb.AsOf{})
	if err != nil || len(meters) != 1 || meters[0].PreviousFinalH == nil || *meters[0].PreviousFinalH != 1300 {
		t.Fatalf("meters %+v, %v; want one replacement after 1300 h", meters, err)
	}
	points := clocks.Points(meters, readings)
	if len(readings) != 4 || points[3].Hours != 1640 {
		t.Errorf("%d readings, the last at %v h; want 4 and 1300 + 340", len(readings), points[3].Hours)
	}
}

// The list of last week comes again with one grade put right: the finding is corrected, not told a second time, and
// what was held before stays known.
func TestFindingOfAListGradedAnew(t *testing.T) {
	db := plantdbtest.Open(t)
	bringIn(t, db, beltList, plantdbtest.Noon)
	found := "Tag,Inspected,Target,Finding,Grade\nCV-01,2026-01-05,splice 2,crack,2\n"
	bringIn(t, db, found, plantdbtest.Noon)
	first := load(t, db, plantdb.AsOf{})
	o := bringIn(t, db, strings.Replace(found, "crack,2", "crack,3", 1), plantdbtest.Noon)
	if n := o.Counts[intake.KindFinding]; n.Created != 0 || n.Changed != 1 {
		t.Errorf("counted %+v, want one changed", *n)
	}
	got, err := registry.FindingsOfPlant(bg, db, assets.JobScope(), first.Plant.ID, 0, plantdb.AsOf{}, 10)
	if err != nil || len(got) != 1 || got[0].Grade == nil || *got[0].Grade != 3 || got[0].SpliceID == 0 {
		t.Fatalf("findings %+v, %v; want one of grade 3 at its splice", got, err)
	}
	if o := bringIn(t, db, strings.Replace(found, "crack,2", "crack,3", 1), plantdbtest.Noon); o.Counts[intake.KindFinding].Changed != 0 {
		t.Error("the same list again changes something")
	}
}

func TestRegisterChangedWhileAListWasJudged(t *testing.T) {
	db := plantdbtest.Open(t)
	bringIn(t, db, beltList, plantdbtest.Noon)
	reg, _, changes := judge(t, db, strings.Replace(beltList, "Surge", "Surge bin", 1), plantdbtest.Noon)
	bringIn(t, db, strings.Replace(beltList, "Surge", "Surge hopper", 1), plantdbtest.Noon)
	if err := reg.Apply(bg, changes); !errors.Is(err, assets.ErrConflict) {
		t.Errorf("writing over a change made in between: %v, want a conflict", err)
	}
	r := load(t, db, plantdb.AsOf{})
	if c, _ := r.ConveyorByTag("CV-02"); c.Name != "Surge hopper" {
		t.Errorf("the name is %q", c.Name)
	}
	imports, err := intakedb.Imports(bg, db, assets.JobScope(), r.Plant.ID, 10)
	if err != nil || len(imports) != 2 || imports[0].FileName != "list.csv" || imports[0].Mapping == nil {
		t.Errorf("imports kept: %+v, %v; want the two that were written", imports, err)
	}
}

func TestTenThousandConveyorsInSeconds(t *testing.T) {
	db := plantdbtest.Open(t)
	var list strings.Builder
	list.WriteString("Tag,Description,Speed (m/s),Width (mm),Belt length (m),Installed,Splice no,Splice type,Spliced\n")
	for i := range 10_000 {
		fmt.Fprintf(&list, "CV-%d,Conveyor %d,1.5,800,%d,2021-04-01,1,finger,2022-05-06\n", i, i, 20+i%300)
	}
	reg, _, changes := judge(t, db, list.String(), plantdbtest.Noon)
	began := time.Now()
	if err := reg.Apply(bg, changes); err != nil {
		t.Fatal(err)
	}
	took := time.Since(began)
	t.Logf("10,000 conveyors with belt and splice written in %v", took)
	if took > 3*time.Minute { // a hang; speed is told by the benchmarks
		t.Errorf("writing took %v", took)
	}
}
