package intake

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
)

// dateOrder is the order of day, month and year where a date can be read in more than one.
type dateOrder string

const (
	orderOpen dateOrder = ""
	orderDMY  dateOrder = "dmy"
	orderMDY  dateOrder = "mdy"
	orderYMD  dateOrder = "ymd"
)

// ValidDateOrder tells whether a text names an order of dates.
func ValidDateOrder(s string) bool {
	return s == string(orderDMY) || s == string(orderMDY) || s == string(orderYMD)
}

// readDateResult is a date as read.
type readDateResult struct {
	earliest, latest assets.Day // "" open
	minute           int        // of the day, when timed
	timed            bool
	approximate      bool // an interval rather than a day
	season           bool // the northern seasons were taken
	blank            bool
	fault            fault
	// dmy and mdy are the days of a date with two orders, "" where that order gives no day.
	dmy, mdy assets.Day
	twoWays  bool
}

func exactly(d assets.Day) readDateResult { return readDateResult{earliest: d, latest: d} }

func between(from, to assets.Day) readDateResult {
	return readDateResult{earliest: from, latest: to, approximate: true}
}

func noDate() readDateResult { return readDateResult{fault: faultNoDate} }

var (
	isoDate     = regexp.MustCompile(`^(\d{4})([-/.])(\d{1,2})[-/.](\d{1,2})$`)
	compactDate = regexp.MustCompile(`^((?:19|20)\d\d)(\d\d)(\d\d)$`)
	dottedDate  = regexp.MustCompile(`^(\d{1,2})\. ?(\d{1,2})\. ?(\d{4}|\d{2})\.?$`)
	openDate    = regexp.MustCompile(`^(\d{1,2}) ?([-/]) ?(\d{1,2}) ?[-/] ?(\d{4}|\d{2})$`)
	monthOfYear = regexp.MustCompile(`^(\d{1,2}) ?[-/.] ?((?:19|20)\d{2})$`)
	yearMonth   = regexp.MustCompile(`^((?:19|20)\d{2})[-/](\d{1,2})$`)
	clockBehind = regexp.MustCompile(`^(.*\d)(?:[T ]|, ?| um )(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)? ?(?:(?i)(am|pm|z|uhr|h)|[+-]\d{2}:?\d{2})?$`)
	isoWeek     = regexp.MustCompile(`^(\d{4})-?[Ww](\d{1,2})$`)
	lettersOrNo = regexp.MustCompile(`[\p{L}]+|\d+`)
)

// readDate reads a date as people write it. The order of an open date is told by order; orderOpen leaves it twoWays.
//
// It knows exact days, months, ISO 8601 weeks, quarters, seasons, years, "about" and "before"; see the contract's section
// on dates. Whether the day can be (not after the import) is judged by the caller.
func readDate(s string, order dateOrder) readDateResult {
	text := strings.TrimSpace(plainMarks(trimmed(s)))
	if noWord(text) {
		return readDateResult{blank: true}
	}
	if len(text) > 80 {
		return noDate()
	}
	if m := clockBehind.FindStringSubmatch(text); m != nil {
		r := readDay(strings.TrimSpace(m[1]), order)
		if minute, ok := clock(m[2], m[3], m[5]); ok && r.fault == "" && !r.approximate {
			r.minute, r.timed = minute, true
			return r
		}
		return noDate()
	}
	r := readDay(text, order)
	if r.fault == faultNoDate && severalDates(text) {
		r.fault = faultSeveral
	}
	return r
}

// clock reads a time of day as minutes.
func clock(hour, minute, half string) (int, bool) {
	h, _ := strconv.Atoi(hour)
	m, _ := strconv.Atoi(minute)
	switch strings.ToLower(half) {
	case "pm":
		if h < 12 {
			h += 12
		}
	case "am":
		if h == 12 {
			h = 0
		}
	}
	return h*60 + m, h < 24 && m < 60
}

// readDay reads a date without a time of day.
func readDay(text string, order dateOrder) readDateResult {
	if m := isoDate.FindStringSubmatch(text); m != nil {
		return dayOrNone(m[1], m[3], m[4])
	}
	if m := dottedDate.FindStringSubmatch(text); m != nil {
		return dayOrNone(m[3], m[2], m[1])
	}
	if m := openDate.FindStringSubmatch(text); m != nil {
		return readOpen(m[1], m[3], m[4], order)
	}
	if m := compactDate.FindStringSubmatch(text); m != nil {
		return dayOrNone(m[1], m[2], m[3])
	}
	if m := monthOfYear.FindStringSubmatch(text); m != nil {
		return readMonth(m[2], m[1])
	}
	if m := yearMonth.FindStringSubmatch(text); m != nil {
		return readMonth(m[1], m[2])
	}
	if m := isoWeek.FindStringSubmatch(text); m != nil {
		return readWeek(m[1], m[2])
	}
	if n, err := strconv.ParseFloat(text, 64); err == nil {
		return readBareNumber(n)
	}
	return readWords(text, order)
}

// readBareNumber reads a year or a serial date written as text.
func readBareNumber(n float64) readDateResult {
	switch {
	case n == float64(int(n)) && n >= 1900 && n <= 2199:
		return yearOf(int(n))
	case n >= 20000 && n <= 60000:
		if d, minute, ok := serialDay(n, false); ok {
			r := exactly(d)
			r.minute, r.timed = minute, minute > 0
			return r
		}
	}
	return noDate()
}

func yearOf(y int) readDateResult {
	from, ok := civil(y, 1, 1)
	if !ok {
		return noDate()
	}
	return between(from, monthEnd(y, 12))
}

// fullYear reads a year of two or four digits: 00 to 79 are of this century.
func fullYear(s string) int {
	y, _ := strconv.Atoi(s)
	switch {
	case len(s) > 2:
		return y
	case y < 80:
		return 2000 + y
	}
	return 1900 + y
}

func dayOrNone(year, month, day string) readDateResult {
	m, _ := strconv.Atoi(month)
	d, _ := strconv.Atoi(day)
	if on, ok := civil(fullYear(year), m, d); ok {
		return exactly(on)
	}
	return noDate()
}

func readMonth(year, month string) readDateResult {
	m, _ := strconv.Atoi(month)
	y := fullYear(year)
	from, ok := civil(y, m, 1)
	if !ok {
		return noDate()
	}
	return between(from, monthEnd(y, m))
}

// readWeek reads an ISO 8601 week, Monday to Sunday: week 1 is the one with 4 January in it.
func readWeek(year, week string) readDateResult {
	y, w := fullYear(year), 0
	w, _ = strconv.Atoi(week)
	if y < 1 || w < 1 || w > 53 {
		return noDate()
	}
	jan4 := time.Date(y, 1, 4, 0, 0, 0, 0, time.UTC)
	monday := jan4.AddDate(0, 0, -(int(jan4.Weekday())+6)%7+7*(w-1))
	if gy, gw := monday.ISOWeek(); gy != y || gw != w {
		return noDate()
	}
	return between(assets.DayOf(monday), assets.DayOf(monday.AddDate(0, 0, 6)))
}

// readOpen reads a date of three numbers parted by slashes or dashes.
func readOpen(a, b, c string, order dateOrder) readDateResult {
	first, _ := strconv.Atoi(a)
	second, _ := strconv.Atoi(b)
	y := fullYear(c)
	dmy, okD := civil(y, second, first)
	mdy, okM := civil(y, first, second)
	if len(a) == 2 && len(c) == 2 && (order == orderYMD || (!okD && !okM && first > 31)) {
		return dayOrNone(a, b, c)
	}
	switch {
	case okD && okM && dmy != mdy:
		return chosen(dmy, mdy, order)
	case okD:
		return readDateResult{earliest: dmy, latest: dmy, dmy: dmy, mdy: mdy}
	case okM:
		return readDateResult{earliest: mdy, latest: mdy, mdy: mdy}
	}
	return noDate()
}

// chosen settles a date with two orders where the order is told.
func chosen(dmy, mdy assets.Day, order dateOrder) readDateResult {
	r := readDateResult{dmy: dmy, mdy: mdy, twoWays: true}
	switch order {
	case orderDMY:
		r.earliest, r.latest = dmy, dmy
	case orderMDY:
		r.earliest, r.latest = mdy, mdy
	default:
		r.fault = faultOpenDate
	}
	return r
}

// severalDates tells whether a text that is no date holds two or more of them.
func severalDates(text string) bool {
	parts := severalParts.Split(text, -1)
	if len(parts) < 2 {
		parts = strings.Split(text, "/")
	}
	if len(parts) < 2 {
		parts = strings.Split(text, " - ")
	}
	good := 0
	for _, p := range parts {
		p = strings.TrimSpace(p)
		if p == "" {
			continue
		}
		if r := readDay(p, orderOpen); r.fault == "" || r.fault == faultOpenDate {
			good++
		}
	}
	return good >= 2 || len(dateToken.FindAllString(text, 3)) >= 2
}

var dateToken = regexp.MustCompile(`\b(?:\d{4}-\d{1,2}-\d{1,2}|\d{1,2}[./-]\d{1,2}[./-](?:\d{4}|\d{2}))\b`)
