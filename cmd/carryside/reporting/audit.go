package reporting

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/reports"
)

var _ reports.AuditSource = Source{}

// AuditPlant reads what became of a plant's splices and orders in a span, with the evidence there is.
func (s Source) AuditPlant(ctx context.Context, plantID int64, in reports.Span) (a reports.Audited, err error) {
	reg, asOf, err := s.historyOf(ctx, plantID)
	if err != nil {
		return a, err
	}
	for _, c := range reg.Conveyors {
		a.Conveyors = append(a.Conveyors, reports.AuditedConveyor{Tag: c.Tag, Line: reg.LineName(c)})
	}
	if a.Events, err = s.spliceEvents(ctx, reg, in, asOf); err != nil {
		return a, err
	}
	decided, err := s.decisions(ctx, reg, in, asOf)
	if err != nil {
		return a, err
	}
	a.Events = append(a.Events, decided...)
	slices.SortStableFunc(a.Events, func(x, y reports.AuditEvent) int { return x.At.Compare(y.At) })
	a.Chains, err = s.chains(ctx, reg, asOf)
	return a, err
}

// historyOf reads a plant with everything that ever was there, as known.
func (s Source) historyOf(ctx context.Context, plantID int64) (*assets.Register, plantdb.AsOf, error) {
	customer, err := s.db.CustomerOf(ctx, plantID)
	if err != nil {
		return nil, plantdb.AsOf{}, err
	}
	asOf, err := s.asOf(ctx, customer, 0)
	if err != nil {
		return nil, asOf, err
	}
	reg, err := registry.PlantHistoryAsOf(ctx, s.db, s.scope, plantID, asOf, 0)
	return reg, asOf, err
}

// spliceEvents are the splices made and ended in the span, each with its evidence.
func (s Source) spliceEvents(ctx context.Context, reg *assets.Register, in reports.Span, asOf plantdb.AsOf) ([]reports.AuditEvent, error) {
	var out []reports.AuditEvent
	var of []int64 // splice of each
	add := func(sp assets.Splice, part string, w assets.When, who, what, reason string) {
		at, day := lastOf(w)
		if w.Unknown() || !in.Holds(at) {
			return
		}
		c, _ := reg.Conveyor(sp.ConveyorID)
		out = append(out, reports.AuditEvent{Part: part, At: at, Day: day, Conveyor: c.Tag, Splice: sp.Number, Who: who, What: what, Thing: fmt.Sprintf("splice %d", sp.ID), Reason: reason})
		of = append(of, sp.ID)
	}
	remade := remadeFrom(reg.Splices)
	for _, sp := range reg.Splices {
		add(sp, reports.MadeEvent(remade[sp.ID]), sp.Made, sp.MadeBy, assets.KindWords(sp.Form, sp.Bond), byOrder(sp.MadeOrderID, sp.MadeWith))
		if sp.Ended != nil {
			add(sp, reports.EndedEvent(sp.RetiredWhy), sp.Retired, "", sp.RetiredWhy.Words(), byOrder(sp.RetiredOrderID, sp.FailureMode))
		}
	}
	counts, err := registry.EvidenceOf(ctx, s.db, s.scope, reg.Plant.ID, slices.Compact(slices.Sorted(slices.Values(of))), assets.InstantOf(in.To), asOf)
	for i, id := range of {
		e := counts[id]
		out[i].Evidence = &reports.Evidence{Findings: e.Findings, Attachments: e.Attachments, PressRecords: e.PressRecords, Steps: e.Steps, Readings: e.Readings}
	}
	return out, err
}

// lastOf is the last moment at which something happened and, where no more is known, its day: what happened on a day counts
// from its end, which is the next one's beginning.
func lastOf(w assets.When) (time.Time, assets.Day) {
	if w.Timed {
		return w.At.Time(), ""
	}
	return (w.At - 1).Time(), w.Earliest
}

// byOrder says what is known of the making or the end of a splice beside its day.
func byOrder(orderID int64, words string) string {
	switch {
	case orderID == 0:
		return words
	case words == "":
		return "closing of an order"
	}
	return "closing of an order; " + words
}

// remadeFrom tells which splices took the place of another: made when one of the same mark in the same belt ended.
func remadeFrom(list []assets.Splice) map[int64]bool {
	type place struct {
		belt   int64
		number string
		at     assets.Instant
	}
	ended := map[place]bool{}
	for _, sp := range list {
		if sp.Ended != nil {
			ended[place{sp.BeltID, sp.Number, *sp.Ended}] = true
		}
	}
	out := map[int64]bool{}
	for _, sp := range list {
		out[sp.ID] = ended[place{sp.BeltID, sp.Number, sp.Made.At}]
	}
	return out
}

// decisions are the orders withdrawn and the follow-ups refused in the span.
func (s Source) decisions(ctx context.Context, reg *assets.Register, in reports.Span, asOf plantdb.AsOf) ([]reports.AuditEvent, error) {
	from, to := assets.Instant(-1<<62), assets.InstantOf(in.To)
	if !in.From.IsZero() {
		from = assets.InstantOf(in.From)
	}
	withdrawn, err := orders.Withdrawals(ctx, s.db, s.scope, reg.Plant.ID, from, to, asOf)
	if err != nil {
		return nil, err
	}
	refused, err := registry.Refusals(ctx, s.db, s.scope, reg.Plant.ID, from, to, asOf)
	if err != nil {
		return nil, err
	}
	var ids []int64
	for _, w := range withdrawn {
		ids = append(ids, w.Event.PersonID)
	}
	for _, f := range refused {
		ids = append(ids, f.RefusedBy)
	}
	people, err := registry.Names(ctx, s.db, ids)
	if err != nil {
		return nil, err
	}
	var out []reports.AuditEvent
	for _, w := range withdrawn {
		e := placed(reg, w.Order.ConveyorID, w.Order.SpliceID)
		e.Part, e.At, e.Who, e.What = reports.WithdrawnEvent(), w.Event.At.Time(), people[w.Event.PersonID], w.Order.Title
		e.Thing, e.Reason = fmt.Sprintf("order %d", w.Order.Number), cmp.Or(w.Event.Why, w.Order.WithdrawnWhy)
		out = append(out, e)
	}
	for _, f := range refused {
		e := placed(reg, f.ConveyorID, f.SpliceID)
		e.Part, e.At, e.Who, e.What = reports.RefusedEvent(), f.ValidFrom.Time(), people[f.RefusedBy], f.Category
		e.Thing, e.Reason = fmt.Sprintf("finding %d", f.ID), f.RefusedWhy
		out = append(out, e)
	}
	return out, nil
}

// placed names where something belongs.
func placed(reg *assets.Register, conveyorID, spliceID int64) (e reports.AuditEvent) {
	sp, _ := reg.Splice(spliceID)
	c, _ := reg.Conveyor(cmp.Or(conveyorID, sp.ConveyorID))
	e.Conveyor, e.Splice = c.Tag, sp.Number
	return e
}

// auditStep is how many entries are read at once.
const auditStep = 500

// ofAll are rows of the company's chain that plants of every customer rest on.
var ofAll = map[string][]int64{"rules": nil, "specifications": nil, "splice_kinds": nil, "finding_kinds": nil}

// AuditEntries hands over entries of a journal that were entered in a span, newest first, as far as the source reads.
func (s Source) AuditEntries(ctx context.Context, of reports.JournalOf, in reports.Span, yield func(reports.AuditEntry) error) error {
	known, err := s.position(ctx, of.CustomerID)
	if err != nil || known < 0 {
		return err
	}
	asked := plantdb.JournalAsked{To: assets.InstantOf(in.To), Limit: auditStep}
	if !in.From.IsZero() {
		asked.From = assets.InstantOf(in.From)
	}
	if known > 0 {
		asked.Before = known + 1
	}
	named := things{}
	if of.PlantID != 0 {
		reg, _, err := s.historyOf(ctx, of.PlantID)
		if err != nil {
			return err
		}
		named = newThings(reg)
	}
	for {
		entries, err := s.entriesOf(ctx, of, asked)
		if err != nil {
			return err
		}
		if err := s.tellEntries(ctx, of, named, entries, yield); err != nil {
			return err
		}
		if len(entries) < auditStep {
			return nil
		}
		asked.Before = entries[len(entries)-1].Position
	}
}

func (s Source) entriesOf(ctx context.Context, of reports.JournalOf, asked plantdb.JournalAsked) ([]plantdb.Entry, error) {
	switch {
	case of.PlantID != 0:
		return s.db.PlantEntries(ctx, assets.PlantScope(of.PlantID), of.PlantID, asked)
	case of.CustomerID != 0:
		return s.db.CustomerEntries(ctx, s.scope, of.CustomerID, asked)
	}
	asked.Things = ofAll
	return s.db.CompanyEntries(ctx, asked)
}

func (s Source) tellEntries(ctx context.Context, of reports.JournalOf, named things, entries []plantdb.Entry, yield func(reports.AuditEntry) error) error {
	written := make([][]plantdb.Written, len(entries))
	var ids []int64
	for i, e := range entries {
		var err error
		if written[i], err = e.WrittenIn(); err != nil {
			return err
		}
		ids = append(append(ids, e.PersonID), peopleIn(written[i])...)
	}
	people, err := registry.Names(ctx, s.db, ids)
	if err != nil {
		return err
	}
	for i, e := range entries {
		rows := written[i]
		if of == (reports.JournalOf{}) && slices.ContainsFunc(rows, func(w plantdb.Written) bool { _, all := ofAll[w.Table]; return !all }) {
			continue // it also says something of a customer
		}
		out := reports.AuditEntry{Chain: e.ChainID, Entry: e.Position, At: e.At.Time(), Who: people[e.PersonID], Origin: string(e.Origin), Deed: e.Action, Reason: e.Reason, Hash: e.Hash}
		if rows == nil {
			out.Counted = e.LeafCount
		}
		for _, w := range joined(rows) {
			out.Rows = append(out.Rows, auditRow(named, people, w))
		}
		if err := yield(out); err != nil {
			return err
		}
	}
	return nil
}

func auditRow(named things, people map[int64]string, w plantdb.Written) reports.AuditRow {
	at := named.of(w)
	return reports.AuditRow{Conveyor: at.Conveyor, Splice: at.Splice, Thing: fmt.Sprintf("%s %d", w.Table, w.ID), From: timeOf(w.ValidFrom), To: timeOf(w.ValidTo),
		Before: valuesInWords(w.Before, people), After: valuesInWords(w.After, people), Corrects: corrects(w)}
}

func timeOf(at assets.Instant) time.Time {
	if at == 0 {
		return time.Time{}
	}
	return at.Time()
}

// AuditPlace returns where the chain of a customer, 0: the company's, stood at an instant, as far as the source reads;
// the zero time is where it reads to.
func (s Source) AuditPlace(ctx context.Context, customerID int64, at time.Time) (reports.ChainRead, error) {
	position, err := s.position(ctx, customerID)
	if err != nil {
		return reports.ChainRead{}, err
	}
	if !at.IsZero() && position >= 0 {
		then, err := s.db.PositionAt(ctx, customerID, assets.InstantOf(at))
		if err != nil {
			return reports.ChainRead{}, err
		}
		if position == 0 || then < position {
			position = then
		}
	}
	return s.chain(ctx, "", customerID, position)
}

// Everywhere tells whether the source reaches every plant.
func (s Source) Everywhere() bool {
	all, _, _ := s.scope.Reaches()
	return all
}
