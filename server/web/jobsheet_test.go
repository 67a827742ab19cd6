package web

import (
	"context"
	"math"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"

	"carryside/assets"
	"carryside/schedule/jobsheet"
	"carryside/schedule/workorder"
)

func (o *fakeOffice) Sheet(_ context.Context, _ assets.Scope, of workorder.Order, form assets.Form, bond assets.Bond) (SheetFile, error) {
	if o.headed != nil {
		return SheetFile{Sheet: *o.headed, Entries: o.entries, People: map[int64]string{4: "M. Okkerdal"}}, nil
	}
	return SheetFile{Sheet: assets.JobSheet{OrderID: of.ID, Steps: jobsheet.Usual(of.Kind, form, bond)}}, nil
}

func (o *fakeOffice) NoteSteps(_ context.Context, _ assets.Scope, act Act, _ workorder.Order, _ assets.Form, _ assets.Bond, _ SheetHead, entries []assets.JobEntry) error {
	return o.change(act, entries)
}

func (o *fakeOffice) TakeSheet(_ context.Context, _ assets.Scope, act Act, sent *SheetSent) (bool, error) {
	return false, o.change(act, sent)
}

func (o *fakeOffice) SignSheet(_ context.Context, _ assets.Scope, act Act, g assets.JobSignature, _ int64, _ string) (string, error) {
	return "", o.change(act, g)
}

func (o *fakeOffice) MayHaveSigned(_ context.Context, _ assets.Scope, _, personID int64) (bool, error) {
	return personID == 4 || personID == 2, nil
}

func (o *fakeOffice) RefuseSignature(_ context.Context, _ assets.Scope, act Act, g assets.JobSignature, _ string) error {
	return o.change(act, g)
}

func (o *fakeOffice) SignaturesWaiting(context.Context, assets.Scope, int64) ([]SignatureFile, error) {
	return nil, nil
}

func (o *fakeOffice) Signature(context.Context, assets.Scope, int64, int64) (SignatureFile, error) {
	return SignatureFile{}, assets.ErrNotFound
}

func (f *fakePlant) SignCounted(ctx context.Context, scope assets.Scope, act Act, plantID, number, edit int64, step OrderStep, _ assets.JobCounted) error {
	return f.Step(ctx, scope, act, plantID, number, edit, step)
}

func (d *fakeDoor) PINOf(context.Context, int64) (assets.PersonPIN, error) {
	return assets.PersonPIN{}, assets.ErrNotFound
}

func (o *fakeOffice) StepTemplates(context.Context) ([]assets.JobTemplate, error) { return nil, nil }

func (o *fakeOffice) SaveStepTemplate(_ context.Context, act Act, t *assets.JobTemplate) error {
	return o.change(act, *t)
}

func (f *fakePlant) Emergency(_ context.Context, _ assets.Scope, act Act, _, done workorder.Order, _ workorder.Event, made Resplice, _ *assets.Standstill) (int64, error) {
	return 500, f.office().change(act, []any{done, made})
}

// printHides is the rule of the style sheet for what is not printed.
var printHides = regexp.MustCompile(`(?s)@media print\{.*?([^{}]+)\{display:none!important\}`)

// On paper the sheet keeps its steps: nothing of what is left out in print is a row of a table, and the cautions come first.
func TestASheetOnPaperKeepsItsSteps(t *testing.T) {
	css, err := os.ReadFile("static/css/app.css")
	if err != nil {
		t.Fatal(err)
	}
	rule := printHides.FindStringSubmatch(string(css))
	if rule == nil {
		t.Fatal("the style sheet says nothing of what is not printed")
	}
	v := as(t, skarrow(), assets.RoleTechnician)
	doc := v.get("/plants/3/orders/415")
	if n := doc.Find("tr.top").Length(); n < 5 {
		t.Fatalf("%d steps on the sheet", n)
	}
	if hidden := doc.Find(strings.TrimSpace(rule[1])); hidden.Filter("tr, table, section.caution, article").Length() > 0 || hidden.Find("tr").Length() > 0 {
		t.Errorf("%q hides a part of the sheet in print", rule[1])
	}
	if first := doc.Find("article.a4 section").First(); !first.HasClass("caution") {
		t.Error("the sheet does not begin with its cautions")
	}
	if names := doc.Find("article.a4 dl dt").Map(func(_ int, s *goquery.Selection) string { return s.Text() }); len(names) < 2 || names[0] != "Isolation" || names[1] != "Permit" {
		t.Errorf("behind the cautions stand %v, not isolation and permit", names)
	}
	if n := doc.Find("article.a4 dd .blank.onpaper").Length(); n != 1 {
		t.Errorf("%d lines to write the permit on, want 1", n)
	}
	measured := doc.Find("tr.top").FilterFunction(func(_ int, s *goquery.Selection) bool {
		return strings.Contains(s.Text(), "difference of the diagonals")
	})
	if measured.Length() != 1 || measured.Find(".blank").Length() != 1 || measured.Find(".onpaper").Last().Text() != "mm" {
		t.Errorf("no line with its unit to write the diagonals on: %q", measured.Text())
	}
}

func TestAnOrderSaysByWhichClockItsPermitWasNotedInThePit(t *testing.T) {
	f := skarrow()
	at, arrived, off, sent := assets.InstantOf(morning.Add(-3*time.Hour)), assets.InstantOf(morning), (-7 * time.Minute).Microseconds(), (-8 * time.Minute).Microseconds()
	f.office().headed = &assets.JobSheet{Isolation: "MCC 2, breaker 14", Permit: "P-118", HeadDeviceAt: &at, HeadArrivedAt: &arrived, HeadOffsetUS: &off, HeadSentOffsetUS: &sent}
	f.office().entries = []assets.JobEntry{{StepKey: assets.HeadStep, State: jobsheet.Done, Note: "isolation point MCC 2; permit P-117", PersonID: 4, At: at - 3600e6, EnteredAt: arrived}}
	i := slices.IndexFunc(f.orders, func(o workorder.Order) bool { return sheetOpen(o) })
	says := strings.ReplaceAll(text(as(t, f, assets.RoleTechnician).get("/plants/3/orders/"+plainInt(f.orders[i].Number)), "main"), nb, " ")
	for _, want := range []string{"P-118", "by the device's clock", "7m0s behind", "8m0s behind", "arrived", "Noted before, arrived late", "permit P-117, noted 25 Nov 2026, 02:40 by M. Okkerdal"} {
		if !strings.Contains(says, want) {
			t.Errorf("the order does not say %q", want)
		}
	}
}

// 15 mm are 0.591 in (25.4 mm to the inch, exactly); 9/16 in would be 14.3 mm, so that over a belt 1 400 mm wide four fingers more were counted. 5 m are 16'-4 7/8",
// 1.6 mm 0.063 in, 25 kg 55.1 lb, 2 K/min 3.6 °F/min.
func TestACrewInAUSPlantReadsFingersTrueAndNoMetres(t *testing.T) {
	f := skarrow()
	f.frames[0].Plant.UnitSystem = assets.UnitsUS
	f.office().recipes = []assets.Recipe{hotRecipe(1, "HV thick", 3, 0.012, 35)}
	reg := f.fleet.Register
	reg.Specifications[0].Values = []assets.CatalogueValue{{Quantity: "mass_kg_per_m2", Value: 14, Unit: "kg/m2", Class: assets.ClassB}}
	at := slices.IndexFunc(reg.Splices, func(sp assets.Splice) bool { return sp.ID == 32 })
	reg.Splices[at].FingerPitchM, reg.Splices[at].FingerLengthM = 0.015, 0.08
	reg.Arrange()
	says := strings.ReplaceAll(text(as(t, f, assets.RoleTechnician).get("/plants/3/orders/412"), "main"), nb, " ")
	for _, want := range []string{"pitch 0.591 in", "fingers 3.150 in long", `Mass of 16'-4 7/8" of belt to lift`, "over 55.1 lb", "at 3.6 °F/min", "0.063 in"} {
		if !strings.Contains(says, want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
	if metric := regexp.MustCompile(`\d (m|mm|kg|K/min|°C|bar)\b`).FindString(strings.ReplaceAll(says, "10 ft (3 m)", "")); metric != "" {
		t.Errorf("the sheet says %q", metric)
	}
}

// 100 psi are 6.894757 bar (NIST SP 811).
func TestAPressureReadInPsiAtAStepAskedInBarIsThatPressure(t *testing.T) {
	step := assets.JobStep{Key: "pressure", Measure: "pressure", Unit: "bar"}
	got, err := typedValue(step, "100", assets.UnitsUS)
	if err != nil || *got < 6.8947 || *got > 6.8948 {
		t.Fatalf("100 psi are %v bar, %v; want 6.8948", got, err)
	}
	if says := strings.ReplaceAll(Format{Units: assets.UnitsUS}.inUnit(*got, "bar"), nb, " "); says != "100 psi" {
		t.Errorf("shown again it is %q", says)
	}
}

// Fasteners of a US plant are tightened by a wrench in lbf·ft: 40 of them are 54.2327 N·m (1 lbf·ft = 1.355 818 N·m, NIST SP 811, 2008, appendix B.8).
func TestFastenersOfAUSPlantAreTightenedInPoundForceFeet(t *testing.T) {
	step := assets.JobStep{Key: "bolts", Measure: "torque", Unit: "N·m", Least: metres(54.2327)}
	got, err := typedValue(step, "40", assets.UnitsUS)
	if err != nil || math.Abs(*got-54.2327) > 1e-3 {
		t.Fatalf("40 lbf·ft are kept as %v N·m, %v", got, err)
	}
	if says := strings.ReplaceAll(Format{Units: assets.UnitsUS}.inUnit(*got, "N·m"), nb, " "); says != "40 lbf·ft" {
		t.Errorf("shown again it is %q", says)
	}
	if sign := (Format{Units: assets.UnitsUS}).stepSign("N·m"); sign != "lbf·ft" {
		t.Errorf("a lead is offered %q", sign)
	}
	if says := strings.ReplaceAll(Format{Units: assets.UnitsSI}.inUnit(55, "N·m"), nb, " "); says != "55 N·m" {
		t.Errorf("in an SI plant it is %q", says)
	}
}

// 6.4 mm is not within 6.35 mm: a limit that decides is shown to its last digit, in the plant's units.
func TestALimitOnTheSheetIsTheOneThatDecides(t *testing.T) {
	alignment := assets.JobStep{Measure: "off line", Unit: "m", Most: metres(0.00635)}
	tape := assets.JobStep{Measure: "cut length", Unit: jobsheet.LongMetres, Least: metres(104.2), Most: metres(104.25)}
	for _, tt := range []struct {
		step   assets.JobStep
		system assets.UnitSystem
		want   string
	}{
		{alignment, assets.UnitsSI, "off line, 6.35 mm or less"},
		{alignment, assets.UnitsUS, `off line, 0.250 in or less`},
		{tape, assets.UnitsSI, "cut length, 104.2 m to 104.25 m"},
		{assets.JobStep{Measure: "temperature at opening", Unit: "degC", Most: metres(60)}, assets.UnitsUS, "temperature at opening, 140 °F or less"},
		{assets.JobStep{Measure: "dwell", Unit: "min", Least: metres(0.1)}, assets.UnitsSI, "dwell, 0.1 min or more"},
	} {
		f := Format{Units: tt.system}
		if got := strings.ReplaceAll(f.askWords(tt.step), nb, " "); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}

// Words pasted from a maker's instruction come in several lines; a sheet shows a step on one. The field for them grows with them.
func TestALeadPastesAStepOverSeveralLines(t *testing.T) {
	const path = "/plants/3/steps/run-in-check.."
	f := withStores()
	v := as(t, f, assets.RoleLead)
	form := v.get(path)
	if n := form.Find(`textarea.grow[name="w0"], textarea.grow[name="measure0"]`).Length(); n != 2 {
		t.Fatalf("%d of the two fields for words grow", n)
	}
	sent := url.Values{"changed": {"the maker's instruction"}}
	form.Find("main form").First().Find("input, select, textarea").Each(func(_ int, field *goquery.Selection) {
		name, value := field.AttrOr("name", ""), field.AttrOr("value", "")
		switch {
		case goquery.NodeName(field) == "select":
			value = field.Find("option[selected]").AttrOr("value", "")
		case goquery.NodeName(field) == "textarea":
			value = field.Text()
		}
		if name != "" && name != "changed" && field.AttrOr("type", "") != "checkbox" {
			sent.Add(name, value)
		}
	})
	sent.Set("w0", "Belt run empty,\r\n  seam watched\r\n")
	v.post(path, sent, http.StatusSeeOther)
	kept := f.office().kept[len(f.office().kept)-1].(assets.JobTemplate)
	if kept.Steps[0].Words != "Belt run empty, seam watched" {
		t.Errorf("kept as %q", kept.Steps[0].Words)
	}
}

// An auditor sees on a signed sheet which lots went into the splice, what was worn on the press, by which ticket it was signed and what followed.
// Whoever may not read stores sees what it did to the belt, and no stock.
func TestAnAuditorReadsOfASignedSheetWhatWentIntoTheSplice(t *testing.T) {
	f := skarrow()
	of := func(role assets.Role) string {
		return strings.ReplaceAll(text(as(t, f, role).get("/plants/3/orders/409"), "main"), nb, " ")
	}
	says := of(assets.RoleAuditor)
	for _, want := range []string{"Cover compound11 kg; lot 7702 good until 9 Jan 2027", "Press 1press cycles, 1 more", "Hot vulcanising, valid to 31 May 2028", "Work done25 Nov 2026, 01:00", "Ended, failed: splice 1", "all its clocks from 0: splice 1",
		"Raised by its press cycle: inspection 416"} {
		if !strings.Contains(strings.Join(strings.Fields(says), " "), want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
	if signed := as(t, f, assets.RoleAuditor).get("/plants/3/orders/409"); signed.Find("article.a4 .box, article.a4 .blank").Length() > 0 || !strings.Contains(signed.Find(".noted").Text(), "not noted") {
		t.Error("a signed sheet has boxes to tick and lines to write on")
	}
	if got := ticketWords(&Request{}, &OrderDone{Ticket: "Hot vulcanising"}); got != "Hot vulcanising, valid until further notice" {
		t.Errorf("a ticket without an end is told as %q", got)
	}
	if to := as(t, f, assets.RoleTechnician).get("/plants/3/orders/409").Find(`.do a[href="/plants/3/splices/33/press"]`); to.Text() != "Record its press cycle" {
		t.Errorf("from a pressed splice's order no step leads to its press record: %q", to.Text())
	}
	if open := as(t, f, assets.RoleAuditor).get("/plants/3/orders/412").Find("#us, #ch").Length(); open != 0 {
		t.Error("an order that is not done says what it used or changed")
	}
}

// An auditor may change no steps, and reads on the list what each kind of work asks for, in order and with its limits.
func TestAnAuditorReadsWhatASheetAsksFor(t *testing.T) {
	d := as(t, skarrow(), assets.RoleAuditor).get("/plants/3/steps")
	row := d.Find("tbody tr").FilterFunction(func(_ int, s *goquery.Selection) bool {
		return strings.HasPrefix(s.Text(), "Re-splice") && strings.Contains(s.Text(), "hot vulcanised, stepped")
	})
	asks := row.Find("details li").Map(func(_ int, s *goquery.Selection) string { return strings.ReplaceAll(s.Text(), nb, " ") })
	want := jobsheet.Usual(workorder.KindResplice, assets.FormStepped, assets.BondHotVulcanised)
	if row.Find("td.tag a").Length() > 0 || len(asks) != len(want) || !strings.HasPrefix(asks[0], "Isolated with own lock") || !slices.ContainsFunc(asks, func(s string) bool { return strings.HasSuffix(s, "difference of the diagonals, 4 mm or less") }) {
		t.Errorf("the list tells %d of %d steps: %q", len(asks), len(want), asks)
	}
}
