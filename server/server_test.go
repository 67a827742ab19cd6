package server

import (
	"compress/gzip"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

// handler is everything round a page that is long enough to be compressed.
func handler(t *testing.T, loopback bool) http.Handler {
	t.Helper()
	page := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case r.URL.Path == "/workbook":
			w.Header().Set("Content-Type", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
		case r.Method == http.MethodPost:
			http.Redirect(w, r, "/", http.StatusSeeOther)
			return
		case r.URL.Path == "/tiny":
			w.Header().Set("Content-Type", "text/plain")
			_, _ = w.Write([]byte("short"))
			return
		default:
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
		}
		_, _ = w.Write([]byte(strings.Repeat("the belt runs ", 400)))
	})
	return around(Config{Log: slog.New(slog.NewTextHandler(io.Discard, nil)), LoopbackOnly: loopback}, page)
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
	for _, path := range []string{"/", "/workbook", "/tiny", "/api/v1/x"} {
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

// TestNobodySaysWhereThisProgramStands sends the header by which the router would take an address for one below
// another, and lead there.
func TestNobodySaysWhereThisProgramStands(t *testing.T) {
	page := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if got := r.Header.Values("X-Forwarded-Prefix"); len(got) > 0 {
			t.Errorf("a page is told it stands below %q", got)
		}
		w.WriteHeader(http.StatusNoContent)
	})
	r := httptest.NewRequest("GET", "/plants/", nil)
	r.Header.Set("X-Forwarded-Prefix", "/elsewhere")
	rec := httptest.NewRecorder()
	around(Config{Log: slog.New(slog.NewTextHandler(io.Discard, nil))}, page).ServeHTTP(rec, r)
	if rec.Code != http.StatusNoContent {
		t.Errorf("%d, want the page", rec.Code)
	}
}

func TestFormsOfOtherSitesAreRefused(t *testing.T) {
	h := handler(t, false)
	if rec := ask(h, "POST", "/form", "Sec-Fetch-Site", "cross-site"); rec.Code != http.StatusForbidden {
		t.Errorf("cross-site form: %d", rec.Code)
	}
	if rec := ask(h, "POST", "/form", "Origin", "https://elsewhere.example"); rec.Code != http.StatusForbidden {
		t.Errorf("form with a foreign origin: %d", rec.Code)
	}
	if rec := ask(h, "POST", "/form", "Sec-Fetch-Site", "same-origin"); rec.Code != http.StatusSeeOther {
		t.Errorf("own form: %d", rec.Code)
	}
}

func TestLoopbackOnlyRefusesOtherNames(t *testing.T) {
	h := handler(t, true)
	if rec := ask(h, "GET", "/page", "Host", "plant.example"); rec.Code != http.StatusForbidden || !strings.Contains(rec.Body.String(), "own machine") {
		t.Errorf("%d %s", rec.Code, rec.Body)
	}
	if rec := ask(h, "GET", "/page"); rec.Code != http.StatusOK {
		t.Errorf("localhost: %d", rec.Code)
	}
}

func TestPagesAreCompressedForWhoTakesIt(t *testing.T) {
	h := handler(t, false)
	plain := ask(h, "GET", "/page")
	packed := ask(h, "GET", "/page", "Accept-Encoding", "br, gzip")
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
	if rec := ask(h, "POST", "/form", "Accept-Encoding", "gzip"); rec.Code != http.StatusSeeOther || rec.Header().Get("Content-Encoding") != "" {
		t.Errorf("a redirect: %d %v", rec.Code, rec.Header())
	}
	if rec := ask(h, "HEAD", "/page", "Accept-Encoding", "gzip"); rec.Code != http.StatusOK || rec.Header().Get("Content-Encoding") != "" {
		t.Errorf("HEAD: %d %v", rec.Code, rec.Header())
	}
}

func TestWhatIsPackedOrTinyPassesAsItIs(t *testing.T) {
	h := handler(t, false)
	for _, path := range []string{"/workbook", "/tiny"} {
		if rec := ask(h, "GET", path, "Accept-Encoding", "gzip"); rec.Header().Get("Content-Encoding") != "" || rec.Body.Len() == 0 {
			t.Errorf("%s: %v, %d bytes", path, rec.Header(), rec.Body.Len())
		}
	}
}

func TestHandlerWantsEverySource(t *testing.T) {
	if _, err := Handler(Config{Now: time.Now, Log: slog.Default()}); err == nil || !strings.Contains(err.Error(), "no source for") {
		t.Errorf("a server without its database: %v", err)
	}
}

func TestServerHasTimeLimits(t *testing.T) {
	s := HTTP("127.0.0.1:0", http.NotFoundHandler())
	if s.ReadHeaderTimeout == 0 || s.ReadTimeout == 0 || s.WriteTimeout == 0 || s.IdleTimeout == 0 || s.MaxHeaderBytes == 0 {
		t.Errorf("%+v", s)
	}
}
