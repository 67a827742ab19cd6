package signin

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"
	"unicode/utf8"

	"carryside/assets"

	"github.com/alexedwards/argon2id"
)

// Length of a password in characters. ASVS 5.0, 6.2.1 and 6.2.9, asks for at least 8 and lets 64 and more pass.
const (
	shortest     = 8
	longestWords = 256
)

// cost is that of the OWASP password storage cheat sheet for argon2id: 19 MiB, two passes, one lane.
var cost = &argon2id.Params{Memory: 19 * 1024, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// hasher hashes passwords, two at a time: each takes 19 MiB and a good tenth of a second, and the plant's pages must
// go on meanwhile.
type hasher struct {
	slots chan struct{}
}

func newHasher() *hasher { return &hasher{slots: make(chan struct{}, 2)} }

// ErrBusy: too many sign in at once.
var ErrBusy = errors.New("too many people sign in at this moment; try again in a few seconds")

func (h *hasher) in(ctx context.Context, do func() error) error {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	select {
	case h.slots <- struct{}{}:
		defer func() { <-h.slots }()
		return do()
	case <-ctx.Done():
		return ErrBusy
	}
}

func (h *hasher) make(ctx context.Context, password string) (hash string, err error) {
	err = h.in(ctx, func() (err error) { hash, err = argon2id.CreateHash(password, cost); return err })
	return hash, err
}

// fits tells whether a password belongs to a hash. Without a hash it takes as long and says no.
func (h *hasher) fits(ctx context.Context, password, hash string) (ok bool, err error) {
	err = h.in(ctx, func() (err error) {
		none := hash == ""
		if none {
			if hash, err = decoy(); err != nil {
				return err
			}
		}
		ok, err = argon2id.ComparePasswordAndHash(password, hash)
		ok = ok && !none
		return err
	})
	return ok, err
}

// decoy is the hash of a password nobody knows, compared where there is no account. It is made once, at the start:
// making it in the middle of a try would tell by the time it takes.
var decoy = sync.OnceValues(func() (string, error) { return argon2id.CreateHash(rand.Text(), cost) })

// SignIn takes a name and a password and starts a session. WrongPair and Wait say why not, ErrBusy that the server
// has too much of it to do, MoreProof and UsePasskey that it takes a second proof.
func (d *Desk) SignIn(w http.ResponseWriter, r *http.Request, name, password string) error {
	account, err := d.store.AccountNamed(r.Context(), name)
	if err != nil && !errors.Is(err, assets.ErrNotFound) {
		return err
	}
	if err := d.try(r, assets.NameKey(name), password, account); err != nil {
		return err
	}
	return d.afterPassword(w, r, account.PersonID)
}

// try compares a password, counted against guessing. The zero account is nobody's.
func (d *Desk) try(r *http.Request, key, password string, account assets.Account) error {
	from := d.From(r)
	n, err := d.tries.begin(key, from, d.now())
	if err != nil {
		d.log.Warn("sign-in waits after wrong passwords", "person", account.PersonID, "address", from)
		return err
	}
	if utf8.RuneCountInString(password) > longestWords {
		password = "" // never anybody's; hashing megabytes would take its time
	}
	ok, err := d.hash.fits(r.Context(), password, account.PasswordHash)
	switch {
	case err != nil:
		d.tries.right(key, from)
		return err
	case !ok:
		d.log.Warn("wrong password", "person", account.PersonID, "address", from)
		return &WrongPair{Try: n, Of: triesOfPair}
	}
	d.tries.right(key, from)
	return nil
}

// Account returns the account of a person. assets.ErrNotFound when they have none, as people of the demonstration.
func (d *Desk) Account(ctx context.Context, personID int64) (assets.Account, error) {
	return d.store.AccountOf(ctx, personID)
}

// Confirm lets whoever is signed in prove once more that it is them: by their password or, where they have none, by
// having signed in within the last quarter of an hour. assets.Invalid names the field "password".
func (d *Desk) Confirm(r *http.Request, password string) error {
	s, err := d.find(r)
	if err != nil || s == nil {
		return errors.Join(err, assets.ErrForbidden)
	}
	account, err := d.store.AccountOf(r.Context(), s.PersonID)
	if err != nil && !errors.Is(err, assets.ErrNotFound) {
		return err
	}
	if account.PasswordHash == "" {
		if d.now().Sub(s.StartedAt.Time()) <= 15*time.Minute || s.Way == assets.ByOneClick {
			return nil
		}
		return assets.Invalid{"password": "sign out and in again first, so that it is sure to be you"}
	}
	return d.inWords(d.try(r, account.SignInKey, password, account))
}

// inWords turns what is wrong with a password into the message of its field.
func (d *Desk) inWords(err error) error {
	var wrong *WrongPair
	var wait *Wait
	switch {
	case errors.As(err, &wrong):
		return assets.Invalid{"password": fmt.Sprintf("this is not your password; after %d tries it waits 10 minutes, this was try %d", wrong.Of, wrong.Try)}
	case errors.As(err, &wait):
		return assets.Invalid{"password": fmt.Sprintf("too many wrong passwords; try again in %d minutes", d.Minutes(wait))}
	case errors.Is(err, ErrBusy):
		return assets.Invalid{"password": ErrBusy.Error()}
	}
	return err
}

// Minutes is how long a wait still lasts, begun minutes counted.
func (d *Desk) Minutes(w *Wait) int { return int(w.Until.Sub(d.now())/time.Minute) + 1 }

// ChangePassword changes the password of whoever asks, who gives the old one; their other sessions end.
// assets.Invalid names the fields "password" and "new_password".
func (d *Desk) ChangePassword(r *http.Request, old, next string) error {
	s, err := d.find(r)
	if err != nil || s == nil {
		return errors.Join(err, assets.ErrForbidden)
	}
	account, err := d.store.AccountOf(r.Context(), s.PersonID)
	if err != nil && !errors.Is(err, assets.ErrNotFound) {
		return err
	}
	if account.PasswordHash == "" {
		return assets.Invalid{"": "this account has no password; your administrator gives you an address to set one"}
	}
	if err := d.checkPassword("new_password", next, account.SignInName, s.who.Person.Name); err != nil {
		return err
	}
	if err := d.inWords(d.try(r, account.SignInKey, old, account)); err != nil {
		return err
	}
	hash, err := d.hash.make(r.Context(), next)
	if err != nil {
		return err
	}
	err = d.store.SetPassword(r.Context(), account, hash, s.ID)
	d.forget(s.PersonID)
	d.log.Info("password changed", "person", s.PersonID, "address", d.From(r))
	return err
}

// checkPassword refuses a password that is too short, too long, among the first that a guesser tries, or in the
// operator's list of breached ones.
func (d *Desk) checkPassword(field, password string, names ...string) error {
	n := utf8.RuneCountInString(password)
	switch {
	case n < shortest:
		return assets.Invalid{field: fmt.Sprintf("take at least %d characters; a few words in a row are easy to remember and hard to guess", shortest)}
	case n > longestWords:
		return assets.Invalid{field: fmt.Sprintf("take at most %d characters", longestWords)}
	case Common(password, names...):
		return assets.Invalid{field: "this is among the first that a guesser tries (a common word, a run of keys, a date, your name); take a few words that do not belong together"}
	}
	found, err := d.Breached.Holds(password)
	if err == nil && found {
		err = assets.Invalid{field: "this password was stolen somewhere before and stands in lists that guessers try; take another"}
	}
	return err
}
