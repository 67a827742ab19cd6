package intake

import (
	"math"
	"time"

	"carryside/assets"
)

// serialDay turns a spreadsheet's serial number into a day and the minute of that day (0 when the number is whole).
//
// In the 1900 system day 1 is 1 January 1900 and the 29 February 1900 that never was counts as day 60 (ECMA-376 part 1,
// 18.17.4.1); in the 1904 system day 0 is 1 January 1904. ok is false outside the years 1900 to 2199.
func serialDay(n float64, epoch1904 bool) (day assets.Day, minute int, ok bool) {
	if n < 0 || n > 110_000 || math.IsNaN(n) {
		return "", 0, false
	}
	whole := math.Floor(n)
	minute = int(math.Round((n - whole) * 24 * 60))
	if minute >= 24*60 {
		whole, minute = whole+1, 0
	}
	days := int(whole)
	base := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
	switch {
	case epoch1904:
		base = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)
	case days < 60:
		days++
	}
	return assets.DayOf(base.AddDate(0, 0, days)), minute, true
}

// civil returns a day by its numbers; ok is false for a day that no month has.
func civil(y, m, d int) (assets.Day, bool) {
	if y < 1 || y > 9999 || m < 1 || m > 12 || d < 1 || d > 31 {
		return "", false
	}
	t := time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)
	if t.Day() != d {
		return "", false
	}
	return assets.DayOf(t), true
}

// monthEnd returns the last day of a month.
func monthEnd(y, m int) assets.Day {
	return assets.DayOf(time.Date(y, time.Month(m)+1, 0, 0, 0, 0, 0, time.UTC))
}

// daysBetween counts the days from a to b.
func daysBetween(a, b assets.Day) int {
	ta, _ := time.Parse(time.DateOnly, string(a))
	tb, _ := time.Parse(time.DateOnly, string(b))
	return int(math.Round(tb.Sub(ta).Hours() / 24))
}
