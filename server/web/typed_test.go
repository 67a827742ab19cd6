package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

func TestADateBeforeAnyBeltIsRefused(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	for _, at := range []string{"0001-01-01T00:00", "1066-10-14T09:00", "1949-12-31T23:59"} {
		v.refused("/plants/3/conveyors/3/reading", url.Values{"shown_h": {"10000"}, "at": {at}}, "at")
	}
	for _, fitted := range []string{"1066-01-01", "1949", "before 1066"} {
		v.refused("/plants/3/conveyors/3/belt", url.Values{"fitted": {fitted}, "removed_why": {"worn"}}, "fitted")
	}
	if len(f.office().acts) != 0 {
		t.Errorf("kept %+v", f.office().acts)
	}
	v.taken("/plants/3/conveyors/3/belt", url.Values{"fitted": {"1950-01-01"}, "removed_why": {"worn"}})
}

func TestTextThatIsTooLongOrCannotBeShownIsRefused(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	path := "/plants/3/conveyors/3/edit"
	form := filledForm(v.get(path))
	form.Del("more")
	form.Set("name", strings.Repeat("å", 201))
	form.Set("remark", strings.Repeat("a", 4001))
	form.Set("tag", "Q3\x07")
	form.Set("product", "grain\x1b[1m")
	v.refused(path, form, "name", "remark", "tag", "product")
	form.Set("tag", "Q3\x00")
	v.post(path, form, http.StatusUnprocessableEntity)
	if len(f.office().acts) != 0 {
		t.Errorf("kept %+v", f.office().acts)
	}
	form.Set("name", strings.Repeat("å", 200))
	form.Set("remark", "two lines\r\nand a\ttab")
	form.Set("tag", "Q3")
	form.Set("product", "grain")
	v.taken(path, form)
}

// A name that stands in the register already, however long, must not keep somebody from changing the speed.
func TestWhatStandsAlreadyIsNotRefused(t *testing.T) {
	long := strings.Repeat("a", 300)
	f := NewForm(url.Values{"name": {long}})
	f.Text("name", "Name", long)
	if err := (&Request{}).entry(f).Err(); err != nil {
		t.Error(err)
	}
}

func TestABeltsDatesAndMakeAreCorrectedAndNotChanged(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	b, _ := f.fleet.Register.BeltOn(3, 0)
	path := "/plants/3/belts/" + plainInt(b.ID) + "/edit"
	form := filledForm(v.get(path))
	form.Set("loop_length_m", "250.1")
	form.Set("remark", "shortened at the head")
	v.taken(path, form)
	if o := f.office(); o.from[0] != assets.InstantOf(morning) || one[assets.Belt](t, o).LoopLengthM != 250.1 {
		t.Errorf("a shorter loop is kept from %v as %+v", o.from, o.kept)
	}
	form.Set("fitted", "spring 2022")
	form.Set("width_m", "1234")
	v.refused(path, form, "fitted", "width_m")
	form.Set("from", "always")
	form.Set("reason", "the delivery note was of another belt")
	v.taken(path, form)
	if o := f.office(); o.from[1] != 0 || one[assets.Belt](t, o).Fitted.AsWritten != "spring 2022" {
		t.Errorf("a correction is kept from %v as %+v", o.from, o.kept)
	}
}

func TestBothSidesAreInPlantTimeAndUnits(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	path := "/plants/3/conveyors/3/reading"
	form := url.Values{"shown_h": {"11000"}, "at": {"2026-11-25T06:40"}}
	f.office().fail = assets.ErrConflict
	d := v.post(path, form, http.StatusConflict)
	if got := text(d, "main"); strings.Contains(got, "2026-11-25T05:40") || !strings.Contains(got, "2026-11-25T06:40") {
		t.Errorf("the page says %q", got)
	}
}

// The re-splice limit lies behind every splice made more than a month ago, so saving raises an order for each.
func TestTheEditorSaysWhatSavingRaisesAtOnce(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	form := filledForm(v.get("/plants/3/rules/new"))
	for name, value := range map[string]string{"name": "Re-splice each month", "target": "splice", "kind": "interval", "every": "1", "unit": "month", "counted_from": string(rules.FromMade),
		"order_kind": string(workorder.KindResplice), "show": "yes"} {
		form.Set(name, value)
	}
	d := v.post("/plants/3/rules/new", form, http.StatusOK)
	if got := text(d, "h1"); !strings.Contains(got, "orders as soon as it is saved") {
		t.Errorf("headline %q", got)
	}
	if got := text(d, "main") + text(d, "header"); strings.Contains(got, "raises nothing that was planned before") {
		t.Errorf("the page says %q", got)
	}
	for n, want := range map[int]string{0: "It raises nothing that was planned before now.", 2: "It raises 2 orders at once for what is past its limit already, and nothing else that was planned before now."} {
		if got := strings.ReplaceAll(atOnceWords(n, rules.Rule{}), nb, " "); got != want {
			t.Errorf("%d at once: %q", n, got)
		}
	}
}
