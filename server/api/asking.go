package api

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"
	"golang.org/x/time/rate"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/server/problem"
	"carryside/server/signin"
)

// May is what a token may.
type May string

// What tokens may.
const (
	MayRead    May = "read"
	MayEnter   May = "read and readings"
	MayMetrics May = "metrics"
)

// Bearer is who a token stands for: a person, with the grants the token is narrowed to.
type Bearer struct {
	signin.Who
	TokenID   int64
	TokenName string
	May       May
}

// ErrExpired is a token that has come to its end.
var ErrExpired = errors.New("the token has expired")

// Keys knows tokens.
type Keys interface {
	// Shown returns who a token stands for. assets.ErrNotFound when there is none in force, ErrExpired when it has
	// come to its end.
	Shown(ctx context.Context, token string, now time.Time) (Bearer, error)
}

// Sessions says which person's browser a request comes from; false when nobody is signed in.
type Sessions interface {
	Asking(r *http.Request) (signin.Who, bool, error)
}

// asker is whoever asks, with their request.
type asker struct {
	Bearer
	request *http.Request
	now     time.Time
}

type askerKey struct{}

func asking(ctx context.Context) *asker {
	a, _ := ctx.Value(askerKey{}).(*asker)
	return a
}

// ask finds out who asks before anything else is looked at, and keeps the pace of each.
func (s *service) ask(ctx huma.Context, next func(huma.Context)) {
	r := humagin.Unwrap(ctx).Request
	// The library closes a body that is too large before its end. The server must not take it for read: what is left of
	// it would be looked at as the next request of the connection.
	r.Body = io.NopCloser(r.Body)
	a := &asker{request: r, now: s.now()}
	ctx = huma.WithValue(ctx, askerKey{}, a)
	ctx.SetHeader("Cache-Control", "private, no-store")
	err := s.whoAsks(ctx.Context(), a)
	if err == nil {
		err = s.pace.keep(a)
	}
	if err != nil {
		s.refuse(ctx, err)
		return
	}
	next(ctx)
}

// refuse writes a problem document before the operation is reached.
func (s *service) refuse(ctx huma.Context, err error) {
	var p *Problem
	if !errors.As(s.fail(ctx.Context(), err), &p) {
		return
	}
	for name, values := range p.headers {
		ctx.SetHeader(name, values[0])
	}
	problem.WriteJSON(humagin.Unwrap(ctx).Writer, problem.Problem{Type: p.Type, Title: p.Title, Status: p.Status, Detail: p.Detail, Instance: p.Instance, Reference: p.Reference})
}

func (s *service) whoAsks(ctx context.Context, a *asker) error {
	scheme, token, shown := strings.Cut(a.request.Header.Get("Authorization"), " ")
	if shown && strings.EqualFold(scheme, "Bearer") {
		return s.byToken(ctx, a, strings.TrimSpace(token))
	}
	if s.sessions != nil && fromOwnPage(a.request) {
		who, ok, err := s.sessions.Asking(a.request)
		if err != nil {
			return err
		}
		if ok {
			a.Who, a.May = who, MayRead
			return nil
		}
	}
	return unauthorized(a.request, "", "Show a token", "Send it in the header Authorization: Bearer TOKEN. A person makes one on the page Tokens.")
}

func (s *service) byToken(ctx context.Context, a *asker, token string) (err error) {
	a.Bearer, err = s.keys.Shown(ctx, token, a.now)
	switch {
	case errors.Is(err, assets.ErrNotFound):
		return unauthorized(a.request, "invalid_token", "This token opens nothing", "It was ended, or it was not copied whole. Make a new one on the page Tokens.")
	case errors.Is(err, ErrExpired):
		return unauthorized(a.request, "invalid_token", "This token has expired", "Make a new one on the page Tokens.")
	case err != nil:
		return err
	}
	writes := a.request.Method != http.MethodGet && a.request.Method != http.MethodHead
	if a.May == MayMetrics || writes && a.May != MayEnter {
		needs := map[bool]May{false: MayRead, true: MayEnter}[writes]
		p := told(a.request, http.StatusForbidden, "This token may not do this", fmt.Sprintf("It may %s; this needs a token that may %s. Nothing was changed.", a.May, needs))
		p.headers = http.Header{"Www-Authenticate": {`Bearer realm="carryside", error="insufficient_scope"`}}
		return p
	}
	return nil
}

// fromOwnPage tells whether a browser's session may answer for a request: reading only, and asked by a page of this
// site or typed by its person. Another site's page cannot read the answer; it gets none either.
func fromOwnPage(r *http.Request) bool {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		return false
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "same-origin", "none":
		return true
	case "":
		return r.Header.Get("Origin") == ""
	}
	return false
}

// told is a problem of the asking itself.
func told(r *http.Request, status int, title, detail string) *Problem {
	return &Problem{Type: "about:blank", Title: title, Status: status, Detail: detail, Instance: r.URL.Path}
}

// unauthorized asks for a token as RFC 6750 says.
func unauthorized(r *http.Request, code, title, detail string) *Problem {
	p := told(r, http.StatusUnauthorized, title, detail)
	challenge := `Bearer realm="carryside"`
	if code != "" {
		challenge += `, error="` + code + `"`
	}
	p.headers = http.Header{"Www-Authenticate": {challenge}}
	return p
}

// at returns the plant of an address. One outside the grants is not there.
func (s *service) plantOf(ctx context.Context, plantID int64) (*asker, assets.Plant, error) {
	a := asking(ctx)
	frame, err := s.PlantFrame(ctx, a.Scope(), plantID)
	if err != nil {
		return a, assets.Plant{}, err
	}
	if !a.Who.May(people.Read, frame.Plant.CustomerID, plantID) {
		return a, assets.Plant{}, assets.ErrNotFound
	}
	return a, frame.Plant, nil
}

// How fast each may ask: a control room reads a plant in some dozen requests and then asks now and again.
const (
	perSecond = 20
	atOnce    = 100
	paces     = 5_000 // kept; all are forgotten when there are more
)

// pace limits how fast each token, or each person at a browser, asks.
type pace struct {
	now func() time.Time

	mu sync.Mutex // guards of
	of map[string]*rate.Limiter
}

func newPace(now func() time.Time) *pace {
	return &pace{now: now, of: map[string]*rate.Limiter{}}
}

// keep refuses who asks too fast, and says when to ask again.
func (p *pace) keep(a *asker) error {
	who := "token " + strconv.FormatInt(a.TokenID, 10)
	if a.TokenID == 0 {
		who = "person " + strconv.FormatInt(a.Person.ID, 10)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	l := p.of[who]
	if l == nil {
		if len(p.of) >= paces {
			clear(p.of)
		}
		l = rate.NewLimiter(perSecond, atOnce)
		p.of[who] = l
	}
	if l.AllowN(p.now(), 1) {
		return nil
	}
	slow := told(a.request, http.StatusTooManyRequests, "Asked too fast", fmt.Sprintf("A token may ask %d times a second, %d at once. Wait a second and go on.", perSecond, atOnce))
	slow.headers = http.Header{"Retry-After": {"1"}}
	return slow
}
