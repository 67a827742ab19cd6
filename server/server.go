// Package server joins the screens and the sign-in into one handler and puts round it what every answer
// needs: headers, limits, compression, protection against forms of other sites. It opens no socket and no
// database: the command does.
package server

import (
	"io"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"carryside/server/api"
	"carryside/server/health"
	"carryside/server/problem"
	"carryside/server/signin"
	"carryside/server/web"
)

// People is the database as sign-in and the administrator's screens ask for it.
type People interface {
	signin.Store
	web.Staff
}

// Config is what a server is made of.
type Config struct {
	Sources        web.Sources
	People         People
	Now            func() time.Time
	Log            *slog.Logger
	Door           signin.Options
	Dev            string  // folder with templates/ and static/ read anew at each page; "": the embedded ones
	PagesPerSecond float64 // how fast a person may open pages for long; 0: as fast as they come
	LoopbackOnly   bool    // answer requests from and for this machine only
	ProxyOnly      bool    // answer requests that a named proxy, or this machine, passes on

	Machine *api.Config    // the machine interface; nil: there is none
	Scanner web.Scanner    // asked about each file that is sent; nil: there is none
	Tokens  web.Tokens     // the page of its tokens; nil: there is none
	Health  *health.Health // how the server stands, for machines; nil: not told
}

// Handler returns the whole server as one handler.
func Handler(c Config) (http.Handler, error) {
	e, err := engine(c)
	if err != nil {
		return nil, err
	}
	return around(c, e), nil
}

// Route is one address the server answers to.
type Route struct{ Method, Path string }

// Routes lists every address the server answers to, as its router knows them: the test of the walls walks them,
// so that none is forgotten.
func Routes(c Config) ([]Route, error) {
	e, err := engine(c)
	if err != nil {
		return nil, err
	}
	var out []Route
	for _, r := range e.Routes() {
		out = append(out, Route{r.Method, r.Path})
	}
	return out, nil
}

// engine returns the router with every address on it.
func engine(c Config) (*gin.Engine, error) {
	desk, err := signin.NewDesk(c.People, c.Now, c.Log, c.Door)
	if err != nil {
		return nil, err
	}
	site, err := web.New(web.Config{Sources: c.Sources, Desk: desk, Now: c.Now,
		Log: c.Log, Staff: c.People, Dev: c.Dev, Tokens: c.Tokens, Scanner: c.Scanner})
	if err != nil {
		return nil, err
	}
	gin.SetMode(gin.ReleaseMode)
	e := gin.New()
	e.HandleMethodNotAllowed = true
	e.RedirectTrailingSlash = true
	e.ContextWithFallback = true
	if err := e.SetTrustedProxies(nil); err != nil {
		return nil, err
	}
	e.Use(noted(c.Log, c.Now))
	if c.Health != nil {
		e.Use(c.Health.Watch)
	}
	e.Use(gin.CustomRecoveryWithWriter(nil, site.Recover))
	e.Use(paceOf(c, desk))
	site.Mount(e)
	if c.Health != nil {
		c.Health.Mount(e)
	}
	if c.Machine == nil {
		return e, nil
	}
	machine := *c.Machine
	machine.Sessions = desk
	_, err = api.Mount(e, machine)
	return e, err
}

// mostBytes is the largest body of any request: a list brought in, with its form. Every address has a limit of its own
// below it; this one holds for addresses that read no body at all.
const mostBytes = 80 << 20

// bounded bounds every body. The request stays the one the server knows: of a copy it would not clear away the files
// that were set aside for it.
func bounded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		// Not closed by whoever reads it: what is left of a body closed early would be read as the next request.
		r.Body = io.NopCloser(http.MaxBytesReader(w, r.Body, mostBytes))
		r.Header.Del("X-Forwarded-Prefix") // the router would lead a visitor there; this program stands at the root of its host
		next.ServeHTTP(w, r)
	})
}

// around puts round the screens what every answer needs.
func around(c Config, screens http.Handler) http.Handler {
	h := ownForms(c, bounded(squeeze(screens)))
	if c.LoopbackOnly {
		h = loopbackOnly(c.Log, h)
	}
	if c.ProxyOnly {
		h = proxyOnly(c.Log, c.Door, h)
	}
	return secure(c.Door.Secure, h)
}

// HTTP returns a server with time limits, so that a slow or silent client holds nothing for long.
func HTTP(addr string, h http.Handler) *http.Server {
	return &http.Server{
		Addr: addr, Handler: h,
		ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 2 * time.Minute, // a list of 100,000 readings over a site's line
		WriteTimeout: 5 * time.Minute, IdleTimeout: 2 * time.Minute,
		MaxHeaderBytes: 64 << 10,
	}
}

// policy lets a page load its own style sheets, script, fonts and pictures and nothing else; nothing runs or
// styles from within the page.
const policy = "default-src 'none'; style-src 'self'; script-src 'self'; font-src 'self'; img-src 'self'; " +
	"connect-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// secure sets the headers of every answer. Once somebody came by https, their browser does not try plain HTTP for a
// year.
func secure(https bool, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
		h.Set("Cache-Control", "private, no-store") // a page of one person is no other's; files of the program say otherwise
		if https {
			h.Set("Strict-Transport-Security", "max-age=31536000; includeSubDomains")
		}
		next.ServeHTTP(w, r)
	})
}

// ownForms refuses forms that a page of another site sends with this site's cookie. Pages opened by the public
// address are this site's, whatever host a proxy asks for.
func ownForms(c Config, next http.Handler) http.Handler {
	p := http.NewCrossOriginProtection()
	if c.Door.Public != nil {
		if err := p.AddTrustedOrigin(c.Door.Public.Scheme + "://" + c.Door.Public.Host); err != nil {
			c.Log.Error("forms of the public address are taken by their host only", "error", err)
		}
	}
	p.SetDenyHandler(refuse(c.Log, problem.Status{Code: http.StatusForbidden, Title: "This came from another site's page",
		Detail: "Open the page here and send it again. Nothing was kept."}))
	return p.Handler(next)
}

func loopbackOnly(log *slog.Logger, next http.Handler) http.Handler {
	elsewhere := refuse(log, problem.Status{Code: http.StatusForbidden, Title: "This program answers its own machine only",
		Detail: "Open it by localhost or 127.0.0.1 on the machine it runs on."})
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !signin.FromLoopback(r) {
			elsewhere.ServeHTTP(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// proxyOnly refuses what did not come by way of the proxy: between browser and proxy the pages are encrypted, on any
// other way they would not be.
func proxyOnly(log *slog.Logger, o signin.Options, next http.Handler) http.Handler {
	elsewhere := refuse(log, problem.Status{Code: http.StatusForbidden, Title: "This program answers its proxy only",
		Detail: "Open it by its public address."})
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !o.ThroughProxy(r) && !signin.FromLoopback(r) {
			elsewhere.ServeHTTP(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// refuse answers before any screen: in words, or with a problem document below /api.
func refuse(log *slog.Logger, s problem.Status) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p := problem.Of(log, r, s)
		if strings.HasPrefix(r.URL.Path, "/api/") {
			problem.WriteJSON(w, p)
			return
		}
		http.Error(w, p.Title+". "+p.Detail, p.Status)
	})
}
