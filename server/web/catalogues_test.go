package web

import (
	"context"
	"math"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"carryside/assets"
)

func (o *fakeOffice) Specifications(context.Context) ([]assets.Specification, error) {
	s := assets.Specification{Name: "EP 1000/4 6+3", Family: "RB-EP", Carcass: "polyester-polyamide fabric", Plies: 4,
		SpliceKinds: []assets.KindPair{{Form: assets.FormStepped, Bond: assets.BondHotVulcanised}},
		Values: []assets.CatalogueValue{{Quantity: "thickness_m", Value: 0.0142, Unit: "m", Class: assets.ClassD, Source: "common practice"},
			{Quantity: "odd_ratio", Value: 3, Unit: "times", Class: assets.ClassP, Source: "ours"}}}
	s.ID, s.RowID = 1, 501
	return []assets.Specification{s}, nil
}

func (o *fakeOffice) SpliceKinds(context.Context) ([]assets.SpliceKind, error) {
	k := assets.SpliceKind{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Values: []assets.CatalogueValue{{Quantity: "life_days", Value: 1460, Unit: "days", Class: assets.ClassD, Source: "common practice"}}}
	k.ID, k.RowID = 8, 508
	return []assets.SpliceKind{k}, nil
}

func (o *fakeOffice) SaveSpecification(_ context.Context, act Act, s *assets.Specification, from assets.Instant) error {
	o.from = append(o.from, from)
	return o.change(act, *s)
}

func (o *fakeOffice) SaveSpliceKind(_ context.Context, act Act, k *assets.SpliceKind, from assets.Instant) error {
	o.from = append(o.from, from)
	return o.change(act, *k)
}

func (o *fakeOffice) Calendars(context.Context, assets.Scope, int64) ([]assets.ProductionCalendar, error) {
	c := assets.ProductionCalendar{PlantID: 3, Shifts: []assets.Shift{{Weekday: 1, Start: "06:00", End: "14:00"}, {Weekday: 1, Start: "22:00", End: "06:00"}, {Weekday: 0, Start: "00:00", End: "24:00"}},
		Exceptions: []assets.ExceptionDay{{Day: "2026-12-25", Note: "Christmas"}}}
	c.ID, c.RowID = 60, 600
	return []assets.ProductionCalendar{c}, nil
}

func (o *fakeOffice) SaveCalendar(_ context.Context, _ assets.Scope, act Act, c *assets.ProductionCalendar, from assets.Instant) error {
	o.from = append(o.from, from)
	return o.change(act, *c)
}

func (o *fakeOffice) EndCalendar(_ context.Context, _ assets.Scope, act Act, _, id int64, _ assets.Instant) error {
	return o.change(act, id)
}

// withLead gives the fake plant a lead, who keeps catalogues.
func withLead(f *fakePlant) *fakePlant {
	f.staff = append(f.staff, assets.Person{ID: 9, Name: "N. Corvane", Role: assets.RoleLead})
	return f
}

func TestCataloguesSayClassAndSource(t *testing.T) {
	d := as(t, skarrow(), assets.RoleTechnician).get("/plants/3/catalogues")
	if got := text(d, "tbody td:nth-child(5)"); !strings.Contains(got, "Thickness 14.2 mm (D, common practice)") || !strings.Contains(got, "Odd_ratio 3 times (P, ours)") {
		t.Errorf("defaults %q", got)
	}
	if d.Find("main tbody a").Length() != 0 {
		t.Error("a technician is offered to change the catalogue")
	}
}

func TestASpecificationIsChangedWithItsDefaults(t *testing.T) {
	f := withLead(skarrow())
	v := as(t, f, assets.RoleLead)
	path := "/plants/3/catalogues/specifications/1"
	form := filledForm(v.get(path))
	form.Set("v3_quantity", "min_pulley_m")
	form.Set("v3_value", "wide")
	form.Set("v3_class", "A")
	form.Set("v4_quantity", "thickness_m")
	form.Set("v4_value", "15")
	v.refused(path, form, "v3_value", "v3_source", "v4_quantity")
	form.Set("v3_value", "630")
	form.Set("v3_source", "data sheet of the belt")
	form.Set("v4_quantity", "")
	form.Set("v4_value", "")
	v.taken(path, form)
	s := one[assets.Specification](t, f.office())
	if len(s.Values) != 3 || math.Abs(s.Values[2].Value-0.63) > 1e-12 || s.Values[2].Unit != "m" || s.Values[2].Class != assets.ClassA {
		t.Errorf("defaults %+v", s.Values)
	}
	if s.Values[0].Value != 0.0142 || s.Values[1] != (assets.CatalogueValue{Quantity: "odd_ratio", Value: 3, Unit: "times", Class: assets.ClassP, Source: "ours"}) {
		t.Errorf("what was not touched changed: %+v", s.Values)
	}
	if len(s.SpliceKinds) != 1 || s.RowID != 501 || f.office().from[0] == 0 {
		t.Errorf("kept %+v from %v", s, f.office().from)
	}
	as(t, f, assets.RolePlanner).page(path, http.StatusForbidden)
}

func TestASpliceKindIsAdded(t *testing.T) {
	f := withLead(skarrow())
	v := as(t, f, assets.RoleLead)
	v.refused("/plants/3/catalogues/kinds/new", url.Values{"form": {"knot"}, "bond": {"none"}, "rows": {"1"}, "v1_value": {"3"}}, "form", "v1_quantity")
	v.taken("/plants/3/catalogues/kinds/new", url.Values{"form": {"finger"}, "bond": {"hot-pressed"}, "rows": {"1"}, "v1_quantity": {"life_passes"}, "v1_value": {"1 000 000"}, "v1_class": {"D"}})
	if k := one[assets.SpliceKind](t, f.office()); k.Values[0].Value != 1e6 || k.Values[0].Unit != "passes" {
		t.Errorf("kept %+v", k)
	}
}

func TestALineIsNamedAndEnded(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	if got := text(v.get("/plants/3/lines"), "tbody td:nth-child(4)"); got != "as the plant, 40 h a week" {
		t.Errorf("planned %q", got)
	}
	v.refused("/plants/3/lines/new", url.Values{"name": {""}, "position": {"first"}}, "name", "position")
	v.taken("/plants/3/lines/new", url.Values{"name": {"Silo gallery"}, "position": {"4"}})
	if l := one[assets.Line](t, f.office()); l.Name != "Silo gallery" || l.PlantID != 3 || f.office().from[0] != 0 {
		t.Errorf("kept %+v", l)
	}
	f.office().fail = assets.Invalid{"": "conveyors stand on this line; move them to another line first"}
	d := v.post("/plants/3/lines/1", url.Values{"name": {"Ship intake"}, "end": {"yes"}}, http.StatusUnprocessableEntity)
	if got := text(d, ".note.bad p"); !strings.HasPrefix(got, "Conveyors stand on this line") {
		t.Errorf("told %q", got)
	}
}

func TestAProductionCalendar(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	v.refused("/plants/3/lines/2/calendar", url.Values{"day1": {"morning"}, "day2": {"06:00-25:00"}, "exceptions": {"Christmas: none"}, "from": {""}}, "day1", "day2", "exceptions", "from")
	form := filledForm(v.get("/plants/3/calendar"))
	if form.Get("day1") != "06:00-14:00, 22:00-06:00" || form.Get("exceptions") != "2026-12-25: none Christmas" {
		t.Errorf("the form shows %v", form)
	}
	form.Set("exceptions", "2026-12-24: 06:00-12:00 half day\n2026-12-25: none Christmas")
	v.taken("/plants/3/calendar", form)
	c := one[assets.ProductionCalendar](t, f.office())
	if weekHours(c) != 40 || len(c.Shifts) != 3 || c.Shifts[2] != (assets.Shift{Weekday: 0, Start: "00:00", End: "24:00"}) {
		t.Errorf("kept %v h, %+v", weekHours(c), c.Shifts)
	}
	if len(c.Exceptions) != 2 || c.Exceptions[0].Note != "half day" || len(c.Exceptions[0].Shifts) != 1 || len(c.Exceptions[1].Shifts) != 0 {
		t.Errorf("exceptions %+v", c.Exceptions)
	}
	v.refused("/plants/3/calendar", url.Values{"from": {"now"}, "exceptions": {"2026-12-24: none\n2026-12-24: none"}}, "exceptions")
}
