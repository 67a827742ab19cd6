package web

import (
	"maps"
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/schedule/stock"
)

// seen is what a form of stores was opened on.
func seen(v *visit, path string) url.Values {
	value, _ := v.get(path).Find("input[name=seen]").Attr("value")
	return url.Values{"seen": {value}}
}

func typed(on url.Values, name ...string) url.Values {
	form := maps.Clone(on)
	for i := 0; i < len(name); i += 2 {
		form[name[i]] = []string{name[i+1]}
	}
	return form
}

func TestTheButtonPressedTwiceDoesNotBookTwice(t *testing.T) {
	v := as(t, withStores(), assets.RoleLead)
	for path, form := range map[string]url.Values{
		"/plants/3/stores/receive":       {"item": {"3"}, "amount": {"2"}, "lot": {"P8"}, "supply": {""}},
		"/plants/3/stores/lots/31/scrap": {"amount": {"1"}, "at": {"2026-11-25T06:00"}, "reason": {"torn"}},
	} {
		opened := seen(v, path)
		if opened.Get("seen") == "" {
			t.Fatalf("%s does not keep what it was opened on", path)
		}
		form.Set("seen", "1") // what there was before the first press
		d := v.post(path, form, http.StatusUnprocessableEntity)
		if got := text(d, "[data-errors]"); !strings.Contains(got, "booked already") {
			t.Errorf("%s: the second press is answered %q", path, got)
		}
		if got := d.Find("input[name=amount]").AttrOr("value", ""); got != form.Get("amount") {
			t.Errorf("%s: the amount comes back as %q", path, got)
		}
		form.Set("seen", d.Find("input[name=seen]").AttrOr("value", ""))
		v.post(path, form, http.StatusSeeOther)
	}
}

func TestMoreDoesNotComeBackThanWentOut(t *testing.T) {
	v := as(t, withStores(), assets.RoleLead)
	const path = "/plants/3/stores/lots/31/return"
	on := seen(v, path)
	d := v.post(path, typed(on, "amount", "4.5", "reason", "van"), http.StatusUnprocessableEntity)
	if got := strings.ReplaceAll(text(d, "[data-errors]"), nb, " "); !strings.Contains(got, "Only 4 m of this lot went out") {
		t.Errorf("4.5 m of 4 m issued: %q", got)
	}
	d = v.post(path, typed(on, "amount", "1"), http.StatusUnprocessableEntity)
	if got := text(d, "[data-errors]"); !strings.Contains(got, "Name the order") {
		t.Errorf("without order and reason: %q", got)
	}
	v.post(path, typed(on, "amount", "1", "reason", "van"), http.StatusSeeOther)
}

func TestADeliveryIsReadAsItsPapersSayIt(t *testing.T) {
	f := withStores()
	v := as(t, f, assets.RoleLead)
	const path = "/plants/3/stores/receive"
	on := typed(seen(v, path), "item", "2")
	v.post(path, typed(on, "amount", "3 kg", "lot", "7802"), http.StatusSeeOther)
	for amount, want := range map[string]string{"500 g": "give the number of kilograms alone", "3 l": "give the number of kilograms alone", "1,5": "comma"} {
		d := v.post(path, typed(on, "amount", amount, "lot", "7803"), http.StatusUnprocessableEntity)
		if got := text(d, "[data-errors]"); !strings.Contains(got, want) {
			t.Errorf("%s of what goes by the kilogram: %q", amount, got)
		}
	}
	d := v.post(path, typed(on, "amount", "3", "lot", "7731", "good_until", "2027-03-01"), http.StatusUnprocessableEntity)
	if got := strings.ReplaceAll(text(d, "[data-errors]"), nb, " "); !strings.Contains(got, "Lot 7731 lies here already and is good to 20 Dec 2026") {
		t.Errorf("another date for a lot that lies here: %q", got)
	}
	v.post(path, typed(on, "amount", "3", "lot", "7731"), http.StatusSeeOther)
	rec := v.send(path, typed(on, "amount", "3", "lot", "7804", "good_until", "2026-11-01"), http.StatusSeeOther)
	d = v.get(rec.Header().Get("Location"))
	if got := strings.ReplaceAll(d.Text(), nb, " "); !strings.Contains(got, "no order takes from it") {
		t.Error("a delivery that is out of date is booked without a word")
	}
}

// The crew's phone sends the answer twice: the pad was turned once.
func TestThePadIsTurnedOnceThoughTheAnswerIsSentTwice(t *testing.T) {
	f := withStores()
	v := as(t, f, assets.RoleTechnician)
	const path = "/plants/3/stores/kit/2/cutter"
	stale := url.Values{"check": {"pad side"}, "answer": {"still not through"}, "fitted": {"2up 3 4"}} // as it stood before the pad was turned
	before := len(f.office().kept)
	v.post(path, stale, http.StatusOK)
	if n := len(f.office().kept) - before; n != 0 {
		t.Errorf("the second sending turned the pad back: %+v", f.office().kept[before:])
	}
	now, _ := v.get(path).Find("input[name=fitted]").Attr("value")
	stale.Set("fitted", now)
	v.post(path, stale, http.StatusOK)
	if n := len(f.office().kept) - before; n != 1 {
		t.Errorf("the first sending booked %d changes, want the turn", n)
	}
}

// Knife blades are blades too: whoever puts new blades into the cutter says from which item they were taken.
func TestNewBladesAreTakenFromTheItemThatWasNamed(t *testing.T) {
	blade := func(id int64, name string) stock.Outlook {
		item := assets.StockItem{Version: assets.Version{ID: id}, Name: name, Kind: assets.StockBlade, Unit: assets.UnitPiece}
		return stock.Outlook{Item: item, OnHand: 3000, Lots: []stock.Lot{{StockLot: assets.StockLot{Version: assets.Version{ID: 10 * id}, ItemID: id}, OnHand: 3000}}}
	}
	room := &Room{Today: "2026-11-25", Outlooks: []stock.Outlook{blade(7, "Knife blades"), blade(8, "Step cutter blades")}}
	if _, err := takeOne(room, assets.StockBlade, "blades 10", ""); err == nil {
		t.Error("of two items one was taken though nobody named it")
	}
	lines, err := takeOne(room, assets.StockBlade, "blades 10", "8")
	if err != nil || len(lines) != 1 || lines[0].LotID != 80 || lines[0].Quantity != -1000 {
		t.Errorf("%+v, %v; want one piece of lot 80", lines, err)
	}
	if lines, err := takeOne(room, assets.StockBlade, "blades 10", notFromHere); err != nil || lines != nil {
		t.Errorf("brought along: %+v, %v", lines, err)
	}
}

// The storekeeper asks why just so much is to be ordered: the page shows the figures it is the difference of.
func TestTheItemSaysWhySoMuchIsToBeOrdered(t *testing.T) {
	f := withStores()
	room, _ := f.office().Room(t.Context(), assets.Scope{}, 3, morning)
	o, _ := room.outlook(2)
	if o.Order == 0 || o.Order < o.Cover.Least-o.Cover.Left {
		t.Fatalf("order %v for %+v", o.Order, o.Cover)
	}
	r := &Request{F: Format{Zone: morning.Location(), Now: morning}}
	says := strings.ReplaceAll(text(as(t, f, assets.RoleLead).get("/plants/3/stores/items/2"), "main"), nb, " ")
	for _, want := range []string{"Why so much is to be ordered", r.F.PlainDay(o.Cover.Day), r.quantity(o.Item, o.Cover.Least), r.quantity(o.Item, o.Cover.Left), r.quantity(o.Item, o.Order) + ", the next whole kg"} {
		if !strings.Contains(says, strings.ReplaceAll(want, nb, " ")) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

// A storekeeper counts two of three shelves: one agrees, one lacks 1.2 m, the third is left empty and is not counted. The ledger's amounts do not stand
// beside the fields. What was booked meanwhile is asked about, and nothing is booked twice.
func TestAStorekeeperCountsTheShelves(t *testing.T) {
	f := withStores()
	v := as(t, f, assets.RoleLead)
	const path = "/plants/3/stores/count"
	page := v.get(path)
	if rows := page.Find("table.calc tbody tr"); rows.Length() != 3 || strings.Contains(rows.Text(), "17.2") || !strings.Contains(rows.Text(), "Release cloth") {
		t.Errorf("the page to count on: %q", rows.Text())
	}
	sent := url.Values{"held": {page.Find("input[name=held]").AttrOr("value", "")}, "counted_31": {"16"}, "counted_41": {"24"}, "reason": {"offcut thrown away"}}
	v.post(path, sent, http.StatusSeeOther)
	lines := f.office().kept[0].([]assets.StockMovement)
	if len(lines) != 1 || lines[0].LotID != 31 || lines[0].Quantity != -1200 || lines[0].Why != assets.MoveCounted || lines[0].Reason == "" {
		t.Errorf("booked %+v, want 1.2 m of lot 31 missed", lines)
	}
	for why, typed := range map[string]url.Values{
		"nothing counted":  {"held": sent["held"]},
		"less than none":   {"held": sent["held"], "counted_31": {"-1"}},
		"another unit":     {"held": sent["held"], "counted_31": {"16 kg"}},
		"booked meanwhile": {"held": {"31=18000 41=24000 51=1000"}, "counted_31": {"16"}},
	} {
		if d := v.post(path, typed, http.StatusUnprocessableEntity); len(f.office().kept) != 1 || text(d, "[data-errors]") == "" {
			t.Errorf("%s: kept %d times, %q", why, len(f.office().kept), text(d, "[data-errors]"))
		}
	}
	v.post(path, url.Values{"held": sent["held"], "counted_41": {"24"}}, http.StatusSeeOther)
	if len(f.office().kept) != 1 {
		t.Error("a count that agrees was booked")
	}
}

func TestACounterIsMovedByWholeCuts(t *testing.T) {
	v := as(t, withStores(), assets.RoleLead)
	const path = "/plants/3/stores/kit/2/counters/3"
	on := seen(v, path)
	d := v.post(path, typed(on, "amount", "0.5", "reason", "half a cut"), http.StatusUnprocessableEntity)
	if got := text(d, "[data-errors]"); !strings.Contains(got, "whole number") {
		t.Errorf("half a cut: %q", got)
	}
	v.post(path, typed(on, "amount", "4", "reason", "trial cuts"), http.StatusSeeOther)
}

// On a phone what stands beside a form comes below it; cautions come first there all the same.
func TestOnAPhoneCautionsComeBeforeTheForm(t *testing.T) {
	css, err := os.ReadFile("static/css/app.css")
	if err != nil {
		t.Fatal(err)
	}
	_, narrow, found := strings.Cut(string(css), "@media screen and (max-width:900px)")
	if !found || !strings.Contains(narrow, ".cols>.stack>.caution{order:-1}") {
		t.Error("no rule for narrow screens puts cautions first")
	}
}
