package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/stops"
	"carryside/assets/plantdb/stores"
	"carryside/reports"
	"carryside/schedule/workorder"
)

// changeAt changes plant 1 of an installation, and what is the company's.
func changeAt(t *testing.T, dsn, what string, at time.Time, fn func(*plantdb.Change) error) {
	t.Helper()
	act := plantdb.Act{Origin: plantdb.Command, Action: what, Reason: what, Now: at, Plants: []int64{1}, Company: true}
	must(t, plantdbtest.Again(t, dsn).Change(t.Context(), act, fn))
}

// stockedInstallation is the audited one with stores of every kind: an item, a lot, a supply on its way, a cutter of the customer's and a
// press of the company's, each with a counter, and the cutter with a calibration.
func stockedInstallation(t *testing.T) string {
	t.Helper()
	dsn := auditedInstallation(t)
	changeAt(t, dsn, "stock the store", exportNow.AddDate(0, 0, 2), func(c *plantdb.Change) error {
		item := assets.StockItem{Name: "tie gum", Kind: assets.StockFilm, Unit: assets.UnitMetre, LeadTimeDays: 7, Class: assets.ClassP, Source: "agreed"}
		if err := stores.SaveItem(c, &item); err != nil {
			return err
		}
		lot := assets.StockLot{PlantID: 1, ItemID: item.ID, Lot: "L-17", Shelf: "A 3", GoodUntil: "2027-06-01"}
		supply := assets.SupplyOrder{PlantID: 1, ItemID: item.ID, Quantity: 7000, State: assets.SupplyOrdered, OrderedDay: "2026-03-01", ExpectedDay: "2026-04-11", Supplier: "Ostby Supplies"}
		if err := stores.Receive(c, nil, &lot, 20000, 0); err != nil {
			return err
		}
		if err := stores.SaveSupplyOrder(c, &supply); err != nil {
			return err
		}
		for customer, k := range map[int64]assets.Kit{1: {Name: "cutter 2", Class: assets.KitCutter}, 0: {Name: "depot cutter", Class: assets.KitCutter}} {
			k.CustomerID, k.HomePlantID = customer, 1
			if err := stores.SaveKit(c, &k); err != nil {
				return err
			}
			counter := assets.KitCounter{KitID: k.ID, Counts: assets.WearBladeCuts, Part: "blades", Limit: 2000, Class: assets.ClassP, Source: "agreed"}
			if err := stores.SaveCounter(c, &counter); err != nil {
				return err
			}
			calibration := assets.Calibration{KitID: k.ID, OnDay: "2026-01-05", DueDay: "2027-01-05", Certificate: "C 1 of " + k.Name, Class: assets.ClassP, Source: "agreed"}
			if err := stores.SaveCalibration(c, &calibration); err != nil {
				return err
			}
		}
		return placedInAStop(c)
	})
	return dsn
}

// placedInAStop places an order with the customer's cutter in a stop some weeks ahead.
func placedInAStop(c *plantdb.Change) error {
	start := exportNow.AddDate(0, 0, 60)
	w := assets.StopWindow{PlantID: 1, Start: assets.InstantOf(start), End: assets.InstantOf(start.Add(8 * time.Hour))}
	o := workorder.Order{PlantID: 1, ConveyorID: 1, Kind: workorder.KindBeltChange, Title: "change the belt", WorkHours: 4}
	if err := errors.Join(stops.Save(c, &w), orders.RaiseByHand(c, &o)); err != nil {
		return err
	}
	all, err := stores.Kit(c.Context(), c.DB, assets.JobScope(), plantdb.AsOf{})
	if err != nil {
		return err
	}
	cutter := all[slices.IndexFunc(all, func(k assets.Kit) bool { return k.CustomerID != 0 })].ID
	by, now := workorder.Actor{PersonID: 1, Roles: []assets.Role{assets.RolePlanner}}, c.Now().Time()
	after, event, err := workorder.Accept(o, by, now, now)
	if err != nil {
		return err
	}
	if err := orders.Step(c, &after, event); err != nil {
		return err
	}
	after, event, err = workorder.Place(after, by, now, now, workorder.Placement{WindowID: w.ID, WindowDay: assets.DayOf(start), People: []int64{1}, Tools: []int64{cutter}})
	if err != nil {
		return err
	}
	return orders.Step(c, &after, event)
}

// restocked corrects, counts and renames what the store and the orders of stockedInstallation say.
func restocked(t *testing.T, dsn string, at time.Time) {
	t.Helper()
	changeAt(t, dsn, "look the store over", at, func(c *plantdb.Change) error {
		asOf := plantdb.AsOf{}
		items, err := stores.Items(c.Context(), c.DB, assets.JobScope(), asOf)
		if err != nil {
			return err
		}
		items[0].Name = "tie gum, narrow"
		if err := stores.SaveItem(c, &items[0]); err != nil {
			return err
		}
		lots, err := stores.Lots(c.Context(), c.DB, assets.PlantScope(1), asOf, false)
		if err != nil {
			return err
		}
		if err := stores.Post(c, []assets.StockMovement{{LotID: lots[0].ID, Quantity: -4000, Why: assets.MoveScrapped, Reason: "wet"}}); err != nil {
			return err
		}
		all, err := stores.Kit(c.Context(), c.DB, assets.JobScope(), asOf)
		if err != nil {
			return err
		}
		for _, k := range all {
			counters, err := stores.Counters(c.Context(), c.DB, asOf, []int64{k.ID})
			if err != nil {
				return err
			}
			if err := stores.Count(c, &assets.KitCount{CounterID: counters[0].ID, Quantity: 300, Reason: "counted late"}); err != nil {
				return err
			}
			k.Name += " (blue)"
			if err := stores.SaveKit(c, &k); err != nil {
				return err
			}
		}
		o := workorder.Order{PlantID: 1, ConveyorID: 1, Kind: workorder.KindResplice, Title: "remake S2", WorkHours: 4, LatestDay: "2026-04-05"}
		return orders.RaiseByHand(c, &o)
	})
	correctReading(t, dsn, 5450, at.Add(time.Hour), "misread once more")
}

// TestEveryReportIsBuiltAgainByteForByte issues every report of the catalogue, changes what each rests on, and builds each again from its
// basis: the same bytes. For 31 March 2026 as known on that day it has, built ten days later, the rows of the one built then; as known now it has others.
func TestEveryReportIsBuiltAgainByteForByte(t *testing.T) {
	dsn, dir := stockedInstallation(t), t.TempDir()
	export := func(now time.Time, args ...string) string {
		t.Helper()
		var out, errs strings.Builder
		if code := run(t.Context(), append([]string{"export", "--db", dsn}, args...), &Program{Stdout: &out, Stderr: &errs, Now: func() time.Time { return now }}); code != exitDone {
			t.Errorf("%s: exit %d: %s", args, code, errs.String())
		}
		return out.String()
	}
	issued := func(i int) time.Time { return exportNow.AddDate(0, 1, 0).Add(time.Duration(i) * time.Minute) }
	ofMarch := []string{"--draft", "--as-of", "2026-03-31", "--known-at", "2026-03-31", "--out"}
	for i, e := range reports.Catalogue {
		export(issued(i), e.Slug, "--out", filepath.Join(dir, e.Slug+".json"))
		export(issued(i), append(append([]string{e.Slug}, ofMarch...), filepath.Join(dir, "march-"+e.Slug+".json"))...)
	}
	restocked(t, dsn, exportNow.AddDate(0, 1, 1))
	later := exportNow.AddDate(0, 1, 10)
	for _, e := range reports.Catalogue {
		first, other := filepath.Join(dir, e.Slug+".json"), filepath.Join(dir, "other-"+e.Slug+".json")
		if says := export(later, "--basis", first+proofEnding, "--out", other); !strings.Contains(says, "byte for byte the same") {
			t.Errorf("%s built again: %s", e.Slug, says)
		}
		export(later, append(append([]string{e.Slug}, ofMarch...), other)...)
		if at := differs(t, filepath.Join(dir, "march-"+e.Slug+".json"), other); at != "" {
			t.Errorf("%s as known then has other rows than the one built then: %s", e.Slug, at)
		}
		export(later, e.Slug, "--draft", "--out", other)
		if differs(t, first, other) == "" {
			t.Errorf("%s does not show what was changed since", e.Slug)
		}
	}
}

// TestAPlantThatWasNotKnownThenIsSaidToBe asks for a plant as known before anybody had entered it.
func TestAPlantThatWasNotKnownThenIsSaidToBe(t *testing.T) {
	dsn := auditedInstallation(t)
	for _, e := range reports.Catalogue {
		code, says := extract(t, e.Slug, "--db", dsn, "--draft", "--scope", "plant=Skarrow Grain Terminal", "--known-at", exportNow.AddDate(0, 0, -9).Format(time.DateOnly), "--out", filepath.Join(t.TempDir(), "none.json"))
		if code != exitUsage || !strings.Contains(says, "--known-at: nothing you may see was called") {
			t.Errorf("%s: exit %d: %s", e.Slug, code, says)
		}
	}
}

// differs names the first row in which two reports in JSON differ; "" where none does.
func differs(t *testing.T, one, other string) string {
	t.Helper()
	a, b := rowsOf(t, one), rowsOf(t, other)
	for i := range min(len(a), len(b)) {
		if !bytes.Equal(a[i], b[i]) {
			return string(a[i]) + "\n" + string(b[i])
		}
	}
	if len(a) != len(b) {
		return fmt.Sprintf("%d rows and %d rows", len(a), len(b))
	}
	return ""
}

// rowsOf reads the rows of a report in JSON as they are written.
func rowsOf(t *testing.T, name string) []json.RawMessage {
	t.Helper()
	text, err := os.ReadFile(name)
	must(t, err)
	var doc struct{ Rows []json.RawMessage }
	must(t, json.Unmarshal(text, &doc))
	if len(doc.Rows) == 0 {
		t.Fatalf("%s has no rows", name)
	}
	return doc.Rows
}
