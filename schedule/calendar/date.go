package calendar

import (
	"time"
)

// Date is a civil date without a zone, from 0001-01-01 to 9999-12-31. Its zero value is no date.
//
// Dates compare with == and serve as map keys.
type Date struct {
	n int32 // days, 1 is 0001-01-01; 0 is no date
}

const (
	secondsPerDay = 86400
	// unixDayOne is the day number of 1970-01-01.
	unixDayOne = 719163
	// lastDay is the day number of 9999-12-31.
	lastDay = 3652059
)

// NewDate returns the date of year, month and day; values past a month's end carry on as in time.Date.
// Outside the years 1 to 9999 it is no date.
func NewDate(year int, month time.Month, day int) Date {
	return dateOf(time.Date(year, month, day, 0, 0, 0, 0, time.UTC))
}

// dateOf reads the date off t as t shows it.
func dateOf(t time.Time) Date {
	y, m, d := t.Date()
	return dateOfDay(floorDiv(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix(), secondsPerDay) + unixDayOne)
}

// dateOfDay returns the date of a day number, or no date outside the years 1 to 9999.
func dateOfDay(n int64) Date {
	if n < 1 || n > lastDay {
		return Date{}
	}
	return Date{int32(n)}
}

// ParseDate reads YYYY-MM-DD. Empty text is no date.
func ParseDate(s string) (Date, error) {
	if s == "" {
		return Date{}, nil
	}
	t, err := time.Parse(time.DateOnly, s)
	if err != nil || t.Year() < 1 {
		return Date{}, refuse(BadDate, "%q is not a date; write year, month and day as YYYY-MM-DD, such as 2026-03-29", s)
	}
	return dateOf(t), nil
}

// IsZero reports whether it is no date.
func (d Date) IsZero() bool { return d.n == 0 }

// utc returns midnight of the date in UTC, for arithmetic only.
func (d Date) utc() time.Time { return time.Unix((int64(d.n)-unixDayOne)*secondsPerDay, 0).UTC() }

// Civil returns year, month and day; no date gives zeros.
func (d Date) Civil() (year int, month time.Month, day int) {
	if d.IsZero() {
		return 0, 0, 0
	}
	return d.utc().Date()
}

// Weekday returns the day of the week; no date counts as a Sunday.
func (d Date) Weekday() time.Weekday { return time.Weekday(d.n % 7) }

// String writes YYYY-MM-DD, or nothing for no date.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return d.utc().Format(time.DateOnly)
}

// MarshalText writes what String writes.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what ParseDate reads.
func (d *Date) UnmarshalText(b []byte) error {
	parsed, err := ParseDate(string(b))
	if err != nil {
		return err
	}
	*d = parsed
	return nil
}

// Equal reports whether both are the same date, or both none.
func (d Date) Equal(e Date) bool { return d == e }

// Compare returns -1, 0 or +1 as d is before, the same as or after e; no date is before every date.
func (d Date) Compare(e Date) int {
	switch {
	case d.n < e.n:
		return -1
	case d.n > e.n:
		return 1
	default:
		return 0
	}
}

// Before reports whether d is earlier than e.
func (d Date) Before(e Date) bool { return d.n < e.n }

// After reports whether d is later than e.
func (d Date) After(e Date) bool { return d.n > e.n }

// DaysSince returns the days from e to d, negative when d is earlier.
func (d Date) DaysSince(e Date) int { return int(d.n) - int(e.n) }

// AddDays returns the date days later. No date stays none, and past the last year the result is none.
func (d Date) AddDays(days int) Date {
	if d.IsZero() || days > lastDay || days < -lastDay {
		return Date{}
	}
	return dateOfDay(int64(d.n) + int64(days))
}

// AddMonths returns the date months later, clamped to that month's last day: 31 January and one month is the
// 28th or 29th of February. Clamping loses the day, so count a series from its first date each time.
func (d Date) AddMonths(months int) Date {
	if d.IsZero() || months > 12*9999 || months < -12*9999 {
		return Date{}
	}
	year, month, day := d.Civil()
	first := time.Date(year, month+time.Month(months), 1, 0, 0, 0, 0, time.UTC)
	return NewDate(first.Year(), first.Month(), min(day, DaysIn(first.Year(), first.Month())))
}

// DaysIn returns the number of days of a month.
func DaysIn(year int, month time.Month) int {
	return time.Date(year, month+1, 0, 0, 0, 0, 0, time.UTC).Day()
}

// floorDiv divides towards minus infinity, so that seconds before 1970 fall on the right day.
func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
