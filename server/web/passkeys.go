package web

import (
	"errors"
	"io"
	"net/http"

	"github.com/gin-gonic/gin"

	"carryside/assets"
	"carryside/server/problem"
)

// Passkeys are made and used by the browser itself, so that these few addresses speak JSON with static/js/passkeys.js.

// inJSON wraps an address that answers with JSON, for somebody signed in or not.
func (s *Site) inJSON(do func(*Site, *Request) (any, error)) gin.HandlerFunc {
	return func(c *gin.Context) { s.answerJSON(s.stranger(c), do) }
}

// ofOwn is inJSON for a route of somebody signed in.
func ofOwn(do func(*Site, *Request) (any, error)) func(*Site, *Request) error {
	return func(s *Site, r *Request) error {
		s.answerJSON(r, do)
		return nil
	}
}

func (s *Site) answerJSON(r *Request, do func(*Site, *Request) (any, error)) {
	r.C.Header("Cache-Control", "no-store")
	v, err := do(s, r)
	if err != nil {
		problem.WriteJSON(r.C.Writer, problem.Of(s.log, r.C.Request, inPlainWords(err)))
		return
	}
	r.C.JSON(http.StatusOK, v)
}

// body reads what the browser made of a passkey.
func (r *Request) body() ([]byte, error) {
	return io.ReadAll(http.MaxBytesReader(r.C.Writer, r.C.Request.Body, 64<<10))
}

// next is where a page goes on.
type next struct {
	To string `json:"to"`
}

func (s *Site) askPasskey(r *Request) (any, error) {
	return s.desk.AskPasskey(r.C.Writer, r.C.Request)
}

func (s *Site) byPasskey(r *Request) (any, error) {
	body, err := r.body()
	if err != nil {
		return nil, err
	}
	if err := s.desk.ByPasskey(r.C.Writer, r.C.Request, body); err != nil {
		return nil, tooLate(err)
	}
	return next{ownPath(r.Query("to"))}, nil
}

// tooLate says in words that a way there and back is over.
func tooLate(err error) error {
	if errors.Is(err, assets.ErrNotFound) {
		return assets.Invalid{"": "this took too long, or was begun in another browser; begin again"}
	}
	return err
}

// offerPasskey begins to make a passkey, once whoever asks has confirmed to be it.
func (s *Site) offerPasskey(r *Request) (any, error) {
	if !s.desk.Passkeys() {
		return nil, assets.ErrNotFound
	}
	if err := s.desk.Confirm(r.C.Request, r.typedSecret("password")); err != nil {
		return nil, err
	}
	return s.desk.OfferPasskey(r.C.Writer, r.C.Request, r.C.Request.PostForm.Get("name"))
}

func (s *Site) takePasskey(r *Request) (any, error) {
	body, err := r.body()
	if err != nil {
		return nil, err
	}
	if err := s.desk.TakePasskey(r.C.Writer, r.C.Request, body); err != nil {
		return nil, tooLate(err)
	}
	s.desk.Tell(r.C.Request, "/account", "The passkey is kept. Your device asks for it when you sign in.")
	return next{"/account"}, nil
}
