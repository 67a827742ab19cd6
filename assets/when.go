package assets

import "time"

// When is a date of the register as it is known: exact, or an interval ("spring 2022", "before 2018")
// kept as the interval it is and shown as written.
//
// At is the one instant it counts from wherever one instant is needed (as-of, rules, age): the end of
// the earliest day in the plant's zone; where that is open, of the latest; both open: the moment of
// entry. It is set when the fact is written, so that a query needs no zone.
type When struct {
	At        Instant
	Earliest  Day    // "" when open
	Latest    Day    // "" when open
	AsWritten string // the words of an approximate date; "" when exact
	Timed     bool   // At was given with a time of day and is exact
}

// FirstDay is the earliest day a fact of the register may bear: no belt, splice or meter in use is older, and an
// earlier date is a slip of the keys. The year is our own choice.
const FirstDay Day = "1950-01-01"

// TooEarly tells whether the whole date lies before FirstDay.
func (w When) TooEarly() bool { return w.Latest != "" && w.Latest < FirstDay }

// Exactly returns the When of an instant known to the minute.
func Exactly(t time.Time, zone *time.Location) When {
	d := DayOf(t.In(zone))
	return When{At: InstantOf(t), Earliest: d, Latest: d, Timed: true}
}

// OnDay returns the When of a date without a time: it stands for the end of that local day, or for now
// (the moment of entry) when the day is not over yet.
func OnDay(d Day, zone *time.Location, now time.Time) (When, error) {
	return Between(d, d, "", zone, now)
}

// Between returns the When of an approximate date; either end may be "" (open).
func Between(earliest, latest Day, asWritten string, zone *time.Location, now time.Time) (When, error) {
	w := When{Earliest: earliest, Latest: latest, AsWritten: asWritten}
	d := earliest
	if d == "" {
		d = latest
	}
	if d == "" {
		w.At = InstantOf(now)
		return w, nil
	}
	end, err := d.End(zone)
	if err != nil {
		return When{}, err
	}
	if end.After(now) {
		end = now
	}
	w.At = InstantOf(end)
	return w, nil
}

// IsZero tells whether no date was given at all (not even "unknown").
func (w When) IsZero() bool { return w == When{} }

// Exact tells whether the date is one day or one instant.
func (w When) Exact() bool { return w.Timed || (w.Earliest != "" && w.Earliest == w.Latest) }

// Unknown tells whether nothing bounds the date from either side or only from below by something else's date.
func (w When) Unknown() bool { return !w.Exact() && w.Latest == "" }
