package api

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"sync"

	"github.com/danielgtaylor/huma/v2"

	"carryside/assets"
	"carryside/server/problem"
)

// Problem is what is told about an error (RFC 9457), with two members of our own.
type Problem struct {
	Type      string            `json:"type" doc:"about:blank: the status says what kind of problem it is"`
	Title     string            `json:"title" doc:"what went wrong, in a few words"`
	Status    int               `json:"status" doc:"the HTTP status again"`
	Detail    string            `json:"detail,omitempty" doc:"what to do about it"`
	Instance  string            `json:"instance,omitempty" doc:"the address that was asked"`
	Errors    map[string]string `json:"errors,omitempty" doc:"what is wrong with each part, by its place: body.readings[3].at"`
	Reference string            `json:"reference,omitempty" doc:"names the entry in the program's log, for trouble of its own"`

	headers http.Header
}

// Error gives the title.
func (p *Problem) Error() string { return p.Title }

// GetStatus is the HTTP status.
func (p *Problem) GetStatus() int { return p.Status }

// GetHeaders are headers that go with the problem.
func (p *Problem) GetHeaders() http.Header { return p.headers }

// ContentType is the media type of a problem document.
func (p *Problem) ContentType(string) string { return "application/problem+json" }

func problemOf(p problem.Problem) *Problem {
	return &Problem{Type: p.Type, Title: p.Title, Status: p.Status, Detail: p.Detail, Instance: p.Instance, Errors: p.Errors, Reference: p.Reference}
}

// ownProblems makes the library tell its own refusals as ours: a part that does not fit its description. Its
// settings are the process's, so they are set once.
var ownProblems = sync.OnceFunc(func() {
	huma.NewError = func(status int, message string, errs ...error) huma.StatusError {
		return refusal(nil, status, message, errs)
	}
	huma.NewErrorWithContext = func(ctx huma.Context, status int, message string, errs ...error) huma.StatusError {
		return refusal(ctx, status, message, errs)
	}
})

// refusal is the library's own refusal in our words. An error of the program's own never shows its text.
func refusal(ctx huma.Context, status int, message string, errs []error) *Problem {
	p := &Problem{Type: "about:blank", Title: http.StatusText(status), Status: status, Detail: sentence(message)}
	if ctx != nil {
		u := ctx.URL()
		p.Instance = u.Path
	}
	if status >= http.StatusInternalServerError {
		p.Title, p.Detail = "The program failed at this", "What was kept before stays kept; what you just sent was not."
		return p
	}
	for _, err := range errs {
		var at *huma.ErrorDetail
		if !errors.As(err, &at) {
			continue
		}
		if p.Errors == nil {
			p.Errors = map[string]string{}
		}
		if _, told := p.Errors[at.Location]; !told {
			p.Errors[at.Location] = at.Message
		}
	}
	if len(p.Errors) > 0 && status == http.StatusUnprocessableEntity {
		p.Title, p.Detail = "Something sent does not hold", "Errors says what is wrong and where. Nothing was kept."
	}
	if p.Errors["header."+keyHeader] == missingKey { // the standard on this header asks for 400
		p.Status, p.Title, p.Detail = http.StatusBadRequest, "The header "+keyHeader+" is missing", "Send a key of your own making with each request that writes, the same one when you send it again. Nothing was kept."
		p.Errors = nil
	}
	return p
}

func sentence(s string) string {
	if s == "" {
		return ""
	}
	return strings.ToUpper(s[:1]) + strings.TrimSuffix(s[1:], ".") + "."
}

// fail turns an error of ours into its problem document.
func (s *service) fail(ctx context.Context, err error) error {
	var already *Problem
	if errors.As(err, &already) {
		return already
	}
	return problemOf(problem.Of(s.log, asking(ctx).request, err))
}

// answer wraps what answers an operation: its errors become problem documents.
func answer[I, O any](s *service, do func(context.Context, *I) (*O, error)) func(context.Context, *I) (*O, error) {
	return func(ctx context.Context, in *I) (*O, error) {
		out, err := do(ctx, in)
		if err != nil {
			return nil, s.fail(ctx, err)
		}
		return out, nil
	}
}

// at puts a place before the names of what is wrong: "shown_h" becomes "body.readings[3].shown_h".
func at(place string, err error) error {
	var bad assets.Invalid
	if !errors.As(err, &bad) {
		return err
	}
	out := assets.Invalid{}
	for name, message := range bad {
		out.Add(strings.TrimSuffix(place+"."+name, "."), message)
	}
	return out
}
