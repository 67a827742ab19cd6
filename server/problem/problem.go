// Package problem turns an error into what is told about it: the status, the words, the fields, and for
// trouble of the program's own a reference number. It alone decides which error is which status; pages
// (server/web) and problem documents (RFC 9457) say the same.
package problem

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"

	"carryside/assets"
)

// Problem is what is told about an error. Its JSON is the problem document of RFC 9457 with two members of
// our own: errors, the message of each field, and reference.
type Problem struct {
	Type      string            `json:"type"`
	Title     string            `json:"title"`
	Status    int               `json:"status"`
	Detail    string            `json:"detail,omitempty"`
	Instance  string            `json:"instance,omitempty"`
	Errors    map[string]string `json:"errors,omitempty"`
	Reference string            `json:"reference,omitempty"`
	Both      *Conflict         `json:"-"` // two versions of the same thing, for the page
}

// Status is an error whose status and words are known where it arises: a page that is not there, a method
// that is not taken, a body that is too large.
type Status struct {
	Code   int
	Title  string
	Detail string
}

// Error gives the title.
func (s Status) Error() string { return s.Title }

// Conflict is assets.ErrConflict with the two versions a person has to choose from.
type Conflict struct {
	What   string // "Conveyor Q3"
	Fields []Side
	Again  string // address of the form with the newer values
}

// Side is one field of a conflict as typed and as kept meanwhile.
type Side struct{ Name, Yours, Theirs string }

// Differs tells whether the two sides of a field differ.
func (s Side) Differs() bool { return s.Yours != s.Theirs }

// Error says what was changed.
func (c *Conflict) Error() string { return c.What + " was changed by someone else since it was read" }

// Unwrap makes a Conflict one of assets.ErrConflict.
func (c *Conflict) Unwrap() error { return assets.ErrConflict }

// Of says what is to be told about err. It logs the detail of an error of the program's own under the
// reference it gives: the reply names the reference only.
func Of(log *slog.Logger, r *http.Request, err error) Problem {
	p := of(err)
	p.Instance = r.URL.Path
	if p.Title == troubleTitle && (r.Method == http.MethodGet || r.Method == http.MethodHead) {
		p.Title = "Nothing can be shown at the moment"
	}
	if p.Status >= http.StatusInternalServerError {
		p.Reference = reference()
		log.Error("request failed", "reference", p.Reference, "request", r.Header.Get("X-Request-Id"), "method", r.Method, "path", r.URL.Path, "error", err)
	}
	return p
}

// troubled is an error of the place where things are kept (a full disk, a locked database) with words for people at screens.
type troubled interface {
	error
	Trouble() string
}

// troubleTitle is what somebody is told who wanted something kept.
const troubleTitle = "Nothing can be kept at the moment"

func of(err error) Problem {
	var invalid assets.Invalid
	var status Status
	var conflict *Conflict
	var tooLarge *http.MaxBytesError
	var trouble troubled
	switch {
	case errors.As(err, &status):
		return Problem{Type: "about:blank", Title: status.Title, Status: status.Code, Detail: status.Detail}
	case errors.As(err, &tooLarge):
		return Problem{Type: "about:blank", Title: "What was sent is too large", Status: http.StatusRequestEntityTooLarge,
			Detail: "At most " + sizeWords(tooLarge.Limit) + " are taken here at once. Make it smaller or send it in parts; nothing was kept."}
	case errors.As(err, &invalid):
		return Problem{Type: "about:blank", Title: "Something typed does not hold", Status: http.StatusUnprocessableEntity,
			Detail: sentence(invalid.Error()), Errors: invalid}
	case errors.As(err, &conflict):
		return Problem{Type: "about:blank", Title: conflict.Error(), Status: http.StatusConflict,
			Detail: "Nothing of yours was kept yet. Compare both versions and save again.", Both: conflict}
	case errors.Is(err, assets.ErrConflict):
		return Problem{Type: "about:blank", Title: "Someone else changed this since you read it", Status: http.StatusConflict,
			Detail: "Nothing of yours was kept. Open it again, compare and save again."}
	case errors.Is(err, assets.ErrForbidden):
		return Problem{Type: "about:blank", Title: "Your role may not do this", Status: http.StatusForbidden,
			Detail: "Nothing was changed. Ask somebody whose role may."}
	case errors.Is(err, assets.ErrNotFound):
		return Problem{Type: "about:blank", Title: "There is nothing here", Status: http.StatusNotFound,
			Detail: "It does not exist, or it is not among what you were granted."}
	case errors.As(err, &trouble):
		return Problem{Type: "about:blank", Title: troubleTitle, Status: http.StatusServiceUnavailable, Detail: sentence(trouble.Trouble())}
	}
	return Problem{Type: "about:blank", Title: "The program failed at this", Status: http.StatusInternalServerError,
		Detail: "What was kept before stays kept; what you just sent was not."}
}

// sizeWords is a limit as people say it.
func sizeWords(bytes int64) string {
	if bytes < 1<<20 {
		return fmt.Sprintf("%d kB", bytes>>10)
	}
	return fmt.Sprintf("%d MB", bytes>>20)
}

// sentence starts a message with a capital and ends it with a full stop.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + strings.TrimSuffix(s[1:], ".") + "."
}

// reference is short enough to be read out over a telephone.
func reference() string {
	return strings.ToUpper(rand.Text()[:8])
}

// WriteJSON sends the problem document.
func WriteJSON(w http.ResponseWriter, p Problem) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(p.Status)
	// The client is gone when this fails; there is nobody left to tell.
	_ = json.NewEncoder(w).Encode(p)
}
