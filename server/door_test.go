package server

import (
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"testing"

	"carryside/server/signin"
)

// behindProxy is everything round a page of a server that a proxy speaks https for.
func behindProxy(t *testing.T) http.Handler {
	t.Helper()
	public, err := url.Parse("https://belts.example")
	if err != nil {
		t.Fatal(err)
	}
	page := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) })
	return around(Config{Log: slog.New(slog.NewTextHandler(io.Discard, nil)), ProxyOnly: true,
		Door: signin.Options{Public: public, Secure: true, Proxies: []netip.Prefix{netip.MustParsePrefix("10.0.0.4/32")}}}, page)
}

func TestBehindAProxyNobodyElseIsAnswered(t *testing.T) {
	h := behindProxy(t)
	tests := []struct {
		name, from, host, origin string
		want                     int
	}{
		{"through the proxy", "10.0.0.4:900", "belts.example", "https://belts.example", http.StatusNoContent},
		{"through a proxy that asks for its own host", "10.0.0.4:900", "10.0.0.9:8080", "https://belts.example", http.StatusNoContent},
		{"around it", "10.0.0.77:900", "belts.example", "https://belts.example", http.StatusForbidden},
		{"from this machine", "127.0.0.1:900", "localhost:8080", "http://localhost:8080", http.StatusNoContent},
		{"from this machine by another name", "127.0.0.1:900", "elsewhere.example", "", http.StatusForbidden},
		{"through the proxy from another site's page", "10.0.0.4:900", "belts.example", "https://elsewhere.example", http.StatusForbidden},
	}
	for _, tt := range tests {
		r := httptest.NewRequest("POST", "/form", nil)
		r.RemoteAddr, r.Host = tt.from, tt.host
		if tt.origin != "" {
			r.Header.Set("Origin", tt.origin)
		}
		rec := httptest.NewRecorder()
		h.ServeHTTP(rec, r)
		if rec.Code != tt.want {
			t.Errorf("%s: %d, want %d", tt.name, rec.Code, tt.want)
		}
		if rec.Header().Get("Strict-Transport-Security") == "" {
			t.Errorf("%s: nothing keeps the browser at https", tt.name)
		}
	}
}
