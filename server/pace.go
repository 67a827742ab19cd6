package server

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"
	"golang.org/x/time/rate"

	"carryside/server/problem"
	"carryside/server/signin"
)

// How fast a person may open pages and send forms, beside the figure the operator gives for pages. People work fast in
// bursts: somebody who leafs through a list, or brings a shift's readings in. Programs do not pause.
const (
	burstSeconds   = 30     // worth of pages that may come at once
	formsPerPage   = 0.1    // forms, against pages
	mostPaced      = 10_000 // kept; all are forgotten when there are more
	retryAfterSecs = "5"
)

// pace limits how fast each person, or each address nobody is signed in at, asks for screens. It stands against
// reading a register out, filling it with rubbish and keeping the server busy. Counts are each server's own.
type pace struct {
	desk  *signin.Desk
	now   func() time.Time
	pages rate.Limit

	mu sync.Mutex // guards of
	of map[string]*paced
}

// paced is how much somebody may still ask.
type paced struct{ pages, forms *rate.Limiter }

// unpaced are addresses that are no screens: files of the program, what machines ask, which have limits of their own.
var unpaced = []string{"/static/", "/healthz", "/readyz", "/metrics", "/api/"}

// paceOf makes the limit; pagesPerSecond 0: there is none.
func paceOf(c Config, desk *signin.Desk) gin.HandlerFunc {
	if c.PagesPerSecond <= 0 {
		return func(*gin.Context) {}
	}
	p := &pace{desk: desk, now: c.Now, pages: rate.Limit(c.PagesPerSecond), of: map[string]*paced{}}
	tooFast := refuse(c.Log, problem.Status{Code: http.StatusTooManyRequests, Title: "This came too fast",
		Detail: fmt.Sprintf("A person may open %g pages a second for long, and send a tenth as many forms. Wait a few seconds and send it again; nothing was kept. Programs use the machine interface.", c.PagesPerSecond)})
	return func(g *gin.Context) {
		if p.within(g.Request) {
			return
		}
		g.Header("Retry-After", retryAfterSecs)
		tooFast.ServeHTTP(g.Writer, g.Request)
		g.Abort()
	}
}

func (p *pace) within(r *http.Request) bool {
	for _, path := range unpaced {
		if strings.HasPrefix(r.URL.Path, path) {
			return true
		}
	}
	of := p.held(p.who(r))
	if r.Method == http.MethodPost && !of.forms.AllowN(p.now(), 1) {
		return false
	}
	return of.pages.AllowN(p.now(), 1)
}

// who is the person a request comes from, else its address: people behind one address do not share a limit once they
// are signed in.
func (p *pace) who(r *http.Request) string {
	if who, in, err := p.desk.Asking(r); err == nil && in {
		return fmt.Sprintf("person %d", who.Person.ID)
	}
	return "address " + p.desk.Network(r)
}

func (p *pace) held(who string) *paced {
	p.mu.Lock()
	defer p.mu.Unlock()
	of := p.of[who]
	if of == nil {
		if len(p.of) >= mostPaced {
			clear(p.of)
		}
		pages, forms := p.pages, p.pages*formsPerPage
		of = &paced{rate.NewLimiter(pages, int(pages*burstSeconds)+1), rate.NewLimiter(forms, int(forms*burstSeconds*2)+1)}
		p.of[who] = of
	}
	return of
}
