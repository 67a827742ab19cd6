// Package signin knows who is asking: it takes passwords, passkeys and what a provider of single sign-on says, keeps
// sessions, and says which person, with which grants, a request comes from. What a role may is schedule/people's to
// say; where accounts are kept is the database's (Store).
//
// Ways in. A name and a password; a passkey, which asks the device's owner for a finger, a face or a code and so is two
// proofs in one; the company's single sign-on, which proves what its provider proves; an address that is good once, for
// the first administrator, an invitation or a new password. Machines bring tokens instead (server/api). The
// demonstration alone lets people in with one click, and answers its own machine only.
//
// Second factor. Beside a password an app's code of six digits (RFC 6238) or, once each, one of ten recovery codes; asked
// of whoever set one up, and of everybody or of the keepers where the installation says so (Need). Who has yet to set up
// what is asked of them is halfway in: no page but that one opens. Ten codes are tried for a person in ten minutes.
//
// Passwords have 8 characters or more, of any kind, are compared as typed and never run out. What a guesser tries first
// is refused: common words, the words of this trade and program (commonwords.txt), the own name, runs of keys, dates.
//
// Times. A session ends 12 hours after its last use, a shift and its overtime, and in any case 7 days after it was
// begun, so that a phone serves a round of a week. A person has as many sessions as they have browsers; their account
// page lists and ends them. A server believes what it has read of a session for 5 seconds: that long an ended one, or
// an ended grant, may still answer.
//
// Guessing. A name tried from one address waits 10 minutes after 5 wrong passwords; an address waits after 30 of any
// name; a name waits for everybody after 100 in that time. The second and third are far above what people mistype,
// so that nobody is locked out by somebody else's tries from another address. Passkeys and single sign-on do not
// wait: nothing is guessed there. Counts are each server's own and in memory.
package signin

import (
	"context"
	"log/slog"
	"net/netip"
	"net/url"
	"sync"
	"time"

	"carryside/assets"
	"carryside/schedule/people"

	"github.com/go-webauthn/webauthn/webauthn"
)

// Store is what sign-in needs of the database. What is not there, has ended or was used is assets.ErrNotFound.
type Store interface {
	People
	Sessions
	Accounts
	Codes
	Passkeys
	Seconds
	PINs
}

// People is the table of people with their grants.
type People interface {
	// SignIns returns the people who have a role, by name.
	SignIns(ctx context.Context) ([]assets.Person, error)
	// GrantsOf returns a person's grants in force.
	GrantsOf(ctx context.Context, personID int64) ([]assets.Grant, error)
	PersonByID(ctx context.Context, id int64) (assets.Person, error)
}

// Sessions is where sessions are kept, so that they survive a restart and are shared by servers.
type Sessions interface {
	OpenSession(ctx context.Context, s *assets.Session) error
	// AskingSession returns the session of a token with its person and their grants in force.
	AskingSession(ctx context.Context, tokenHash string, now assets.Instant) (assets.Session, assets.Person, []assets.Grant, error)
	KeepSession(ctx context.Context, s assets.Session) error
	// SessionsOf returns the sessions of a person that still hold, the last used first.
	SessionsOf(ctx context.Context, personID int64, now assets.Instant) ([]assets.Session, error)
	EndSession(ctx context.Context, personID, id int64, at assets.Instant) error
	// EndSessions ends a person's sessions but one; by is who does it.
	EndSessions(ctx context.Context, by, personID, except int64) error
}

// Accounts is how people sign in.
type Accounts interface {
	AccountNamed(ctx context.Context, name string) (assets.Account, error)
	AccountOf(ctx context.Context, personID int64) (assets.Account, error)
	AccountHandled(ctx context.Context, handle string) (assets.Account, error)
	HasAdministrator(ctx context.Context) (bool, error)
	// OpenFirst makes the first administrator by the code with this number.
	OpenFirst(ctx context.Context, codeID int64, name string, account *assets.Account) (assets.Person, error)
	// TakeCode opens the account of whom the code is for, or gives it a new password, and links an identity.
	TakeCode(ctx context.Context, code assets.SignUpCode, account *assets.Account, identity *assets.Identity) error
	// SetPassword changes a password and ends the person's sessions but one.
	SetPassword(ctx context.Context, account assets.Account, hash string, keep int64) error
	Identified(ctx context.Context, subjectHash string) (assets.Identity, error)
	IdentitiesOf(ctx context.Context, personID int64) ([]assets.Identity, error)
}

// Codes is the codes that are good once.
type Codes interface {
	MakeCode(ctx context.Context, code *assets.SignUpCode) error
	FindCode(ctx context.Context, hash string, now assets.Instant) (assets.SignUpCode, error)
	OpenTrip(ctx context.Context, code *assets.SignUpCode) error
	// TakeTrip returns a code and takes its use from it.
	TakeTrip(ctx context.Context, hash string, purpose assets.CodePurpose) (assets.SignUpCode, error)
}

// Passkeys is the keys that people's devices hold.
type Passkeys interface {
	Passkeys(ctx context.Context, personID int64) ([]assets.Passkey, error)
	PasskeyUses(ctx context.Context, personID int64) (map[int64]assets.PasskeyUse, error)
	AddPasskey(ctx context.Context, p *assets.Passkey, signCount int64) error
	UsePasskey(ctx context.Context, use assets.PasskeyUse) error
	RemovePasskey(ctx context.Context, by, personID, id int64) error
}

// Seconds is second factors beside a password.
type Seconds interface {
	SecondFactorOf(ctx context.Context, personID int64) (assets.SecondFactor, error)
	RecoveryCodesLeft(ctx context.Context, personID int64) (int64, error)
	// SetSecondFactor keeps one in the place of the one before; the person's sessions end but one.
	SetSecondFactor(ctx context.Context, f *assets.SecondFactor, step int64, codeHashes []string, keep int64) error
	NewRecoveryCodes(ctx context.Context, personID int64, hashes []string) error
	// UseSecondFactor keeps the half minute whose code was taken; assets.ErrNotFound when it was taken before.
	UseSecondFactor(ctx context.Context, id, step int64) error
	UseRecoveryCode(ctx context.Context, personID int64, hash string) error
	RemoveSecondFactor(ctx context.Context, personID int64) error
}

// Who is somebody signed in, with the grants in force.
type Who struct {
	Person assets.Person
	Grants []assets.Grant
}

// Scope is the plants whose rows this person may see.
func (w Who) Scope() assets.Scope { return assets.ScopeOf(w.Grants) }

// May tells whether this person may do a deed at a plant of a customer.
func (w Who) May(d people.Deed, customerID, plantID int64) bool {
	return people.MayAt(w.Grants, customerID, plantID, d)
}

// MayAnywhere tells whether this person may do a deed somewhere.
func (w Who) MayAnywhere(d people.Deed) bool { return people.MayAnywhere(w.Grants, d) }

// Options are how a server lets people in.
type Options struct {
	Breached *Breached      // passwords that are not taken; nil: those the program knows only
	Second   Need           // of whom more than a password is asked
	Demo     bool           // one click instead of a password, on this machine only
	Public   *url.URL       // address people open the program by; nil: as their browser names it
	Secure   bool           // they come by https
	Bare     bool           // they come by plain HTTP beyond this machine: the screens say what that means
	Proxies  []netip.Prefix // whose word on where a request comes from is taken
	Provider *Provider      // of single sign-on; nil: none
}

// Desk lets people in and knows them again.
type Desk struct {
	Options
	store    Store
	now      func() time.Time
	log      *slog.Logger
	hash     *hasher
	tries    *tries
	provider *provider          // nil: no single sign-on
	keys     *webauthn.WebAuthn // nil: no passkeys

	mu   sync.Mutex // guards held and what its pointers hold
	held map[string]*heldSession
}

// NewDesk returns a desk.
func NewDesk(store Store, now func() time.Time, log *slog.Logger, o Options) (*Desk, error) {
	d := &Desk{Options: o, store: store, now: now, log: log, hash: newHasher(), tries: newTries(), held: map[string]*heldSession{}}
	if o.Provider != nil {
		d.provider = &provider{Provider: *o.Provider, now: now}
	}
	if _, err := decoy(); err != nil {
		return nil, err
	}
	var err error
	d.keys, err = passkeysFor(o.Public)
	return d, err
}

func (d *Desk) instant() assets.Instant { return assets.InstantOf(d.now()) }
