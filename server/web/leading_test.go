package web

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"carryside/assets"
)

// TestFormsLeadToPagesOfThisSiteOnly tries what browsers take for an address elsewhere (URL Living Standard: tabs and
// line ends are left out, a backslash counts as a slash) at both forms that lead back to a page.
func TestFormsLeadToPagesOfThisSiteOnly(t *testing.T) {
	elsewhere := []string{"//elsewhere.example", `/\elsewhere.example`, `\\elsewhere.example`, "https://elsewhere.example", "/\t/elsewhere.example", "/\n/elsewhere.example", "\t//elsewhere.example",
		" //elsewhere.example", "javascript:alert(1)", "/x\r\nSet-Cookie: a=b", "///elsewhere.example", "elsewhere.example", "", "/\x00/elsewhere.example", "http:elsewhere.example"}
	for _, to := range elsewhere {
		if got := ownPath(to); got != "/" {
			t.Errorf("%q leads to %q", to, got)
		}
		v := as(t, skarrow(), assets.RolePlanner)
		rec := v.send("/theme", url.Values{"theme": {"dark"}, "to": {to}}, http.StatusSeeOther)
		if got := rec.Header().Get("Location"); got != "/" {
			t.Errorf("the theme's form leads from %q to %q", to, got)
		}
	}
	for _, to := range []string{"/plants/3", "/plants/3/find?q=a%2Fb", "/plants/3/belts?line=2#x"} {
		if got := ownPath(to); got != to {
			t.Errorf("%q leads to %q", to, got)
		}
	}
}

func TestStaticFilesAreOnlyThose(t *testing.T) {
	v := atDoor(t, skarrow(), true)
	for _, path := range []string{"/static/../templates/layout.html", "/static/%2e%2e/static.go", "/static/..%2fgo.mod", "/static//etc/passwd", "/static/css/../../routes.go", "/static/", "/static/css"} {
		r := httptest.NewRequest(http.MethodGet, "http://localhost"+path, nil)
		r.RemoteAddr = "127.0.0.1:4000"
		rec := httptest.NewRecorder()
		v.h.ServeHTTP(rec, r)
		if rec.Code == http.StatusOK || strings.Contains(rec.Body.String(), "package web") {
			t.Errorf("%s: %d", path, rec.Code)
		}
	}
}

// TestFileNamesInHeadersAreQuoted sends a name that would end the header's value.
func TestFileNamesInHeadersAreQuoted(t *testing.T) {
	f := skarrow()
	f.office().files = []assets.Attachment{{PlantID: 3, OfKind: assets.AttachedToConveyor, OfID: 3, Name: "a\"; x=\"y\r\nSet-Cookie: z=1", MediaType: "text/plain", Version: assets.Version{ID: 1}}}
	rec := as(t, f, assets.RoleAuditor).do(httptest.NewRequest(http.MethodGet, "/plants/3/attachments/1", nil), http.StatusOK)
	if d := rec.Header().Get("Content-Disposition"); strings.ContainsAny(d, "\r\n") || rec.Header().Get("Set-Cookie") != "" || strings.Contains(d, `x="y`) {
		t.Errorf("the header is %q", d)
	}
}
