package signin

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"carryside/assets"
)

const (
	idle     = 12 * time.Hour
	longest  = 7 * 24 * time.Hour
	believed = 5 * time.Second // what was read of a session is believed for so long
	touched  = time.Minute     // the last use is written down so often at most
	most     = 10_000          // sessions kept in memory; those read longest ago go first
	patience = 250 * time.Millisecond
)

// heldSession is a session as this server knows it.
type heldSession struct {
	assets.Session
	who     Who
	readAt  time.Time
	keptAt  time.Time // last use and state were written down
	changed bool      // its state, since then
	gone    bool      // there is none of this token: not asked for again for a moment
}

// digest is how a secret of ours is kept: it has 128 random bits or more, so that its plain SHA-256 tells nothing.
func digest(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// OneClick signs in somebody of the demonstration. assets.ErrNotFound when there is no such person to choose.
func (d *Desk) OneClick(w http.ResponseWriter, r *http.Request, personID int64) error {
	if !d.Demo || !FromLoopback(r) {
		return assets.ErrForbidden
	}
	all, err := d.store.SignIns(r.Context())
	if err != nil {
		return fmt.Errorf("sign in: %w", err)
	}
	if !slices.ContainsFunc(all, func(p assets.Person) bool { return p.ID == personID }) {
		return fmt.Errorf("sign in person %d: %w", personID, assets.ErrNotFound)
	}
	return d.begin(w, r, personID, assets.ByOneClick)
}

// SignIns returns the people who may be chosen with one click: nobody but in the demonstration.
func (d *Desk) SignIns(ctx context.Context) ([]assets.Person, error) {
	if !d.Demo {
		return nil, nil
	}
	return d.store.SignIns(ctx)
}

// begin starts a session under a token of its own and sets its cookie. The session the browser came with ends: a
// token that somebody planted there is worth nothing.
func (d *Desk) begin(w http.ResponseWriter, r *http.Request, personID int64, way assets.SignInWay) error {
	if err := d.endCurrent(r); err != nil {
		return err
	}
	token, now := rand.Text(), d.now()
	s := assets.Session{TokenHash: digest(token), PersonID: personID, Way: way, StartedAt: assets.InstantOf(now), UsedAt: assets.InstantOf(now),
		EndsAt: assets.InstantOf(now.Add(longest)), Address: d.From(r), Browser: browserOf(r)}
	if err := d.store.OpenSession(r.Context(), &s); err != nil {
		return err
	}
	d.setCookie(w, cookieName, token, longest)
	d.log.Info("signed in", "person", personID, "way", string(way), "address", s.Address)
	return nil
}

func browserOf(r *http.Request) string {
	return strings.ToValidUTF8(r.UserAgent()[:min(300, len(r.UserAgent()))], "")
}

// SignOut ends the session of a request and takes its cookie back.
func (d *Desk) SignOut(w http.ResponseWriter, r *http.Request) error {
	d.setCookie(w, cookieName, "", -1)
	return d.endCurrent(r)
}

func (d *Desk) endCurrent(r *http.Request) error {
	s, err := d.find(r)
	if s == nil || err != nil {
		return err
	}
	d.forget(s.PersonID)
	if err := d.store.EndSession(r.Context(), s.PersonID, s.ID, d.instant()); err != nil && !errors.Is(err, assets.ErrNotFound) {
		return err
	}
	return nil
}

// Asking returns who a request comes from; false when nobody is signed in, or somebody halfway only (Halfway).
func (d *Desk) Asking(r *http.Request) (Who, bool, error) {
	s, err := d.find(r)
	if s == nil || err != nil {
		return Who{}, false, err
	}
	d.mu.Lock()
	who, half := s.who, d.half(s)
	d.mu.Unlock()
	if half {
		return Who{}, false, nil
	}
	d.keep(r, s)
	return who, true, nil
}

// find returns the session of a request, nil when there is none that holds: from memory where it was read a moment
// ago, else in one read.
func (d *Desk) find(r *http.Request) (*heldSession, error) {
	c, err := r.Cookie(d.cookie(cookieName))
	if err != nil {
		return nil, nil // no cookie, nobody signed in
	}
	key, now := digest(c.Value), d.now()
	d.mu.Lock()
	s := d.held[key]
	fresh := s != nil && now.Sub(s.readAt) < believed
	d.mu.Unlock()
	if !fresh {
		if s, err = d.read(r.Context(), key, now); err != nil || s == nil {
			return nil, err
		}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if s.gone {
		return nil, nil
	}
	if now.Sub(s.UsedAt.Time()) > idle || !now.Before(s.EndsAt.Time()) {
		delete(d.held, key)
		return nil, nil
	}
	return s, nil
}

// read reads a session anew and keeps it in memory. What this server knows better, the last use and a state not yet
// written down, stays.
func (d *Desk) read(ctx context.Context, key string, now time.Time) (*heldSession, error) {
	kept, person, grants, err := d.store.AskingSession(ctx, key, assets.InstantOf(now))
	d.mu.Lock()
	defer d.mu.Unlock()
	if errors.Is(err, assets.ErrNotFound) {
		d.makeRoom()
		d.held[key] = &heldSession{readAt: now, gone: true}
		return nil, nil
	}
	if err != nil {
		delete(d.held, key)
		return nil, err
	}
	s := d.held[key]
	if s == nil || s.gone {
		d.makeRoom()
		s = &heldSession{Session: kept, keptAt: kept.UsedAt.Time()}
		d.held[key] = s
	}
	s.UsedAt = max(s.UsedAt, kept.UsedAt)
	if !s.changed {
		s.State = kept.State
	}
	s.who, s.readAt = Who{Person: person, Grants: grants}, now
	return s, nil
}

// keep notes the use of a session and writes it down now and then. It waits a moment only, and a page is shown
// whether or not it worked: while a long import writes, a page that is only read must not wait for it.
func (d *Desk) keep(r *http.Request, s *heldSession) {
	now := d.now()
	d.mu.Lock()
	s.UsedAt = assets.InstantOf(now)
	due := now.Sub(s.keptAt) >= touched
	if due {
		s.keptAt = now
		s.Address, s.Browser = d.From(r), browserOf(r)
	}
	d.mu.Unlock()
	if due {
		d.write(r, s)
	}
}

// write writes a session's last use and state down, if that is done at once.
func (d *Desk) write(r *http.Request, s *heldSession) {
	d.mu.Lock()
	copied := s.Session
	s.changed = false
	d.mu.Unlock()
	ctx, cancel := context.WithTimeout(r.Context(), patience)
	defer cancel()
	if err := d.store.KeepSession(ctx, copied); err != nil {
		d.log.Warn("a session's last use was not written down", "person", copied.PersonID, "error", err)
		d.mu.Lock()
		s.changed = true
		d.mu.Unlock()
	}
}

// LookAt remembers the plant a person looks at, so that the next page without one knows it.
func (d *Desk) LookAt(r *http.Request, plantID int64) {
	d.change(r, func(s *heldSession) { s.State.PlantID, s.changed = plantID, s.changed || s.State.PlantID != plantID })
}

// LookedAt returns the plant looked at last, 0 when none was.
func (d *Desk) LookedAt(r *http.Request) (plantID int64) {
	d.change(r, func(s *heldSession) { plantID = s.State.PlantID })
	return plantID
}

// Tell keeps a sentence for the page at a path; another server may be the one that shows it.
func (d *Desk) Tell(r *http.Request, path, notice string) {
	path, _, _ = strings.Cut(path, "?")
	d.change(r, func(s *heldSession) { s.State.Told, s.State.Notice, s.changed = path, notice, true })
	if s, err := d.find(r); err == nil && s != nil {
		d.write(r, s)
	}
}

// Told returns the sentence kept for this page, once.
func (d *Desk) Told(r *http.Request) (notice string) {
	d.change(r, func(s *heldSession) {
		if s.State.Notice != "" && s.State.Told == r.URL.Path {
			notice, s.State.Notice, s.State.Told, s.changed = s.State.Notice, "", "", true
		}
	})
	return notice
}

func (d *Desk) change(r *http.Request, do func(*heldSession)) {
	s, err := d.find(r)
	if err != nil {
		d.log.Warn("a session could not be read", "error", err)
	}
	if s == nil {
		return
	}
	d.mu.Lock()
	do(s)
	d.mu.Unlock()
}

// forget drops what this server has in memory of a person, so that what was ended or changed holds at once.
func (d *Desk) forget(personID int64) {
	d.mu.Lock()
	for key, s := range d.held {
		if s.PersonID == personID {
			delete(d.held, key)
		}
	}
	d.mu.Unlock()
}

// Forget lets what was changed about a person elsewhere (a grant, an ended account) hold at once on this server.
func (d *Desk) Forget(personID int64) { d.forget(personID) }

// makeRoom forgets the session read longest ago when there are too many. The caller holds mu.
func (d *Desk) makeRoom() {
	if len(d.held) < most {
		return
	}
	oldest := ""
	for key, s := range d.held {
		if oldest == "" || s.readAt.Before(d.held[oldest].readAt) {
			oldest = key
		}
	}
	delete(d.held, oldest)
}

// OwnSessions returns the sessions of whoever asks, and the number of the one they ask in.
func (d *Desk) OwnSessions(r *http.Request) (all []assets.Session, current int64, err error) {
	s, err := d.find(r)
	if err != nil || s == nil {
		return nil, 0, err
	}
	all, err = d.store.SessionsOf(r.Context(), s.PersonID, d.instant())
	all = slices.DeleteFunc(all, func(o assets.Session) bool { return d.now().Sub(o.UsedAt.Time()) > idle })
	return all, s.ID, err
}

// EndOwn ends one of the sessions of whoever asks, or with 0 all of them but the one they ask in.
func (d *Desk) EndOwn(r *http.Request, id int64) error {
	s, err := d.find(r)
	if err != nil || s == nil {
		return err
	}
	person, current := s.PersonID, s.ID
	if id != 0 {
		err = d.store.EndSession(r.Context(), person, id, d.instant())
	} else {
		err = d.store.EndSessions(r.Context(), person, person, current)
	}
	d.forget(person)
	return err
}

// The cookies: the session, and the way there and back of a sign-in elsewhere.
const (
	cookieName = "carryside_session"
	tripName   = "carryside_trip"
)

// cookie is a cookie's name as sent. By https it carries the prefix that lets a browser take it from nobody but this
// host (RFC 6265bis, section 4.1.3.2).
func (d *Desk) cookie(name string) string {
	if d.Secure {
		return "__Host-" + name
	}
	return name
}

func (d *Desk) setCookie(w http.ResponseWriter, name, value string, keep time.Duration) {
	age := int(keep / time.Second)
	if keep < 0 {
		age = -1
	}
	http.SetCookie(w, &http.Cookie{Name: d.cookie(name), Value: value, Path: "/", MaxAge: age, HttpOnly: true, Secure: d.Secure, SameSite: http.SameSiteLaxMode})
}
