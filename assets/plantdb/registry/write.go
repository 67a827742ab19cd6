package registry

import (
	"fmt"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// save makes a changed row so: from an instant on, or (from 0) from the thing's beginning, as a correction.
func save[T any, P plantdb.Fact[T]](c *plantdb.Change, ch *plantdb.Chain, next P, from assets.Instant) error {
	if from == 0 {
		return plantdb.Correct[T](c, ch, next)
	}
	return plantdb.Amend[T](c, ch, next, from)
}

// current returns the row of a thing of a plant that is so now, as it was read (rowID 0: whatever it is).
// assets.ErrConflict when it has been replaced since.
func current[T any, P plantdb.Fact[T]](c *plantdb.Change, id, rowID int64) (T, error) {
	row, err := plantdb.ReadRow[T, P](c, id)
	if err == nil && rowID != 0 && P(&row).Versioned().RowID != rowID {
		err = assets.ErrConflict
	}
	return row, err
}

// needText refuses an empty text.
func needText(bad assets.Invalid, field, text, what string) {
	if strings.TrimSpace(text) == "" {
		bad.Add(field, "give "+what)
	}
}

// atLeast refuses a value below a bound, or one that is no number.
func atLeast(bad assets.Invalid, field string, v, least float64, what string) {
	if !(v >= least) {
		bad.Add(field, fmt.Sprintf("%s must be %g or more", what, least))
	}
}

// within refuses a value outside bounds, or one that is no number.
func within(bad assets.Invalid, field string, v, least, most float64, what string) {
	if !(v >= least && v <= most) {
		bad.Add(field, fmt.Sprintf("%s must be between %g and %g", what, least, most))
	}
}

// couldBe refuses a date that has not come yet, and one before any belt in use was made.
func couldBe(bad assets.Invalid, field string, w assets.When, now assets.Instant) {
	if w.At > now {
		bad.Add(field, "this date lies in the future; give today or a day before")
	}
	if w.TooEarly() {
		bad.Add(field, "this date lies before "+string(assets.FirstDay)+"; check the year")
	}
	if w.Earliest != "" && w.Latest != "" && w.Latest < w.Earliest {
		bad.Add(field, "the later end of the date is before its earlier end")
	}
}

// surelyBefore tells whether a lies wholly before b, as far as both are known.
func surelyBefore(a, b assets.When) bool {
	if a.Timed && b.Timed {
		return a.At < b.At
	}
	return a.Latest != "" && b.Earliest != "" && a.Latest < b.Earliest
}

// day writes an instant as a date for a sentence; the plant's own form is the screen's affair.
func day(w assets.When) string {
	switch {
	case w.AsWritten != "":
		return w.AsWritten
	case w.Earliest != "":
		return string(w.Earliest)
	case w.Latest != "":
		return "before " + string(w.Latest)
	}
	return w.At.Time().Format(time.DateOnly)
}

// count counts rows by a query.
func count(c *plantdb.Change, query string, args ...any) (n int64, err error) {
	err = c.Tx().Raw(query, args...).Scan(&n).Error
	return n, err
}

// isCurrent is the condition of rows that are so and known now.
const isCurrent = " known_to IS NULL AND valid_to IS NULL "
