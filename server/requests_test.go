package server

import (
	"bytes"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
)

// A line of the log names the pattern of an address and the numbers in it: never what else stood in it, in a query, in
// a header or in a body.
func TestLogNamesThingsByNumberAndTellsNothingElse(t *testing.T) {
	var log bytes.Buffer
	e := gin.New()
	e.Use(noted(slog.New(slog.NewTextHandler(&log, nil)), time.Now))
	seen := ""
	e.POST("/plants/:plant/conveyors/:conveyor/:code", func(c *gin.Context) {
		seen = c.Request.Header.Get(requestHeader)
		c.Status(http.StatusNoContent)
	})
	// the number of a request is drawn from letters and the digits 2 to 7: it never holds the mark
	r := httptest.NewRequest("POST", "/plants/3/conveyors/Z912/z9code?q=z9name", strings.NewReader("z9body"))
	for _, name := range []string{"Authorization", "Cookie", "User-Agent", "X-Forwarded-For", requestHeader} {
		r.Header.Set(name, "z9header")
	}
	w := httptest.NewRecorder()
	e.ServeHTTP(w, r)
	line := log.String()
	for _, want := range []string{"method=POST", "route=/plants/:plant/conveyors/:conveyor/:code", "status=204", "plant=3", "request=" + w.Header().Get(requestHeader)} {
		if !strings.Contains(line, want) {
			t.Errorf("the log does not say %s: %s", want, line)
		}
	}
	if strings.Contains(strings.ToLower(line), "z9") {
		t.Errorf("the log tells too much: %s", line)
	}
	if id := w.Header().Get(requestHeader); len(id) != 12 || id != seen {
		t.Errorf("answered as %q, handled as %q", id, seen)
	}
	log.Reset()
	e.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest("Z9METHOD", "/z9nowhere", nil))
	if strings.Contains(strings.ToLower(log.String()), "z9") || !strings.Contains(log.String(), "method=other") {
		t.Errorf("an address that is none: %s", log.String())
	}
}
