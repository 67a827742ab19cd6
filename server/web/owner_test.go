package web

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"carryside/assets"
)

func (f *fakePlant) Owner(context.Context, assets.Scope, int64) (*Owner, error) { return &f.owner, nil }

func (f *fakePlant) Customers(context.Context, assets.Scope) ([]assets.Customer, error) {
	return []assets.Customer{f.owner.Customer}, nil
}

func (f *fakePlant) AddPlant(_ context.Context, _ assets.Scope, act Act, p *assets.Plant, customer string) error {
	p.ID = 44
	f.kept = append(f.kept, customer+"/"+p.Name)
	return nil
}

func (f *fakePlant) AlterPlant(_ context.Context, _ assets.Scope, _ Act, p *assets.Plant, from assets.Instant) error {
	if p.RowID != f.frames[0].Plant.RowID {
		return assets.ErrConflict
	}
	f.frames[0].Plant = *p
	return nil
}

func (f *fakePlant) AlterCustomer(_ context.Context, _ assets.Scope, _ Act, c *assets.Customer, _ assets.Instant) error {
	f.owner.Customer = *c
	return nil
}

func (f *fakePlant) SaveContact(_ context.Context, _ assets.Scope, _ Act, c *assets.Contact, name string) error {
	f.kept = append(f.kept, "contact "+name+" "+c.Duty)
	return nil
}

func (f *fakePlant) EndContact(_ context.Context, _ assets.Scope, _ Act, _, id, _ int64) error {
	f.kept = append(f.kept, "end contact "+Int(id))
	return nil
}

func (f *fakePlant) SaveContract(_ context.Context, _ assets.Scope, _ Act, c *assets.Contract) error {
	f.kept = append(f.kept, "contract "+c.Number+" "+string(c.UntilDay)+" "+Int(int64(len(c.PlantIDs))))
	return nil
}

func (f *fakePlant) EndContract(_ context.Context, _ assets.Scope, _ Act, _, id, _ int64) error {
	f.kept = append(f.kept, "end contract "+Int(id))
	return nil
}

func (f *fakePlant) fillOwner(p assets.Plant) {
	c := assets.Customer{Name: "Skarrow Harbour"}
	c.ID = 1
	shift := assets.Contact{PlantID: 3, PersonID: 9, Duty: "shift lead", Phone: "+47 555 01"}
	shift.ID = 5
	// Plant 8 is one that the planner of these tests was not granted.
	deal := assets.Contract{CustomerID: 1, Number: "2024-7", FromDay: "2024-01-01", PlantIDs: []int64{3, 8}, InspectionRounds: "monthly", ResponseHours: 12}
	deal.ID = 6
	f.owner = Owner{Customer: c, Plants: []assets.Plant{p}, Contacts: []assets.Contact{shift}, Contracts: []assets.Contract{deal}, People: map[int64]string{9: "O. Hallisk"}}
}

func TestPlantPageTellsWhomToCallAndWhatWasAgreed(t *testing.T) {
	d := as(t, skarrow(), assets.RolePlanner).get("/plants/3/about")
	if got := plainly(text(d, "h1")); got != "Skarrow Grain Terminal has 15 conveyors, 32 splices and one person to call" {
		t.Errorf("headline %q", got)
	}
	main := plainly(d.Find("main").Text())
	for _, want := range []string{"Europe/Oslo", "O. Hallisk", "shift lead", "2024-7", "monthly", "12 h", "Ship intake"} {
		if !strings.Contains(main, want) {
			t.Errorf("%q is missing", want)
		}
	}
	if got := as(t, skarrow(), assets.RoleAuditor).get("/plants/3/about").Find("main a.btn, main a.more").Length(); got != 0 {
		t.Errorf("an auditor is offered %d changes", got)
	}
}

func TestSettingsOfAPlant(t *testing.T) {
	f := skarrow()
	f.frames[0].Plant.SettingsAsked, f.frames[0].Plant.RowID = true, 12
	v := as(t, f, assets.RolePlanner)
	if got := text(v.get("/plants/3/settings"), "h1"); !strings.HasPrefix(got, "Confirm zone") {
		t.Errorf("headline %q", got)
	}
	bad := url.Values{"version": {markOf(f.frames[0].Plant.Version)}, "name": {""}, "zone": {"Mars/Olympus"}, "currency": {"crowns"}, "unit_system": {"old"}}
	d := v.post("/plants/3/settings", bad, http.StatusUnprocessableEntity)
	for _, id := range []string{"#f-name", "#f-zone", "#f-currency", "#f-unit_system"} {
		if d.Find(`.note.bad a[href="`+id+`"]`).Length() != 1 {
			t.Errorf("%s is not named as wrong", id)
		}
	}
	good := url.Values{"version": {markOf(f.frames[0].Plant.Version)}, "name": {"Skarrow Terminal"}, "zone": {"America/Chicago"}, "currency": {"USD"}, "unit_system": {"us"}, "site_rules": {"permit first"}}
	v.send("/plants/3/settings", good, http.StatusSeeOther)
	if p := f.frames[0].Plant; p.SettingsAsked || p.UnitSystem != assets.UnitsUS || p.NameKey != "skarrow terminal" || p.SiteRules != "permit first" {
		t.Errorf("kept %+v", p)
	}
	good.Set("version", markOf(assets.Version{ID: 3, RowID: 11, KnownFrom: 1}))
	if got := plainly(text(v.post("/plants/3/settings", good, http.StatusConflict), "table")); !strings.Contains(got, "America/Chicago") {
		t.Errorf("both sides: %q", got)
	}
	as(t, f, assets.RoleTechnician).page("/plants/3/settings", http.StatusForbidden)
}

func TestContactsAndContracts(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	v.post("/plants/3/contacts/new", url.Values{"duty": {"permit office"}}, http.StatusUnprocessableEntity)
	v.send("/plants/3/contacts/new", url.Values{"name": {"P. Aldry"}, "duty": {"permit office"}}, http.StatusSeeOther)
	v.send("/plants/3/contacts/5", url.Values{"name": {"O. Hallisk"}, "gone": {"yes"}}, http.StatusSeeOther)
	v.page("/plants/3/contacts/77", http.StatusNotFound)
	d := v.post("/plants/3/contracts/6", url.Values{"number": {""}, "from_day": {"2024-01-01"}, "until_day": {"2023-01-01"}, "plants": {"3"}}, http.StatusUnprocessableEntity)
	if d.Find(`.note.bad li`).Length() != 2 {
		t.Errorf("refused: %s", text(d, ".note.bad"))
	}
	v.send("/plants/3/contracts/6", url.Values{"number": {"2024-7"}, "from_day": {"2024-01-01"}, "until_day": {"2027-12-31"}, "plants": {"3"}}, http.StatusSeeOther)
	v.send("/plants/3/contracts/6", url.Values{"number": {"2024-7"}, "from_day": {"2024-01-01"}, "plants": {"3"}, "gone": {"yes"}}, http.StatusSeeOther)
	want := "contact P. Aldry permit office; end contact 5; contract 2024-7 2027-12-31 2; end contract 6"
	if got := strings.Join(f.kept, "; "); got != want {
		t.Errorf("kept %q, want %q (a plant outside the grant stays in its contract)", got, want)
	}
}

// The permit office has to be reached before work begins; a mail address that reaches nobody is found out too late.
func TestAContactWhoseMailAddressCannotBeReached(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	for _, wrong := range []string{"ask at the gate", "permit.office", "permit@", "@skarrow.example", "P. Aldry <permit@skarrow.example>", "a@b.example, c@d.example", "permit office@skarrow.example"} {
		d := v.post("/plants/3/contacts/new", url.Values{"name": {"P. Aldry"}, "email": {wrong}}, http.StatusUnprocessableEntity)
		if got := d.Find("#f-email").AttrOr("value", ""); got != wrong {
			t.Errorf("%q came back as %q", wrong, got)
		}
		if got := text(d, ".note.bad li"); !strings.Contains(got, "is no mail address; write it as") {
			t.Errorf("%q: told %q", wrong, got)
		}
	}
	v.send("/plants/3/contacts/new", url.Values{"name": {"P. Aldry"}, "email": {"permit.office+night@skarrow.example"}}, http.StatusSeeOther)
}

func TestNewPlantNeedsACustomerOfTheGrant(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner) // granted plant 3 only
	form := url.Values{"customer": {"Skarrow Harbour"}, "name": {"Second Terminal"}, "zone": {"Europe/Oslo"}, "currency": {"NOK"}, "unit_system": {"si"}}
	v.post("/plants/new", form, http.StatusUnprocessableEntity)
	f.grantAll = true
	as(t, f, assets.RolePlanner).send("/plants/new", form, http.StatusSeeOther)
	if len(f.kept) != 1 || f.kept[0] != "Skarrow Harbour/Second Terminal" {
		t.Errorf("kept %v", f.kept)
	}
}
