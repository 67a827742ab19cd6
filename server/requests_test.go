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
	r := httptest.NewRequest("POST", "/plants/3/conveyors/ZQ12/zqcode?q=zqname", strings.NewReader("zqbody"))
	for _, name := range []string{"Authorization", "Cookie", "User-Agent", "X-Forwarded-For", requestHeader} {
		r.Header.Set(name, "zqheader")
	}
	w := httptest.NewRecorder()
	e.ServeHTTP(w, r)
	line := log.String()
	for _, want := range []string{"method=POST", "route=/plants/:plant/conveyors/:conveyor/:code", "status=204", "plant=3", "request=" + w.Header().Get(requestHeader)} {
		if !strings.Contains(line, want) {
			t.Errorf("the log does not say %s: %s", want, line)
		}
	}
	if strings.Contains(strings.ToLower(line), "zq") {
		t.Errorf("the log tells too much: %s", line)
	}
	if id := w.Header().Get(requestHeader); len(id) != 12 || id != seen {
		t.Errorf("answered as %q, handled as %q", id, seen)
	}
	log.Reset()
	e.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest("ZQMETHOD", "/zqnowhere", nil))
	if strings.Contains(strings.ToLower(log.String()), "zq") || !strings.Contains(log.String(), "method=other") {
		t.Errorf("an address that is none: %s", log.String())
	}
}
