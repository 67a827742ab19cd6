package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/cmd/carryside/reporting"
	"carryside/reports"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// exportNow is the moment the exports below are made: 1 March 2026, noon in Berlin.
var exportNow = time.Date(2026, 3, 1, 11, 0, 0, 0, time.UTC)

// smallInstallation is a database with one plant and one conveyor of two splices.
//
// By hand: the loop of 50 m at 0.5 m/s is passed 36 times an hour. The meter shows 0 h at the end of
// 14 September 2023, when S1 was made, 5 000 h on 1 June 2024, 5 100 h on 1 December 2024 (it stood still),
// 9 000 h on 1 March 2026 at noon. A rule has splices remade at 5 050 h: S1 passed it half way through the
// 183 days from 1 June to 1 December, on 31 August 2024. S2 was made on 1 December 2024: 3 900 h since,
// 140 400 passes; the 455 days to 1 March 2026 are over at midnight.
func smallInstallation(t *testing.T) string {
	t.Helper()
	dsn := plantdbtest.Address(t)
	db := plantdbtest.Again(t, dsn)
	berlin := assets.Plant{Zone: "Europe/Berlin"}.Location()
	instant := func(s string) assets.Instant {
		at, err := time.ParseInLocation("2006-01-02T15:04", s, berlin)
		if err != nil {
			t.Fatal(err)
		}
		return assets.InstantOf(at)
	}
	onDay := func(d assets.Day) assets.When {
		w, err := assets.OnDay(d, berlin, exportNow)
		if err != nil {
			t.Fatal(err)
		}
		return w
	}
	change := func(what string, act plantdb.Act, fn func(*plantdb.Change) error) {
		act.Origin, act.Action, act.Now = plantdb.Command, what, exportNow
		if err := db.Change(t.Context(), act, fn); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
	}
	customer, plant := assets.Customer{Name: "Skarrow Holdings"}, assets.Plant{Name: "Skarrow Grain Terminal", Zone: "Europe/Berlin", UnitSystem: assets.UnitsSI, Currency: "EUR"}
	change("add the plant", plantdb.Act{Company: true}, func(c *plantdb.Change) error {
		if err := registry.SaveCompany(c, &assets.Company{Name: "Vanterel Belt Service", Zone: "Europe/Berlin", Currency: "EUR", UnitSystem: assets.UnitsSI}, 0); err != nil {
			return err
		}
		if err := registry.AddCustomer(c, &customer); err != nil {
			return err
		}
		plant.CustomerID = customer.ID
		return registry.AddPlant(c, &plant)
	})
	conveyor := assets.Conveyor{Tag: "Q3", SpeedMPS: 0.5}
	change("list the conveyor", plantdb.Act{Plants: []int64{plant.ID}}, func(c *plantdb.Change) error {
		conveyor.PlantID = plant.ID
		if err := registry.AddConveyor(c, &conveyor); err != nil {
			return err
		}
		belt := assets.Belt{ConveyorID: conveyor.ID, LoopLengthM: 50, WidthM: 0.8, Fitted: onDay("2023-09-14")}
		if err := registry.FitBelt(c, &belt, ""); err != nil {
			return err
		}
		for _, made := range []assets.Day{"2023-09-14", "2024-11-30"} {
			s := assets.Splice{BeltID: belt.ID, Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Made: onDay(made)}
			if err := registry.MakeSplice(c, &s); err != nil {
				return err
			}
		}
		for at, h := range map[string]float64{"2023-09-15T00:00": 0, "2024-06-01T00:00": 5000, "2024-12-01T00:00": 5100, "2026-03-01T12:00": 9000} {
			if _, err := clocks.AddReading(c, clocks.Entered{ConveyorID: conveyor.ID, At: instant(at), ShownH: h, Origin: "test"}); err != nil {
				return err
			}
		}
		r := rules.Rule{CustomerID: customer.ID, PlantID: plant.ID, Name: "Remake at 5 050 h", Class: assets.ClassP,
			Trigger: rules.Trigger{Kind: rules.TriggerHours, Hours: 5050}, Template: rules.Template{Kind: workorder.KindResplice, Title: "remake {target}"}}
		return orders.SeedRules(c, []rules.Rule{r})
	})
	return dsn
}

// exported runs the program at exportNow.
func exported(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(t.Context(), append([]string{"export"}, args...), &Program{Stdout: &out, Stderr: &errs, Now: func() time.Time { return exportNow }})
	return code, out.String(), errs.String()
}

func TestExportSpliceAge(t *testing.T) {
	dsn, dir := smallInstallation(t), t.TempDir()
	name := filepath.Join(dir, "ages.csv")
	if code, _, stderr := exported(t, "splice-age", "--db", dsn, "--out", name); code != 0 {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil || len(rows) != 3 {
		t.Fatalf("%d lines, %v", len(rows), err)
	}
	at := map[string]int{}
	for i, h := range rows[0] {
		at[h] = i
	}
	for heading, want := range map[string][2]string{
		"Splice": {"S1", "S2"}, "Plant": {"Skarrow Grain Terminal", "Skarrow Grain Terminal"}, "Customer": {"Skarrow Holdings", "Skarrow Holdings"},
		"Age, days": {"898", "455"}, "Age, running hours": {"9000", "3900"}, "Age, passes": {"324000", "140400"}, "Life used, %": {"178", "77"},
		"Next due": {"2024-08-31", rows[2][at["Next due"]]}, "Rule that governs": {"Remake at 5 050 h", "Remake at 5 050 h"}, "Class of evidence": {"P", "P"},
	} {
		if got := [2]string{rows[1][at[heading]], rows[2][at[heading]]}; got != want {
			t.Errorf("%s: %q, want %q", heading, got, want)
		}
	}
	if due := rows[2][at["Next due"]]; due <= "2026-03-01" {
		t.Errorf("S2 has hours left and is due %q", due)
	}
}

func TestExportAsOfAPastDay(t *testing.T) {
	dsn := smallInstallation(t)
	name := filepath.Join(t.TempDir(), "ages.json")
	code, stdout, stderr := exported(t, "splice-age", "--db", dsn, "--as-of", "2024-06-30", "--scope", "plant=Skarrow grain terminal,conveyor=q3", "--out", name)
	if code != 0 {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	var got struct {
		Rows []struct {
			Splice string  `json:"splice"`
			Days   int     `json:"age_days"`
			Hours  float64 `json:"age_hours"`
		}
		Digest string
	}
	data, err := os.ReadFile(name)
	if err == nil {
		err = json.Unmarshal(data, &got)
	}
	if err != nil {
		t.Fatal(err)
	}
	// 15 September 2023 to 1 July 2024 is 290 days. 30 of the 183 days (and an hour, summer time ended) from
	// 5 000 to 5 100 h: 5 000 + 100 x 720/4393 = 5 016.4 h.
	if len(got.Rows) != 1 || got.Rows[0].Splice != "S1" || got.Rows[0].Days != 290 || got.Rows[0].Hours != 5016.4 {
		t.Errorf("%+v, want S1 alone, 290 days, 5 016.4 h", got.Rows)
	}
	if got.Digest == "" || !strings.Contains(stdout, got.Digest) || !strings.Contains(stdout, "1 row") {
		t.Errorf("printed %q, the file's digest is %s", stdout, got.Digest)
	}
}

func TestExportInEveryForm(t *testing.T) {
	dsn, dir := smallInstallation(t), t.TempDir()
	for _, ending := range []string{".xlsx", ".csv", ".json", ".html", ".XLSX"} {
		name := filepath.Join(dir, "ages"+ending)
		if code, _, stderr := exported(t, "splice-age", "--db", dsn, "--out", name); code != 0 {
			t.Errorf("%s: exit %d: %s", ending, code, stderr)
		}
		if info, err := os.Stat(name); err != nil || info.Size() < 300 {
			t.Errorf("%s: %v", ending, err)
		}
	}
	left, err := filepath.Glob(filepath.Join(dir, ".carryside-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
}

func TestExportRefused(t *testing.T) {
	dsn, dir := smallInstallation(t), t.TempDir()
	out := filepath.Join(dir, "ages.csv")
	for name, tt := range map[string]struct {
		args []string
		code int
		says string
	}{
		"no such report":         {[]string{"stock", "--db", dsn, "--out", out}, 2, "splice-age"},
		"no file named":          {[]string{"splice-age", "--db", dsn}, 2, "--out"},
		"an ending nobody knows": {[]string{"splice-age", "--db", dsn, "--out", filepath.Join(dir, "ages.ods")}, 2, ".xlsx, .csv, .json or .html"},
		"a date that is none":    {[]string{"splice-age", "--db", dsn, "--out", out, "--as-of", "30.6.2024"}, 2, "YYYY-MM-DD"},
		"a scope that is none":   {[]string{"splice-age", "--db", dsn, "--out", out, "--scope", "shift=early"}, 2, "shift"},
		"a plant not there":      {[]string{"splice-age", "--db", dsn, "--out", out, "--scope", "plant=Nowhere"}, 1, "plant Nowhere"},
		"a conveyor not there":   {[]string{"splice-age", "--db", dsn, "--out", out, "--scope", "conveyor=Z9"}, 1, "conveyor Z9"},
		"no database":            {[]string{"splice-age", "--db", filepath.Join(dir, "none.db"), "--out", out}, 1, "none.db"},
		"a folder not there":     {[]string{"splice-age", "--db", dsn, "--out", filepath.Join(dir, "no", "ages.csv")}, 1, "ages.csv"},
	} {
		t.Run(name, func(t *testing.T) {
			code, stdout, stderr := exported(t, tt.args...)
			if code != tt.code || !strings.Contains(stderr, tt.says) || stdout != "" || strings.Count(stderr, "\n") != 1 {
				t.Errorf("exit %d, printed %q, complained %q; want %d and %q", code, stdout, stderr, tt.code, tt.says)
			}
		})
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) > 0 {
		t.Errorf("files were left behind: %v %v", left, err)
	}
}

func TestHelpListsEveryReport(t *testing.T) {
	_, stdout, _ := exported(t, "--help")
	stdout = strings.Join(strings.Fields(stdout), " ") // lines end where the sheet does
	for _, e := range reports.Catalogue {
		if !strings.Contains(stdout, e.Slug+": "+e.Title) {
			t.Errorf("the help does not name %s", e.Slug)
		}
	}
}

// A report sees what its scope reaches and nothing beside it.
func TestReportSourceKeepsToItsScope(t *testing.T) {
	db := plantdbtest.Again(t, smallInstallation(t))
	all, err := reporting.NewSource(db, assets.JobScope()).Plants(t.Context())
	if err != nil || len(all) != 1 || all[0].Customer != "Skarrow Holdings" {
		t.Fatalf("%+v, %v", all, err)
	}
	entry, err := reports.Find("splice-age")
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		scope assets.Scope
		rows  int
	}{{assets.PlantScope(all[0].ID), 2}, {assets.PlantScope(all[0].ID + 1), 0}, {assets.Scope{}, 0}} {
		r, err := entry.Build(t.Context(), reports.Inputs{Source: reporting.NewSource(db, tt.scope), Built: exportNow}, "")
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for row, err := range r.Rows(t.Context()) {
			if err != nil {
				t.Fatal(err)
			}
			if n++; row[0].Plain() != "Skarrow Holdings" {
				t.Errorf("a plant's own scope says its customer is %q", row[0].Plain())
			}
		}
		if n != tt.rows {
			t.Errorf("%d rows in scope %+v, want %d", n, tt.scope, tt.rows)
		}
	}
	if _, err := reporting.NewSource(db, assets.Scope{}).PlantAt(t.Context(), all[0].ID, exportNow); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a plant out of scope was read: %v", err)
	}
}
