// Package signin knows who is asking: it keeps sessions and says which person, with which grants, a request
// comes from. Accounts with passwords are not built yet: a person is a name with a role, chosen on a page that
// answers loopback addresses only. What a role may is schedule/people's to say.
package signin

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"fmt"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

// People is what sign-in needs of the table of people.
type People interface {
	// SignIns returns the people who have a role, by name.
	SignIns(ctx context.Context) ([]assets.Person, error)
	// GrantsOf returns a person's grants in force.
	GrantsOf(ctx context.Context, personID int64) ([]assets.Grant, error)
	// AddPerson adds a person of the service company with a role for all. assets.Invalid names what is wrong.
	AddPerson(ctx context.Context, name string, role assets.Role) (assets.Person, error)
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

const (
	cookieName = "carryside_session"
	idle       = 12 * time.Hour   // a shift and its overtime
	regrant    = 30 * time.Second // grants are read again after this, so that an ended one ends soon
	most       = 10_000           // sessions kept; the oldest used go first
)

// Desk keeps the sessions of one server, in memory: a restart signs everybody out.
type Desk struct {
	people People
	now    func() time.Time

	mu       sync.Mutex // guards sessions and what their pointers hold
	sessions map[[sha256.Size]byte]*session
}

type session struct {
	who     Who
	used    time.Time
	granted time.Time
	plantID int64  // the plant looked at last
	notice  string // told once, on the page it is for
	told    string // path of that page
}

// NewDesk returns a desk without sessions.
func NewDesk(p People, now func() time.Time) *Desk {
	return &Desk{people: p, now: now, sessions: map[[sha256.Size]byte]*session{}}
}

// SignIns returns the people who may be chosen.
func (d *Desk) SignIns(ctx context.Context) ([]assets.Person, error) { return d.people.SignIns(ctx) }

// Register adds a person with a role and returns it.
func (d *Desk) Register(ctx context.Context, name string, role assets.Role) (assets.Person, error) {
	bad := assets.Invalid{}
	if assets.NameKey(name) == "" {
		bad.Add("name", "give your name as it should stand in the records")
	}
	if !people.Known(role) {
		bad.Add("role", "choose a role from the list")
	}
	if err := bad.Err(); err != nil {
		return assets.Person{}, err
	}
	return d.people.AddPerson(ctx, name, role)
}

// SignIn starts a session for a person who has a role and sets its cookie. assets.ErrNotFound when there is
// no such person to choose.
func (d *Desk) SignIn(ctx context.Context, w http.ResponseWriter, personID int64) error {
	all, err := d.people.SignIns(ctx)
	if err != nil {
		return fmt.Errorf("sign in: %w", err)
	}
	i := slices.IndexFunc(all, func(p assets.Person) bool { return p.ID == personID })
	if i < 0 {
		return fmt.Errorf("sign in person %d: %w", personID, assets.ErrNotFound)
	}
	grants, err := d.people.GrantsOf(ctx, personID)
	if err != nil {
		return fmt.Errorf("sign in: %w", err)
	}
	token := rand.Text()
	now := d.now()
	d.mu.Lock()
	d.makeRoom(now)
	d.sessions[sha256.Sum256([]byte(token))] = &session{who: Who{all[i], grants}, used: now, granted: now}
	d.mu.Unlock()
	http.SetCookie(w, cookie(token, int(idle/time.Second)))
	return nil
}

// SignOut ends the session of a request and takes its cookie back.
func (d *Desk) SignOut(w http.ResponseWriter, r *http.Request) {
	if c, err := r.Cookie(cookieName); err == nil {
		d.mu.Lock()
		delete(d.sessions, sha256.Sum256([]byte(c.Value)))
		d.mu.Unlock()
	}
	http.SetCookie(w, cookie("", -1))
}

// Asking returns who a request comes from; false when nobody is signed in.
func (d *Desk) Asking(r *http.Request) (Who, bool, error) {
	s, ok := d.find(r)
	if !ok {
		return Who{}, false, nil
	}
	now := d.now()
	d.mu.Lock()
	who, old := s.who, now.Sub(s.granted) > regrant
	s.used = now
	d.mu.Unlock()
	if !old {
		return who, true, nil
	}
	grants, err := d.people.GrantsOf(r.Context(), who.Person.ID)
	if err != nil {
		return Who{}, false, fmt.Errorf("read grants: %w", err)
	}
	who.Grants = grants
	d.mu.Lock()
	s.who, s.granted = who, now
	d.mu.Unlock()
	return who, true, nil
}

// LookAt remembers the plant a person looks at, so that the next page without one knows it.
func (d *Desk) LookAt(r *http.Request, plantID int64) {
	d.change(r, func(s *session) { s.plantID = plantID })
}

// LookedAt returns the plant looked at last, 0 when none was.
func (d *Desk) LookedAt(r *http.Request) (plantID int64) {
	d.change(r, func(s *session) { plantID = s.plantID })
	return plantID
}

// Tell keeps a sentence for the page at a path.
func (d *Desk) Tell(r *http.Request, path, notice string) {
	path, _, _ = strings.Cut(path, "?")
	d.change(r, func(s *session) { s.told, s.notice = path, notice })
}

// Told returns the sentence kept for this page, once.
func (d *Desk) Told(r *http.Request) (notice string) {
	d.change(r, func(s *session) {
		if s.told == r.URL.Path {
			notice, s.notice = s.notice, ""
		}
	})
	return notice
}

func (d *Desk) change(r *http.Request, do func(*session)) {
	if s, ok := d.find(r); ok {
		d.mu.Lock()
		do(s)
		d.mu.Unlock()
	}
}

func (d *Desk) find(r *http.Request) (*session, bool) {
	c, err := r.Cookie(cookieName)
	if err != nil {
		return nil, false
	}
	key := sha256.Sum256([]byte(c.Value))
	d.mu.Lock()
	defer d.mu.Unlock()
	s, ok := d.sessions[key]
	if ok && d.now().Sub(s.used) > idle {
		delete(d.sessions, key)
		return nil, false
	}
	return s, ok
}

// makeRoom makes room on a full desk: it drops what has been idle too long and, when the desk is still
// full, the session used longest ago. The caller holds mu.
func (d *Desk) makeRoom(now time.Time) {
	if len(d.sessions) < most {
		return
	}
	var oldest [sha256.Size]byte
	at := now
	for k, s := range d.sessions {
		if now.Sub(s.used) > idle {
			delete(d.sessions, k)
		} else if !s.used.After(at) {
			oldest, at = k, s.used
		}
	}
	if len(d.sessions) >= most {
		delete(d.sessions, oldest)
	}
}

func cookie(token string, maxAge int) *http.Cookie {
	return &http.Cookie{Name: cookieName, Value: token, Path: "/", MaxAge: maxAge, HttpOnly: true, SameSite: http.SameSiteLaxMode}
}

// FromLoopback tells whether a request comes from this machine and names it: the address it came from and
// the host it asked for. The host is looked at because a page elsewhere can point a name of its own at
// 127.0.0.1.
func FromLoopback(r *http.Request) bool {
	from, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil || !loopback(from) {
		return false
	}
	host, _, err := net.SplitHostPort(r.Host)
	if err != nil {
		host = r.Host
	}
	return loopback(host)
}

func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	if len(host) > 2 && host[0] == '[' && host[len(host)-1] == ']' {
		host = host[1 : len(host)-1]
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}
