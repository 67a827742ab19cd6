package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/server/problem"
	"carryside/server/signin"
)

// Request is one request of somebody signed in, with the plant it is about where its address names one.
type Request struct {
	C     *gin.Context
	Who   signin.Who
	Scope assets.Scope
	Plant *PlantFrame // nil where the address names no plant
	Now   time.Time
	F     Format // of the plant
	route Route
	site  *Site

	findingKinds assets.FindingKinds // nil: not read yet
}

// Context is the request's context: it ends when the browser goes away.
func (r *Request) Context() context.Context { return r.C.Request.Context() }

// PlantID is the plant's number, 0 without one.
func (r *Request) PlantID() int64 {
	if r.Plant == nil {
		return 0
	}
	return r.Plant.Plant.ID
}

// At returns an address below the plant's.
func (r *Request) At(parts ...any) string { return at(r.PlantID(), parts...) }

// ID reads a number of the address; what is no number is not found.
func (r *Request) ID(name string) (int64, error) {
	id, err := strconv.ParseInt(r.C.Param(name), 10, 64)
	if err != nil || id <= 0 {
		return 0, fmt.Errorf("%s %q: %w", name, r.C.Param(name), assets.ErrNotFound)
	}
	return id, nil
}

// Query reads a value of the address after the question mark.
func (r *Request) Query(name string) string { return r.C.Query(name) }

// Posted tells whether a form was sent.
func (r *Request) Posted() bool { return r.C.Request.Method == http.MethodPost }

// NewForm returns an empty form, holding what was sent when one was.
func (r *Request) NewForm() *Form {
	var posted url.Values
	if r.Posted() {
		posted = r.C.Request.PostForm
	}
	f := NewForm(posted)
	f.Plain = r.F
	return f
}

// May tells whether whoever asks may do a deed at the plant of the request, or anywhere where it has none.
func (r *Request) May(d people.Deed) bool {
	if d == people.KeepOwnAccount { // everybody's who is signed in, whatever they were granted
		return true
	}
	if r.Plant == nil {
		return r.Who.MayAnywhere(d)
	}
	return r.Who.May(d, r.Plant.Plant.CustomerID, r.Plant.Plant.ID)
}

// Show sends a screen.
func (r *Request) Show(screen string, p framed) error {
	return r.show(http.StatusOK, screen, p)
}

// Refill sends a form again with what was typed and what is wrong with it.
func (r *Request) Refill(screen string, p framed) error {
	return r.show(http.StatusUnprocessableEntity, screen, p)
}

func (r *Request) show(status int, screen string, p framed) error {
	r.site.fill(r, p.page())
	b, err := r.site.views.render(screen, p)
	if err != nil {
		return err
	}
	if r.C.Writer.Header().Get("Cache-Control") == "" {
		r.C.Header("Cache-Control", "private, no-store")
	}
	r.C.Data(status, "text/html; charset=utf-8", b.Bytes())
	return nil
}

// Done goes on to another page after a form was taken, which says the sentence once: "Reading of Q3 kept".
func (r *Request) Done(to, notice string) error {
	if notice != "" {
		r.site.desk.Tell(r.C.Request, to, notice)
	}
	r.C.Redirect(http.StatusSeeOther, to)
	return nil
}

// Send sends a file that was made for the request: a workbook, a list of refused rows.
func (r *Request) Send(name, mime string, body []byte) error {
	plain := strings.Map(func(c rune) rune { return pickRune(c < ' ' || c > '~' || c == '"' || c == '\\', '_', c) }, name)
	r.C.Header("Content-Disposition", `attachment; filename="`+plain+`"; filename*=UTF-8''`+url.PathEscape(name))
	r.C.Header("Cache-Control", "private, no-store")
	r.C.Data(http.StatusOK, mime, body)
	return nil
}

// readForm takes in a posted form within the route's limit.
func (r *Request) readForm(limit int64) error {
	req := r.C.Request
	req.Body = http.MaxBytesReader(r.C.Writer, req.Body, limit)
	var err error
	if isMultipart(req) {
		err = req.ParseMultipartForm(min(limit, 4<<20))
	} else {
		err = req.ParseForm()
	}
	var tooLarge *http.MaxBytesError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &tooLarge):
		return fmt.Errorf("read form: %w", err)
	}
	return problem.Status{Code: http.StatusBadRequest, Title: "The form could not be read",
		Detail: "Open it again and send it once more. Nothing was kept."}
}

func isMultipart(req *http.Request) bool {
	ct := req.Header.Get("Content-Type")
	return len(ct) >= 19 && ct[:19] == "multipart/form-data"
}

// Offer adds a button to a page if the address it leads to is built and open to whoever asks. The pattern is
// the route's below the plant ("conveyors/:conveyor/finding"); ids fill its names in order.
func (r *Request) Offer(p *Page, word, pattern string, main bool, ids ...int64) {
	if to, ok := r.Link(pattern, ids...); ok {
		p.Do = append(p.Do, Action{Word: word, To: to, Main: main})
	}
}

// Link returns the address of a page below the plant's, and whether it is built and open to whoever asks.
func (r *Request) Link(pattern string, ids ...int64) (string, bool) {
	if !open(r, pattern) {
		return "", false
	}
	parts := strings.Split(pattern, "/")
	for i, part := range parts {
		if strings.HasPrefix(part, ":") && len(ids) > 0 {
			parts[i] = numberInAddress(ids[0])
			ids = ids[1:]
		}
	}
	return r.At(strings.Join(parts, "/")), true
}
