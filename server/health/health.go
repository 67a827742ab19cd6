// Package health tells machines how a server stands: whether its process lives (/healthz), whether it should be sent
// requests (/readyz), and its figures for Prometheus (/metrics). It tells no name of a plant, a conveyor or a person.
//
//	h := health.New(health.Config{Facts: facts, Now: time.Now, Log: log})
//	h.Mount(engine)
//	defer h.Stopping("the program is being stopped")
package health

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"strings"
	"sync/atomic"
	"time"

	"github.com/gin-gonic/gin"
)

// Facts is what is asked of the installation.
type Facts interface {
	// Ready returns nil where requests can be answered, otherwise one sentence saying what is missing.
	Ready(ctx context.Context, now time.Time) error
	// Figures returns how the installation stands.
	Figures(ctx context.Context) (Figures, error)
}

// Config is what the addresses are made of.
type Config struct {
	Facts Facts
	Now   func() time.Time
	Log   *slog.Logger
	// Token tells whether a token may read the figures; nil: none may.
	Token func(ctx context.Context, token string) bool
}

// Health is how a server stands.
type Health struct {
	facts    Facts
	now      func() time.Time
	log      *slog.Logger
	token    func(ctx context.Context, token string) bool
	stopping atomic.Pointer[string]
	metrics  *metrics
}

// New returns a server's health; it is ready as soon as its facts are.
func New(c Config) *Health {
	h := &Health{facts: c.Facts, now: c.Now, log: c.Log, token: c.Token}
	h.metrics = newMetrics(h)
	return h
}

// Stopping makes the server not ready from now on, so that no more requests are sent to it. Those under way go on.
func (h *Health) Stopping(why string) { h.stopping.Store(&why) }

// Mount puts the addresses on an engine.
func (h *Health) Mount(e *gin.Engine) {
	for _, method := range []string{http.MethodGet, http.MethodHead} {
		e.Handle(method, "/healthz", h.live)
		e.Handle(method, "/readyz", h.ready)
		e.Handle(method, "/metrics", h.figures)
	}
}

// live answers while the process can answer at all.
func (h *Health) live(c *gin.Context) { say(c, http.StatusOK, "alive") }

// longest is how long a look at the database may take before the server counts as not ready.
const longest = 5 * time.Second

// ready answers whether requests should be sent here.
func (h *Health) ready(c *gin.Context) {
	if why := h.stopping.Load(); why != nil {
		say(c, http.StatusServiceUnavailable, "stopping: "+*why)
		return
	}
	ctx, cancel := context.WithTimeout(c.Request.Context(), longest)
	defer cancel()
	if err := h.facts.Ready(ctx, h.now()); err != nil {
		var why Missing
		if !asMissing(err, &why) { // an error of the database may tell its address
			h.log.ErrorContext(ctx, "not ready", "error", err)
			why = "the database does not answer"
		}
		say(c, http.StatusServiceUnavailable, "not ready: "+string(why))
		return
	}
	say(c, http.StatusOK, "ready")
}

// Missing is a sentence of what a server lacks, fit to be told to anybody.
type Missing string

// Error gives the sentence.
func (m Missing) Error() string { return string(m) }

func say(c *gin.Context, status int, words string) {
	c.Header("Cache-Control", "no-store")
	c.Data(status, "text/plain; charset=utf-8", []byte(words+"\n"))
}

// figures answers to this machine, and to whoever shows a token for it.
func (h *Health) figures(c *gin.Context) {
	if !fromThisMachine(c.Request) && !h.shown(c.Request) {
		c.Header("WWW-Authenticate", `Bearer realm="carryside metrics"`)
		say(c, http.StatusUnauthorized, "figures are told to this machine, and to a token made for metrics")
		return
	}
	c.Header("Cache-Control", "no-store")
	h.metrics.handler.ServeHTTP(c.Writer, c.Request)
}

func (h *Health) shown(r *http.Request) bool {
	scheme, token, ok := strings.Cut(r.Header.Get("Authorization"), " ")
	return ok && h.token != nil && strings.EqualFold(scheme, "Bearer") && h.token(r.Context(), strings.TrimSpace(token))
}

// fromThisMachine tells whether a request was made on this machine and passed on by nobody: a proxy beside the
// program would make every request look so.
func fromThisMachine(r *http.Request) bool {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	passedOn := r.Header.Get("X-Forwarded-For") != "" || r.Header.Get("Forwarded") != "" || r.Header.Get("X-Real-Ip") != "" || r.Header.Get("Via") != ""
	return ip != nil && ip.IsLoopback() && !passedOn
}
