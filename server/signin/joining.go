package signin

import (
	"context"
	"crypto/rand"
	"errors"
	"net/http"
	"strings"
	"time"
	"unicode/utf8"

	"carryside/assets"
)

// How long addresses that are good once stay good.
const (
	firstLasts  = 24 * time.Hour
	inviteLasts = 72 * time.Hour // over a weekend
)

// JoinPath is the page behind an address that is good once; the code follows it.
const JoinPath = "/join?code="

// NewCode makes a code that is good once, for a person (0: nobody yet) by another. Only what is returned first is the
// secret; the row to be kept holds its hash.
func NewCode(purpose assets.CodePurpose, personID, by int64, now time.Time) (secret string, row assets.SignUpCode) {
	secret = rand.Text() // 130 random bits
	lasts := inviteLasts
	if purpose == assets.CodeFirst {
		lasts = firstLasts
	}
	return secret, assets.SignUpCode{CodeHash: digest(secret), Purpose: purpose, PersonID: personID, MadeBy: by, EndsAt: assets.InstantOf(now.Add(lasts))}
}

// FirstCode makes the code of the sign-up address that a start prints while nobody is administrator, or with again in
// any case; "" when it needs none. An earlier one is void.
func FirstCode(ctx context.Context, store Store, now time.Time, again bool) (string, error) {
	there, err := store.HasAdministrator(ctx)
	if err != nil || there && !again {
		return "", err
	}
	secret, row := NewCode(assets.CodeFirst, 0, 0, now)
	return secret, store.MakeCode(ctx, &row)
}

// Offer is what an address that is good once opens.
type Offer struct {
	Code       assets.SignUpCode
	Person     assets.Person // of whom it is; zero for a first administrator
	SignInName string        // of the account they have; "" when they choose one
}

// First tells whether it makes the first administrator.
func (o Offer) First() bool { return o.Code.Purpose == assets.CodeFirst }

// Offered returns what a code opens. assets.ErrNotFound when it is not, or no longer, good.
func (d *Desk) Offered(ctx context.Context, secret string) (o Offer, err error) {
	if o.Code, err = d.store.FindCode(ctx, digest(secret), d.instant()); err != nil {
		return o, err
	}
	switch o.Code.Purpose {
	case assets.CodeFirst:
		return o, nil
	case assets.CodeInvitation, assets.CodeNewPassword:
	default:
		return o, assets.ErrNotFound // a way there and back is no invitation
	}
	if o.Person, err = d.store.PersonByID(ctx, o.Code.PersonID); err != nil {
		return o, err
	}
	account, err := d.store.AccountOf(ctx, o.Person.ID)
	if errors.Is(err, assets.ErrNotFound) {
		return o, nil
	}
	o.SignInName = account.SignInName
	return o, err
}

// Joining is what somebody types behind an address that is good once.
type Joining struct {
	Name       string // as in the records; of a first administrator only
	SignInName string
	Password   string
	Again      string
}

// Join takes an offer up: an account, or a new password, and a session. assets.Invalid names the fields "name",
// "sign_in_name", "password" and "again"; assets.ErrNotFound when somebody was faster; MoreProof and UsePasskey as for
// SignIn: an address for a new password is no way round a second factor.
func (d *Desk) Join(w http.ResponseWriter, r *http.Request, o Offer, j Joining) error {
	if o.SignInName != "" {
		j.SignInName = o.SignInName
	}
	if err := j.check(d, o); err != nil {
		return err
	}
	hash, err := d.hash.make(r.Context(), j.Password)
	if errors.Is(err, ErrBusy) {
		return assets.Invalid{"": ErrBusy.Error()}
	}
	if err != nil {
		return err
	}
	account := assets.Account{SignInName: j.SignInName, PasswordHash: hash, Handle: newHandle()}
	if o.First() {
		if o.Person, err = d.store.OpenFirst(r.Context(), o.Code.ID, j.Name, &account); err != nil {
			return err
		}
	} else if err = d.store.TakeCode(r.Context(), o.Code, &account, nil); err != nil {
		return err
	}
	d.forget(o.Person.ID)
	return d.afterPassword(w, r, o.Person.ID)
}

// check refuses what cannot be a sign-in name or a password.
func (j Joining) check(d *Desk, o Offer) error {
	bad := assets.Invalid{}
	if o.First() && assets.NameKey(j.Name) == "" {
		bad.Add("name", "give your name as it should stand in the records")
	}
	if utf8.RuneCountInString(j.Name) > 200 {
		bad.Add("name", "take at most 200 characters")
	}
	switch n := utf8.RuneCountInString(strings.TrimSpace(j.SignInName)); {
	case n == 0:
		bad.Add("sign_in_name", "choose a name to sign in by, e.g. i.vanterel")
	case n > 100:
		bad.Add("sign_in_name", "take at most 100 characters")
	}
	var wrong assets.Invalid
	err := d.checkPassword("password", j.Password, j.SignInName, j.Name, o.Person.Name)
	if errors.As(err, &wrong) {
		bad.Add("password", wrong["password"])
	} else if err != nil {
		return err
	} else if j.Password != j.Again {
		bad.Add("again", "the two passwords differ; type the same twice")
	}
	return bad.Err()
}

// newHandle names an account to passkeys without telling who it is (WebAuthn, section 5.4.3).
func newHandle() string { return rand.Text() + rand.Text() }
