package reports

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"
)

// This file tells, beside a report as it was known on a day, what was learned since: each value that would be another
// one today, what it was and what it is. The rows of the report stay those of then, and so does their digest.

// Corrections is whether a report as known on a day tells what was learned since.
type Corrections string

// What of corrections is told.
const (
	NotTold   Corrections = ""
	Told      Corrections = "told"      // what, then, now
	Explained Corrections = "explained" // who entered it, when and why, too: for whoever may read the journal
)

// SinceSource is a source that also knows what was learned after what it shows.
type SinceSource interface {
	Source
	// Since returns the same source as known at the moment of building.
	Since() Source
	// EntriesSince lists what was entered at a plant behind what the source shows, newest first.
	EntriesSince(ctx context.Context, plantID int64) ([]EntrySince, error)
}

// EntrySince is an entry of the journal and what it touched.
type EntrySince struct {
	At                time.Time
	Who, Deed, Reason string
	Things            []Touched
}

// Touched is a conveyor and everything on it, or one splice of it.
type Touched struct{ Conveyor, Splice string }

// touches tells whether the entry is of a row of a report.
func (e EntrySince) touches(conveyor, splice string) bool {
	return slices.ContainsFunc(e.Things, func(t Touched) bool {
		return t.Conveyor != "" && t.Conveyor == conveyor && (t.Splice == "" || t.Splice == splice || "S"+t.Splice == splice)
	})
}

// sinceColumns are the columns of the corrections; whyColumns are added where they are explained.
var (
	sinceColumns = []Column{
		{Key: "customer", Heading: "Customer", Kind: KindText, WidthCh: 16, Wrap: true, Meaning: "who owns the plant"},
		{Key: "plant", Heading: "Plant", Kind: KindText, WidthCh: 18, Wrap: true, Meaning: "the site"},
		{Key: "conveyor", Heading: "Conveyor", Kind: KindText, WidthCh: 12, Meaning: "the conveyor's tag"},
		{Key: "splice", Heading: "Splice", Kind: KindText, WidthCh: 8, Meaning: "the mark of the splice"},
		{Key: "says", Heading: "What differs", Kind: KindText, WidthCh: 22, Wrap: true, Meaning: "a value, or that the row is only in one of the two"},
		{Key: "column", Heading: "Column", Kind: KindText, WidthCh: 22, Wrap: true, Meaning: "of the report; empty where the whole row differs"},
		{Key: "then", Heading: "As known then", Kind: KindText, WidthCh: 22, Wrap: true, Meaning: "the value in this report, as CSV writes it"},
		{Key: "now", Heading: "As known now", Kind: KindText, WidthCh: 22, Wrap: true, Meaning: "the value the report would have as known at the moment of building"},
	}
	whyColumns = []Column{
		{Key: "entered_at", Heading: "Entered", Unit: "UTC", Kind: KindText, WidthCh: 20, Wrap: true, Meaning: "when what touched the thing since was entered, newest first"},
		{Key: "entered_by", Heading: "By", Kind: KindText, WidthCh: 16, Wrap: true, Meaning: "who entered it, in the same order"},
		{Key: "deed", Heading: "Deed", Kind: KindText, WidthCh: 24, Wrap: true, Meaning: "what was done, in the same order"},
		{Key: "reason", Heading: "Reason", Kind: KindText, WidthCh: 30, Wrap: true, Meaning: "why, as given, in the same order"},
	}
)

// Learned is what was learned since a report's known-at; known once the rows are read.
type Learned struct {
	Columns []Column
	Rows    [][]Cell
	Chains  []ChainRead // how far the chains reached that it was read from
}

// learning gathers the rows of a report as they go by, to be compared with those of now.
type learning struct {
	source  SinceSource
	now     *Report
	explain bool

	keys  rowKeys
	order []string
	rows  map[string]string // key -> values
}

// learns prepares telling corrections, where they are asked for and the source knows them.
func (r *Report) learns(ctx context.Context) (*learning, error) {
	source, able := r.asked.Source.(SinceSource)
	if r.asked.Corrections == NotTold || r.asked.Known.At.IsZero() || !able || r.again == nil {
		return nil, nil
	}
	now, err := r.again(ctx, source.Since())
	if err != nil {
		return nil, err
	}
	return &learning{source: source, now: now, explain: r.asked.Corrections == Explained, keys: r.rowKeys(), rows: map[string]string{}}, nil
}

// naming are the columns that name a row's thing.
var naming = []string{"customer", "plant", "conveyor", "splice"}

// rowKeys are the places of the columns that tell a report's rows apart: those that name the thing, then its own.
type rowKeys []int

func (r *Report) rowKeys() rowKeys {
	var keys rowKeys
	for _, name := range slices.Concat(naming, r.key) {
		keys = append(keys, slices.IndexFunc(r.Columns, func(c Column) bool { return c.Key == name }))
	}
	return keys
}

// between stands between values kept as one text; nobody can type it.
const between = "\x1f"

// of are customer, plant, conveyor and splice of a row and what else tells it apart; "" where a report has no such column.
func (k rowKeys) of(row []Cell) []string {
	out := make([]string, len(k))
	for i, at := range k {
		if at >= 0 {
			out[i] = row[at].Plain()
		}
	}
	return out
}

// Keys returns what tells a row of the report apart from the others, as one text. Of several rows of one thing it is the
// same for all.
func (r *Report) Keys() func(row []Cell) string {
	keys := r.rowKeys()
	return func(row []Cell) string { return strings.Join(keys.of(row), between) }
}

// add keeps a row as known then.
func (l *learning) add(row []Cell) {
	key := l.place(l.rows, l.keys.of(row))
	l.order, l.rows[key] = append(l.order, key), values(row)
}

// Apart returns what tells a row of the report apart beside its thing, in words: the place of an entry of the journal. It is "" for a
// report of one row for each thing.
func (r *Report) Apart() func(row []Cell) string {
	keys := r.rowKeys()
	return func(row []Cell) string { return keys.own(keys.of(row)) }
}

// own is what tells a row apart beside its thing: a step of the journal is named by its place.
func (k rowKeys) own(names []string) string {
	var says []string
	for _, text := range names[len(naming):len(k)] {
		if text != "" {
			says = append(says, text)
		}
	}
	return strings.Join(says, ", ")
}

// place is where a row stands; of several of one thing the second, the third.
func (l *learning) place(taken map[string]string, names []string) string {
	key := strings.Join(names, between)
	for n, first := 2, key; ; n++ {
		if _, is := taken[key]; !is {
			return key
		}
		key = fmt.Sprint(first, between, n)
	}
}

func values(row []Cell) string {
	out := make([]string, len(row))
	for i, c := range row {
		out[i] = c.Plain()
	}
	return strings.Join(out, between)
}

// compare reads the rows of now and returns what differs: rows of both and of now in today's order, then those of then alone.
func (l *learning) compare(ctx context.Context) (*Learned, error) {
	out := &Learned{Columns: sinceColumns}
	if l.explain {
		out.Columns = slices.Concat(sinceColumns, whyColumns)
	}
	seen := map[string]string{}
	tell := func(key, says, column, then, now string) {
		names := strings.Split(key, between)
		if own := l.keys.own(names); own != "" {
			says += ": " + own
		}
		row := make([]Cell, 0, len(out.Columns))
		for _, text := range []string{names[0], names[1], names[2], names[3], says, column, then, now} {
			row = append(row, Text(text))
		}
		out.Rows = append(out.Rows, row)
	}
	for row, err := range l.now.Rows(ctx) {
		if err != nil {
			return nil, err
		}
		key := l.place(seen, l.keys.of(row))
		seen[key] = ""
		was, known := l.rows[key]
		if !known {
			tell(key, "not known then", "", "", "")
			continue
		}
		if is := values(row); is != was {
			now, then := strings.Split(is, between), strings.Split(was, between)
			for i, c := range l.now.Columns {
				if now[i] != then[i] {
					tell(key, "another value", c.Title(), then[i], now[i])
				}
			}
		}
	}
	for _, key := range l.order {
		if _, still := seen[key]; !still {
			tell(key, "not there as known now", "", "", "")
		}
	}
	out.Chains = l.now.Chains
	if !l.explain {
		return out, nil
	}
	return out, l.why(ctx, out)
}

// why puts beside each row who entered what touched it, when and why.
func (l *learning) why(ctx context.Context, out *Learned) error {
	plants := map[string]int64{}
	for _, p := range l.now.Plants {
		plants[p.Customer+between+p.Name] = p.ID
	}
	read := map[int64][]EntrySince{}
	for i, row := range out.Rows {
		id := plants[row[0].Plain()+between+row[1].Plain()]
		if _, is := read[id]; !is && id != 0 {
			entries, err := l.source.EntriesSince(ctx, id)
			if err != nil {
				return err
			}
			read[id] = entries
		}
		out.Rows[i] = append(row, explained(read[id], row[2].Plain(), row[3].Plain())...)
	}
	return nil
}

// explained joins the entries that touched a thing, one cell for each of whyColumns.
func explained(entries []EntrySince, conveyor, splice string) []Cell {
	var says [4][]string
	for _, e := range entries {
		if e.touches(conveyor, splice) {
			for i, text := range []string{e.At.UTC().Format("2006-01-02 15:04:05"), e.Who, e.Deed, e.Reason} {
				says[i] = append(says[i], text)
			}
		}
	}
	if len(says[0]) == 0 {
		return []Cell{Text(""), Text(""), Text("no entry shown at this thing: a list brought in, a rule, a catalogue, or projected hours"), Text("")}
	}
	out := make([]Cell, len(says))
	for i := range says {
		out[i] = Text(strings.Trim(strings.Join(says[i], "; "), "; "))
	}
	return out
}
