//go:build browser

package browsertest

import (
	"bytes"
	"context"
	"fmt"
	"image/png"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// browser is shared by the tests of this package: starting it takes longer than most of them.
var browser *Browser

func TestMain(m *testing.M) {
	os.Exit(func() int {
		var err error
		if browser, err = Start(context.Background()); err != nil {
			fmt.Fprintln(os.Stderr, "browsertest:", err)
			return 1
		}
		defer browser.Close()
		code := m.Run()
		for _, v := range visitors {
			v.Close()
		}
		if running != nil {
			if err := running.Stop(); err != nil {
				fmt.Fprintln(os.Stderr, "browsertest: the demo did not end cleanly:", err)
				return 1
			}
		}
		return code
	}())
}

const soundPage = `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Conveyor C-12</title>
<meta name="viewport" content="width=device-width"><link rel="icon" href="data:,">
<style>body{background:#fff;color:#111} @media (prefers-color-scheme:dark){body{background:#111;color:#eee}}</style></head>
<body><main><h1>Conveyor C-12</h1><form method="post" action="/reading"><label>Running hours <input name="run_hours" value=""></label>
<button>Enter</button></form></main></body></html>`

// servePage answers every GET with one page under a strict policy, and a POST with the form refilled.
func servePage(t *testing.T, page string) string {
	t.Helper()
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'self'")
		if r.URL.Path == "/nowhere" {
			w.WriteHeader(http.StatusNotFound)
		}
		if r.Method == http.MethodPost {
			w.WriteHeader(http.StatusUnprocessableEntity)
			typed := r.FormValue("run_hours")
			page := strings.Replace(soundPage, `value=""`, fmt.Sprintf("value=%q", typed), 1)
			fmt.Fprint(w, strings.Replace(page, "<form", `<p role="alert">Running hours must be a number.</p><form`, 1))
			return
		}
		fmt.Fprint(w, page)
	}))
	t.Cleanup(server.Close)
	return server.URL
}

func open(t *testing.T, url string, view View) *Page {
	t.Helper()
	page, err := browser.Open(url, view)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(page.Close)
	return page
}

// TestFaultsAreSeen plants one fault in a sound page each and asks whether the harness reports it,
// and nothing else. Without it a broken harness would pass every screen.
func TestFaultsAreSeen(t *testing.T) {
	tests := map[string]struct {
		path, old, new string
		view           View
		want           string // part of the one fault, "" for none
	}{
		"sound on the desk":     {view: Desk},
		"sound in the dark":     {view: DeskDark},
		"sound on the phone":    {view: Phone},
		"sound on paper":        {view: Paper},
		"too wide upright":      {old: "<h1>", new: `<div style="width:1000px">wide</div><h1>`, view: Paper, want: "pixels wide on 718"},
		"fits when laid across": {old: "<style>", new: "<style>@page{size:A4 landscape} h1{width:1000px} ", view: Paper},
		"page not found":        {path: "/nowhere", view: Desk, want: "status 404"},
		"wide table":            {old: "<h1>", new: `<div style="width:700px">wide</div><h1>`, view: Phone, want: "pixels wide on 390"},
		"script refused":        {old: "<h1>", new: `<script>console.log(1)</script><h1>`, view: Desk, want: "Content Security Policy"},
		"picture refused":       {old: "<h1>", new: `<img alt="" src="http://127.0.0.1:9/x.png"><h1>`, view: Desk, want: "Content Security Policy"},
		"field without label":   {old: "<label>Running hours", new: "<label>", view: Desk, want: "label (critical)"},
		"grey on grey":          {old: "<h1>", new: `<p style="color:#999;background:#aaa">faint</p><h1>`, view: Phone, want: "color-contrast"},
		"faint in the dark":     {old: "color:#eee", new: "color:#222", view: DeskDark, want: "color-contrast"},
		"value that is absent":  {old: "<h1>", new: "<p>Belt speed NaN m/s</p><h1>", view: Desk, want: "NaN"},
		"heading missing":       {old: "<h1>Conveyor C-12</h1>", new: "", view: Desk, want: "h1"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			url := servePage(t, strings.Replace(soundPage, tt.old, tt.new, 1))
			faults, err := open(t, url+tt.path, tt.view).Faults()
			if err != nil {
				t.Fatal(err)
			}
			if tt.want == "" {
				if len(faults) > 0 {
					t.Errorf("a sound page is blamed: %s", strings.Join(faults, "\n"))
				}
				return
			}
			if !strings.Contains(strings.Join(faults, "\n"), tt.want) {
				t.Errorf("the fault %q is not seen in %q", tt.want, faults)
			}
		})
	}
}

func TestWrongEntryIsAnsweredAndKept(t *testing.T) {
	page := open(t, servePage(t, soundPage), Desk)
	forms, err := page.Forms()
	if err != nil {
		t.Fatal(err)
	}
	if len(forms) != 1 || len(forms[0].Fields) != 1 {
		t.Fatalf("want the one form with its one field, got %+v", forms)
	}
	faults, err := page.PostWrong(forms[0], "zz ½ wrong")
	if err != nil {
		t.Fatal(err)
	}
	if len(faults) > 0 || page.Status != http.StatusUnprocessableEntity {
		t.Errorf("status %d, faults %q; want 422 and none", page.Status, faults)
	}
}

func TestLostEntryIsSeen(t *testing.T) {
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		fmt.Fprint(w, soundPage) // takes anything, says nothing, forgets what was typed
	}))
	t.Cleanup(server.Close)
	page := open(t, server.URL, Desk)
	forms, err := page.Forms()
	if err != nil {
		t.Fatal(err)
	}
	faults, err := page.PostWrong(forms[0], "zz ½ wrong")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"status 200", "no message", "run_hours"} {
		if !strings.Contains(strings.Join(faults, "\n"), want) {
			t.Errorf("%q is not among the faults %q", want, faults)
		}
	}
}

func TestPicturesAndPaper(t *testing.T) {
	dir := t.TempDir()
	url := servePage(t, soundPage)
	for _, view := range []View{Phone, Paper} {
		if err := open(t, url, view).SavePicture(dir, "conveyor"); err != nil {
			t.Fatal(err)
		}
	}
	picture, err := os.ReadFile(filepath.Join(dir, "conveyor-phone.png"))
	if err != nil {
		t.Fatal(err)
	}
	decoded, err := png.Decode(bytes.NewReader(picture))
	if err != nil {
		t.Fatal(err)
	}
	if width := decoded.Bounds().Dx(); width != 390 {
		t.Errorf("the picture is %d pixels wide, want 390", width)
	}
	pdf, err := os.ReadFile(filepath.Join(dir, "conveyor-print.pdf"))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		t.Errorf("no PDF but %.20q", pdf)
	}
}
