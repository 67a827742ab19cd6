package samplefleet

import (
	"fmt"
	"math/rand/v2"
	"sort"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// seedPosition is the journal position of the entry that brings a fleet in: the first of each chain.
const seedPosition = 1

// builder draws a fleet. One source of chance, used in a fixed order, makes it repeatable.
type builder struct {
	rng   *rand.Rand
	fleet *Fleet
	today time.Time
	next  map[string]int64
	// people by name key, so that a crew named twice is one row
	people map[string]int64
	// drafts of the plant being drawn: orders get their numbers in order of time, across conveyors
	drafts []orderDraft
	calls  map[int64]int // conveyors by plant, for picking meters that were changed
}

// orderDraft is a finished order waiting for its number.
type orderDraft struct {
	order   workorder.Order
	made    []int // indexes of splices it made
	retired []int // indexes of splices it ended
	answers []int // indexes of findings it follows up
}

func newBuilder(today time.Time, seed uint64) *builder {
	return &builder{rng: rand.New(rand.NewPCG(seed, 0x6361727279)), fleet: &Fleet{Today: today}, today: today,
		next: map[string]int64{}, people: map[string]int64{}, calls: map[int64]int{}}
}

// id gives the next number of a kind of thing.
func (b *builder) id(kind string) int64 { b.next[kind]++; return b.next[kind] }

// version begins a thing at t.
func (b *builder) version(kind string, from time.Time) assets.Version {
	return assets.Version{ID: b.id(kind), ValidFrom: assets.InstantOf(from), KnownFrom: seedPosition}
}

// person returns the number of a name, adding it once.
func (b *builder) person(name string, customer int64, role assets.Role) int64 {
	key := assets.NameKey(name)
	if id, ok := b.people[key]; ok {
		return id
	}
	id := b.id("people")
	b.people[key] = id
	b.fleet.People = append(b.fleet.People, assets.Person{ID: id, CustomerID: customer, Name: name, NameKey: key, Role: role, KnownFrom: seedPosition})
	return id
}

func (b *builder) grant(person int64, role assets.Role) {
	b.fleet.Grants = append(b.fleet.Grants, assets.Grant{ID: b.id("grants"), PersonID: person, Role: role, KnownFrom: seedPosition})
}

// between draws evenly from [lo, hi).
func (b *builder) between(lo, hi float64) float64 { return lo + (hi-lo)*b.rng.Float64() }

// numberOrders gives the drafts of a plant their numbers in order of time and ties them to their splices.
func (b *builder) numberOrders(plantID int64) {
	sort.SliceStable(b.drafts, func(i, j int) bool { return b.drafts[i].order.DoneAt < b.drafts[j].order.DoneAt })
	for n, d := range b.drafts {
		o := d.order
		o.Version = assets.Version{ID: b.id("orders"), ValidFrom: o.RaisedAt, KnownFrom: seedPosition}
		o.PlantID, o.Number, o.EditVersion = plantID, int64(n)+1, 1
		b.fleet.Orders = append(b.fleet.Orders, o)
		for _, i := range d.made {
			b.fleet.Splices[i].MadeOrderID = o.ID
		}
		for _, i := range d.retired {
			b.fleet.Splices[i].RetiredOrderID = o.ID
		}
		for _, i := range d.answers {
			b.fleet.Findings[i].FollowUpOrderID = o.ID
		}
		b.orderEvents(o)
	}
	b.drafts = nil
}

// orderEvents writes the steps of a signed order.
func (b *builder) orderEvents(o workorder.Order) {
	step := func(what string, at assets.Instant, who int64) {
		b.fleet.OrderEvents = append(b.fleet.OrderEvents, workorder.Event{ID: b.id("order_events"), PlantID: o.PlantID, OrderID: o.ID,
			What: what, At: at, EnteredAt: at, PersonID: who, Before: "{}", After: fmt.Sprintf(`{"state":%q}`, what), KnownFrom: seedPosition})
	}
	step("raised", o.RaisedAt, o.RaisedBy)
	step("accepted", o.AcceptedAt, o.AcceptedBy)
	if o.PlacedAt != 0 {
		step("placed", o.PlacedAt, o.PlacedBy)
	}
	step("started", o.StartedAt, o.StartedBy)
	step("done", o.DoneAt, o.DoneBy)
	step("signed", o.SignedAt, o.SignedBy)
}
