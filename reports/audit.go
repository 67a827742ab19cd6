package reports

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

// The audit extract answers, to an auditor who takes it home: where do the journals stand, what became of the splices in
// the period and what evidence is there of each, which orders were withdrawn and which follow-ups refused and why, and
// who entered or corrected what, from where, when and for what reason?
var audit = Entry{
	Slug:     "audit",
	Title:    "Audit extract",
	Question: "What was done and entered in a period, by whom and why, and what evidence is there of it?",
	Columns:  auditColumns,
	tallied:  "part",
	says:     auditParts,
	key:      []string{"part", "chain", "entry", "thing"},
	deed:     people.ReadJournal,
	periodic: true,
	rows:     Inputs.auditRows,
	notes: []string{
		"An extract of one plant, line or conveyor holds the entries that name that plant. Those of several plants at once stand in the extract of their customer, and those of catalogues and rules for all in an extract of everything.",
		"An entry that brought in a list counts its rows and does not show each; the journal protects every one of them. Personal data is left out of the journal.",
		"The checkpoints prove, when they are kept outside, that the journal is the one there was: 'carryside verify --checkpoint FILE'. Each line of that file is a checkpoint as it stands under After.",
		"That evidence is there does not say that the work was done well. Nothing in this extract says that a conveyor is safe to run; site rules, local codes and qualified people decide that.",
	},
}

// Parts of the extract, in the order they are summed up.
const (
	partCheckpoint = "checkpoint"
	partMade       = "splice made"
	partRemade     = "re-spliced"
	partFailed     = "splice failed"
	partRemoved    = "splice removed"
	partWithdrawn  = "order withdrawn"
	partRefused    = "follow-up refused"
	partCorrection = "correction"
	partEntry      = "journal entry"
)

var auditParts = []string{partCheckpoint, partMade, partRemade, partFailed, partRemoved, partWithdrawn, partRefused, partCorrection, partEntry}

var auditColumns = []Column{
	{Key: "customer", Heading: "Customer", Kind: KindText, WidthCh: 13, Wrap: true, Meaning: "who owns the plant; empty for the company's own"},
	{Key: "plant", Heading: "Plant", Kind: KindText, WidthCh: 14, Wrap: true, Meaning: "the site; empty for what concerns several"},
	{Key: "part", Heading: "Part", Kind: KindText, WidthCh: 12, Wrap: true, Meaning: "checkpoint; what became of a splice; an order withdrawn or a follow-up refused; a correction: a value said before and held wrong from the thing's beginning; or any other entry of the journal"},
	{Key: "conveyor", Heading: "Conveyor", Kind: KindText, WidthCh: 10, Meaning: "the conveyor's tag"},
	{Key: "splice", Heading: "Splice", Kind: KindText, WidthCh: 7, Meaning: "the mark of the splice in its belt"},
	{Key: "at", Heading: "When", Kind: KindInstant, WidthCh: 16, Meaning: "of a splice, a withdrawal or a refusal when it was so, of an entry when it was entered, of a checkpoint the moment at which the chain stood there; on the clock of the plant, over several plants of the company"},
	{Key: "who", Heading: "Who", Kind: KindText, WidthCh: 14, Wrap: true, Meaning: "who entered, made, withdrew or refused; empty where no person did"},
	{Key: "from_where", Heading: "From where", Kind: KindText, WidthCh: 10, Wrap: true, Meaning: "screen, import, job, command, or api: another program"},
	{Key: "what", Heading: "What", Kind: KindText, WidthCh: 20, Wrap: true, Meaning: "the deed, or what became of the splice"},
	{Key: "before", Heading: "Before", Kind: KindText, WidthCh: 26, Wrap: true, Meaning: "the values that changed, as they stood; empty for something new"},
	{Key: "after", Heading: "After", Kind: KindText, WidthCh: 26, Wrap: true, Meaning: "the same values after; of something new all that was given; of a list how many rows; of a checkpoint chain, entry and hash"},
	{Key: "reason", Heading: "Reason", Kind: KindText, WidthCh: 24, Wrap: true, Meaning: "why, as it was given"},
	{Key: "findings", Heading: "Findings", Kind: KindInteger, WidthCh: 8, Meaning: "recorded at the splice up to the end of the period"},
	{Key: "attachments", Heading: "Files", Kind: KindInteger, WidthCh: 7, Meaning: "photos, traces and certificates attached to the splice, to findings at it and to the orders that made and ended it"},
	{Key: "press_records", Heading: "Press records", Kind: KindInteger, WidthCh: 8, Meaning: "of the making of the splice, judged by a recipe; those taken back left out"},
	{Key: "steps", Heading: "Steps noted", Kind: KindInteger, WidthCh: 7, Meaning: "on the job sheets of the orders that made and ended the splice"},
	{Key: "readings", Heading: "Readings", Kind: KindInteger, WidthCh: 8, Meaning: "accepted readings of the conveyor's hour meter over the life of the splice up to the end of the period"},
	{Key: "thing", Heading: "Thing", Kind: KindText, WidthCh: 16, Wrap: true, Meaning: "table and number of the row that was written"},
	{Key: "so_from", Heading: "So from", Kind: KindInstant, WidthCh: 16, Meaning: "from when on it was so at the plant, as entered; empty: from the thing's beginning"},
	{Key: "so_to", Heading: "So to", Kind: KindInstant, WidthCh: 16, Meaning: "to when; empty: until further notice"},
	{Key: "chain", Heading: "Chain", Kind: KindInteger, WidthCh: 6, Meaning: "number of the journal's chain"},
	{Key: "entry", Heading: "Entry", Kind: KindInteger, WidthCh: 8, Meaning: "position in the chain"},
	{Key: "hash", Heading: "Hash", Kind: KindText, WidthCh: 22, Wrap: true, Meaning: "of the entry: SHA-256 over the one before it and everything it says"},
}

// AuditSource is a source that also hands over what an auditor takes home.
type AuditSource interface {
	Source
	// AuditPlant reads what became of a plant's splices and orders in a span.
	AuditPlant(ctx context.Context, plantID int64, in Span) (Audited, error)
	// AuditEntries hands over entries of a journal that were entered in a span, newest first.
	AuditEntries(ctx context.Context, of JournalOf, in Span, yield func(AuditEntry) error) error
	// AuditPlace is where the chain of a customer (0: the company's) stood at an instant, as far as it is read; zero: where it is read to.
	AuditPlace(ctx context.Context, customerID int64, at time.Time) (ChainRead, error)
	// Everywhere tells whether the source reaches every plant, and so what the company keeps for all.
	Everywhere() bool
}

// JournalOf says which entries: those that name a plant, a customer's that name no single plant, or with neither the
// company's of catalogues and rules for all.
type JournalOf struct{ CustomerID, PlantID int64 }

// Audited is what became of a plant's splices and orders.
type Audited struct {
	Conveyors []AuditedConveyor
	Events    []AuditEvent // in the order of time
	Chains    []ChainRead
}

// AuditedConveyor is a conveyor that the plant has or had.
type AuditedConveyor struct{ Tag, Line string }

// AuditEvent is what became of a splice, an order or a finding.
type AuditEvent struct {
	Part             string // one of the extract's parts
	At               time.Time
	Day              assets.Day // where no more than the day is known
	Conveyor, Splice string
	Who, What, Thing string
	Reason           string
	Evidence         *Evidence // of a splice
}

// Evidence counts what is there of a splice.
type Evidence struct{ Findings, Attachments, PressRecords, Steps, Readings int }

// AuditEntry is an entry of the journal with the rows it wrote.
type AuditEntry struct {
	Chain, Entry      int64
	At                time.Time
	Who, Origin, Deed string
	Reason, Hash      string
	Rows              []AuditRow
	Counted           int64 // rows of an entry that counts them only
}

// AuditRow is one row that an entry wrote.
type AuditRow struct {
	Conveyor, Splice, Thing string
	From, To                time.Time // when it was so; zero: open
	Before, After           string
	Corrects                bool // a value said before was held wrong from the thing's beginning
}

// MadeEvent, EndedEvent, WithdrawnEvent and RefusedEvent say which part of the extract an event belongs to.
func MadeEvent(remade bool) string {
	if remade {
		return partRemade
	}
	return partMade
}

// EndedEvent is the part of a splice's end.
func EndedEvent(why assets.RetiredWhy) string {
	if why == assets.RetiredFailed {
		return partFailed
	}
	return partRemoved
}

// WithdrawnEvent is the part of an order's withdrawal.
func WithdrawnEvent() string { return partWithdrawn }

// RefusedEvent is the part of a refusal of what a finding asks for.
func RefusedEvent() string { return partRefused }

// auditRows hands over the extract: what the company keeps for all, then customer by customer where the chain stands, what
// became of the splices of each plant, and the journal.
func (in Inputs) auditRows(ctx context.Context, r *Report, plants []PlantName, yield func([]Cell) error) error {
	source, able := in.Source.(AuditSource)
	if !able {
		return errors.New("this source keeps no journal to extract")
	}
	a := auditing{in: in, source: source, r: r, yield: yield, narrow: in.Filter.Line+in.Filter.Conveyor != ""}
	if source.Everywhere() && in.Filter == (Filter{}) && in.PlantID == 0 {
		if err := a.head(ctx, PlantName{}, plants); err != nil {
			return err
		}
	}
	last := PlantName{}
	for _, p := range plants {
		if p.CustomerID != last.CustomerID {
			if err := a.head(ctx, p, plants); err != nil {
				return err
			}
			last = p
		}
		if err := a.plant(ctx, p); err != nil {
			return fmt.Errorf("read %s: %w", p.Name, err)
		}
	}
	if a.narrow && !a.found {
		return in.nothingOf()
	}
	return nil
}

// auditing is an extract under way.
type auditing struct {
	in     Inputs
	source AuditSource
	r      *Report
	yield  func([]Cell) error
	narrow bool // to a line or a conveyor
	found  bool // something of that name
}

// span is the period in a zone. A day ends before the next one begins; an instant, that of building too, is in it.
func (a *auditing) span(zone *time.Location) (Span, error) {
	now := a.r.AsOf.Now(zone)
	if now.Equal(a.r.AsOf.Built) || !a.r.AsOf.At.IsZero() {
		now = now.Add(time.Microsecond)
	}
	return a.in.Period.span(zone, now)
}

// head tells where a customer's chain stood when the period began, when it ended and where it was read to, and the entries
// that name no single plant. Of the company it is told in an extract of everything.
func (a *auditing) head(ctx context.Context, of PlantName, plants []PlantName) error {
	zone := a.in.Zone
	span, err := a.span(zone)
	if err != nil {
		return err
	}
	for _, place := range []struct {
		says string
		at   time.Time
		told bool
	}{{"where it stood when the period began", span.From.Add(-time.Microsecond), !span.From.IsZero()},
		{"where it stood at the end of the period", span.To.Add(-time.Microsecond), true}, {"to where it was read", time.Time{}, true}} {
		if !place.told {
			continue
		}
		at, err := a.source.AuditPlace(ctx, of.CustomerID, place.at)
		if err != nil {
			return err
		}
		if place.at.IsZero() {
			place.at = a.readTo()
		}
		if err := a.tell(auditCells{"customer": Text(of.Customer), "part": Text(partCheckpoint), "at": Instant(place.at, zone), "what": Text(place.says), "after": Text(at.Words())}); err != nil {
			return err
		}
	}
	if a.narrow || a.in.PlantID != 0 || a.in.Filter.Plant != "" || len(plants) == 0 {
		return nil
	}
	return a.entries(ctx, JournalOf{CustomerID: of.CustomerID}, PlantName{Customer: of.Customer, Zone: zone}, span)
}

// readTo is the moment up to which the chains were read: that of building, or the one it was known at.
func (a *auditing) readTo() time.Time {
	if at := a.in.Known.At; !at.IsZero() && at.Before(a.r.AsOf.Built) {
		return at
	}
	return a.r.AsOf.Built
}

// plant tells what became of one plant's splices and orders, then its journal.
func (a *auditing) plant(ctx context.Context, p PlantName) error {
	p.Zone = cmp.Or(p.Zone, time.UTC)
	span, err := a.span(p.Zone)
	if err != nil {
		return err
	}
	of, err := a.source.AuditPlant(ctx, p.ID, span)
	if errors.Is(err, assets.ErrNotFound) {
		return nil // not in the register yet, as known then
	}
	if err != nil {
		return err
	}
	a.r.rests(of.Chains)
	shown := map[string]bool{}
	for _, c := range of.Conveyors {
		if a.in.Filter.conveyor(assets.Conveyor{Tag: c.Tag}, c.Line) {
			shown[c.Tag], a.found = true, true
		}
	}
	for _, e := range of.Events {
		if a.narrow && !shown[e.Conveyor] {
			continue
		}
		if err := a.event(p, e); err != nil {
			return err
		}
	}
	if !a.narrow {
		shown = nil
	}
	return a.entriesAt(ctx, JournalOf{CustomerID: p.CustomerID, PlantID: p.ID}, p, span, shown)
}

func (a *auditing) event(p PlantName, e AuditEvent) error {
	row := auditCells{"customer": Text(p.Customer), "plant": Text(p.Name), "part": Text(e.Part), "conveyor": Text(e.Conveyor), "splice": Text(spliceMark(e.Splice)),
		"at": Instant(e.At, p.Zone), "who": Text(e.Who), "what": Text(e.What), "thing": Text(e.Thing), "reason": Text(e.Reason)}
	if e.Day != "" {
		row["at"] = Day(e.Day)
	}
	if e.Evidence != nil {
		for column, n := range map[string]int{"findings": e.Evidence.Findings, "attachments": e.Evidence.Attachments, "press_records": e.Evidence.PressRecords,
			"steps": e.Evidence.Steps, "readings": e.Evidence.Readings} {
			row[column] = whole(int64(n))
		}
	}
	return a.tell(row)
}

func (a *auditing) entries(ctx context.Context, of JournalOf, p PlantName, in Span) error {
	return a.entriesAt(ctx, of, p, in, nil)
}

// entriesAt tells the entries of a journal, a row for each row they wrote; shown narrows them to conveyors, nil: whatever they touched.
func (a *auditing) entriesAt(ctx context.Context, of JournalOf, p PlantName, in Span, shown map[string]bool) error {
	return a.source.AuditEntries(ctx, of, in, func(e AuditEntry) error {
		rows := e.Rows
		if shown != nil {
			rows = slices.DeleteFunc(slices.Clone(rows), func(row AuditRow) bool { return !shown[row.Conveyor] })
		} else if len(rows) == 0 {
			rows = []AuditRow{{After: countedRows(e.Counted)}}
		}
		for _, row := range rows {
			if err := a.tell(entryCells(p, e, row)); err != nil {
				return err
			}
		}
		return nil
	})
}

func entryCells(p PlantName, e AuditEntry, row AuditRow) auditCells {
	part := partEntry
	if row.Corrects {
		part = partCorrection
	}
	return auditCells{"customer": Text(p.Customer), "plant": Text(p.Name), "part": Text(part), "conveyor": Text(row.Conveyor), "splice": Text(spliceMark(row.Splice)),
		"at": Instant(e.At, p.Zone), "chain": whole(e.Chain), "entry": whole(e.Entry), "who": Text(e.Who), "from_where": Text(e.Origin), "what": Text(e.Deed), "thing": Text(row.Thing),
		"so_from": Instant(row.From, p.Zone), "so_to": Instant(row.To, p.Zone), "before": Text(row.Before), "after": Text(row.After), "reason": Text(e.Reason), "hash": Text(e.Hash)}
}

func countedRows(n int64) string {
	if n == 1 {
		return "1 row"
	}
	return fmt.Sprintf("%d rows at once", n)
}

func whole(n int64) Cell { return Integer(float64(n)) }

// auditCells are the cells of a row that say something, by the keys of their columns.
type auditCells map[string]Cell

func (a *auditing) tell(cells auditCells) error {
	row := make([]Cell, len(auditColumns))
	for i, c := range auditColumns {
		row[i] = cells[c.Key]
	}
	return a.yield(row)
}
