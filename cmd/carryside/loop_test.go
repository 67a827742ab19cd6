package main

import (
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/workorder"

	"github.com/PuerkitoBio/goquery"
)

// figuresOf are lives and failures of all cohorts together, as the page of lives tells them.
func figuresOf(t *testing.T, page *goquery.Document) (lives, failures int) {
	t.Helper()
	sum := func(column string) (n int) {
		page.Find("td[data-l=" + column + "]").Each(func(_ int, c *goquery.Selection) {
			v, err := strconv.Atoi(strings.ReplaceAll(strings.TrimSpace(c.Text()), "\u00a0", ""))
			if err != nil {
				t.Fatalf("%s of a cohort: %v", column, err)
			}
			n += v
		})
		return n
	}
	return sum("Lives"), sum("Failures")
}

// One splice is followed from made to failed to remade: the register, the loop, the clocks, the life figures, the order and its signature all tell the
// same story afterwards.
func TestOneSpliceIsFollowedFromMadeToFailedToRemade(t *testing.T) {
	h := openHouse(t)
	planner, okker := h.as("I. Vanterel"), h.as("M. Okkerdal")
	old := vulcanised(t, h)
	loopBefore := loopOf(t, h, old.BeltID)
	livesBefore, failuresBefore := figuresOf(t, planner.get("/plants/1/life"))

	hot := 0
	okker.get("/plants/1/emergency").Find("select[name=made_as] option").Each(func(i int, o *goquery.Selection) {
		if strings.Contains(o.Text(), "vulcanised") {
			hot = i + 1
		}
	})
	okker.submit("/plants/1/emergency", "Record it as done", map[string]string{"target": fmt.Sprintf("s%d", old.ID), "failure_mode": "edge torn", "made_as": fmt.Sprint(hot), "shortening_m": "1500"}, http.StatusOK)

	ended, err := registry.Splice(t.Context(), h.db, assets.JobScope(), old.ID, plantdb.AsOf{})
	must(t, err)
	if ended.Ended == nil || ended.RetiredWhy != assets.RetiredFailed {
		t.Fatalf("the old splice stands as %+v, want it failed", ended)
	}
	if after := loopOf(t, h, old.BeltID); math.Abs(loopBefore-after-1.5) > 1e-9 {
		t.Errorf("the loop went from %v to %v m, want 1.5 m less", loopBefore, after)
	}
	list, _, err := orders.List(t.Context(), h.db, assets.JobScope(), orders.Filter{PlantID: 1, Kind: workorder.KindResplice, States: []workorder.State{workorder.Done}})
	must(t, err)
	order := list[len(list)-1]
	if ended.RetiredOrderID != order.ID {
		t.Errorf("the old splice was ended by order %d, want %d", ended.RetiredOrderID, order.ID)
	}
	fresh := planner.get(fmt.Sprintf("/plants/1/splices/%d", order.SpliceID))
	if say := fresh.Find("h1").Text(); strings.Contains(say, "past its") || strings.Contains(say, "no date") {
		t.Errorf("the new splice says %q", say)
	}
	if days := strings.TrimSpace(fresh.Find("tr:contains('Days') td.num").First().Text()); days != "0" {
		t.Errorf("the new splice is %q days old, want 0", days)
	}
	livesAfter, failuresAfter := figuresOf(t, planner.get("/plants/1/life"))
	if failuresAfter != failuresBefore+1 || livesAfter != livesBefore+1 {
		t.Errorf("the cohorts went from %d lives with %d failures to %d with %d, want one more of each", livesBefore, failuresBefore, livesAfter, failuresAfter)
	}
	page := fmt.Sprintf("/plants/1/orders/%d", order.Number)
	if text := okker.get(page).Find("main").Text(); !strings.Contains(text, "emergency") {
		t.Error("the order does not say that it was an emergency")
	}
	okker.submit(page, signButton(t, okker, page), map[string]string{}, http.StatusOK)
	signed, err := orders.ByNumber(t.Context(), h.db, assets.JobScope(), 1, order.Number)
	must(t, err)
	if signed.State != workorder.Signed {
		t.Errorf("the order is %s, want signed", signed.State)
	}
}
