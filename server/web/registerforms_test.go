package web

import (
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"

	"carryside/assets"
)

func TestAConveyorIsAddedWithItsPulleysInThePlantsUnits(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	form := url.Values{"tag": {""}, "speed_mps": {"fast"}, "rows": {"2"}, "p1_role": {"tail"}, "p1_diameter": {""}, "p2_role": {""}, "p2_diameter": {"500"}, "p2_x": {"3"}}
	v.refused("/plants/3/conveyors/new", form, "tag", "speed_mps", "p1_diameter", "p2_role", "p2_y")
	form = url.Values{"tag": {"Q4"}, "line_id": {"1"}, "speed_mps": {"2.6"}, "product_c": {"0"}, "wash_down": {"yes"}, "take_up_travel_m": {"3400"}, "take_up_kind": {"gravity"},
		"other_names": {"weigh feeder, old 12"}, "rows": {"3"},
		"p1_role": {"tail"}, "p1_diameter": {"800"}, "p1_x": {"0"}, "p1_y": {"0"},
		"p2_role": {"head"}, "p2_diameter": {"1000"}, "p2_x": {"114.8"}, "p2_y": {"27.3"}, "p2_drive": {"yes"}, "p2_face": {"inner"}}
	if to := v.taken("/plants/3/conveyors/new", form); to != "/plants/3/conveyors/77" {
		t.Errorf("leads to %s", to)
	}
	c := one[assets.Conveyor](t, f.office())
	if c.Tag != "Q4" || c.LineID != 1 || c.SpeedMPS != 2.6 || c.TakeUpTravelM != 3.4 || !c.WashDown || c.ProductC == nil || *c.ProductC != 0 || len(c.OtherNames) != 2 {
		t.Errorf("kept %+v", c)
	}
	if len(c.Pulleys) != 2 || !c.Pulleys[0].Placed || c.Pulleys[1].XM != 114.8 || c.Pulleys[1].DiameterM != 1 || !c.Pulleys[1].Drive {
		t.Errorf("pulleys %+v", c.Pulleys)
	}
}

func TestMoreRowsKeepWhatWasTypedAndSaveNothing(t *testing.T) {
	f := skarrow()
	d := as(t, f, assets.RolePlanner).post("/plants/3/conveyors/new", url.Values{"tag": {"Q4"}, "rows": {"2"}, "p2_diameter": {"640"}, "more": {"yes"}}, http.StatusOK)
	if n := d.Find(`select[name$="_role"]`).Length(); n != 6 {
		t.Errorf("%d rows, want 6", n)
	}
	if d.Find("#f-tag").AttrOr("value", "") != "Q4" || d.Find("#f-p2_diameter").AttrOr("value", "") != "640" || len(f.office().acts) != 0 {
		t.Error("what was typed is lost, or something was kept")
	}
}

func TestAnUntouchedConveyorFormChangesNothing(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	d := v.get("/plants/3/conveyors/3/edit")
	form := url.Values{}
	d.Find("main form [name]").Each(func(_ int, s *goquery.Selection) {
		name := s.AttrOr("name", "")
		switch {
		case s.Is("select"):
			form.Set(name, s.Find("option[selected]").AttrOr("value", ""))
		case s.Is("textarea"):
			form.Set(name, s.Text())
		case s.Is("[type=checkbox], [type=radio]"):
			if _, checked := s.Attr("checked"); checked {
				form.Set(name, s.AttrOr("value", ""))
			}
		default:
			form.Set(name, s.AttrOr("value", ""))
		}
	})
	form.Del("more")
	v.taken("/plants/3/conveyors/3/edit", form)
	before, _ := f.fleet.Register.Conveyor(3)
	got := one[assets.Conveyor](t, f.office())
	if got.SpeedMPS != before.SpeedMPS || got.CentreDistanceM != before.CentreDistanceM || got.TakeUpTravelM != before.TakeUpTravelM || got.InclineDeg != before.InclineDeg || got.LineID != before.LineID {
		t.Errorf("became %+v", got)
	}
	if len(got.Pulleys) != len(before.Pulleys) {
		t.Fatalf("%d pulleys, want %d", len(got.Pulleys), len(before.Pulleys))
	}
	for i := range got.Pulleys {
		if got.Pulleys[i] != before.Pulleys[i] {
			t.Errorf("pulley %d became %+v", i+1, got.Pulleys[i])
		}
	}
	if f.office().from[0] != assets.InstantOf(morning) {
		t.Error("a change holds from now on")
	}
}

func TestACorrectionNeedsItsReason(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	form := url.Values{"tag": {"Q3"}, "from": {"always"}, "rows": {"1"}}
	v.refused("/plants/3/conveyors/3/edit", form, "reason")
	form.Set("reason", "the drawing was of Q4")
	v.taken("/plants/3/conveyors/3/edit", form)
	if o := f.office(); o.from[0] != 0 || o.acts[0].Action != "correct conveyor Q3" || o.acts[0].Reason != "the drawing was of Q4" {
		t.Errorf("kept as %+v from %v", o.acts, o.from)
	}
}

func TestWhatSomebodyElseChangedStandsBesideWhatWasTyped(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	f.office().fail = assets.ErrConflict
	d := v.post("/plants/3/conveyors/3/edit", url.Values{"tag": {"Q3"}, "name": {"Rise, renamed"}, "from": {"now"}, "rows": {"1"}}, http.StatusConflict)
	if got := text(d, "main"); !strings.Contains(got, "Rise, renamed") || !strings.Contains(got, "Rise to weigh tower") {
		t.Errorf("the page says %q", got)
	}
}

func TestABeltIsFittedAndTheFormerComesOff(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	v.refused("/plants/3/conveyors/3/belt", url.Values{"width_m": {"-3"}, "fitted": {"31.02.2024"}}, "width_m", "fitted", "removed_why")
	v.taken("/plants/3/conveyors/3/belt", url.Values{"specification_id": {"1"}, "width_m": {"1400"}, "loop_length_m": {"252.4"}, "fitted": {"2026-11-24"},
		"take_up_used_m": {"0"}, "removed_why": {"worn through"}})
	b := one[assets.Belt](t, f.office())
	if b.WidthM != 1.4 || b.LoopLengthM != 252.4 || b.Fitted.Earliest != "2026-11-24" || b.TakeUpUsedM == nil || b.AsTyped["width_m"] != "1400" || f.office().kept[1] != "worn through" {
		t.Errorf("kept %+v", f.office().kept)
	}
}

func TestABeltOfADateKnownInWords(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	v.taken("/plants/3/conveyors/5/belt", url.Values{"fitted": {"spring 2022"}})
	if b := one[assets.Belt](t, f.office()); b.Fitted.AsWritten != "spring 2022" || b.Fitted.Earliest != "2022-03-01" {
		t.Errorf("kept %+v", b.Fitted)
	}
}

// TestABeltTypedInInches: 63 1/2 in is 1612.9 mm, an inch being 25.4 mm exactly (international inch, 1959).
func TestABeltTypedInInches(t *testing.T) {
	f := skarrow()
	f.frames[0].Plant.UnitSystem = assets.UnitsUS
	v := as(t, f, assets.RolePlanner)
	v.taken("/plants/3/conveyors/5/belt", url.Values{"fitted": {"2026-11-24"}, "width_m": {`63 1/2`}, "loop_length_m": {`828'-6"`}})
	if b := one[assets.Belt](t, f.office()); math.Abs(b.WidthM-1.6129) > 1e-12 || math.Abs(b.LoopLengthM-252.5268) > 1e-9 {
		t.Errorf("kept %v and %v", b.WidthM, b.LoopLengthM)
	}
}

func TestASpliceIsRecorded(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	v.refused("/plants/3/conveyors/3/splice", url.Values{"position_m": {"900"}, "form": {"glued"}, "made": {""}}, "position_m", "form", "made")
	v.taken("/plants/3/conveyors/3/splice", url.Values{"number": {"4"}, "position_m": {"0"}, "form": {"stepped"}, "bond": {"hot-vulcanised"}, "step_length_m": {"250"}, "steps": {"3"},
		"made": {"2026-11-20 14:30"}, "made_by": {"M. Okkerdal"}})
	s := one[assets.Splice](t, f.office())
	if s.PositionM == nil || *s.PositionM != 0 || s.StepLengthM != 0.25 || s.Steps != 3 || !s.Made.Timed || s.MadeBy != "M. Okkerdal" {
		t.Errorf("kept %+v", s)
	}
	if to := v.taken("/plants/3/conveyors/5/splice", url.Values{}); to != "/plants/3/conveyors/5/belt" {
		t.Errorf("a conveyor without a belt leads to %s", to)
	}
}

func TestASpliceEndsWithItsReason(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	v.refused("/plants/3/splices/32/retire", url.Values{"retired": {""}, "retired_why": {""}}, "retired", "retired_why")
	v.refused("/plants/3/splices/32/retire", url.Values{"retired": {"2026-11-24"}, "retired_why": {"failed"}}, "failure_mode")
	v.refused("/plants/3/splices/32/retire", url.Values{"retired": {"2026-11-24"}, "retired_why": {"planned"}, "failure_mode": {"edge torn"}}, "failure_mode")
	v.taken("/plants/3/splices/32/retire", url.Values{"retired": {"2026-11-24"}, "retired_why": {"failed"}, "failure_mode": {"edge torn"}})
	if end := f.office().kept[1].(SpliceEnd); end.Why != assets.RetiredFailed || end.FailureMode != "edge torn" {
		t.Errorf("kept %+v", end)
	}
}

func TestAnEndedSpliceIsCorrectedAsACorrection(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	f.fleet.Register.Belts = append(f.fleet.Register.Belts, f.past[3].Belts[0])
	f.fleet.Register.Arrange()
	d := v.get("/plants/3/splices/901/correct")
	if got := text(d, "main"); !strings.Contains(got, "This is a correction of a past fact") {
		t.Errorf("the page does not say that it is a correction: %q", got)
	}
	form := url.Values{"number": {"1"}, "form": {"stepped"}, "bond": {"hot-vulcanised"}, "made": {"2018-05-04"}, "retired": {"2021-03-21"}, "retired_why": {"failed"}, "failure_mode": {"edge torn"}}
	v.refused("/plants/3/splices/901/correct", form, "reason")
	form.Set("reason", "the shift book says the 21st")
	v.taken("/plants/3/splices/901/correct", form)
	if s := one[assets.Splice](t, f.office()); s.Retired.Earliest != "2021-03-21" {
		t.Errorf("kept %+v", s.Retired)
	}
}

func TestAFindingIsRecordedOnce(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleTechnician)
	path := "/plants/3/conveyors/3/finding?splice=32"
	d := v.get(path)
	if got := text(d, "#before"); got != "Entered before" || !strings.Contains(strings.ReplaceAll(d.Find("main").Text(), nb, " "), "S2: splice, grade 3, splice gap 3.4 mm") {
		t.Errorf("what was found before does not stand beside the form: %q", d.Find("main").Text())
	}
	if got := d.Find("#f-target option[selected]").Text(); got != "splice 2" {
		t.Errorf("asked about splice 2, chosen is %q", got)
	}
	v.refused(path, url.Values{"target": {"splice 11"}, "found_at": {"2027-01-01T06:00"}, "category": {""}, "measurement": {"3.4"}}, "target", "found_at", "category", "quantity", "text")
	form := url.Values{"client_id": {"abc"}, "target": {"splice 32"}, "found_at": {"2026-11-25T06:00"}, "category": {"opening along the seam"}, "grade": {"3"},
		"quantity": {"splice gap"}, "measurement": {"3.4"}, "running": {"stopped"}}
	v.taken(path, form)
	fd := one[assets.Finding](t, f.office())
	if fd.SpliceID != 32 || fd.Target != "S2" || *fd.Grade != 3 || math.Abs(*fd.Measurement-0.0034) > 1e-12 || fd.MeasurementUnit != "m" || *fd.Running || fd.FoundDay != "2026-11-25" || fd.FoundByID != 2 {
		t.Errorf("kept %+v", fd)
	}
	v.taken(path, form)
	if got := text(v.get("/plants/3/conveyors/3"), ".note.chalk"); !strings.Contains(got, "recorded already") || len(f.office().acts) != 1 {
		t.Errorf("sent twice it says %q", got)
	}
	form.Set("measurement", "5.1")
	v.taken(path, form)
	if len(f.office().acts) != 2 {
		t.Error("what was typed after going back to the form is lost")
	}
}

func TestAFindingIsCorrectedAndARefusalSigned(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	form := url.Values{"target": {"splice 32"}, "found_at": {"2026-11-24T08:00"}, "category": {"splice"}, "grade": {"2"}, "text": {"seam open at the trailing step"}}
	v.refused("/plants/3/findings/1/correct", form, "reason")
	form.Set("reason", "read off by another light")
	v.taken("/plants/3/findings/1/correct", form)
	if fd := one[assets.Finding](t, f.office()); *fd.Grade != 2 || fd.SpliceID != 32 {
		t.Errorf("kept %+v", fd)
	}
	v.refused("/plants/3/findings/1/refuse", url.Values{}, "reason")
	v.taken("/plants/3/findings/1/refuse", url.Values{"reason": {"belt comes off on 12 Dec"}})
	if f.office().kept[1] != "belt comes off on 12 Dec" {
		t.Errorf("kept %v", f.office().kept)
	}
}

func TestARoundOfReadings(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleTechnician)
	if got := text(v.get("/plants/3/readings"), "h1"); got != "One reading waits for a decision and is not used until then" {
		t.Errorf("headline %q", got)
	}
	v.refused("/plants/3/readings", url.Values{"at": {""}, "h3": {"-1"}}, "at", "h3")
	d := v.post("/plants/3/readings", url.Values{"at": {"2026-11-25T06:00"}}, http.StatusUnprocessableEntity)
	if got := text(d, ".note.bad p"); got != "Type what at least one meter shows." {
		t.Errorf("an empty round: %q", got)
	}
	v.taken("/plants/3/readings", url.Values{"at": {"2026-11-25T06:00"}, "h3": {"412"}, "h1": {"1000.5"}})
	got := text(v.get("/plants/3/readings"), ".note.chalk")
	if got != "One reading kept. One reading contradicts what was read before and waits for a decision below." {
		t.Errorf("told %q", got)
	}
}

func TestAHeldReadingIsDecidedWithAReason(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	v.refused("/plants/3/held/5", url.Values{"what": {""}, "why": {""}}, "what", "why")
	v.refused("/plants/3/held/5", url.Values{"what": {"rolled_over"}, "why": {"seen"}, "from": {"2026-11-24T06:00"}}, "rolls_over_at_h", "from")
	v.taken("/plants/3/held/5", url.Values{"what": {"replaced"}, "why": {"new meter fitted by the electricians"}, "start_h": {"0"}, "previous_final_h": {"10380"}})
	d := f.office().kept[1].(ReadingDecision)
	if d.What != readingReplaced || d.PreviousFinalH == nil || *d.PreviousFinalH != 10380 || f.office().acts[0].Reason != "new meter fitted by the electricians" {
		t.Errorf("kept %+v", d)
	}
	as(t, f, assets.RoleTechnician).page("/plants/3/held/5", http.StatusForbidden)
}

// Two accepted readings stand against the held one; they are named before the planner says that it is right.
func TestWhatIsLeftOutIsNamedBeforeTheDecision(t *testing.T) {
	f := skarrow()
	o := f.office()
	v := as(t, f, assets.RolePlanner)
	if got := text(v.get("/plants/3/held/5"), "section[aria-labelledby=eff] p"); got != "None: it contradicts nothing that is accepted now." {
		t.Errorf("nothing is left out: %q", got)
	}
	o.leaves = []assets.Reading{{ConveyorID: 3, At: on(2026, 11, 24).At, ShownH: 10408.5}, {ConveyorID: 3, At: on(2026, 11, 10).At, ShownH: 10380}}
	d := v.get("/plants/3/held/5")
	if got := plainly(text(d, "section[aria-labelledby=eff]")); got != "If the reading is right, these accepted ones are left out11 Nov 2026, 01:0010 380.0 h25 Nov 2026, 01:0010 408.5 h" {
		t.Errorf("named %q", got)
	}
	form := filledForm(d)
	form.Set("what", "accepted")
	form.Set("why", "read again at the drive")
	o.leaves = o.leaves[:1] // somebody left one out meanwhile
	d = v.post("/plants/3/held/5", form, 422)
	if got := text(d, ".note.bad li"); !strings.Contains(got, "look at the list again and decide once more") {
		t.Errorf("told %q", got)
	}
	form = filledForm(d)
	form.Set("what", "accepted")
	form.Set("why", "read again at the drive")
	v.taken("/plants/3/held/5", form)
	if got := o.kept[1].(ReadingDecision); got.What != readingRight {
		t.Errorf("kept %+v", got)
	}
}

// A plant whose lists were typed badly has many decided readings: they are paged, and who decided stands beside each.
func TestDecidedReadingsOfAPlantArePaged(t *testing.T) {
	v := as(t, skarrow(), assets.RoleAuditor)
	if v.get("/plants/3/readings").Find(`a[href="/plants/3/held"]`).Length() != 1 {
		t.Error("the page of readings does not lead to what was decided")
	}
	d := v.get("/plants/3/held")
	if n := d.Find("tbody tr").Length(); n != rowsAPage {
		t.Errorf("%d on the first page", n)
	}
	if got := text(d, "h1"); plainly(got) != "203 held readings were decided" {
		t.Errorf("headline %q", got)
	}
	for _, want := range []string{"two digits swapped", "R. Asquenne", "The reading is wrong and left out", "The hours would fall"} {
		if !strings.Contains(text(d, "tbody tr"), want) {
			t.Errorf("%q is missing in %q", want, text(d, "tbody tr"))
		}
	}
	if n := v.get("/plants/3/held?page=3").Find("tbody tr").Length(); n != 203-2*rowsAPage {
		t.Errorf("%d on the last page", n)
	}
}

func TestAReadingAndAMeterAreCorrected(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	at := plainInt(int64(f.office().last[3].At))
	if got := text(v.get("/plants/3/conveyors/3/readings"), "tbody tr td:nth-child(3)"); got != "31 408.5" {
		t.Errorf("running hours %q", got)
	}
	v.refused("/plants/3/conveyors/3/readings/"+at, url.Values{"shown_h": {""}, "reason": {""}}, "shown_h", "reason")
	v.taken("/plants/3/conveyors/3/readings/"+at, url.Values{"was": {"10408.5"}, "shown_h": {"10 480.5"}, "reason": {"digits swapped"}})
	if h := f.office().kept[2].(*float64); *h != 10480.5 {
		t.Errorf("kept %v", *h)
	}
	v.refused("/plants/3/conveyors/3/meter", url.Values{"meter_why": {"rolled_over"}, "from": {""}}, "from", "rolls_over_at_h")
	v.taken("/plants/3/conveyors/3/meter", url.Values{"meter_why": {"replaced"}, "from": {"2026-11-20T10:00"}, "previous_final_h": {"10400"}})
	if m := one[assets.Meter](t, f.office()); m.Why != assets.MeterReplaced || m.ConveyorID != 3 || *m.PreviousFinalH != 10400 {
		t.Errorf("kept %+v", m)
	}
	v.taken("/plants/3/conveyors/3/meter/71", url.Values{"meter_why": {"replaced"}, "from": {"2022-02-12T10:00"}, "never": {"yes"}, "reason": {"another conveyor"}})
	if got := one[int64](t, f.office()); got != 71 {
		t.Errorf("took back %d", got)
	}
	v.page("/plants/3/conveyors/3/meter/70", http.StatusNotFound)
}

func TestFormsOfTheRegisterAreForThoseWhoKeepIt(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleAuditor)
	for _, rt := range registerRoutes() {
		if rt.Method != get || rt.May == "read" {
			continue
		}
		path := strings.NewReplacer(":plant", "3", ":conveyor", "3", ":belt", "103", ":splice", "32", ":finding", "1", ":held", "5", ":meter", "71", ":at", "1").Replace(rt.Path)
		v.page(path, http.StatusForbidden)
	}
}

func TestWhatIsNotOfThePlantIsNotThere(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	for _, path := range []string{"conveyors/999/edit", "belts/999/edit", "splices/999/correct", "findings/9/correct", "held/99", "conveyors/3/readings/12"} {
		v.page("/plants/3/"+path, http.StatusNotFound)
	}
}

func TestMessagesTellPlantTime(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	f.office().fail = assets.Invalid{"": "with this, 110.0 h at 2026-11-25T16:51:00Z would contradict 10.0 h"}
	d := v.post("/plants/3/conveyors/3/meter", url.Values{"meter_why": {"replaced"}, "from": {"2026-11-25T01:00"}}, http.StatusUnprocessableEntity)
	if got := text(d, ".note.bad p"); got != "With this, 110.0 h at 25 Nov 2026, 17:51 would contradict 10.0 h." {
		t.Errorf("told %q", got)
	}
}

func TestALargePlantIsPagedAndItsConveyorsAreTyped(t *testing.T) {
	f := skarrow()
	for i := range 250 {
		f.conveyor(int64(1000+i), 2, fmt.Sprintf("BX-%03d", i), "", 30, 0, 0)
	}
	f.fleet.Register.Arrange()
	v := as(t, f, assets.RolePlanner)
	d := v.get("/plants/3/readings?page=2")
	if n := d.Find("tbody .nin").Length(); n != 100 {
		t.Errorf("%d meters on a page", n)
	}
	if got := d.Find("main form").AttrOr("action", ""); got != "/plants/3/readings?page=2" {
		t.Errorf("the form goes to %s", got)
	}
	for _, path := range []string{"findings/new", "reports", "calculator?empty=yes"} {
		if v.get("/plants/3/" + path).Find("#f-conveyor").Is("select") {
			t.Errorf("%s lists every conveyor of a large plant", path)
		}
	}
	v.refused("/plants/3/findings/new", url.Values{"conveyor": {"BX-999"}}, "conveyor")
	if to := v.taken("/plants/3/findings/new", url.Values{"conveyor": {"bx 7"}}); to != "/plants/3/conveyors/1007/finding" {
		t.Errorf("leads to %s", to)
	}
}

func TestADateThatIsLeftAsShownComesBackExactly(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	unknown, err := assets.Between("", "", "not known", time.UTC, morning.AddDate(-1, 0, 0))
	if err != nil {
		t.Fatal(err)
	}
	toTheSecond := assets.Exactly(time.Date(2024, 3, 30, 9, 12, 34, 5000, time.UTC), time.UTC)
	for i, made := range []assets.When{unknown, toTheSecond} {
		f.past[3].Splices[1+i].Made = made
		id := f.past[3].Splices[1+i].ID
		path := fmt.Sprintf("/plants/3/splices/%d/correct", id)
		form := filledForm(v.get(path))
		form.Set("reason", "another mark")
		form.Set("number", "9")
		v.taken(path, form)
		if got := one[assets.Splice](t, f.office()); got.Made != made || got.Number != "9" {
			t.Errorf("made became %+v, was %+v", got.Made, made)
		}
	}
}

func TestASecondCorrectionOfAReadingIsAConflict(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	path := "/plants/3/conveyors/3/readings/" + plainInt(int64(f.office().last[3].At))
	form := filledForm(v.get(path))
	form.Set("shown_h", "10 480.5")
	form.Set("reason", "digits swapped")
	rd := f.office().last[3]
	rd.ShownH = 10480.5 // somebody else was quicker
	f.office().last[3] = rd
	d := v.post(path, form, http.StatusConflict)
	if len(f.office().acts) != 0 || !strings.Contains(text(d, "main"), "10480.5") {
		t.Errorf("kept %+v; the page says %q", f.office().acts, text(d, "main"))
	}
}

func TestPulleysThatCannotBe(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	path := "/plants/3/conveyors/new"
	v.refused(path, url.Values{"tag": {"Q4"}, "line_id": {"abc"}, "rows": {"2"}, "p1_role": {"tail"}, "p1_diameter": {"0"}, "p2_role": {"tail"}, "p2_diameter": {"99999"}},
		"line_id", "p1_diameter", "p2_diameter", "p2_role")
	v.taken(path, url.Values{"tag": {"Q4"}, "rows": {"x"}, "p1_role": {"tail"}, "p1_diameter": {"500"}, "p2_role": {"head"}, "p2_diameter": {"600"}})
	if c := one[assets.Conveyor](t, f.office()); len(c.Pulleys) != 2 {
		t.Errorf("a spoilt count of rows lost pulleys: %+v", c.Pulleys)
	}
}

func TestHeldQuestionsTellPlantTime(t *testing.T) {
	f := Format{Zone: time.FixedZone("", 3600)}
	if got := f.inPlantTime("902.0 h contradicts 10000.0 h at 2026-11-24T17:00:00Z"); strings.ReplaceAll(got, nb, " ") != "902.0 h contradicts 10 000.0 h at 24 Nov 2026, 18:00" {
		t.Errorf("%q", got)
	}
}

// Somebody at a desk types what the crew called in: the form says what each grade of that kind means, and a grade 4 answers that nobody has
// been told by it.
func TestAGradeFourTypedAtADeskTellsThatNobodyHasBeenTold(t *testing.T) {
	v := as(t, skarrow(), assets.RoleTechnician)
	const path = "/plants/3/conveyors/3/finding"
	d := v.get(path)
	if says := text(d, "dl"); !strings.Contains(says, "3 open through the cover: plan the remake") {
		t.Errorf("beside the form stands %q", says)
	}
	id, _ := d.Find("input[name=client_id]").Attr("value")
	form := url.Values{"client_id": {id}, "target": {"conveyor"}, "found_at": {"2026-11-25T05:00"}, "category": {"opening along the seam"}, "grade": {"4"}, "running": {""}}
	rec := v.send(path, form, http.StatusSeeOther)
	if got := v.get(rec.Header().Get("Location")).Text(); !strings.Contains(got, "Nobody has been told by this") {
		t.Error("a grade 4 is taken as if somebody had been told")
	}
}
