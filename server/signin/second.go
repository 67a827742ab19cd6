package signin

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"carryside/assets"

	"github.com/boombuler/barcode/qr"
	"github.com/pquerna/otp"
	"github.com/pquerna/otp/hotp"
)

// Need says of whom the installation asks a second proof beside a password.
type Need string

// Whom it is asked of. A passkey is two proofs in one, and single sign-on proves what its provider asks for: both are
// asked for nothing more.
const (
	NeedOfWhoChose Need = ""          // of whoever set one up
	NeedOfKeepers  Need = "keepers"   // of administrators, leads and auditors, and of whoever set one up
	NeedOfAll      Need = "everybody" // who signs in with a password
)

// keepers are the roles that reach most: people and grants, catalogues and rules for all, everything to read.
var keepers = []assets.Role{assets.RoleAdministrator, assets.RoleLead, assets.RoleAuditor}

const (
	codeLasts   = 30 // seconds, as apps have it (RFC 6238, section 5.2)
	codesOfName = 10 // codes tried for a person in ten minutes, from anywhere
	halfLasts   = 30 * time.Minute
	recoveries  = 10
)

// codeForm is what the apps work out unless told otherwise (RFC 6238, section 1.2).
var codeForm = hotp.ValidateOpts{Digits: otp.DigitsSix, Algorithm: otp.AlgorithmSHA1}

// MoreProof: the password is right; the code of the second factor is asked for now.
type MoreProof struct{}

// Error says so.
func (*MoreProof) Error() string { return "the code of the second factor is asked for" }

// UsePasskey: the password is right, but this person's second proof is a passkey.
type UsePasskey struct{}

// Error says so.
func (*UsePasskey) Error() string {
	return "a password alone is not enough here: sign in with your passkey. If it is lost, your administrator takes it away once they have made sure who you are"
}

// asks tells whether somebody with these grants must give more than a password.
func (d *Desk) asks(grants []assets.Grant) bool {
	return d.Second == NeedOfAll || d.Second == NeedOfKeepers && slices.ContainsFunc(grants, func(g assets.Grant) bool { return slices.Contains(keepers, g.Role) })
}

// half tells whether a session is by a password alone where more is asked for.
func (d *Desk) half(s *heldSession) bool {
	return s.Way == assets.ByPassword && d.asks(s.who.Grants)
}

// Halfway returns who has given their password here and has yet to set up the second factor that is asked of them.
func (d *Desk) Halfway(r *http.Request) (Who, bool, error) {
	s, err := d.find(r)
	if s == nil || err != nil {
		return Who{}, false, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if !d.half(s) || d.now().Sub(s.StartedAt.Time()) > halfLasts {
		return Who{}, false, nil
	}
	return s.who, true, nil
}

// afterPassword lets somebody in whose password was right, or says what else it takes.
func (d *Desk) afterPassword(w http.ResponseWriter, r *http.Request, personID int64) error {
	_, err := d.store.SecondFactorOf(r.Context(), personID)
	if err == nil {
		if err := d.leave(w, r, assets.CodeSecond, personID, struct{}{}); err != nil {
			return err
		}
		return &MoreProof{}
	}
	if !errors.Is(err, assets.ErrNotFound) {
		return err
	}
	grants, err := d.store.GrantsOf(r.Context(), personID)
	if err != nil {
		return err
	}
	if d.asks(grants) {
		if held, err := d.holdsPasskey(r.Context(), personID); err != nil || held {
			return errors.Join(err, &UsePasskey{})
		}
	}
	return d.begin(w, r, personID, assets.ByPassword)
}

func (d *Desk) holdsPasskey(ctx context.Context, personID int64) (bool, error) {
	if d.keys == nil {
		return false, nil
	}
	keys, err := d.store.Passkeys(ctx, personID)
	return len(keys) > 0, err
}

// SecondFactor returns the second factor of a person, and how many recovery codes are left. assets.ErrNotFound when
// there is none.
func (d *Desk) SecondFactor(ctx context.Context, personID int64) (f assets.SecondFactor, left int64, err error) {
	if f, err = d.store.SecondFactorOf(ctx, personID); err != nil {
		return f, 0, err
	}
	left, err = d.store.RecoveryCodesLeft(ctx, personID)
	return f, left, err
}

// ByCode takes the code of the second factor, or a recovery code, after a password that was right, and starts the
// session. assets.Invalid names the field "code"; ErrNotFound when the password was given too long ago, or elsewhere.
func (d *Desk) ByCode(w http.ResponseWriter, r *http.Request, code string) error {
	row, err := d.back(w, r, assets.CodeSecond, &struct{}{})
	if err != nil {
		return err
	}
	way, err := d.tryCode(r, row.PersonID, code)
	var bad assets.Invalid
	if errors.As(err, &bad) {
		d.log.Warn("wrong code", "person", row.PersonID, "address", d.From(r))
		return errors.Join(err, d.leave(w, r, assets.CodeSecond, row.PersonID, struct{}{}))
	}
	if err != nil {
		return err
	}
	return d.begin(w, r, row.PersonID, way)
}

// tryCode compares a code, counted against guessing.
func (d *Desk) tryCode(r *http.Request, personID int64, code string) (assets.SignInWay, error) {
	if err := d.tries.code(personID, d.now()); err != nil {
		return "", err
	}
	f, err := d.store.SecondFactorOf(r.Context(), personID)
	if err != nil {
		return "", err
	}
	code = plainCode(code)
	way := assets.ByPasswordAndCode
	if len(code) == codeForm.Digits.Length() {
		step, ok := d.fitting(f.Seed, code)
		if !ok {
			return "", assets.Invalid{"code": "this is not the code your app shows now; wait for the next and type that. A clock that is wrong makes wrong codes"}
		}
		if err = d.store.UseSecondFactor(r.Context(), f.ID, step); errors.Is(err, assets.ErrNotFound) {
			return "", assets.Invalid{"code": "this code was used already; wait for the next, half a minute at most"}
		}
	} else {
		way = assets.ByPasswordAndRecovery
		if err = d.store.UseRecoveryCode(r.Context(), personID, digest(code)); errors.Is(err, assets.ErrNotFound) {
			return "", assets.Invalid{"code": "type the six digits your app shows now, or a recovery code you have not used yet"}
		}
	}
	if err == nil {
		d.tries.codeRight(personID)
	}
	return way, err
}

// fitting returns the half minute whose code this is: the running one, or the one before for the time it takes to type
// and send (RFC 6238, section 5.2).
func (d *Desk) fitting(seed, code string) (step int64, ok bool) {
	now := d.now().Unix() / codeLasts
	for _, step := range []int64{now, now - 1} {
		if fits, err := hotp.ValidateCustom(code, uint64(step), seed, codeForm); err == nil && fits {
			return step, true
		}
	}
	return 0, false
}

// plainCode is a code without what people write between its letters.
func plainCode(code string) string {
	return strings.ToUpper(strings.Map(func(c rune) rune {
		if c == ' ' || c == '-' || c == '\u00a0' {
			return -1
		}
		return c
	}, code))
}

// Setup is what an app on a telephone takes in to work out codes.
type Setup struct {
	Seed    string   // in groups of four, to type
	Squares [][]bool // the same as a QR code, row by row; true is dark
}

// setupTrip is a second factor being set up.
type setupTrip struct {
	Seed string `json:"seed"`
}

// OfferSecond begins to set up a second factor for whoever asks: halfway in, or signed in and having confirmed to be
// it. assets.ErrForbidden when it is not theirs to do by a password.
func (d *Desk) OfferSecond(w http.ResponseWriter, r *http.Request) (Setup, error) {
	s, err := d.find(r)
	if err != nil || s == nil {
		return Setup{}, errors.Join(err, assets.ErrForbidden)
	}
	if err := d.maySetUp(r.Context(), s); err != nil {
		return Setup{}, err
	}
	var seed [20]byte // as long as the hash (RFC 4226, section 4)
	rand.Read(seed[:])
	return d.offer(w, r, s.PersonID, base32.StdEncoding.EncodeToString(seed[:]))
}

// maySetUp refuses somebody without a password, and somebody halfway in who has another second proof: with the
// password alone it would be put aside.
func (d *Desk) maySetUp(ctx context.Context, s *heldSession) error {
	account, err := d.store.AccountOf(ctx, s.PersonID)
	if err != nil || account.PasswordHash == "" {
		return errors.Join(err, assets.Invalid{"": "this account signs in without a password; there is nothing to add a code to"})
	}
	if !d.half(s) {
		return nil
	}
	held, err := d.holdsPasskey(ctx, s.PersonID)
	if err != nil || held {
		return errors.Join(err, assets.Invalid{"": (&UsePasskey{}).Error()})
	}
	if _, err := d.store.SecondFactorOf(ctx, s.PersonID); !errors.Is(err, assets.ErrNotFound) {
		return errors.Join(err, assets.ErrForbidden)
	}
	return nil
}

func (d *Desk) offer(w http.ResponseWriter, r *http.Request, personID int64, seed string) (Setup, error) {
	account, err := d.store.AccountOf(r.Context(), personID)
	if err != nil {
		return Setup{}, err
	}
	out := Setup{}
	for part := range slices.Chunk([]byte(seed), 4) {
		out.Seed += " " + string(part)
	}
	out.Seed = out.Seed[1:]
	host := "this machine"
	if d.Public != nil {
		host = d.Public.Hostname()
	}
	if out.Squares, err = squares(setupAddress(host, account.SignInName, seed)); err != nil {
		return Setup{}, fmt.Errorf("draw the code to scan: %w", err)
	}
	return out, d.leave(w, r, assets.CodeNewSecond, personID, setupTrip{seed})
}

// setupAddress is how apps take a seed in: the de-facto "otpauth" address of authenticator apps.
func setupAddress(host, name, seed string) string {
	q := url.Values{"secret": {seed}, "issuer": {"Carryside"}}
	return "otpauth://totp/" + url.PathEscape("Carryside:"+name+" at "+host) + "?" + strings.ReplaceAll(q.Encode(), "+", "%20")
}

func squares(text string) ([][]bool, error) {
	code, err := qr.Encode(text, qr.M, qr.Auto)
	if err != nil {
		return nil, err
	}
	size := code.Bounds().Dx()
	rows := make([][]bool, size)
	for y := range rows {
		rows[y] = make([]bool, size)
		for x := range rows[y] {
			r, _, _, _ := code.At(x, y).RGBA()
			rows[y][x] = r < 0x8000
		}
	}
	return rows, nil
}

// TakeSecond keeps a second factor once its app shows the right code, and returns the recovery codes: they are shown
// this one time. assets.Invalid names the field "code" and comes with the same setup to try again.
func (d *Desk) TakeSecond(w http.ResponseWriter, r *http.Request, code string) (recovery []string, again Setup, err error) {
	s, err := d.find(r)
	if err != nil || s == nil {
		return nil, again, errors.Join(err, assets.ErrForbidden)
	}
	if err := d.maySetUp(r.Context(), s); err != nil {
		return nil, again, err
	}
	var t setupTrip
	row, err := d.back(w, r, assets.CodeNewSecond, &t)
	if err != nil || row.PersonID != s.PersonID {
		return nil, again, errors.Join(err, assets.ErrNotFound)
	}
	step, ok := d.fitting(t.Seed, plainCode(code))
	if !ok {
		again, err = d.offer(w, r, s.PersonID, t.Seed)
		return nil, again, errors.Join(assets.Invalid{"code": "this is not the code the app shows now. Check the clock of the telephone, and type the next one"}, err)
	}
	recovery, hashes := newRecoveryCodes()
	err = d.store.SetSecondFactor(r.Context(), &assets.SecondFactor{PersonID: s.PersonID, Seed: t.Seed}, step, hashes, s.ID)
	d.forget(s.PersonID)
	d.log.Info("second factor set up", "person", s.PersonID, "address", d.From(r))
	return recovery, again, err
}

// newRecoveryCodes makes codes of 120 random bits, so that a plain hash of them tells nothing.
func newRecoveryCodes() (codes, hashes []string) {
	for range recoveries {
		plain := rand.Text()[:24]
		code := ""
		for part := range slices.Chunk([]byte(plain), 4) {
			code += "-" + string(part)
		}
		codes, hashes = append(codes, code[1:]), append(hashes, digest(plain))
	}
	return codes, hashes
}

// NewRecoveryCodes puts new recovery codes in the place of those of whoever asks, who has confirmed to be it.
func (d *Desk) NewRecoveryCodes(r *http.Request) ([]string, error) {
	s, err := d.find(r)
	if err != nil || s == nil {
		return nil, errors.Join(err, assets.ErrForbidden)
	}
	codes, hashes := newRecoveryCodes()
	return codes, d.store.NewRecoveryCodes(r.Context(), s.PersonID, hashes)
}

// SecondIsAsked tells whether whoever asks may not do without a second factor.
func (d *Desk) SecondIsAsked(grants []assets.Grant) bool { return d.asks(grants) }

// RemoveSecond takes the second factor of whoever asks away, who has confirmed to be it. assets.Invalid where it is
// asked of them.
func (d *Desk) RemoveSecond(r *http.Request) error {
	s, err := d.find(r)
	if err != nil || s == nil {
		return errors.Join(err, assets.ErrForbidden)
	}
	if d.asks(s.who.Grants) {
		return assets.Invalid{"": "a second factor is asked of you here; set it up anew instead"}
	}
	err = d.store.RemoveSecondFactor(r.Context(), s.PersonID)
	d.log.Info("second factor removed", "person", s.PersonID, "address", d.From(r))
	return err
}
