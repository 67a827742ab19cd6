package main

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
)

// A technician notes the sheet of a re-splice step by step: a step without its measured value is refused with what was typed, the rest is kept
// once, and the order's sheet shows what was found.
func TestASheetIsFilledInAtTheConveyor(t *testing.T) {
	h := openHouse(t)
	planner, okker := h.as("I. Vanterel"), h.as("M. Okkerdal")
	order, _ := h.openResplice(planner)
	path := order + "/sheet"
	if text := planner.get(order).Find("main").Text(); !strings.Contains(text, "Belt one splice takes") || !strings.Contains(text, "Isolated with own lock and tag") {
		t.Errorf("the order's sheet has no computed figures or no steps")
	}
	if planner.get(order).Find("button:contains('Accept it')").Length() > 0 {
		planner.submit(order, "Accept it", nil, http.StatusOK)
	}
	form := okker.get(path)
	measured := form.Find("input[name='value_cut_out']")
	if measured.Length() != 1 {
		t.Fatal("the sheet does not ask how much belt was cut out")
	}
	refused := okker.submit(path, "Keep what is noted", map[string]string{"state_isolated": "done", "state_cut_out": "done"}, http.StatusUnprocessableEntity)
	if msg := refused.Find(".note.bad").Text(); !strings.Contains(msg, "measured value") {
		t.Errorf("a measured step without its value: %q", msg)
	}
	if kept := refused.Find("select[name=state_isolated] option[selected]").AttrOr("value", ""); kept != "done" {
		t.Errorf("what was chosen is lost: %q", kept)
	}
	okker.submit(path, "Keep what is noted", map[string]string{"permit": "P-2261", "state_isolated": "done", "state_cut_out": "done", "value_cut_out": "1360"}, http.StatusOK)
	sheet := planner.get(order)
	if text := sheet.Find("main").Text(); !strings.Contains(text, "P-2261") || !strings.Contains(strings.ReplaceAll(text, "\u00a0", " "), "1 360 mm") {
		t.Error("the order's sheet does not show permit and measured length")
	}
	if n := sheet.Find("table tr:contains('M. Okkerdal')").Length(); n < 2 {
		t.Errorf("%d rows name who noted them, want the two steps", n)
	}
}

// A lead's own steps hold for sheets opened from then on.
func TestALeadChangesTheStepsOfASheet(t *testing.T) {
	h := openHouse(t)
	lead := h.as("A. Kesterlane")
	path := "/plants/1/steps/re-splice.finger.hot-pressed"
	page := lead.get(path)
	n := page.Find("input[name^='w']").Length()
	lead.submit(path, "Keep the steps", map[string]string{fmt.Sprintf("w%d", n-1): "Belt edge marked with the order's number", "changed": "the auditor asks for it"}, http.StatusOK)
	if text := lead.get("/plants/1/steps").Find("main").Text(); !strings.Contains(text, "own, version 1") || !strings.Contains(text, "the auditor asks for it") {
		t.Error("the list does not say that the steps are the company's own")
	}
	refused := lead.submit(path, "Keep the steps", map[string]string{"w0": "", "changed": "shorter"}, http.StatusUnprocessableEntity)
	if msg := refused.Find(".note.bad").Text(); !strings.Contains(msg, "isolates and proves dead") {
		t.Errorf("a sheet without isolation: %q", msg)
	}
}
