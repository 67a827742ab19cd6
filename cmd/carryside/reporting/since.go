package reporting

import (
	"context"
	"encoding/json"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/reports"
)

var _ reports.SinceSource = Source{}

// mostEntriesSince is how many entries of a plant since a moment explain what a report tells of corrections.
const mostEntriesSince = 5000

// Since returns the same source as known now, or as far as it was known when the report was built that is built again.
func (s Source) Since() reports.Source { return s.asKnownNow() }

func (s Source) asKnownNow() Source {
	s.knownAt, s.places, s.laws = 0, s.nowAt, &lawsRead{}
	return s
}

// upTo returns the same source whose now ends at places of the chains.
func (s Source) upTo(chains []reports.ChainRead) Source {
	s.nowAt = map[int64]int64{}
	for _, c := range chains {
		s.nowAt[c.Chain] = c.Entry
	}
	return s
}

// EntriesSince lists what was entered at a plant behind what the source shows, newest first, with the things it touched.
// A list brought in only counts its rows, so it names none.
func (s Source) EntriesSince(ctx context.Context, plantID int64) ([]reports.EntrySince, error) {
	customer, err := s.db.CustomerOf(ctx, plantID)
	if err != nil {
		return nil, err
	}
	then, err := s.asOf(ctx, customer, 0)
	if err != nil {
		return nil, err
	}
	now, err := s.asKnownNow().asOf(ctx, customer, 0)
	if err != nil {
		return nil, err
	}
	if now.Known < 0 {
		return nil, nil // its chain had no entry yet
	}
	asked := plantdb.JournalAsked{After: max(then.Known, 0), Limit: mostEntriesSince}
	if now.Known > 0 {
		asked.Before = now.Known + 1
	}
	entries, err := s.db.PlantEntries(ctx, s.scope, plantID, asked)
	if err != nil {
		return nil, err
	}
	reg, err := registry.PlantHistoryAsOf(ctx, s.db, s.scope, plantID, now, 0)
	if err != nil {
		return nil, err
	}
	return s.touching(ctx, newThings(reg), entries)
}

func (s Source) touching(ctx context.Context, named things, entries []plantdb.Entry) ([]reports.EntrySince, error) {
	ids := make([]int64, len(entries))
	for i, e := range entries {
		ids[i] = e.PersonID
	}
	people, err := registry.Names(ctx, s.db, ids)
	if err != nil {
		return nil, err
	}
	out := make([]reports.EntrySince, len(entries))
	for i, e := range entries {
		out[i] = reports.EntrySince{At: e.At.Time(), Who: people[e.PersonID], Deed: e.Action, Reason: e.Reason}
		if out[i].Who == "" {
			out[i].Who = "no person: " + string(e.Origin)
		}
		written, err := e.WrittenIn()
		if err != nil {
			return nil, err
		}
		for _, w := range written {
			if at := named.of(w); at.Conveyor != "" {
				out[i].Things = append(out[i].Things, at)
			}
		}
	}
	return out, nil
}

// things name what the journal writes of by number.
type things struct {
	tags    map[int64]string
	belts   map[int64]int64 // conveyor of each
	splices map[int64]assets.Splice
}

func newThings(reg *assets.Register) things {
	t := things{tags: map[int64]string{}, belts: map[int64]int64{}, splices: map[int64]assets.Splice{}}
	for _, c := range reg.Conveyors {
		t.tags[c.ID] = c.Tag
	}
	for _, b := range reg.Belts {
		t.belts[b.ID] = b.ConveyorID
	}
	for _, sp := range reg.Splices {
		t.splices[sp.ID] = sp
	}
	return t
}

// of tells which conveyor or splice a row of the journal is of; of none it is empty.
func (t things) of(w plantdb.Written) reports.Touched {
	switch w.Table {
	case "conveyors", "readings":
		return reports.Touched{Conveyor: t.tags[w.ID]}
	case "belts":
		return reports.Touched{Conveyor: t.tags[t.belts[w.ID]]}
	case "splices":
		sp := t.splices[w.ID]
		return reports.Touched{Conveyor: t.tags[sp.ConveyorID], Splice: sp.Number}
	}
	for _, columns := range []map[string]any{w.After, w.Before} {
		n, is := columns["conveyor_id"].(json.Number)
		if id, err := n.Int64(); is && err == nil {
			return reports.Touched{Conveyor: t.tags[id]}
		}
	}
	return reports.Touched{}
}
