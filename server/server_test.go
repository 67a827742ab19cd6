package server

import (
	"compress/gzip"
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/server/web"
)

// nobody is a table of people with one planner and no plants.
type nobody struct {
	web.Fleets
	web.Orders
	web.Days
	web.Finds
	web.Owners
	web.Registers
	web.Meters
	web.RuleBook
	web.StopBook
	web.Reporting
}

func (nobody) SignIns(context.Context) ([]assets.Person, error) {
	return []assets.Person{{ID: 1, Name: "I. Vanterel", Role: assets.RolePlanner}}, nil
}
func (nobody) GrantsOf(context.Context, int64) ([]assets.Grant, error) {
	return []assets.Grant{{Role: assets.RolePlanner}}, nil
}
func (nobody) AddPerson(context.Context, string, assets.Role) (assets.Person, error) {
	return assets.Person{}, nil
}
func (nobody) PlantFrame(context.Context, assets.Scope, int64) (web.PlantFrame, error) {
	return web.PlantFrame{}, assets.ErrNotFound
}
func (nobody) PlantList(context.Context, assets.Scope) ([]web.PlantSummary, error) { return nil, nil }

func handler(t *testing.T, loopback bool) http.Handler {
	t.Helper()
	h, err := Handler(Config{Sources: web.Sources{Plants: nobody{}, Fleets: nobody{}, Orders: nobody{}, Days: nobody{}, Finds: nobody{}, Owners: nobody{},
		Registers: nobody{}, Meters: nobody{}, RuleBook: nobody{}, StopBook: nobody{}, Reporting: nobody{}},
		People: nobody{}, Now: func() time.Time { return time.Unix(1.8e9, 0) },
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)), LoopbackOnly: loopback})
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func ask(h http.Handler, method, path string, header ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, nil)
	r.RemoteAddr, r.Host = "127.0.0.1:999", "localhost:8080"
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
		if header[i] == "Host" {
			r.Host = header[i+1]
		}
	}
	rec := httptest.NewRecorder()
	h.ServeHTTP(rec, r)
	return rec
}

func TestEveryAnswerCarriesThePolicy(t *testing.T) {
	h := handler(t, false)
	for _, path := range []string{"/signin", "/plants", "/nowhere", "/static/none.css", "/api/v1/none"} {
		rec := ask(h, "GET", path)
		csp := rec.Header().Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") {
			t.Errorf("%s: policy %q", path, csp)
		}
		if rec.Header().Get("X-Content-Type-Options") != "nosniff" || rec.Header().Get("Referrer-Policy") == "" {
			t.Errorf("%s: headers %v", path, rec.Header())
		}
	}
}

func TestFormsOfOtherSitesAreRefused(t *testing.T) {
	h := handler(t, false)
	if rec := ask(h, "POST", "/signout", "Sec-Fetch-Site", "cross-site"); rec.Code != http.StatusForbidden {
		t.Errorf("cross-site form: %d", rec.Code)
	}
	if rec := ask(h, "POST", "/signout", "Origin", "https://elsewhere.example"); rec.Code != http.StatusForbidden {
		t.Errorf("form with a foreign origin: %d", rec.Code)
	}
	if rec := ask(h, "POST", "/signout", "Sec-Fetch-Site", "same-origin"); rec.Code != http.StatusSeeOther {
		t.Errorf("own form: %d", rec.Code)
	}
}

func TestLoopbackOnlyRefusesOtherNames(t *testing.T) {
	h := handler(t, true)
	if rec := ask(h, "GET", "/signin", "Host", "plant.example"); rec.Code != http.StatusForbidden || !strings.Contains(rec.Body.String(), "own machine") {
		t.Errorf("%d %s", rec.Code, rec.Body)
	}
	if rec := ask(h, "GET", "/signin"); rec.Code != http.StatusOK {
		t.Errorf("localhost: %d", rec.Code)
	}
}

func TestPagesAreCompressedForWhoTakesIt(t *testing.T) {
	h := handler(t, false)
	plain := ask(h, "GET", "/signin")
	packed := ask(h, "GET", "/signin", "Accept-Encoding", "br, gzip")
	if packed.Header().Get("Content-Encoding") != "gzip" || packed.Header().Get("Vary") == "" {
		t.Fatalf("headers %v", packed.Header())
	}
	z, err := gzip.NewReader(packed.Body)
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(z)
	if err != nil || string(body) != plain.Body.String() {
		t.Errorf("unpacked differs from plain: %v", err)
	}
	if rec := ask(h, "POST", "/signout", "Accept-Encoding", "gzip"); rec.Code != http.StatusSeeOther || rec.Header().Get("Content-Encoding") != "" {
		t.Errorf("a redirect: %d %v", rec.Code, rec.Header())
	}
	if rec := ask(h, "HEAD", "/signin", "Accept-Encoding", "gzip"); rec.Code != http.StatusOK || rec.Header().Get("Content-Encoding") != "" {
		t.Errorf("HEAD: %d %v", rec.Code, rec.Header())
	}
}

func TestServerHasTimeLimits(t *testing.T) {
	s := HTTP("127.0.0.1:0", http.NotFoundHandler())
	if s.ReadHeaderTimeout == 0 || s.ReadTimeout == 0 || s.WriteTimeout == 0 || s.IdleTimeout == 0 || s.MaxHeaderBytes == 0 {
		t.Errorf("%+v", s)
	}
}
