package health

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
)

// standing is an installation that stands as a test wants it.
type standing struct {
	ready   error
	figures Figures
	fail    error
}

func (s standing) Ready(context.Context, time.Time) error   { return s.ready }
func (s standing) Figures(context.Context) (Figures, error) { return s.figures, s.fail }

// watched is a server with one page, its log, and a token for metrics.
func watched(s standing) (*Health, http.Handler, *bytes.Buffer) {
	var log bytes.Buffer
	h := New(Config{Facts: s, Now: func() time.Time { return time.Unix(1_795_000_000, 0) }, Log: slog.New(slog.NewTextHandler(&log, nil)),
		Token: func(_ context.Context, token string) bool { return token == "good" }})
	e := gin.New()
	e.Use(h.Watch)
	h.Mount(e)
	e.GET("/plants/:plant", func(c *gin.Context) { c.Status(http.StatusOK) })
	return h, e, &log
}

func ask(e http.Handler, method, path, from string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, nil)
	r.RemoteAddr = from
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	e.ServeHTTP(w, r)
	return w
}

const (
	here      = "127.0.0.1:999"
	elsewhere = "203.0.113.7:999" // an address for documentation, RFC 5737
)

func TestReadinessSaysWhyAndNoMore(t *testing.T) {
	for name, tt := range map[string]struct {
		err    error
		status int
		says   string
	}{
		"all is there":             {nil, 200, "ready\n"},
		"the first evaluation":     {Missing("starting: the rules are evaluated for the first time"), 503, "not ready: starting: the rules are evaluated for the first time\n"},
		"wrapped":                  {fmt.Errorf("look: %w", Missing("the database has the number 12 and this program 11")), 503, "not ready: the database has the number 12 and this program 11\n"},
		"a database that is gone":  {errors.New("dial tcp 10.0.0.7:5432: password hunter2"), 503, "not ready: the database does not answer\n"},
		"a database that is stuck": {context.DeadlineExceeded, 503, "not ready: the database does not answer\n"},
	} {
		t.Run(name, func(t *testing.T) {
			_, e, log := watched(standing{ready: tt.err})
			w := ask(e, "GET", "/readyz", elsewhere)
			if w.Code != tt.status || w.Body.String() != tt.says {
				t.Errorf("%d %q, want %d %q", w.Code, w.Body, tt.status, tt.says)
			}
			if strings.Contains(tt.says, "does not answer") != strings.Contains(log.String(), "not ready") {
				t.Errorf("the log says %q", log)
			}
			if w := ask(e, "GET", "/healthz", elsewhere); w.Code != http.StatusOK {
				t.Errorf("the process lives all the same: %d", w.Code)
			}
		})
	}
}

func TestStoppingGoesBeforeEverything(t *testing.T) {
	h, e, _ := watched(standing{})
	h.Stopping("it was told to stop")
	if w := ask(e, "GET", "/readyz", here); w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "stopping: it was told to stop") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}

func TestWhoMayReadTheFigures(t *testing.T) {
	_, e, _ := watched(standing{})
	for name, tt := range map[string]struct {
		from    string
		headers []string
		status  int
	}{
		"this machine":                      {here, nil, 200},
		"this machine by its other address": {"[::1]:999", nil, 200},
		"another machine":                   {elsewhere, nil, 401},
		"another machine with a token":      {elsewhere, []string{"Authorization", "Bearer good"}, 200},
		"the scheme in small letters":       {elsewhere, []string{"Authorization", "bearer good"}, 200},
		"with a wrong token":                {elsewhere, []string{"Authorization", "Bearer bad"}, 401},
		"with a password":                   {elsewhere, []string{"Authorization", "Basic good"}, 401},
		"passed on by a proxy here":         {here, []string{"X-Forwarded-For", "203.0.113.7"}, 401},
		"passed on, said the new way":       {here, []string{"Forwarded", "for=203.0.113.7"}, 401},
		"passed on, said the old way":       {here, []string{"X-Real-Ip", "203.0.113.7"}, 401},
		"no address at all":                 {"", nil, 401},
	} {
		t.Run(name, func(t *testing.T) {
			w := ask(e, "GET", "/metrics", tt.from, tt.headers...)
			if w.Code != tt.status || (tt.status == 200) != strings.Contains(w.Body.String(), "carryside_database_answers") {
				t.Errorf("%d %.100s, want %d", w.Code, w.Body, tt.status)
			}
		})
	}
}

func TestFiguresStandThoughTheDatabaseIsGone(t *testing.T) {
	_, e, _ := watched(standing{fail: errors.New("dial tcp 10.0.0.7:5432")})
	ask(e, "GET", "/plants/7", here)
	page := ask(e, "GET", "/metrics", here).Body.String()
	for _, want := range []string{"carryside_database_answers 0", `carryside_request_seconds_count{method="GET",route="/plants/:plant",status="200"} 1`, "go_goroutines"} {
		if !strings.Contains(page, want) {
			t.Errorf("no figure %s", want)
		}
	}
	if strings.Contains(page, "carryside_journal_entries_total") || strings.Contains(page, "10.0.0.7") {
		t.Errorf("figures are made up, or tell the address: %s", page)
	}
}

// Whatever somebody types becomes no label: labels without end are memory without end.
func TestLabelsAreBounded(t *testing.T) {
	h, e, _ := watched(standing{figures: Figures{JournalEntries: 7, Pools: []Pool{{Name: "write", Waits: 3, Waited: 1500 * time.Millisecond}}}})
	for i := range 50 {
		ask(e, "GET", fmt.Sprintf("/nowhere/%d", i), elsewhere)
		ask(e, fmt.Sprintf("METHOD%d", i), "/plants/1", elsewhere)
		ask(e, "GET", fmt.Sprintf("/plants/%d", i), elsewhere)
	}
	h.CountReadings("screen", "held", 2)
	page := ask(e, "GET", "/metrics", here).Body.String()
	for _, want := range []string{`carryside_request_seconds_count{method="GET",route="/plants/:plant",status="200"} 50`, `carryside_request_seconds_count{method="GET",route="none",status="404"} 50`,
		`carryside_request_seconds_count{method="other",route="none",status="404"} 50`, `carryside_readings_total{origin="screen",outcome="held"} 2`, "carryside_journal_entries_total 7",
		`carryside_pool_waits_total{pool="write"} 3`, `carryside_pool_waited_seconds_total{pool="write"} 1.5`} {
		if !strings.Contains(page, want) {
			t.Errorf("no figure %s", want)
		}
	}
	if n := strings.Count(page, "carryside_request_seconds_count{"); n != 3 {
		t.Errorf("%d series of requests, want 3", n)
	}
}
