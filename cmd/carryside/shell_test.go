package main

import (
	"bytes"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/server"
	"carryside/server/signin"
)

// shelled holds what every answer carries, whatever it is.
func shelled(t *testing.T, what string, r reply) {
	t.Helper()
	csp := r.header.Get("Content-Security-Policy")
	if !strings.Contains(csp, "default-src 'none'") || !strings.Contains(csp, "frame-ancestors 'none'") || strings.Contains(csp, "unsafe") || strings.Contains(csp, "*") {
		t.Errorf("%s (%d): policy %q", what, r.status, csp)
	}
	if r.header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("%s (%d): types may be guessed", what, r.status)
	}
	if strings.HasPrefix(what, "GET /api/v1/openapi.json") || strings.HasPrefix(what, "HEAD /api/v1/openapi.json") {
		return // the same for everybody
	}
	cache := r.header.Get("Cache-Control")
	if open := strings.HasPrefix(what, "GET /static/") && r.status == http.StatusOK; open != strings.Contains(cache, "public") || !open && !strings.Contains(cache, "no-store") {
		t.Errorf("%s (%d): may be kept: %q", what, r.status, cache)
	}
	if strings.HasPrefix(r.header.Get("Content-Type"), "text/html") && r.body != "" {
		for _, word := range []string{"<style", " style=", " onclick=", " onload=", "javascript:", "<script>"} {
			if strings.Contains(r.body, word) {
				t.Errorf("%s: the page holds %q, which the policy drops", what, word)
			}
		}
	}
	if got := r.header.Get("Server") + r.header.Get("X-Powered-By"); got != "" {
		t.Errorf("%s: tells what it runs on: %q", what, got)
	}
}

// TestEveryAnswerIsInItsShell asks every address, signed in and not, and for what is not there, not taken or too large.
func TestEveryAnswerIsInItsShell(t *testing.T) {
	w := openWalls(t)
	lead, nobody := w.asker(assets.RoleLead, "all"), w.nobody()
	for _, rt := range w.routes() {
		path := w.home.address(rt.Path, "", "")
		for _, a := range []*asker{lead, nobody} {
			if rt.Path == "/signout" && a == lead {
				continue // the last to be asked
			}
			shelled(t, rt.Method+" "+path, a.ask(rt.Method, path, url.Values{}))
		}
	}
	for _, path := range []string{"/nowhere", "/plants/", "/plants/x", "/static/none.css", "/api/v1/nowhere", "/%00", "/plants/7191010/orders/0x1"} {
		shelled(t, "GET "+path, lead.ask(http.MethodGet, path, nil))
	}
	for _, method := range []string{http.MethodPut, http.MethodDelete, http.MethodPatch, http.MethodOptions, "TRACE", "MADEUP"} {
		r := lead.ask(method, "/plants", nil)
		shelled(t, method+" /plants", r)
		if r.status != http.StatusMethodNotAllowed && r.status != http.StatusNotFound {
			t.Errorf("%s /plants: %d", method, r.status)
		}
	}
	defer func() {
		out := lead.ask(http.MethodPost, "/signout", nil)
		shelled(t, "POST /signout", out)
		// "storage" would take findings along that a phone could not send yet.
		if out.header.Get("Clear-Site-Data") != `"cache"` || lead.ask(http.MethodGet, "/plants", nil).status != http.StatusSeeOther {
			t.Errorf("signed out: %v", out.header)
		}
	}()
	large := lead.ask(http.MethodPost, at(w.home, "/lines/new"), url.Values{"name": {strings.Repeat("x", 300<<10)}})
	shelled(t, "a form that is too large", large)
	if large.status != http.StatusRequestEntityTooLarge || !strings.Contains(large.body, "At most 256 kB") {
		t.Errorf("a form that is too large: %d to %q: %s", large.status, large.to, headline(large.body))
	}
}

// TestBrowsersThatCameByHTTPSComeByItAgain holds header and cookie of an installation behind https.
func TestBrowsersThatCameByHTTPSComeByItAgain(t *testing.T) {
	w := openWalls(t)
	for _, secure := range []bool{true, false} {
		c := w.serving()
		c.Door = signin.Options{Secure: secure}
		h, err := server.Handler(c)
		must(t, err)
		r := httptest.NewRequest(http.MethodGet, "http://localhost/signin", nil)
		r.RemoteAddr = "127.0.0.1:4000"
		rec := httptest.NewRecorder()
		h.ServeHTTP(rec, r)
		theme := httptest.NewRequest(http.MethodPost, "http://localhost/theme", strings.NewReader("theme=dark"))
		theme.RemoteAddr = "127.0.0.1:4000"
		theme.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		kept := httptest.NewRecorder()
		h.ServeHTTP(kept, theme)
		for _, c := range kept.Result().Cookies() {
			if c.Secure != secure || strings.HasPrefix(c.Name, "__Host-") != secure || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode {
				t.Errorf("https %v: cookie %v", secure, c)
			}
		}
		if len(kept.Result().Cookies()) == 0 {
			t.Error("the theme is not kept")
		}
		if got := rec.Header().Get("Strict-Transport-Security"); (got == "max-age=31536000; includeSubDomains") != secure {
			t.Errorf("https %v: %q", secure, got)
		}
	}
}

// TestFormsOfOtherSitesWriteNothing sends every form as a page of another site would: the browser says where it came from.
func TestFormsOfOtherSitesWriteNothing(t *testing.T) {
	w := openWalls(t)
	a := w.asker(assets.RoleLead, "all")
	before := w.heads()
	for _, rt := range w.routes() {
		if rt.Method != http.MethodPost || isMachine(rt.Path) {
			continue
		}
		for _, header := range [][2]string{{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Origin", "https://elsewhere.example"}, {"Origin", "null"}} {
			req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, a.base+w.home.address(rt.Path, "", ""), strings.NewReader(sending.Encode()))
			must(t, err)
			req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			req.Header.Set(header[0], header[1])
			res, err := a.client.Do(req)
			must(t, err)
			must(t, res.Body.Close())
			if res.StatusCode != http.StatusForbidden {
				t.Errorf("%s with %s: %s: %d", rt.Path, header[0], header[1], res.StatusCode)
			}
		}
	}
	if after := w.heads(); after != before {
		t.Errorf("the journals moved from %s to %s", before, after)
	}
}

// heads is where all chains stand.
func (w *walled) heads() string {
	w.t.Helper()
	var rows []struct{ ID, HeadPosition int64 }
	must(w.t, w.db.SQL(w.t.Context()).Raw("SELECT id, head_position FROM chains ORDER BY id").Scan(&rows).Error)
	return fmt.Sprint(rows)
}

// TestFilesOnTheirWayLeaveNothingBehind sends files larger than what is held in memory and looks for what the server
// set aside on disk.
func TestFilesOnTheirWayLeaveNothingBehind(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	w := openWalls(t)
	a := w.asker(assets.RoleTechnician, "plant")
	trace := append([]byte("time,top\n"), bytes.Repeat([]byte("1,2\n"), 2<<20)...)
	for _, path := range []string{at(w.home, "/conveyors/"+w.home.value("conveyor")+"/files"), at(w.foreign, "/conveyors/"+w.foreign.value("conveyor")+"/files"), at(w.home, "/import")} {
		r := a.send(path, "../trace.csv", trace)
		if want := map[bool]int{true: http.StatusSeeOther, false: r.status}[strings.Contains(path, w.home.value("plant")+"/conv")]; r.status != want {
			t.Errorf("%s: %d", path, r.status)
		}
	}
	left, err := filepath.Glob(filepath.Join(dir, "*"))
	must(t, err)
	for _, f := range left {
		if strings.HasPrefix(filepath.Base(f), "multipart-") {
			t.Errorf("%s was left behind", f)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "trace.csv")); err == nil {
		t.Error("the file's own name was used on disk")
	}
}

// send uploads a file.
func (a *asker) send(path, name string, content []byte) reply {
	a.t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	part, err := m.CreateFormFile("file", name)
	must(a.t, err)
	_, err = part.Write(content)
	must(a.t, err)
	must(a.t, m.Close())
	req, err := http.NewRequestWithContext(a.t.Context(), http.MethodPost, a.base+path, &body)
	must(a.t, err)
	req.Header.Set("Content-Type", m.FormDataContentType())
	res, err := a.client.Do(req)
	must(a.t, err)
	defer res.Body.Close()
	answer, err := io.ReadAll(res.Body)
	must(a.t, err)
	return reply{res.StatusCode, res.Header.Get("Location"), res.Header, string(answer)}
}

// TestReadingWritesNothing asks for every page and looks at the journals: a link followed, a page loaded anew or looked
// at ahead changes nothing, and neither does an address that names the form in which a report would be taken along.
func TestReadingWritesNothing(t *testing.T) {
	w := openWalls(t)
	a := w.asker(assets.RoleLead, "all")
	a.token = nil // making one is journalled
	pages := slices.DeleteFunc(w.readable(w.home), func(p string) bool { return isMachine(p) })
	before := w.heads()
	read := 0
	for _, p := range pages {
		if a.ask(http.MethodGet, p, nil).status == http.StatusOK {
			read++
		}
	}
	if after := w.heads(); after != before || read < 40 {
		t.Errorf("%d pages were read, and the journals moved from %s to %s", read, before, after)
	}
}
