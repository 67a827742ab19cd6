package server

import (
	"crypto/rand"
	"log/slog"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"
)

// requestHeader carries a request's number to whoever asked, so that they can name it; what comes in under this name
// is not believed.
const requestHeader = "X-Request-Id"

// logged are the parameters of addresses that a line of the log names, all of them numbers. Others may be a secret
// (a one-time code) or a name.
var logged = []string{"plant", "line", "conveyor", "belt", "splice", "finding", "meter", "held", "order", "rule", "stop", "reminder", "token"}

// noted gives each request a number and writes a line of the log when it is answered: the pattern of its address and
// the numbers in it, never the address itself, a query, a header or a name.
func noted(log *slog.Logger, now func() time.Time) gin.HandlerFunc {
	return func(c *gin.Context) {
		begun, id := now(), rand.Text()[:12]
		c.Request.Header.Set(requestHeader, id)
		c.Header(requestHeader, id)
		c.Next()
		route, level := c.FullPath(), slog.LevelInfo
		if route == "/static/*file" || route == "/healthz" || route == "/readyz" || route == "/metrics" {
			level = slog.LevelDebug
		}
		if !log.Enabled(c.Request.Context(), level) {
			return
		}
		attrs := []slog.Attr{slog.String("request", id), slog.String("method", method(c.Request)), slog.String("route", route), slog.Int("status", c.Writer.Status()),
			slog.Float64("ms", float64(now().Sub(begun).Microseconds())/1000)}
		for _, p := range c.Params {
			if n, err := strconv.ParseInt(p.Value, 10, 64); err == nil && slices.Contains(logged, p.Key) {
				attrs = append(attrs, slog.Int64(p.Key, n))
			}
		}
		log.LogAttrs(c.Request.Context(), level, "request", attrs...)
	}
}

// method is a request's method; what somebody made up is not repeated.
func method(r *http.Request) string {
	switch r.Method {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions:
		return r.Method
	}
	return "other"
}
