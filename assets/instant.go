package assets

import (
	"fmt"
	"time"
)

// Instant is a point in time as microseconds since 1970-01-01T00:00:00Z.
//
// It is stored as a plain integer in both database engines: text times of mixed offsets sort wrongly
// and the largest of a text column does not scan back. Zero means "not given".
type Instant int64

// InstantOf returns the instant of t, cut to the microsecond. The zero time gives zero.
func InstantOf(t time.Time) Instant {
	if t.IsZero() {
		return 0
	}
	return Instant(t.UnixMicro())
}

// Time returns the instant in UTC; zero gives the zero time.
func (i Instant) Time() time.Time {
	if i == 0 {
		return time.Time{}
	}
	return time.UnixMicro(int64(i)).UTC()
}

// IsZero tells whether no instant is given.
func (i Instant) IsZero() bool { return i == 0 }

// String gives RFC 3339 in UTC, or "" when not given.
func (i Instant) String() string {
	if i == 0 {
		return ""
	}
	return i.Time().Format(time.RFC3339Nano)
}

// MarshalText writes RFC 3339 in UTC, so that the journal and the JSON of screens read as dates.
func (i Instant) MarshalText() ([]byte, error) { return []byte(i.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (i *Instant) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*i = 0
		return nil
	}
	t, err := time.Parse(time.RFC3339Nano, string(b))
	if err != nil {
		return fmt.Errorf("%q is no RFC 3339 time", b)
	}
	*i = InstantOf(t)
	return nil
}

// Day is a civil date YYYY-MM-DD in the plant's own zone; "" means open or not given. Days compare as text.
type Day string

// DayOf returns the civil date of t in t's own location.
func DayOf(t time.Time) Day {
	if t.IsZero() {
		return ""
	}
	return Day(t.Format(time.DateOnly))
}

// Midnight returns the first instant of the day in zone. Where the clock skips midnight it is the first
// instant that exists.
func (d Day) Midnight(zone *time.Location) (time.Time, error) {
	t, err := time.ParseInLocation(time.DateOnly, string(d), zone)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q is no date; write it as YYYY-MM-DD", string(d))
	}
	if DayOf(t) < d {
		// The offset before a gap at midnight puts t on the evening before: the day begins after the gap.
		return t.Add(time.Hour), nil
	}
	return t, nil
}

// End returns the instant at which the day is over (24:00) in zone.
func (d Day) End(zone *time.Location) (time.Time, error) {
	t, err := time.ParseInLocation(time.DateOnly, string(d), time.UTC)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q is no date; write it as YYYY-MM-DD", string(d))
	}
	return DayOf(t.AddDate(0, 0, 1)).Midnight(zone)
}

// AddDays returns the day n days later; "" stays "".
func (d Day) AddDays(n int) Day {
	t, err := time.ParseInLocation(time.DateOnly, string(d), time.UTC)
	if err != nil {
		return ""
	}
	return DayOf(t.AddDate(0, 0, n))
}
