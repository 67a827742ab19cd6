package signin

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"unicode/utf8"

	"carryside/assets"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"
)

// passkeysFor makes ready for passkeys of a host. They need a host's name, and https unless it is this machine: both
// are the browsers' rule. nil: the address is none of these.
func passkeysFor(public *url.URL) (*webauthn.WebAuthn, error) {
	if public == nil || net.ParseIP(public.Hostname()) != nil || public.Scheme != "https" && public.Hostname() != "localhost" {
		return nil, nil
	}
	yes := true
	keys, err := webauthn.New(&webauthn.Config{
		RPID: public.Hostname(), RPDisplayName: "Carryside", RPOrigins: []string{public.Scheme + "://" + public.Host},
		AttestationPreference: protocol.PreferNoAttestation,
		AuthenticatorSelection: protocol.AuthenticatorSelection{ResidentKey: protocol.ResidentKeyRequirementRequired, RequireResidentKey: &yes,
			UserVerification: protocol.VerificationRequired},
	})
	if err != nil {
		return nil, fmt.Errorf("passkeys for %s: %w", public, err)
	}
	return keys, nil
}

// Passkeys tells whether this server takes passkeys.
func (d *Desk) Passkeys() bool { return d.keys != nil }

// holder is a person as the library of passkeys asks for one.
type holder struct {
	account assets.Account
	name    string
	keys    []assets.Passkey
	uses    map[int64]assets.PasskeyUse
}

func (h *holder) WebAuthnID() []byte          { return []byte(h.account.Handle) }
func (h *holder) WebAuthnName() string        { return h.account.SignInName }
func (h *holder) WebAuthnDisplayName() string { return h.name }
func (h *holder) WebAuthnCredentials() []webauthn.Credential {
	var all []webauthn.Credential
	for _, k := range h.keys {
		var c webauthn.Credential
		if json.Unmarshal([]byte(k.Credential), &c) == nil { // written by us; one that does not read is no key
			c.Authenticator.SignCount = uint32(h.uses[k.ID].SignCount)
			all = append(all, c)
		}
	}
	return all
}

func (d *Desk) holder(ctx context.Context, account assets.Account) (h *holder, err error) {
	h = &holder{account: account}
	p, err := d.store.PersonByID(ctx, account.PersonID)
	if err != nil {
		return nil, err
	}
	h.name = p.Name
	if h.keys, err = d.store.Passkeys(ctx, account.PersonID); err != nil {
		return nil, err
	}
	h.uses, err = d.store.PasskeyUses(ctx, account.PersonID)
	return h, err
}

// OwnPasskeys returns the passkeys of a person and when each was used.
func (d *Desk) OwnPasskeys(ctx context.Context, personID int64) ([]assets.Passkey, map[int64]assets.PasskeyUse, error) {
	keys, err := d.store.Passkeys(ctx, personID)
	if err != nil {
		return nil, nil, err
	}
	uses, err := d.store.PasskeyUses(ctx, personID)
	return keys, uses, err
}

// keyTrip is a passkey being made or asked for.
type keyTrip struct {
	Session webauthn.SessionData `json:"session"`
	Name    string               `json:"name,omitempty"`
}

// OfferPasskey begins to make a passkey for whoever asks, who has confirmed to be it, and returns what the browser
// needs for it. assets.Invalid names the field "name".
func (d *Desk) OfferPasskey(w http.ResponseWriter, r *http.Request, name string) (any, error) {
	s, err := d.find(r)
	if err != nil || s == nil || d.keys == nil {
		return nil, errors.Join(err, assets.ErrNotFound)
	}
	if name = strings.Join(strings.Fields(name), " "); name == "" || utf8.RuneCountInString(name) > 60 {
		return nil, assets.Invalid{"name": "name the device that holds it in up to 60 characters, e.g. phone"}
	}
	account, err := d.store.AccountOf(r.Context(), s.PersonID)
	if err != nil {
		return nil, err
	}
	h, err := d.holder(r.Context(), account)
	if err != nil {
		return nil, err
	}
	var held []protocol.CredentialDescriptor
	for _, c := range h.WebAuthnCredentials() {
		held = append(held, c.Descriptor())
	}
	options, session, err := d.keys.BeginRegistration(h, webauthn.WithExclusions(held))
	if err != nil {
		return nil, fmt.Errorf("offer a passkey: %w", err)
	}
	return options, d.leave(w, r, assets.CodePasskey, s.PersonID, keyTrip{Session: *session, Name: name})
}

// TakePasskey keeps the passkey that the browser made. assets.Invalid when it does not hold.
func (d *Desk) TakePasskey(w http.ResponseWriter, r *http.Request, answer []byte) error {
	s, err := d.find(r)
	if err != nil || s == nil || d.keys == nil {
		return errors.Join(err, assets.ErrNotFound)
	}
	var t keyTrip
	row, err := d.back(w, r, assets.CodePasskey, &t)
	if err != nil {
		return err
	}
	if row.PersonID != s.PersonID {
		return assets.ErrNotFound
	}
	account, err := d.store.AccountOf(r.Context(), s.PersonID)
	if err != nil {
		return err
	}
	h, err := d.holder(r.Context(), account)
	if err != nil {
		return err
	}
	parsed, err := protocol.ParseCredentialCreationResponseBytes(answer)
	if err != nil {
		return d.noPasskey(r, s.PersonID, err)
	}
	credential, err := d.keys.CreateCredential(h, t.Session, parsed)
	if err != nil {
		return d.noPasskey(r, s.PersonID, err)
	}
	text, err := json.Marshal(credential)
	if err != nil {
		return err
	}
	key := assets.Passkey{PersonID: s.PersonID, Name: t.Name, CredentialID: base64.RawURLEncoding.EncodeToString(credential.ID), Credential: string(text)}
	return d.store.AddPasskey(r.Context(), &key, int64(credential.Authenticator.SignCount))
}

func (d *Desk) noPasskey(r *http.Request, personID int64, err error) error {
	d.log.Warn("passkey refused", "person", personID, "address", d.From(r), "error", err)
	return assets.Invalid{"": "this passkey was not taken; begin again"}
}

// AskPasskey begins a sign-in with a passkey and returns what the browser needs for it.
func (d *Desk) AskPasskey(w http.ResponseWriter, r *http.Request) (any, error) {
	if d.keys == nil {
		return nil, assets.ErrNotFound
	}
	options, session, err := d.keys.BeginDiscoverableLogin(webauthn.WithUserVerification(protocol.VerificationRequired))
	if err != nil {
		return nil, fmt.Errorf("ask for a passkey: %w", err)
	}
	return options, d.leave(w, r, assets.CodePasskey, 0, keyTrip{Session: *session})
}

// ByPasskey starts the session of whom a passkey belongs to. assets.Invalid when it does not hold, is nobody's or
// looks like a copy.
func (d *Desk) ByPasskey(w http.ResponseWriter, r *http.Request, answer []byte) error {
	if d.keys == nil {
		return assets.ErrNotFound
	}
	var t keyTrip
	row, err := d.back(w, r, assets.CodePasskey, &t)
	if err != nil {
		return err
	}
	if row.PersonID != 0 {
		return assets.ErrNotFound // of making one, not of signing in
	}
	parsed, err := protocol.ParseCredentialRequestResponseBytes(answer)
	if err != nil {
		return d.noPasskey(r, 0, err)
	}
	var h *holder
	_, credential, err := d.keys.ValidatePasskeyLogin(func(_, handle []byte) (webauthn.User, error) {
		account, err := d.store.AccountHandled(r.Context(), string(handle))
		if err != nil {
			return nil, err
		}
		h, err = d.holder(r.Context(), account)
		return h, err
	}, t.Session, parsed)
	if err != nil {
		return d.noPasskey(r, 0, err)
	}
	if credential.Authenticator.CloneWarning {
		return d.noPasskey(r, h.account.PersonID, errors.New("it has signed fewer times than before: there may be a copy"))
	}
	if err := d.used(r, h, credential); err != nil {
		return err
	}
	return d.begin(w, r, h.account.PersonID, assets.ByPasskey)
}

// used keeps how often a passkey says it has signed.
func (d *Desk) used(r *http.Request, h *holder, c *webauthn.Credential) error {
	for _, k := range h.keys {
		id, err := base64.RawURLEncoding.DecodeString(k.CredentialID)
		if err == nil && bytes.Equal(id, c.ID) {
			return d.store.UsePasskey(r.Context(), assets.PasskeyUse{ID: k.ID, SignCount: int64(c.Authenticator.SignCount), UsedAt: d.instant()})
		}
	}
	return assets.ErrNotFound
}

// RemovePasskey takes a passkey of whoever asks away.
func (d *Desk) RemovePasskey(r *http.Request, id int64) error {
	s, err := d.find(r)
	if err != nil || s == nil {
		return errors.Join(err, assets.ErrForbidden)
	}
	return d.store.RemovePasskey(r.Context(), s.PersonID, s.PersonID, id)
}
