package signin

import (
	"fmt"
	"net/http"
	"net/netip"
	"sync"
	"time"
)

const (
	window       = 10 * time.Minute
	triesOfPair  = 5   // of a name from an address
	triesOfPlace = 30  // from an address
	triesOfName  = 100 // of a name from anywhere
	tripsOfPlace = 200 // ways begun from an address
	mostCounted  = 50_000
)

// tries counts wrong passwords. A try counts when it begins, so that many at once are no way round.
type tries struct {
	mu    sync.Mutex // guards counts
	count map[string]*counted
}

type counted struct {
	n     int
	since time.Time
}

func newTries() *tries { return &tries{count: map[string]*counted{}} }

// Wait refuses a sign-in until a moment: too many were wrong.
type Wait struct{ Until time.Time }

// Error says so.
func (w *Wait) Error() string { return "too many wrong passwords" }

// WrongPair is a name and a password that do not go together: which of the two is wrong is not told.
type WrongPair struct{ Try, Of int }

// Error says so.
func (w *WrongPair) Error() string {
	return fmt.Sprintf("that name and password do not go together (try %d of %d)", w.Try, w.Of)
}

// begin counts a try. Wait when one of its three counts is full; then nothing more is counted.
func (t *tries) begin(name, from string, now time.Time) (try int, err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.sweep(now)
	limits := []struct {
		key  string
		most int
	}{{pairKey(name, from), triesOfPair}, {"a " + network(from), triesOfPlace}, {"n " + name, triesOfName}}
	for _, l := range limits {
		if c := t.count[l.key]; c != nil && c.n >= l.most && now.Sub(c.since) < window {
			return 0, &Wait{Until: c.since.Add(window)}
		}
	}
	for i, l := range limits {
		c := t.count[l.key]
		if c == nil || now.Sub(c.since) >= window {
			c = &counted{}
			t.count[l.key] = c
		}
		c.n++
		c.since = now // the wait runs from the last wrong one
		if i == 0 {
			try = c.n
		}
	}
	return try, nil
}

// right takes a try back that was none: the password was right.
func (t *tries) right(name, from string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.count, pairKey(name, from))
	for _, key := range []string{"a " + network(from), "n " + name} {
		if c := t.count[key]; c != nil {
			c.n--
		}
	}
}

// trip counts ways to a provider or a passkey that are begun from an address: each writes a row.
func (t *tries) trip(from string, now time.Time) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.sweep(now)
	c := t.count["t "+network(from)]
	if c == nil || now.Sub(c.since) >= window {
		c = &counted{since: now}
		t.count["t "+network(from)] = c
	}
	if c.n++; c.n > tripsOfPlace {
		return &Wait{Until: c.since.Add(window)}
	}
	return nil
}

// code counts codes of a second factor tried for a person: a code has a million values only.
func (t *tries) code(personID int64, now time.Time) error {
	return t.short(codeKey(personID), codesOfName, now)
}

// pin counts numbers tried under signatures of a person.
func (t *tries) pin(personID int64, now time.Time) error {
	return t.short(pinKey(personID), triesOfPIN, now)
}

// pinRight takes tries back that were none.
func (t *tries) pinRight(personID int64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.count, pinKey(personID))
}

func pinKey(personID int64) string { return fmt.Sprintf("s %d", personID) }

// short counts tries of a secret that is short.
func (t *tries) short(key string, most int, now time.Time) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.sweep(now)
	c := t.count[key]
	if c == nil || now.Sub(c.since) >= window {
		c = &counted{since: now}
		t.count[key] = c
	}
	if c.n >= most {
		return &Wait{Until: c.since.Add(window)}
	}
	c.n++
	c.since = now
	return nil
}

// codeRight takes tries back that were none.
func (t *tries) codeRight(personID int64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.count, codeKey(personID))
}

func codeKey(personID int64) string { return fmt.Sprintf("c %d", personID) }

func pairKey(name, from string) string { return "p " + network(from) + " " + name }

// network is what counts as one address: of IPv6 the half that a site is given as a whole.
func network(from string) string {
	a, err := netip.ParseAddr(from)
	if err != nil || a.Is4() {
		return from
	}
	p, err := a.Prefix(64)
	if err != nil {
		return from
	}
	return p.String()
}

// sweep drops what no longer counts when there is much of it, and everything when that does not help: somebody who
// sends ever new names must not fill the memory.
func (t *tries) sweep(now time.Time) {
	if len(t.count) < mostCounted {
		return
	}
	for key, c := range t.count {
		if now.Sub(c.since) >= window {
			delete(t.count, key)
		}
	}
	if len(t.count) >= mostCounted {
		clear(t.count)
	}
}

// Network is the address a request comes from, as far as it counts as one.
func (d *Desk) Network(r *http.Request) string { return network(d.From(r)) }
