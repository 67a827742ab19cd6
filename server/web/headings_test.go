package web

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"carryside/assets"
)

func (o *fakeOffice) KeptHeadings(context.Context, assets.Scope, int64) ([]KeptHeadings, error) {
	return o.named, nil
}

func (o *fakeOffice) KeepHeadings(_ context.Context, _ assets.Scope, act Act, _ assets.Plant, name, mapping string, replace bool) error {
	for i, k := range o.named {
		if k.Name == name {
			if !replace {
				return assets.Invalid{"name": "headings are kept under this name already; choose another one, or tick that these take their place"}
			}
			o.named[i].Mapping = mapping
			return o.change(act, name)
		}
	}
	o.named = append(o.named, KeptHeadings{ID: int64(31 + len(o.named)), Own: true, Name: name, Mapping: mapping, At: on(2026, 11, 1).At, ByID: 1})
	return o.change(act, name)
}

func (o *fakeOffice) RenameHeadings(_ context.Context, _ assets.Scope, act Act, _ assets.Plant, id int64, name string) error {
	if err := o.change(act, id, name); err != nil {
		return err
	}
	for i := range o.named {
		if o.named[i].ID == id {
			o.named[i].Name = name
		}
	}
	return nil
}

func (o *fakeOffice) RemoveHeadings(_ context.Context, _ assets.Scope, act Act, _ assets.Plant, id int64) error {
	o.named = nil
	return o.change(act, id)
}

// A plant writes "Joint age" over the mark of its splices, which nobody else would guess. The planner says so once,
// keeps it, and the list of next month, which is longer, is read the same way.
func TestHeadingsCorrectedOnceAreKeptForTheNextList(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	at := v.upload("joints.csv", "Conveyor;Joint age;Made on\nQ1;1;2023-09-14\n", http.StatusSeeOther).Header().Get("Location")
	v.settled(at, http.StatusOK)
	v.post(at, url.Values{"keep": {"yes"}, "name": {""}}, http.StatusUnprocessableEntity)
	v.send(at, url.Values{"again": {"yes"}, "m0_A": {"conveyor"}, "m0_B": {"splice_number"}, "m0_C": {"made_on"}}, http.StatusSeeOther)
	v.settled(at, http.StatusOK)
	v.taken(at, url.Values{"keep": {"yes"}, "name": {"Monthly joints"}})
	d := v.post(at, url.Values{"keep": {"yes"}, "name": {"Monthly joints"}}, http.StatusUnprocessableEntity)
	if got := text(d, ".note.bad li"); !strings.Contains(got, "kept under this name already") {
		t.Errorf("told %q", got)
	}
	v.taken(at, url.Values{"keep": {"yes"}, "name": {"Monthly joints"}, "replace": {"yes"}})
	d = v.get("/plants/3/import")
	if got := text(d, "section:has(#kep) tbody tr"); !strings.Contains(got, "Monthly joints") || !strings.Contains(got, "splices, 3 columns") || !strings.Contains(got, "I. Vanterel") {
		t.Errorf("kept headings: %q", got)
	}
	next := v.uploadWith("joints 12.csv", "Conveyor;Joint age;Made on\nQ1;1;2023-09-14\nQ2;1;2024-03-30\n", url.Values{"headings": {"31"}}, http.StatusSeeOther).Header().Get("Location")
	d = v.settled(next, http.StatusOK)
	if got := text(d, "h1"); got != "All 2 rows are ready" {
		t.Errorf("the next list: %q", got)
	}
	if got := d.Find(`select[name="m0_B"] option[selected]`).AttrOr("value", ""); got != "splice_number" {
		t.Errorf("its second heading is read as %q", got)
	}
	v.uploadWith("joints 12.csv", jointList, url.Values{"headings": {"77"}}, http.StatusUnprocessableEntity)
}

func TestKeptHeadingsAreRenamedAndRemoved(t *testing.T) {
	f := skarrow()
	o := f.office()
	o.named = []KeptHeadings{{ID: 31, Own: true, Name: "Monthly joints", Mapping: `{"format":1,"tables":[]}`, ByID: 1, At: on(2026, 11, 1).At}, {ID: 32, Name: "For all", Mapping: `{"format":1,"tables":[]}`}}
	v := as(t, f, assets.RolePlanner)
	if n := v.get("/plants/3/import").Find(`section:has(#kep) form`).Length(); n != 1 {
		t.Errorf("%d forms: headings of every customer are not changed here", n)
	}
	v.refused("/plants/3/import/headings/31", url.Values{"name": {""}, "rename": {"yes"}}, "kept31-name")
	o.fail = assets.Invalid{"name": "other headings are kept under this name; choose another one, or remove those first"}
	d := v.post("/plants/3/import/headings/31", url.Values{"name": {"For hours"}, "rename": {"yes"}}, http.StatusUnprocessableEntity)
	if got := d.Find("#f-kept31-name").AttrOr("value", ""); got != "For hours" || !strings.Contains(text(d, ".note.bad"), "Other headings are kept under this name") {
		t.Errorf("typed %q, told %q", got, text(d, ".note.bad"))
	}
	v.taken("/plants/3/import/headings/31", url.Values{"name": {"For hours"}, "rename": {"yes"}})
	if o.named[0].Name != "For hours" {
		t.Errorf("kept %+v", o.named[0])
	}
	v.post("/plants/3/import/headings/32", url.Values{"name": {"Mine"}, "rename": {"yes"}}, http.StatusNotFound)
	v.taken("/plants/3/import/headings/31", url.Values{"name": {"For hours"}, "remove": {"yes"}})
	if v.get("/plants/3/import").Find("#kep").Length() != 0 {
		t.Error("removed headings are still offered")
	}
}
