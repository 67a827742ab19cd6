package web

import (
	"bytes"
	"context"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/textproto"
	"net/url"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/assets/enclosure"
	"carryside/schedule/people"
)

func (o *fakeOffice) AttachedTo(_ context.Context, _ assets.Scope, kind assets.AttachedTo, id int64) ([]assets.Attachment, map[int64]string, error) {
	var out []assets.Attachment
	for _, a := range o.files {
		if a.OfKind == kind && a.OfID == id {
			out = append(out, a)
		}
	}
	return out, map[int64]string{2: "R. Asquenne"}, nil
}

func (o *fakeOffice) Attachment(_ context.Context, _ assets.Scope, id int64) (assets.Attachment, error) {
	for _, a := range o.files {
		if a.ID == id {
			return a, nil
		}
	}
	return assets.Attachment{}, assets.ErrNotFound
}

func (o *fakeOffice) AttachmentContent(_ context.Context, a assets.Attachment) ([]byte, error) {
	if o.trace != nil {
		return o.trace, nil
	}
	return []byte("content of " + a.Name), nil
}

func (o *fakeOffice) Attach(_ context.Context, _ assets.Scope, act Act, a *assets.Attachment, sent []byte) (bool, error) {
	kind, kept, err := enclosure.Fit(sent)
	if err != nil {
		return false, err
	}
	a.ID, a.Name, a.MediaType, a.SizeBytes, a.SHA256, a.AddedByID = int64(len(o.files)+1), enclosure.Name(a.Name, kind), kind, int64(len(kept)), strings.Repeat("ab", 32), act.PersonID
	o.files, o.acts = append(o.files, *a), append(o.acts, act)
	return false, nil
}

func (o *fakeOffice) WithdrawAttachment(_ context.Context, _ assets.Scope, act Act, _, id int64) error {
	o.files, o.acts = o.files[:len(o.files)-1], append(o.acts, act)
	return nil
}

// upload is a form with one file.
func upload(t testing.TB, name string, content []byte) (body *bytes.Buffer, contentType string) {
	t.Helper()
	body = &bytes.Buffer{}
	m := multipart.NewWriter(body)
	head := textproto.MIMEHeader{"Content-Disposition": {`form-data; name="file"; filename="` + name + `"`}, "Content-Type": {"image/svg+xml"}}
	part, err := m.CreatePart(head)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := part.Write(content); err != nil {
		t.Fatal(err)
	}
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	return body, m.FormDataContentType()
}

func TestFilesAreServedInert(t *testing.T) {
	tests := []struct{ kind, disposition string }{
		{"image/jpeg", "inline"}, {"image/png", "inline"}, {"image/gif", "inline"}, {"image/webp", "inline"},
		{"application/pdf", "attachment"}, {"text/plain", "attachment"}, {"text/csv", "attachment"},
	}
	f := skarrow()
	v := as(t, f, assets.RoleAuditor)
	for i, tt := range tests {
		a := assets.Attachment{PlantID: 3, OfKind: assets.AttachedToConveyor, OfID: 3, Name: "seam Q3, höch.x", MediaType: tt.kind}
		a.ID = int64(i + 1)
		f.office().files = append(f.office().files, a)
	}
	for i, tt := range tests {
		rec := v.do(httptest.NewRequest("GET", "/plants/3/attachments/"+plainInt(int64(i+1)), nil), http.StatusOK)
		h := rec.Header()
		if rec.Code != http.StatusOK || h.Get("Content-Type") != tt.kind || !strings.HasPrefix(h.Get("Content-Disposition"), tt.disposition+";") {
			t.Errorf("%s: %d %v", tt.kind, rec.Code, h)
		}
		if h.Get("X-Content-Type-Options") != "nosniff" || !strings.Contains(h.Get("Content-Security-Policy"), "sandbox") || !strings.Contains(h.Get("Cache-Control"), "no-store") {
			t.Errorf("%s: not inert: %v", tt.kind, h)
		}
	}
}

// attach sends a file to a thing's page.
func (v *visit) attach(path, name string, content []byte, status int) *httptest.ResponseRecorder {
	v.t.Helper()
	body, kind := upload(v.t, name, content)
	r := httptest.NewRequest("POST", path, body)
	r.Header.Set("Content-Type", kind)
	return v.do(r, status)
}

func TestAFileIsToldByItsContentsNotByWhatTheBrowserSays(t *testing.T) {
	f := skarrow()
	v := as(t, f, assets.RoleTechnician)
	const to = "/plants/3/conveyors/3/files"
	v.attach(to, "../trace <1>.svg", []byte("time,top,bottom\n0,20,21\n1,30,31\n"), http.StatusSeeOther)
	kept := f.office().files
	if len(kept) != 1 || kept[0].MediaType != "text/csv" || kept[0].Name != "trace 1.svg" || kept[0].AddedByID != 2 {
		t.Fatalf("kept %+v", kept)
	}
	d := v.get(to)
	if !strings.Contains(d.Find("main table").Text(), "trace 1.svg") || d.Find("main img").Length() != 0 {
		t.Errorf("the list: %s", d.Find("main table").Text())
	}
	for name, content := range map[string]string{"a drawing": `<svg xmlns="http://www.w3.org/2000/svg"/>`, "a page": "<html><body>x", "nothing": ""} {
		d := v.read(v.attach(to, "seam.jpg", []byte(content), http.StatusUnprocessableEntity))
		if d.Find("[data-bad] .err").Text() == "" {
			t.Errorf("%s: no word beside the field", name)
		}
	}
	d = v.read(v.attach(to, "", nil, http.StatusUnprocessableEntity))
	if !strings.Contains(d.Find("main").Text(), "Choose the file") {
		t.Error("no file chosen: no word about it")
	}
	big := append([]byte("a,b\n"), bytes.Repeat([]byte("1,2\n"), enclosure.MaxBytes/4)...)
	d = v.read(v.attach(to, "big.csv", big, http.StatusUnprocessableEntity))
	if !strings.Contains(d.Find("main").Text(), "20 MB") {
		t.Error("too large: the limit is not named")
	}
	v.attach(to, "huge.csv", append(big, make([]byte, 2<<20)...), http.StatusRequestEntityTooLarge)
	if len(f.office().files) != 1 {
		t.Errorf("%d files are kept", len(f.office().files))
	}
}

func TestAWithdrawalNeedsAReasonAndARole(t *testing.T) {
	f := skarrow()
	f.office().files = []assets.Attachment{{PlantID: 3, OfKind: assets.AttachedToSplice, OfID: 32, Name: "seam.jpg", MediaType: "image/jpeg", Version: assets.Version{ID: 1}}}
	as(t, f, assets.RoleTechnician).page("/plants/3/attachments/1/withdraw", http.StatusForbidden)
	v := as(t, f, assets.RolePlanner)
	v.post("/plants/3/attachments/1/withdraw", url.Values{"version": {"0"}}, http.StatusUnprocessableEntity)
	rec := v.send("/plants/3/attachments/1/withdraw", url.Values{"version": {"0"}, "reason": {"a face is on it"}}, http.StatusSeeOther)
	if to := rec.Header().Get("Location"); to != "/plants/3/splices/32/files" || len(f.office().files) != 0 {
		t.Errorf("went on to %s, %d files left", to, len(f.office().files))
	}
	if acts := f.office().acts; acts[len(acts)-1].Reason != "a face is on it" {
		t.Errorf("act %+v", acts[len(acts)-1])
	}
}

func TestOnlyWhoMayRecordFindingsIsOfferedTheForm(t *testing.T) {
	for role, may := range map[assets.Role]bool{assets.RoleTechnician: true, assets.RolePlanner: true, assets.RoleAuditor: false} {
		d := as(t, skarrow(), role).get("/plants/3/conveyors/3/files")
		if got := d.Find("input[type=file]").Length() == 1; got != may || people.May(role, people.RecordFinding) != may {
			t.Errorf("%s: form shown: %v", role, got)
		}
	}
}
