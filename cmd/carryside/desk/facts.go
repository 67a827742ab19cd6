package desk

import (
	"context"
	"sync"

	"carryside/assets"
)

// position is how far the journals reach through which everything a plant's screens show is written: its customer's
// and the company's. What was read at a position is so until it moves on, whoever writes, in this process or another.
type position struct{ customer, company int64 }

// facts keeps what the screens of plants looked at read again and again: the frame, the open orders, the news of
// the day. Every change of a plant goes through its journal, so a look at two numbers tells whether it still holds.
type facts struct {
	mu     sync.Mutex // guards plants and what they hold
	plants map[int64]*plantFacts
	used   int64 // counts looks, to know which plant was looked at last
}

// plantFacts are one plant's, as of a position.
type plantFacts struct {
	at   position
	held map[string]any // by what was asked
	used int64
}

// mostFacts bounds what is kept of a plant: a filter typed in an address is one more thing asked.
const mostFacts = 40

// get returns what was kept at a position.
func (f *facts) get(plantID int64, at position, what string) (any, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	p := f.plants[plantID]
	if p == nil || p.at != at {
		return nil, false
	}
	f.used++
	p.used = f.used
	v, known := p.held[what]
	return v, known
}

// put keeps what was read after the position was; an older position than the one kept is not.
func (f *facts) put(plantID int64, at position, what string, v any) {
	f.mu.Lock()
	defer f.mu.Unlock()
	p := f.plants[plantID]
	switch {
	case p == nil || p.at != at && at.customer >= p.at.customer && at.company >= p.at.company, p.at == at && len(p.held) >= mostFacts:
		p = &plantFacts{at: at, held: map[string]any{}}
		f.plants[plantID] = p
	case p.at != at:
		return
	}
	f.used++
	p.held[what], p.used = v, f.used
	for len(f.plants) > mostFleets {
		f.dropOldest()
	}
}

// dropOldest forgets the plant not looked at for longest.
func (f *facts) dropOldest() {
	oldest, least := int64(0), f.used+1
	for id, p := range f.plants {
		if p.used < least {
			oldest, least = id, p.used
		}
	}
	delete(f.plants, oldest)
}

// position returns how far the journals of a plant reach now; assets.ErrNotFound outside the scope.
func (d *Desk) position(ctx context.Context, scope assets.Scope, plantID int64) (at position, err error) {
	if err = d.db.Reach(ctx, scope, plantID); err != nil {
		return at, err
	}
	if at.customer, err = d.db.HeadPosition(ctx, plantID); err != nil {
		return at, err
	}
	at.company, err = d.db.CompanyPosition(ctx)
	return at, err
}

// fact returns what read reads of a plant, from memory where nothing was written since it was read. What it returns
// is shared: whoever changes a list takes a copy.
func fact[T any](ctx context.Context, d *Desk, scope assets.Scope, plantID int64, what string, read func() (T, error)) (T, error) {
	at, err := d.position(ctx, scope, plantID)
	if err != nil {
		return *new(T), err
	}
	if v, known := d.facts.get(plantID, at, what); known {
		return v.(T), nil
	}
	v, err := read()
	if err == nil {
		d.facts.put(plantID, at, what, v)
	}
	return v, err
}
