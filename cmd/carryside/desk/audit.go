package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/server/web"
)

// Journal returns a page of a plant's journal, newest first, with one entry more than asked for where there are more.
func (d *Desk) Journal(ctx context.Context, scope assets.Scope, plantID int64, asked web.JournalAsked) ([]web.JournalLine, error) {
	named, err := d.things(ctx, scope, plantID)
	if err != nil {
		return nil, err
	}
	a := plantdb.JournalAsked{Person: asked.Person, Program: asked.Program, From: asked.From, To: asked.To, Before: asked.Before, Limit: asked.Limit}
	if asked.ConveyorID != 0 {
		a.Things = named.of(asked.ConveyorID)
	}
	entries, err := d.db.PlantEntries(ctx, scope, plantID, a)
	if err != nil {
		return nil, err
	}
	return d.lines(ctx, named, entries)
}

// companyThings are rows of the company's chain that a plant's reports rest on.
var companyThings = map[string][]int64{"rules": nil, "specifications": nil, "splice_kinds": nil, "finding_kinds": nil, "companies": nil}

// mostCorrections is how many entries since a moment are looked at beside a report.
const mostCorrections = 500

// Corrections returns what was entered at a plant, or for all plants by the company, after a moment, newest first. It reads
// no further than what was entered by the end of the request.
func (d *Desk) Corrections(ctx context.Context, scope assets.Scope, plantID int64, since time.Time) ([]web.JournalLine, error) {
	named, err := d.things(ctx, scope, plantID)
	if err != nil {
		return nil, err
	}
	var lines []web.JournalLine
	err = d.db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		at, err := tx.KnownAt(ctx, plantID, 0, assets.InstantOf(since))
		if err != nil {
			return err
		}
		own, err := tx.PlantEntries(ctx, scope, plantID, plantdb.JournalAsked{After: max(at.Known, 0), Limit: mostCorrections})
		if err != nil {
			return err
		}
		company, err := tx.CompanyEntries(ctx, plantdb.JournalAsked{After: max(at.CompanyKnown, 0), Things: companyThings, Limit: mostCorrections})
		if err != nil {
			return err
		}
		lines, err = d.lines(ctx, named, append(own, company...))
		return err
	})
	return lines, err
}

// Journalists returns the people who made entries at a plant.
func (d *Desk) Journalists(ctx context.Context, scope assets.Scope, plantID int64) (map[int64]string, error) {
	ids, err := d.db.Journalists(ctx, scope, plantID)
	if err != nil {
		return nil, err
	}
	return registry.Names(ctx, d.db, ids)
}

// things names the things of a plant, those out of use too.
func (d *Desk) things(ctx context.Context, scope assets.Scope, plantID int64) (*things, error) {
	reg, err := registry.PlantHistoryAsOf(ctx, d.db, scope, plantID, plantdb.AsOf{}, 0)
	if err != nil {
		return nil, err
	}
	t := &things{tags: map[int64]string{}, belts: map[int64]int64{}, splices: map[int64]assets.Splice{}}
	for _, c := range reg.Conveyors {
		t.tags[c.ID] = c.Tag
	}
	for _, b := range reg.Belts {
		t.belts[b.ID] = b.ConveyorID
	}
	for _, s := range reg.Splices {
		t.splices[s.ID] = s
	}
	return t, nil
}

// things are the names of a plant's things.
type things struct {
	tags    map[int64]string // of conveyors
	belts   map[int64]int64  // conveyor of each
	splices map[int64]assets.Splice
}

// of lists what belongs to a conveyor, as the journal knows it.
func (t *things) of(conveyorID int64) map[string][]int64 {
	out := map[string][]int64{"conveyors": {conveyorID}, "readings": {conveyorID}, "belts": {0}, "splices": {0}}
	for id, conveyor := range t.belts {
		if conveyor == conveyorID {
			out["belts"] = append(out["belts"], id)
		}
	}
	for id, s := range t.splices {
		if s.ConveyorID == conveyorID {
			out["splices"] = append(out["splices"], id)
		}
	}
	return out
}

// place names where a row belongs: the conveyor's tag and the splice's mark.
func (t *things) place(table string, id int64, fields []web.JournalField) (tag, splice string) {
	conveyor := int64(0)
	switch table {
	case "conveyors", "readings":
		conveyor = id
	case "belts":
		conveyor = t.belts[id]
	case "splices":
		conveyor, splice = t.splices[id].ConveyorID, t.splices[id].Number
	default:
		for _, f := range fields {
			if f.Column == "conveyor_id" {
				fmt.Sscan(fmt.Sprint(f.After), &conveyor) // nothing where it is no number
			}
		}
	}
	return t.tags[conveyor], splice
}

// lines puts entries into what the screens show.
func (d *Desk) lines(ctx context.Context, named *things, entries []plantdb.Entry) ([]web.JournalLine, error) {
	ids := make([]int64, len(entries))
	for i, e := range entries {
		ids[i] = e.PersonID
	}
	shown := make([][]plantdb.Written, len(entries))
	for i, e := range entries {
		var err error
		if shown[i], err = e.WrittenIn(); err != nil {
			return nil, err
		}
		for _, w := range shown[i] {
			ids = append(append(ids, personIn(w.Before)...), personIn(w.After)...)
		}
	}
	people, err := registry.Names(ctx, d.db, ids)
	if err != nil {
		return nil, err
	}
	lines := make([]web.JournalLine, len(entries))
	for i, e := range entries {
		written := shown[i]
		lines[i] = web.JournalLine{Chain: e.ChainID, Position: e.Position, At: e.At, ClockAt: e.ClockAt, Who: people[e.PersonID], Origin: string(e.Origin),
			Action: e.Action, Reason: e.Reason, Hash: e.Hash, Bulk: written == nil, Leaves: e.LeafCount}
		for _, w := range written {
			lines[i].Rows = append(lines[i].Rows, journalRow(named, people, w))
		}
	}
	return lines, nil
}

// namesPerson tells whether a column holds the number of a person.
func namesPerson(column string) bool {
	return strings.HasSuffix(column, "_by_id") || column == "person_id" || column == "refused_by" || column == "decided_by" || column == "entered_by" ||
		column == "placed_by" || column == "accepted_by" || column == "signed_by" || column == "done_by"
}

// personIn are the people a row's columns name.
func personIn(columns map[string]any) (ids []int64) {
	for c, v := range columns {
		if n, is := v.(json.Number); is && namesPerson(c) {
			if id, err := n.Int64(); err == nil && id > 0 {
				ids = append(ids, id)
			}
		}
	}
	return ids
}

// withName puts a person's name in place of their number.
func withName(people map[int64]string, column string, v any) any {
	n, is := v.(json.Number)
	if !is || !namesPerson(column) {
		return v
	}
	id, err := n.Int64()
	switch {
	case err != nil:
		return v
	case id == 0:
		return "nobody"
	case people[id] != "":
		return people[id]
	}
	return v
}

// leftOut are columns that say again what another row of the same entry says, or count edits.
var leftOut = map[string][]string{"order_events": {"before", "after", "order_id", "person_id", "plant_id", "entered_at"}, "orders": {"edit_version", "plant_id"}, "occurrences": {"withdrawal_no", "rule_id"}}

func journalRow(named *things, people map[int64]string, w plantdb.Written) web.JournalRow {
	r := web.JournalRow{Table: w.Table, ID: w.ID, ValidFrom: w.ValidFrom, ValidTo: w.ValidTo, New: w.Before == nil, Gone: w.After == nil && w.Before != nil}
	var columns []string
	for c := range w.Before {
		columns = append(columns, c)
	}
	for c := range w.After {
		if _, both := w.Before[c]; !both {
			columns = append(columns, c)
		}
	}
	slices.Sort(columns)
	for _, c := range columns {
		r.Fields = append(r.Fields, web.JournalField{Column: c, Before: withName(people, c, w.Before[c]), After: withName(people, c, w.After[c])})
	}
	r.Tag, r.Splice = named.place(w.Table, w.ID, r.Fields)
	r.Fields = slices.DeleteFunc(r.Fields, func(f web.JournalField) bool { return slices.Contains(leftOut[w.Table], f.Column) })
	return r
}

// proofs are the chains being proved for screens, and what came of it, by customer.
type proofs struct {
	mu sync.Mutex // guards of
	of map[int64]*chainProof
}

// chainProof is one chain being proved.
type chainProof struct {
	done, total atomic.Int64
	state       web.ChainProof // guarded by proofs.mu
}

// ProveChain begins to prove the chain of a plant's customer, unless that is under way. It goes on when the page is left.
func (d *Desk) ProveChain(ctx context.Context, scope assets.Scope, plantID int64) error {
	customer, err := d.chainOf(ctx, scope, plantID)
	if err != nil {
		return err
	}
	d.proofs.mu.Lock()
	defer d.proofs.mu.Unlock()
	if p := d.proofs.of[customer]; p != nil && p.state.Running {
		return nil
	}
	p := &chainProof{state: web.ChainProof{Running: true, Began: d.now()}}
	if d.proofs.of == nil {
		d.proofs.of = map[int64]*chainProof{}
	}
	d.proofs.of[customer] = p
	go d.prove(context.WithoutCancel(ctx), customer, p)
	return nil
}

// mostOfAProof is how long a chain may take to be proved.
const mostOfAProof = 30 * time.Minute

func (d *Desk) prove(ctx context.Context, customer int64, p *chainProof) {
	ctx, cancel := context.WithTimeout(ctx, mostOfAProof)
	defer cancel()
	verdict, err := d.db.Prove(ctx, plantdb.Asked{OneChain: true, CustomerID: customer, Progress: func(done, total int64) {
		p.done.Store(done)
		p.total.Store(total)
	}})
	d.proofs.mu.Lock()
	defer d.proofs.mu.Unlock()
	p.state.Running, p.state.Ended = false, d.now()
	if err != nil {
		p.state.Failed = err.Error()
		return
	}
	p.state.Entries, p.state.Rows, p.state.Breaks = verdict.Entries, verdict.Rows, len(verdict.Breaks)
	if len(verdict.Breaks) > 0 {
		p.state.First = verdict.Breaks[0].Says
	}
	for _, c := range verdict.Chains {
		p.state.Chain, p.state.Position, p.state.Hash = c.ChainID, c.Position, c.Hash
	}
}

// ChainProved returns how far the proof of the chain of a plant's customer is, and where the chain stands.
func (d *Desk) ChainProved(ctx context.Context, scope assets.Scope, plantID int64) (web.ChainProof, error) {
	customer, err := d.chainOf(ctx, scope, plantID)
	if err != nil {
		return web.ChainProof{}, err
	}
	head, err := d.db.Checkpoint(ctx, customer, 0)
	if err != nil {
		return web.ChainProof{}, err
	}
	d.proofs.mu.Lock()
	defer d.proofs.mu.Unlock()
	state := web.ChainProof{}
	if p := d.proofs.of[customer]; p != nil {
		state = p.state
		state.Done, state.Total = p.done.Load(), p.total.Load()
	}
	state.Head = web.ChainHead{Chain: head.ChainID, Position: head.Position, Hash: head.Hash}
	return state, nil
}

func (d *Desk) chainOf(ctx context.Context, scope assets.Scope, plantID int64) (int64, error) {
	if err := d.db.Reach(ctx, scope, plantID); err != nil {
		return 0, err
	}
	return d.db.CustomerOf(ctx, plantID)
}
