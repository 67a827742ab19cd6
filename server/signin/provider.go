package signin

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"carryside/assets"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/oauth2"
)

// Provider is a company's single sign-on by OpenID Connect, as its keeper configured it for this program.
type Provider struct {
	Issuer   string
	ClientID string
	Secret   string
	Name     string // as people know it: "Sign in with NAME"
}

// CallbackPath is where a provider leads back to; it is registered there with the program's address before it.
const CallbackPath = "/signin/callback"

// tripLasts is how long somebody may take at the provider, or with a passkey.
const tripLasts = 10 * time.Minute

// provider asks the provider for what it says of itself when it is first needed: the program starts without it.
type provider struct {
	Provider
	now func() time.Time

	mu    sync.Mutex // guards found
	found *oidc.Provider
}

// ErrElsewhere is why a sign-in at the provider led nowhere; its text is for the person.
type ErrElsewhere struct{ Says string }

// Error says why.
func (e *ErrElsewhere) Error() string { return e.Says }

// client talks to the provider only, and not for long.
var client = &http.Client{Timeout: 15 * time.Second}

func (p *provider) discover() (*oidc.Provider, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.found != nil {
		return p.found, nil
	}
	// Not the request's context: the provider's keys are read anew over it later on.
	found, err := oidc.NewProvider(oidc.ClientContext(context.Background(), client), p.Issuer)
	if err != nil {
		return nil, fmt.Errorf("ask %s for its sign-on: %w", p.Issuer, err)
	}
	p.found = found
	return found, nil
}

// trip is what a way to the provider and back must bring along; it stays here, under the hash of a cookie.
type trip struct {
	State    string `json:"state"`
	Nonce    string `json:"nonce"`
	Verifier string `json:"verifier"`
	CodeHash string `json:"code,omitempty"` // of the invitation that is taken up
	To       string `json:"to,omitempty"`
}

// ProviderName is what people call the company's single sign-on; "" when there is none.
func (d *Desk) ProviderName() string {
	if d.provider == nil {
		return ""
	}
	return d.provider.Name
}

func (d *Desk) oauth(found *oidc.Provider, r *http.Request) *oauth2.Config {
	return &oauth2.Config{ClientID: d.provider.ClientID, ClientSecret: d.provider.Secret, Endpoint: found.Endpoint(),
		RedirectURL: d.Base(r) + CallbackPath, Scopes: []string{oidc.ScopeOpenID}}
}

// SetOut begins a sign-in at the provider and returns the address to go to. invitation is the secret of an address
// that is good once and is being taken up; "" for somebody who is linked already.
func (d *Desk) SetOut(w http.ResponseWriter, r *http.Request, invitation, to string) (string, error) {
	if d.provider == nil {
		return "", assets.ErrNotFound
	}
	t := trip{State: rand.Text(), Nonce: rand.Text(), Verifier: oauth2.GenerateVerifier(), To: to}
	if invitation != "" {
		o, err := d.Offered(r.Context(), invitation)
		if err != nil {
			return "", err
		}
		if o.Code.Purpose != assets.CodeInvitation {
			return "", assets.ErrNotFound // the first administrator and a new password need none of it
		}
		t.CodeHash = o.Code.CodeHash
	}
	found, err := d.provider.discover()
	if err != nil {
		d.log.Error("single sign-on does not answer", "error", err)
		return "", &ErrElsewhere{"The provider of single sign-on does not answer. Try again later, or sign in with a password."}
	}
	if err := d.leave(w, r, assets.CodeSingleSign, 0, t); err != nil {
		return "", err
	}
	return d.oauth(found, r).AuthCodeURL(t.State, oidc.Nonce(t.Nonce), oauth2.S256ChallengeOption(t.Verifier)), nil
}

// leave keeps what a way there and back needs, bound to this browser by a cookie.
func (d *Desk) leave(w http.ResponseWriter, r *http.Request, purpose assets.CodePurpose, personID int64, state any) error {
	if err := d.tries.trip(d.From(r), d.now()); err != nil {
		return err
	}
	text, err := json.Marshal(state)
	if err != nil {
		return err
	}
	secret := rand.Text()
	row := assets.SignUpCode{CodeHash: digest(secret), Purpose: purpose, PersonID: personID, MadeBy: personID, EndsAt: assets.InstantOf(d.now().Add(tripLasts)), State: string(text)}
	if err := d.store.OpenTrip(r.Context(), &row); err != nil {
		return err
	}
	d.setCookie(w, tripName, secret, tripLasts)
	return nil
}

// back takes up what leave kept: once, and in the same browser.
func (d *Desk) back(w http.ResponseWriter, r *http.Request, purpose assets.CodePurpose, state any) (assets.SignUpCode, error) {
	c, err := r.Cookie(d.cookie(tripName))
	if err != nil {
		return assets.SignUpCode{}, assets.ErrNotFound
	}
	d.setCookie(w, tripName, "", -1)
	row, err := d.store.TakeTrip(r.Context(), digest(c.Value), purpose)
	if err != nil {
		return row, err
	}
	return row, json.Unmarshal([]byte(row.State), state)
}

// ComeBack ends a sign-in at the provider: it starts the session of whom the provider names, by issuer and subject, and
// says where to go on. Nobody is known by a mail address or a name. ErrElsewhere says in words why not.
func (d *Desk) ComeBack(w http.ResponseWriter, r *http.Request) (to string, err error) {
	if d.provider == nil {
		return "", assets.ErrNotFound
	}
	var t trip
	if _, err := d.back(w, r, assets.CodeSingleSign, &t); errors.Is(err, assets.ErrNotFound) {
		return "", &ErrElsewhere{"This sign-in was not begun in this browser, was finished already, or took more than ten minutes. Begin again."}
	} else if err != nil {
		return "", err
	}
	token, err := d.exchange(r, t)
	if err != nil {
		d.log.Warn("single sign-on refused", "address", d.From(r), "error", err)
		return "", &ErrElsewhere{"The provider's answer does not hold. Begin again; if it stays so, tell your administrator."}
	}
	subject := digest(token.Issuer + "\n" + token.Subject)
	if t.CodeHash != "" {
		return t.To, d.joinFrom(w, r, t, token.Issuer, subject)
	}
	known, err := d.store.Identified(r.Context(), subject)
	if err == nil {
		_, err = d.store.AccountOf(r.Context(), known.PersonID)
	}
	if errors.Is(err, assets.ErrNotFound) {
		return "", &ErrElsewhere{"Nobody here is linked to that account. Your administrator invites you; open the address you are given and choose single sign-on there."}
	}
	if err != nil {
		return "", err
	}
	return t.To, d.begin(w, r, known.PersonID, assets.BySingleSignOn)
}

// exchange checks what the provider sent along and fetches the identity it vouches for.
func (d *Desk) exchange(r *http.Request, t trip) (*oidc.IDToken, error) {
	q := r.URL.Query()
	if subtle.ConstantTimeCompare([]byte(q.Get("state")), []byte(t.State)) != 1 {
		return nil, errors.New("state differs from the one sent")
	}
	if iss := q.Get("iss"); iss != "" && iss != d.provider.Issuer { // RFC 9207: another provider's answer
		return nil, errors.New("the answer names another issuer")
	}
	if q.Get("code") == "" {
		return nil, fmt.Errorf("no code but the error %.100q", q.Get("error"))
	}
	found, err := d.provider.discover()
	if err != nil {
		return nil, err
	}
	ctx := oidc.ClientContext(r.Context(), client)
	answer, err := d.oauth(found, r).Exchange(ctx, q.Get("code"), oauth2.VerifierOption(t.Verifier))
	if err != nil {
		return nil, err
	}
	raw, ok := answer.Extra("id_token").(string)
	if !ok {
		return nil, errors.New("no identity in the answer")
	}
	token, err := found.Verifier(&oidc.Config{ClientID: d.provider.ClientID, Now: d.now}).Verify(ctx, raw)
	if err != nil {
		return nil, err
	}
	if subtle.ConstantTimeCompare([]byte(token.Nonce), []byte(t.Nonce)) != 1 {
		return nil, errors.New("nonce differs from the one sent")
	}
	if token.Subject == "" {
		return nil, errors.New("no subject")
	}
	return token, nil
}

// joinFrom takes an invitation up with the identity the provider vouches for.
func (d *Desk) joinFrom(w http.ResponseWriter, r *http.Request, t trip, issuer, subject string) error {
	code, err := d.store.FindCode(r.Context(), t.CodeHash, d.instant())
	if errors.Is(err, assets.ErrNotFound) {
		return &ErrElsewhere{"The address of your invitation is no longer good. Ask your administrator for a new one."}
	}
	if err != nil {
		return err
	}
	person, err := d.store.PersonByID(r.Context(), code.PersonID)
	if err != nil {
		return err
	}
	account := assets.Account{SignInName: person.Name, Handle: newHandle()}
	identity := assets.Identity{Issuer: issuer, SubjectHash: subject}
	err = d.store.TakeCode(r.Context(), code, &account, &identity)
	var bad assets.Invalid
	if errors.As(err, &bad) {
		return &ErrElsewhere{"Your invitation stays good, but the provider's account was not taken: " + bad.Error() + "."}
	}
	if err != nil {
		return err
	}
	return d.begin(w, r, code.PersonID, assets.BySingleSignOn)
}

// Identities returns where whoever asks may come from by single sign-on.
func (d *Desk) Identities(ctx context.Context, personID int64) ([]assets.Identity, error) {
	return d.store.IdentitiesOf(ctx, personID)
}
