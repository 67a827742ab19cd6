package main

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/schedule/workorder"

	"github.com/PuerkitoBio/goquery"
)

// mostEntries is how many entries or taps an emergency splice may take on a phone.
const mostEntries = 8

// A splice tears on the night shift: the technician records it from the phone with what nobody can know for them, and the button.
func TestAnEmergencySpliceIsRecordedInAFewTaps(t *testing.T) {
	h := openHouse(t)
	okker := h.as("M. Okkerdal")
	torn := vulcanised(t, h)
	page := okker.get("/plants/1/emergency")
	form := page.Find("main form[method=post]").First()
	taps := 1 // the button
	form.Find("select, input[aria-required], textarea[aria-required]").Each(func(_ int, f *goquery.Selection) {
		name := f.AttrOr("name", "")
		if goquery.NodeName(f) == "select" && f.Find("option[selected]").AttrOr("value", f.Find("option").First().AttrOr("value", "")) == "" || goquery.NodeName(f) == "input" && f.AttrOr("value", "") == "" {
			taps++
			t.Logf("to be entered: %s", name)
		}
	})
	if taps > mostEntries {
		t.Errorf("%d entries and taps, at most %d", taps, mostEntries)
	}
	typed := map[string]string{"target": fmt.Sprintf("s%d", torn.ID), "failure_mode": "edge torn"}
	if len(typed)+1 != taps {
		t.Errorf("%d entries are asked for, the test makes %d", taps-1, len(typed))
	}
	told := okker.submit("/plants/1/emergency", "Record it as done", typed, http.StatusOK)
	if say := told.Find("h1").Text(); !strings.Contains(say, "is done and waits for a signature") {
		t.Errorf("the order says %q", say)
	}
	ended, err := registry.Splice(t.Context(), h.db, assets.JobScope(), torn.ID, plantdb.AsOf{})
	must(t, err)
	if ended.Ended == nil || ended.RetiredWhy != assets.RetiredFailed || ended.FailureMode != "edge torn" {
		t.Errorf("the torn splice stands as %+v, want it ended as failed", ended)
	}
	list, _, err := orders.List(t.Context(), h.db, assets.JobScope(), orders.Filter{PlantID: 1, Kind: workorder.KindResplice, States: []workorder.State{workorder.Done}})
	must(t, err)
	if len(list) == 0 || list[len(list)-1].DoneAt == 0 {
		t.Errorf("no order stands as done: %+v", list)
	}
	made, err := registry.Splice(t.Context(), h.db, assets.JobScope(), list[len(list)-1].SpliceID, plantdb.AsOf{})
	must(t, err)
	if made.Form != assets.FormHinged || made.Number != torn.Number || made.BeltID != torn.BeltID {
		t.Errorf("made %+v, want hinged fasteners in the torn one's place", made)
	}
	viewer := h.as("T. Brannoch")
	if d, status := viewer.read(viewer.client.Get(h.base + "/plants/1/emergency")); status != http.StatusForbidden && status != http.StatusNotFound {
		t.Errorf("an auditor gets the form: %d %s", status, d.Find("h1").Text())
	}
}

// The same night: the belt stood from 01:10 and could run again at 03:40. Told with the emergency splice, it is a standstill of 2.5 h by this splice and
// order; folded away, it costs nobody an entry who does not know it.
func TestAnEmergencySpliceTellsHowLongTheConveyorStood(t *testing.T) {
	h := openHouse(t)
	okker := h.as("M. Okkerdal")
	torn := vulcanised(t, h)
	form := okker.get("/plants/1/emergency").Find("main form[method=post]").First()
	if folded := form.Find("details:not([open]) input[name=from_at], details:not([open]) input[name=until_at]"); folded.Length() != 2 {
		t.Errorf("%d of the two times are folded away", folded.Length())
	}
	typed := map[string]string{"target": fmt.Sprintf("s%d", torn.ID), "failure_mode": "edge torn", "until_at": "2026-11-25T03:40"}
	page := okker.submit("/plants/1/emergency", "Record it as done", typed, http.StatusUnprocessableEntity)
	if page.Find("details[open] input[name=from_at]").Length() != 1 {
		t.Error("an end without a beginning is not shown where it is asked for")
	}
	typed["from_at"] = "2026-11-25T01:10"
	okker.submit("/plants/1/emergency", "Record it as done", typed, http.StatusOK)
	list, _, err := orders.List(t.Context(), h.db, assets.JobScope(), orders.Filter{PlantID: 1, Kind: workorder.KindResplice, States: []workorder.State{workorder.Done}})
	must(t, err)
	stood, err := stops.Standstills(t.Context(), h.db, assets.JobScope(), 1, 0, plantdb.AsOf{})
	must(t, err)
	i := slices.IndexFunc(stood, func(s assets.Standstill) bool { return s.SpliceID == torn.ID })
	if i < 0 {
		t.Fatalf("no standstill by the torn splice: %+v", stood)
	}
	if s := stood[i]; s.UntilAt == nil || s.UntilAt.Time().Sub(s.FromAt.Time()) != 150*time.Minute || s.Cause != assets.CauseSplice || s.OrderID != list[len(list)-1].ID || s.ConveyorID != torn.ConveyorID {
		t.Errorf("it stood as %+v, want 2.5 h by splice %d and order %d", s, torn.ID, list[len(list)-1].ID)
	}
}
