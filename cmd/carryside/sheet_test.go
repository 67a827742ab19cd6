package main

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/PuerkitoBio/goquery"
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

// What a lead changes holds for sheets opened from then on.
func TestALeadChangesTheStepsOfASheet(t *testing.T) {
	lead := openHouse(t).as("A. Kesterlane")
	lead.addsAStep()
	lead.putsAStepBetween()
	lead.changesARunningStart()
}

func (lead *visitor) addsAStep() {
	t := lead.t
	path := "/plants/1/steps/re-splice.finger.hot-pressed"
	page := lead.get(path)
	n := page.Find("textarea[name^='w']").Length()
	lead.submit(path, "Keep the steps", map[string]string{fmt.Sprintf("w%d", n-1): "Belt edge marked with the order's number", "changed": "the auditor asks for it"}, http.StatusOK)
	if text := lead.get("/plants/1/steps").Find("main").Text(); !strings.Contains(text, "own, version 1") || !strings.Contains(text, "the auditor asks for it") {
		t.Error("the list does not say that the steps are the company's own")
	}
	for why, typed := range map[string]map[string]string{"without isolation": {"w0": ""}, "with other words for it": {"w0": "Sweep the floor"}, "with the cut before it": {"no3": "0.5"}} {
		typed["changed"] = "shorter"
		refused := lead.submit(path, "Keep the steps", typed, http.StatusUnprocessableEntity)
		if msg := refused.Find(".note.bad").Text(); !strings.Contains(msg, "isolate") || !strings.Contains(msg, "dead") {
			t.Errorf("a sheet %s: %q", why, msg)
		}
		if kept := refused.Find("textarea[name=changed]").Text(); kept != "shorter" {
			t.Errorf("a sheet %s: what was typed comes back as %q", why, kept)
		}
	}
}

// A lead puts a step of the plant's own between two others, asks for a photo of it and tightens a limit: the others keep their
// words, their order and what they mean.
func (lead *visitor) putsAStepBetween() {
	t := lead.t
	path := "/plants/1/steps/insert-piece.finger.hot-pressed"
	row := func(page *goquery.Document, words string) (int, *goquery.Selection) {
		rows := page.Find("textarea[name^='w']")
		found := rows.FilterFunction(func(_ int, s *goquery.Selection) bool { return strings.HasPrefix(s.Text(), words) })
		return rows.IndexOfSelection(found), found.Closest("tr")
	}
	page := lead.get(path)
	blank := page.Find("textarea[name^='w']").Length() - 1
	step, _ := row(page, "Step at the edges")
	if got := page.Find(fmt.Sprintf("input[name=most%d]", step)).AttrOr("value", ""); got != "1" {
		t.Errorf("the step at the edges may be %q, want 1 mm", got)
	}
	at := func(part string, i int) string { return fmt.Sprintf("%s%d", part, i) }
	lead.submit(path, "Keep the steps", map[string]string{at("no", blank): "5.5", at("w", blank): "Bias line drawn on both ends", at("photo", blank): "yes", at("most", step): "0.5", "changed": "crooked splices on Q3"}, http.StatusOK)
	page = lead.get(path)
	i, own := row(page, "Bias line drawn")
	before, _ := row(page, "Both ends squared")
	after, _ := row(page, "Blade and cutting pad")
	if before != 4 || i != 5 || after != 6 || own.Find("input[name^=photo]").AttrOr("checked", "no") == "no" {
		t.Errorf("squared, own, blade stand in rows %d, %d, %d, want 4, 5, 6 with a photo of the own", before, i, after)
	}
	if key := page.Find(at("input[name=key", after)+"]").AttrOr("value", ""); key != "blade" {
		t.Errorf("the step of blade and pad means %q now", key)
	}
	if got := page.Find(at("input[name=most", step+1)+"]").AttrOr("value", ""); got != "0.5" {
		t.Errorf("the step at the edges may be %q mm, want 0.5", got)
	}
}

// Inspections and run-in checks begin outside the guards, at a running belt: a lead changes their steps too.
func (lead *visitor) changesARunningStart() {
	for _, work := range []string{"inspection", "run-in-check"} {
		path := "/plants/1/steps/" + work + ".."
		lead.submit(path, "Keep the steps", map[string]string{"changed": "read over, kept as usual"}, http.StatusOK)
		lead.submit(path, "Keep the steps", map[string]string{"no2": "0.5", "changed": "measured first"}, http.StatusUnprocessableEntity)
	}
}
