package reports

import (
	"math"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
)

// Kind tells what the cells of a column hold; a cell may also be empty, or a text where the register holds
// words instead of a date.
type Kind string

// Kinds of cell.
const (
	KindText    Kind = "text"
	KindInteger Kind = "integer"
	KindNumber  Kind = "number"
	KindDay     Kind = "date"    // a civil date in the plant's zone
	KindInstant Kind = "instant" // shown on the plant's clock
)

// Cell is one cell of a row. Its zero value is empty.
type Cell struct {
	kind Kind
	text string // of a text or a day
	num  float64
	at   time.Time
	zone *time.Location
}

// Text returns a text cell; "" is empty.
func Text(s string) Cell {
	if s == "" {
		return Cell{}
	}
	return Cell{kind: KindText, text: s}
}

// Integer returns a cell of a whole number, rounded down: an age of 99.9 % is not 100 %.
func Integer(v float64) Cell {
	return number(KindInteger, math.Floor(v+1e-6))
}

// Number returns a cell of a figure, rounded to so many decimals.
func Number(v float64, decimals int) Cell {
	scale := math.Pow10(decimals)
	return number(KindNumber, math.Round(v*scale)/scale)
}

func number(kind Kind, v float64) Cell {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Cell{}
	}
	if v == 0 {
		v = 0 // no minus zero
	}
	return Cell{kind: kind, num: v}
}

// Day returns a cell of a civil date; "" is empty.
func Day(d assets.Day) Cell {
	if d == "" {
		return Cell{}
	}
	return Cell{kind: KindDay, text: string(d)}
}

// Instant returns a cell of an instant, shown on the clock of zone; the zero time is empty.
func Instant(at time.Time, zone *time.Location) Cell {
	if at.IsZero() {
		return Cell{}
	}
	return Cell{kind: KindInstant, at: at.UTC(), zone: zone}
}

// IsEmpty tells whether nothing stands in the cell.
func (c Cell) IsEmpty() bool { return c.kind == "" }

// Kind returns what the cell holds; "" when empty.
func (c Cell) Kind() Kind { return c.kind }

// Figure returns the number of a number cell.
func (c Cell) Figure() (float64, bool) {
	return c.num, c.kind == KindInteger || c.kind == KindNumber
}

// Plain returns the cell as a program reads it: numbers with a point and without blanks, dates YYYY-MM-DD,
// instants as the plant's wall clock with its offset.
func (c Cell) Plain() string {
	switch c.kind {
	case KindInteger, KindNumber:
		return strconv.FormatFloat(c.num, 'f', -1, 64)
	case KindInstant:
		return c.at.In(c.zone).Format("2006-01-02T15:04:05Z07:00")
	}
	return c.text
}

// Shown returns the cell as people read it: 14 Sep 2023, 339 012, with hard spaces.
func (c Cell) Shown() string {
	switch c.kind {
	case KindInteger, KindNumber:
		return grouped(c.Plain())
	case KindDay:
		return ShownDay(assets.Day(c.text))
	case KindInstant:
		return strings.ReplaceAll(c.at.In(c.zone).Format("2 Jan 2006, 15:04"), " ", hard)
	}
	return c.text
}

const hard = "\u00a0"

// ShownDay writes a day as people read it: 14 Sep 2023. What is no day comes back as it is.
func ShownDay(d assets.Day) string {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		return string(d)
	}
	return strings.ReplaceAll(t.Format("2 Jan 2006"), " ", hard)
}

// grouped sets hard spaces between the thousands of a plain number.
func grouped(plain string) string {
	whole, frac, has := strings.Cut(plain, ".")
	sign := ""
	if strings.HasPrefix(whole, "-") {
		sign, whole = "-", whole[1:]
	}
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + hard + whole[i:]
	}
	if has {
		return sign + whole + "." + frac
	}
	return sign + whole
}
