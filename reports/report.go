package reports

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"iter"
	"slices"
	"time"

	"carryside/assets"
)

// Column is one column of a report.
type Column struct {
	Key     string // name in JSON and in the digest
	Heading string
	Unit    string
	Kind    Kind
	// Decimals is how many digits of a Number stand behind the point; values are rounded to them.
	Decimals int
	Meaning  string  // what it is, for the sheet of definitions
	WidthCh  float64 // characters; on paper all columns share the width of the sheet
	Wrap     bool
	// OffPaper leaves the column out where the report is printed: beside it the others could not be read. On the screen and in
	// files it stands.
	OffPaper bool
}

// Title returns the heading with its unit: "Age, days".
func (c Column) Title() string {
	if c.Unit == "" {
		return c.Heading
	}
	return c.Heading + ", " + c.Unit
}

// Report is a report as of a day, ready to be written in any form. Its rows are computed while they are read.
type Report struct {
	Slug     string
	Title    string
	Question string
	AsOf     AsOf
	Scope    string // in words: "Skarrow Grain Terminal"
	By       string // who had it made
	Basis    []Basis
	Plants   []PlantName // it covers
	Chains   []ChainRead // how far each chain reached that it was read from; known once the rows are read
	Notes    []string    // what a reader must know
	Columns  []Column
	Zone     *time.Location // of the moment of building: one plant's zone, or the company's
	Tally    []Count        // how many rows say what in the column that sums the report up; known once they are read

	Learned *Learned // since its known-at; nil: not told; known once the rows are read

	tallied string   // key of that column; "" none
	says    []string // what it may say, in order
	key     []string // columns that tell its rows apart, beside those that name its thing
	rows    func(ctx context.Context, yield func([]Cell) error) error
	stops   bool                                                      // its rows are those of window packages
	packed  func(PlantName, *WindowPackage) error                     // is told each package before its rows; nil: nobody asks
	again   func(ctx context.Context, source Source) (*Report, error) // the same from another source

	asked    Inputs        // what it was built from
	askedDay string        // as of, as asked for
	columns  []ColumnProof // digests of the columns; known once the rows are read
}

// Rows hands over the rows in their order; a row may be kept only until the next one. An error ends them.
func (r *Report) Rows(ctx context.Context) iter.Seq2[[]Cell, error] {
	return func(yield func([]Cell, error) bool) {
		err := r.rows(ctx, func(row []Cell) error {
			if len(row) != len(r.Columns) {
				panic(fmt.Sprintf("report %s: a row of %d cells for %d columns", r.Slug, len(row), len(r.Columns)))
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if !yield(row, nil) {
				return errStopped
			}
			return nil
		})
		if err != nil && !errors.Is(err, errStopped) {
			yield(nil, err)
		}
	}
}

// errStopped ends rows that nobody reads on.
var errStopped = errors.New("the reader stopped")

// Count is how many rows say the same.
type Count struct {
	Says string `json:"says"`
	Rows int    `json:"rows"`
}

// newTally prepares counting what rows say in the column that sums the report up, in the order of all it may say.
func (r *Report) newTally() func([]Cell) {
	at := slices.IndexFunc(r.Columns, func(c Column) bool { return c.Key == r.tallied })
	r.Tally = make([]Count, len(r.says))
	place := make(map[string]int, len(r.says))
	for i, s := range r.says {
		r.Tally[i].Says, place[s] = s, i
	}
	return func(row []Cell) {
		if at < 0 {
			return
		}
		if i, known := place[row[at].Plain()]; known {
			r.Tally[i].Rows++
		}
	}
}

// each reads all rows, digesting and counting them, and hands each to write.
func (r *Report) each(ctx context.Context, write func([]Cell) error) (Proof, error) {
	d, count := newDigest(r.Columns), r.newTally()
	d.byColumn()
	learning, err := r.learns(ctx)
	if err != nil {
		return Proof{}, fmt.Errorf("report %s: %w", r.Slug, err)
	}
	for row, err := range r.Rows(ctx) {
		if err != nil {
			return Proof{}, fmt.Errorf("report %s: %w", r.Slug, err)
		}
		d.add(row)
		count(row)
		if learning != nil {
			learning.add(row)
		}
		if err := write(row); err != nil {
			return Proof{}, fmt.Errorf("report %s: %w", r.Slug, err)
		}
	}
	r.columns = d.columnProofs(r.Columns)
	if learning != nil {
		if r.Learned, err = learning.compare(ctx); err != nil {
			return Proof{}, fmt.Errorf("report %s: what was learned since: %w", r.Slug, err)
		}
		for _, c := range r.Learned.Chains {
			r.Basis = append(r.Basis, Basis{"Corrections since, " + c.Name, c.Words()})
		}
	}
	return d.proof(), nil
}

// Proof is what proves a report's rows: how many, and their digest.
type Proof struct {
	Rows   int
	Digest string // SHA-256 of the canonical rows, hexadecimal
}

// AsOf is the day a report looks at and the moment it was built.
type AsOf struct {
	Day   assets.Day // "" : the moment of building
	At    time.Time  // the instant itself, where one was given instead of a day; zero otherwise
	Built time.Time
}

// Now returns the instant the report looks at in a plant's zone: the end (24:00) of its day, or the moment
// of building if that is earlier.
func (a AsOf) Now(zone *time.Location) time.Time {
	if a.Day == "" {
		return a.Built
	}
	if !a.At.IsZero() {
		return a.At
	}
	end, err := a.Day.End(zone)
	if err != nil || end.After(a.Built) {
		return a.Built
	}
	return end.UTC()
}

// NewAsOf checks the day: "", YYYY-MM-DD, or an instant of RFC 3339, which is the same for every plant.
func NewAsOf(day assets.Day, built time.Time) (AsOf, error) {
	a := AsOf{Day: day, Built: built.UTC()}
	if day == "" {
		return a, nil
	}
	if at, err := time.Parse(time.RFC3339, string(day)); err == nil {
		if a.At = at.UTC(); a.At.After(a.Built) {
			a.At = a.Built
		}
		a.Day = assets.DayOf(a.At)
		return a, nil
	}
	if _, err := day.End(time.UTC); err != nil {
		return AsOf{}, assets.Invalid{"as-of": err.Error()}
	}
	return a, nil
}

// Words says the day as people read it.
func (a AsOf) Words() string {
	if a.Day == "" {
		return "the moment of building"
	}
	if !a.At.IsZero() {
		return a.At.Format(time.RFC3339)
	}
	return ShownDay(a.Day) + ", end of day in each plant's zone, or the moment of building if that is earlier"
}

// KnownAt is the moment from which on what was entered is left out of a report; its zero value leaves out nothing.
type KnownAt struct {
	At   time.Time
	says string
	text string // as it was given
}

// NewKnownAt reads YYYY-MM-DD, which is the end of that day in the company's zone (nil: UTC), or an instant of
// RFC 3339; "" is now.
func NewKnownAt(text string, zone *time.Location) (KnownAt, error) {
	if text == "" {
		return KnownAt{}, nil
	}
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return KnownAt{at.UTC(), "as known at " + at.UTC().Format(time.RFC3339), text}, nil
	}
	zone = cmp.Or(zone, time.UTC)
	end, err := assets.Day(text).End(zone)
	if err != nil {
		return KnownAt{}, assets.Invalid{"known-at": err.Error()}
	}
	// An entry of 24:00 is the next day's.
	return KnownAt{end.Add(-time.Microsecond).UTC(), "as known at the end of " + ShownDay(assets.Day(text)) + " in " + zone.String(), text}, nil
}

// Words says what was known, as people read it.
func (k KnownAt) Words() string {
	if k.says == "" {
		return "as known at the moment of building"
	}
	return k.says
}
