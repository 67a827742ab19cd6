package signin

import (
	"context"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"carryside/assets"
)

// PINs is where the numbers are kept by which people sign on a device that several use.
type PINs interface {
	// PINOf returns the number in force of a person. assets.ErrNotFound when they set none.
	PINOf(ctx context.Context, personID int64) (assets.PersonPIN, error)
	SetPIN(ctx context.Context, personID int64, hash string) error
	// SealKey returns the installation's key in words; made is kept where there is none yet.
	SealKey(ctx context.Context, made func() (string, error)) (string, error)
}

const (
	shortestPIN, longestPIN = 6, 12
	sealBits                = 2048 // NIST SP 800-57 part 1, table 2: 112 bits of strength, through 2030
	triesOfPIN              = 5    // wrong ones of a person in ten minutes, from wherever
)

// PIN returns when a person set the number they sign with. assets.ErrNotFound when they set none.
func (d *Desk) PIN(ctx context.Context, personID int64) (assets.PersonPIN, error) {
	return d.store.PINOf(ctx, personID)
}

// SetPIN gives whoever is signed in a number to sign with on a device that several use; their password is asked for first.
// assets.Invalid names the field "pin" or "password".
func (d *Desk) SetPIN(r *http.Request, password, pin string) error {
	if wrong := weakPIN(pin); wrong != "" {
		return assets.Invalid{"pin": wrong}
	}
	if err := d.Confirm(r, password); err != nil {
		return err
	}
	s, err := d.find(r)
	if err != nil || s == nil {
		return errors.Join(err, assets.ErrForbidden)
	}
	hash, err := d.hash.make(r.Context(), pin)
	if errors.Is(err, ErrBusy) {
		return assets.Invalid{"pin": ErrBusy.Error()}
	}
	if err != nil {
		return err
	}
	return d.store.SetPIN(r.Context(), s.PersonID, hash)
}

// weakPIN says what is wrong with a number as a proof; "" when nothing is.
func weakPIN(pin string) string {
	if len(pin) < shortestPIN || len(pin) > longestPIN || strings.Trim(pin, "0123456789") != "" {
		return fmt.Sprintf("give %d to %d digits", shortestPIN, longestPIN)
	}
	same, up, down := true, true, true
	for i := 1; i < len(pin); i++ {
		step := int(pin[i]) - int(pin[i-1])
		same, up, down = same && step == 0, up && step == 1, down && step == -1
	}
	if same || up || down {
		return "this is among the first that somebody would try; take digits that do not follow each other"
	}
	return ""
}

// PINSays tells what became of a number that came with a signature: Right, or why not, in a sentence for the lead.
type PINSays struct {
	Right bool
	Why   string
}

// CheckPIN opens a number that was sealed on a device to SealTo's key together with the number of its signature (about), and compares it.
// Wrong ones are counted against guessing; beyond five in ten minutes none is compared.
func (d *Desk) CheckPIN(ctx context.Context, personID int64, about, sealed string) (PINSays, error) {
	key, err := d.sealKey(ctx)
	if err != nil {
		return PINSays{}, err
	}
	raw, err := base64.StdEncoding.DecodeString(sealed)
	if err != nil {
		return PINSays{Why: "the PIN that came with it cannot be read"}, nil
	}
	opened, err := rsa.DecryptOAEP(sha256.New(), nil, key, raw, nil)
	if err != nil {
		return PINSays{Why: "the PIN that came with it cannot be read; the device had an old page"}, nil
	}
	of, pin, ok := strings.Cut(string(opened), "\n")
	if !ok || of != about {
		return PINSays{Why: "the PIN that came with it was given for another signature"}, nil
	}
	return d.ComparePIN(ctx, personID, pin)
}

// ComparePIN compares a number that was typed at a screen, counted like those that came sealed.
func (d *Desk) ComparePIN(ctx context.Context, personID int64, pin string) (PINSays, error) {
	held, err := d.store.PINOf(ctx, personID)
	if errors.Is(err, assets.ErrNotFound) {
		return PINSays{Why: "no PIN is set by whoever signed; it is set on the account page"}, nil
	}
	if err != nil {
		return PINSays{}, err
	}
	if err := d.tries.pin(personID, d.now()); err != nil {
		d.log.Warn("signing waits after wrong PINs", "person", personID)
		return PINSays{Why: "too many wrong PINs came in within ten minutes; this one was not compared"}, nil
	}
	ok, err := d.hash.fits(ctx, pin, held.PINHash)
	if err != nil {
		return PINSays{}, err
	}
	if !ok {
		d.log.Warn("wrong PIN under a signature", "person", personID)
		return PINSays{Why: "the PIN that came with it is wrong"}, nil
	}
	d.tries.pinRight(personID)
	return PINSays{Right: true}, nil
}

// SealTo returns the public key, SubjectPublicKeyInfo in base64, that devices seal numbers to: what a device keeps until it can send can be
// read by the server alone.
func (d *Desk) SealTo(ctx context.Context) (string, error) {
	key, err := d.sealKey(ctx)
	if err != nil {
		return "", err
	}
	der, err := x509.MarshalPKIXPublicKey(&key.PublicKey)
	if err != nil {
		return "", fmt.Errorf("public key for signatures: %w", err)
	}
	return base64.StdEncoding.EncodeToString(der), nil
}

func (d *Desk) sealKey(ctx context.Context) (*rsa.PrivateKey, error) {
	words, err := d.store.SealKey(ctx, newSealKey)
	if err != nil {
		return nil, err
	}
	der, err := base64.StdEncoding.DecodeString(words)
	if err != nil {
		return nil, fmt.Errorf("key for signatures: %w", err)
	}
	parsed, err := x509.ParsePKCS8PrivateKey(der)
	if err != nil {
		return nil, fmt.Errorf("key for signatures: %w", err)
	}
	key, ok := parsed.(*rsa.PrivateKey)
	if !ok {
		return nil, errors.New("the key for signatures is of another kind; the newest copy of the database has it")
	}
	return key, nil
}

func newSealKey() (string, error) {
	key, err := rsa.GenerateKey(rand.Reader, sealBits)
	if err != nil {
		return "", fmt.Errorf("make the key for signatures: %w", err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return "", fmt.Errorf("make the key for signatures: %w", err)
	}
	return base64.StdEncoding.EncodeToString(der), nil
}
