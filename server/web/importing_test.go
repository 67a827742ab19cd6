package web

import (
	"archive/zip"
	"bytes"
	"context"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/PuerkitoBio/goquery"

	"carryside/assets"
	"carryside/assets/intake"
)

// fakeRegistry is the fake plant's register as the importer sees it: the conveyors Q1 to G3 with nothing on
// them, and what was brought in.
type fakeRegistry struct {
	plant  *fakePlant
	office *fakeOffice
	act    Act
}

func (f *fakeRegistry) NewPlant(context.Context) (intake.PlantSettings, error) {
	return intake.PlantSettings{Zone: "Europe/Oslo"}, nil
}

func (f *fakeRegistry) FindPlants(_ context.Context, key string) ([]intake.PlantRef, error) {
	if key != assets.NameKey("Skarrow Grain Terminal") {
		return nil, nil
	}
	return []intake.PlantRef{{ID: 3, Name: "Skarrow Grain Terminal", Customer: "Skarrow Harbour", Zone: "Europe/Oslo"}}, nil
}

func (f *fakeRegistry) Load(ctx context.Context, _ int64, _ intake.Want) (*intake.Snapshot, error) {
	if f.office.importing != nil {
		select {
		case <-f.office.importing:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	s := &intake.Snapshot{}
	for _, c := range f.plant.fleet.Register.Conveyors {
		s.Conveyors = append(s.Conveyors, intake.ConveyorState{Conveyor: c, Line: f.plant.fleet.Register.LineName(c)})
	}
	return s, nil
}

func (f *fakeRegistry) Apply(_ context.Context, ch *intake.Changes) error {
	return f.office.change(f.act, ch)
}

func (o *fakeOffice) ImportRegistry(_ assets.Scope, act Act) intake.Registry {
	return &fakeRegistry{plant: o.plant, office: o, act: act}
}

func (o *fakeOffice) ListsBroughtIn(context.Context, assets.Scope, int64, int) ([]ListBroughtIn, error) {
	return []ListBroughtIn{{File: "joints 2024.csv", At: on(2025, 1, 8).At, ByID: 1, Counts: `{"conveyor":{"created":2},"splice":{"created":14,"changed":1}}`, Refused: `[{"row":9}]`}}, nil
}

// jointList is a plant's own CSV: the third row names a date that is none.
const jointList = "Conveyor;Splice number;Made on;Made by\nQ1;1;2023-09-14;M. Okkerdal\nQ2;1;2024-03-30;S. Ilveth\nQ3;2;2021-02-31;S. Ilveth\n"

// upload sends a file the way a browser does.
func (v *visit) upload(name, content string, status int) *httptest.ResponseRecorder {
	v.t.Helper()
	return v.uploadWith(name, content, url.Values{"date_order": {""}}, status)
}

// uploadWith sends a file with other fields beside it.
func (v *visit) uploadWith(name, content string, fields url.Values, status int) *httptest.ResponseRecorder {
	v.t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	if name != "" {
		part, err := w.CreateFormFile("file", name)
		if err != nil {
			v.t.Fatal(err)
		}
		if _, err := part.Write([]byte(content)); err != nil {
			v.t.Fatal(err)
		}
	}
	for field := range fields {
		if err := w.WriteField(field, fields.Get(field)); err != nil {
			v.t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		v.t.Fatal(err)
	}
	r := httptest.NewRequest("POST", "/plants/3/import", &b)
	r.Header.Set("Content-Type", w.FormDataContentType())
	return v.do(r, status)
}

// settledAt waits until an address leads to another.
func (v *visit) settledAt(path, to string) bool {
	for range 400 {
		r := httptest.NewRequest("GET", path, nil)
		r.RemoteAddr, r.Host = "127.0.0.1:4000", "localhost:8080"
		for _, c := range v.cookie {
			r.AddCookie(c)
		}
		rec := httptest.NewRecorder()
		v.h.ServeHTTP(rec, r)
		if rec.Header().Get("Location") == to {
			return true
		}
		time.Sleep(5 * time.Millisecond)
	}
	return false
}

// settled reads the page of a trial once it runs no more.
func (v *visit) settled(path string, status int) *goquery.Document {
	v.t.Helper()
	for range 400 {
		r := httptest.NewRequest("GET", path, nil)
		r.RemoteAddr, r.Host = "127.0.0.1:4000", "localhost:8080"
		for _, c := range v.cookie {
			r.AddCookie(c)
		}
		rec := httptest.NewRecorder()
		v.h.ServeHTTP(rec, r)
		if rec.Header().Get("Refresh") == "" {
			if rec.Code != status {
				v.t.Fatalf("%s: status %d, want %d\n%.800s", path, rec.Code, status, rec.Body)
			}
			return v.read(rec)
		}
		time.Sleep(5 * time.Millisecond)
	}
	v.t.Fatalf("%s goes on and on", path)
	return nil
}

func TestAListIsTriedBeforeItIsBroughtIn(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	if got := text(v.get("/plants/3/import"), "#was"); got != "Lists brought in" {
		t.Errorf("lists brought in: %q", got)
	}
	path := v.upload("joints.csv", jointList, http.StatusSeeOther).Header().Get("Location")
	d := v.settled(path, http.StatusOK)
	if got := text(d, "h1"); got != "2 of 3 rows are ready; 1 is refused, so nothing is brought in yet" {
		t.Errorf("headline %q", got)
	}
	if len(f.office().acts) != 0 {
		t.Fatal("a trial wrote something")
	}
	if got := text(d, ".cell-bad"); got != "2021-02-31" {
		t.Errorf("the refused cell is %q", got)
	}
	if got := d.Find(`select[name="m0_C"] option[selected]`).AttrOr("value", ""); got != "made_on" {
		t.Errorf("'Made on' is read as %q", got)
	}
	if d.Find("button[name=all]").Length() != 0 || d.Find("button[name=rest]").Text() == "" {
		t.Error("all or nothing: bringing in is offered although a row is refused")
	}
	rec := v.do(httptest.NewRequest("GET", path+"/refused", nil), http.StatusOK)
	b := rec.Body.Bytes()
	if _, err := zip.NewReader(bytes.NewReader(b), int64(len(b))); err != nil || !strings.Contains(rec.Header().Get("Content-Disposition"), "joints refused.xlsx") {
		t.Errorf("refused rows: %v, %s", err, rec.Header().Get("Content-Disposition"))
	}
	d = v.post(path, url.Values{"all": {"yes"}}, http.StatusUnprocessableEntity)
	if got := text(d, ".note.bad p"); !strings.Contains(got, "1 row is refused") || len(f.office().acts) != 0 {
		t.Errorf("bringing all in although one is refused: %q", got)
	}
	v.send(path, url.Values{"rest": {"yes"}}, http.StatusSeeOther)
	d = v.settled(path, http.StatusOK)
	if got := text(d, "h1"); got != "2 rows are brought in, one was left out" {
		t.Errorf("headline %q", got)
	}
	ch, ok := f.office().kept[0].(*intake.Changes)
	if !ok || len(ch.Plants) != 1 || ch.Plants[0].ID != 3 || f.office().acts[0].PersonID != 1 {
		t.Errorf("kept %+v by %+v", f.office().kept, f.office().acts)
	}
	v.send(path, url.Values{"rest": {"yes"}}, http.StatusSeeOther)
	if v.settled(path, http.StatusOK); len(f.office().acts) != 1 {
		t.Error("sent twice it was written twice")
	}
}

func TestAHeadingIsReadAsAPersonSays(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	path := v.upload("joints.csv", "Conveyor;Splice number;Made on;By\nQ1;1;03/04/2025;M. Okkerdal\n", http.StatusSeeOther).Header().Get("Location")
	d := v.settled(path, http.StatusOK)
	if d.Find(".cell-bad").Length() != 1 {
		t.Errorf("03/04/2025 is not asked about: %s", text(d, "h1"))
	}
	form := url.Values{"m0_A": {"conveyor"}, "m0_B": {"splice_number"}, "m0_C": {"made_on"}, "m0_D": {"remark"}, "date_order": {"dmy"}, "same_record": {""}, "again": {"yes"}}
	v.send(path, form, http.StatusSeeOther)
	d = v.settled(path, http.StatusOK)
	if got := text(d, "h1"); got != "The row is ready" {
		t.Errorf("with its order told: %q", got)
	}
	if got := d.Find(`select[name="m0_D"] option[selected]`).AttrOr("value", ""); got != "remark" {
		t.Errorf("'By' is read as %q", got)
	}
	form.Set("m0_D", "horoscope")
	d = v.post(path, form, http.StatusUnprocessableEntity)
	if d.Find(`.note.bad a[href="#f-m0_D"]`).Length() != 1 {
		t.Errorf("a field that is none: %s", text(d, ".note.bad"))
	}
	form.Set("m0_D", "made_by")
	form.Set("date_order", "sideways")
	v.post(path, form, http.StatusUnprocessableEntity)
}

func TestAFileThatIsNoList(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	d := v.read(v.upload("", "", http.StatusUnprocessableEntity))
	if d.Find(`.note.bad a[href="#f-file"]`).Length() != 1 {
		t.Errorf("no file: %s", text(d, ".note.bad"))
	}
	path := v.upload("joints.csv", "%PDF-1.7 not a list", http.StatusSeeOther).Header().Get("Location")
	if d = v.settled(path, http.StatusUnprocessableEntity); !strings.Contains(text(d, ".note.bad"), "PDF") {
		t.Errorf("a PDF: %s", text(d, ".note.bad"))
	}
	path = v.upload("words.csv", "nothing;here\n1;2\n", http.StatusSeeOther).Header().Get("Location")
	d = v.settled(path, http.StatusOK)
	if got := text(d, "h1"); got != "Nothing in words.csv was understood, so nothing is brought in" || d.Find("button[name=all]").Length() != 0 {
		t.Errorf("no headings: %q", got)
	}
}

func TestAListOfAnotherPlantIsNotBroughtInHere(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	path := v.upload("joints.csv", "Plant;Conveyor;Name;Speed m/s\nHidden Works;Q1;Quay;2.6\n", http.StatusSeeOther).Header().Get("Location")
	d := v.settled(path, http.StatusOK)
	if d.Find("button[name=all]").Length() != 0 || !strings.Contains(text(d, ".note.chalk"), "Hidden Works") {
		t.Errorf("offered: %s", text(d, ".note.chalk"))
	}
	v.post(path, url.Values{"all": {"yes"}}, http.StatusUnprocessableEntity)
	if len(f.office().acts) != 0 {
		t.Error("it was written")
	}
}

func TestATrialIsSeenByItsOwnerAndCanBeStopped(t *testing.T) {
	f := skarrow()
	f.staff = append(f.staff, assets.Person{ID: 8, Name: "L. Sorvane", Role: assets.RoleLead})
	f.office().importing = make(chan struct{})
	v := as(t, f, assets.RolePlanner)
	path := v.upload("joints.csv", jointList, http.StatusSeeOther).Header().Get("Location")
	rec := v.do(httptest.NewRequest("GET", path, nil), http.StatusOK)
	if rec.Header().Get("Refresh") == "" || !strings.Contains(rec.Body.String(), "Stop here") {
		t.Error("the page of a running trial does not ask again")
	}
	w := as(t, f, assets.RoleLead)
	w.h = v.h
	w.post("/signin", url.Values{"person": {"8"}}, http.StatusSeeOther)
	if to := w.do(httptest.NewRequest("GET", path, nil), http.StatusSeeOther).Header().Get("Location"); to != "/plants/3/import" {
		t.Errorf("somebody else's trial leads to %s", to)
	}
	v.send(path, url.Values{"stop": {"yes"}}, http.StatusSeeOther)
	d := v.settled("/plants/3/import", http.StatusOK)
	if got := text(d, ".note.chalk"); got != "joints.csv was stopped; nothing of it was kept." {
		t.Errorf("told %q", got)
	}
	if !v.settledAt(path, "/plants/3/import") {
		t.Error("a stopped trial does not lead back to the form")
	}
	as(t, f, assets.RoleTechnician).page("/plants/3/import", http.StatusForbidden)
}

func TestARegisterThatChangedMeanwhile(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RolePlanner)
	path := v.upload("joints.csv", "Conveyor;Splice number;Made on\nQ1;1;2023-09-14\n", http.StatusSeeOther).Header().Get("Location")
	v.settled(path, http.StatusOK)
	f.office().fail = assets.ErrConflict
	v.send(path, url.Values{"all": {"yes"}}, http.StatusSeeOther)
	if got := text(v.settled(path, http.StatusConflict), "h1"); got != "The register changed since the list was worked out" {
		t.Errorf("headline %q", got)
	}
}

func TestColumnsOfARun(t *testing.T) {
	if got := strings.Join(columnsOf("Y:AB"), " "); got != "Y Z AA AB" {
		t.Errorf("Y:AB is %s", got)
	}
	if columnNumber("XFD") != 16384 { // the last column of a workbook (ECMA-376)
		t.Errorf("XFD is %d", columnNumber("XFD"))
	}
}
