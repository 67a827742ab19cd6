package calendar

import (
	"cmp"
	"math/bits"
	"slices"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// Cron is a cron expression as the sets of minutes, hours and days it names.
//
// It says which local dates and times are planned; the library it is parsed with is not asked when they occur, because
// that skips a date over a gap and fires twice in a repeated hour (its own documentation).
type Cron struct {
	text                          string
	minute, hour, dom, month, dow uint64
}

// anyDay is the bit by which the library marks a day field as unrestricted (its starBit).
const anyDay = 1 << 63

// ParseCron reads five fields (minute, hour, day of month, month, day of week) or @yearly, @monthly, @weekly, @daily, @hourly.
//
// Refused, each with one sentence: what the library refuses or panics on; a zone prefix, because rules run in the
// plant's own zone; @every, which has no planned local date; an expression that never occurs, such as 30 February.
func ParseCron(expr string) (Cron, error) {
	text := strings.TrimSpace(expr)
	if err := refuseBeforeParsing(text); err != nil {
		return Cron{}, err
	}
	spec, err := parseGuarded(text)
	if err != nil {
		return Cron{}, err
	}
	c := Cron{text: text, minute: spec.Minute, hour: spec.Hour, dom: spec.Dom, month: spec.Month, dow: spec.Dow}
	if !c.occurs() {
		return Cron{}, refuse(NeverOccurs, "the cron expression %q never occurs: no month it names has such a day; correct day or month", text)
	}
	return c, nil
}

// refuseBeforeParsing refuses what the library accepts, panics on or silently reads as something else.
func refuseBeforeParsing(text string) error {
	upper := strings.ToUpper(text)
	switch {
	case text == "":
		return refuse(BadCron, "the cron expression is empty; write minute, hour, day of month, month and day of week, such as 0 6 * * 1")
	case strings.HasPrefix(upper, "TZ=") || strings.HasPrefix(upper, "CRON_TZ="):
		return refuse(BadCron, "rules run in the plant's own time zone; take the zone prefix off the cron expression %q", text)
	case strings.HasPrefix(upper, "@EVERY"):
		return refuse(BadCron, "%q has no planned date; use an interval of days, weeks or months instead", text)
	}
	for _, field := range strings.Fields(text) {
		if strings.Contains(field, "*-") || strings.Contains(field, "?-") {
			return refuse(BadCron, "the cron expression %q begins a range with a star; write both ends as numbers or names", text)
		}
		if strings.Trim(field, ",") != field || strings.Contains(field, ",,") {
			return refuse(BadCron, "the cron expression %q has a comma without a value; take it off", text)
		}
	}
	return nil
}

// parseGuarded parses with the library and turns a panic of its parser into a refusal.
func parseGuarded(text string) (spec *cron.SpecSchedule, err error) {
	defer func() {
		if recover() != nil {
			spec, err = nil, refuse(BadCron, "the cron expression %q cannot be read; write five fields, such as 0 6 * * 1", text)
		}
	}()
	schedule, parseErr := cron.ParseStandard(text)
	if parseErr != nil {
		return nil, whichField(text)
	}
	spec, fields := schedule.(*cron.SpecSchedule)
	if !fields {
		return nil, refuse(BadCron, "%q has no planned date; use an interval of days, weeks or months instead", text)
	}
	return spec, nil
}

// cronFields are the fields in their order, with what each takes.
var cronFields = [5]struct{ name, takes string }{
	{"minute", "0 to 59"}, {"hour", "0 to 23"}, {"day of month", "1 to 31"}, {"month", "1 to 12 or JAN to DEC"}, {"day of week", "0 (Sunday) to 6 or SUN to SAT"},
}

// whichField names the first field that cannot be read: the library's own words are about its insides.
func whichField(text string) *Refused {
	given := strings.Fields(text)
	if strings.HasPrefix(text, "@") {
		return refuse(BadCron, "%q is no name of a cron expression; write @yearly, @monthly, @weekly, @daily or @hourly, or five fields", text)
	}
	if len(given) != len(cronFields) {
		return refuse(BadCron, "the cron expression %q has %d fields; write five: minute, hour, day of month, month and day of week", text, len(given))
	}
	for i, f := range cronFields {
		alone := [5]string{"*", "*", "*", "*", "*"}
		alone[i] = given[i]
		if _, err := cron.ParseStandard(strings.Join(alone[:], " ")); err != nil {
			return refuse(BadCron, "the cron expression %q has %q as its %s; that field takes %s, ranges such as 1-5, steps such as */2 of 1 or more, and lists with commas", text, given[i], f.name, f.takes)
		}
	}
	return refuse(BadCron, "the cron expression %q cannot be read; write minute, hour, day of month, month and day of week", text)
}

// occurs reports whether any date of a leap year is planned; every date of the calendar comes round in some year,
// and so does every weekday on every date.
func (c Cron) occurs() bool {
	if c.minute&^anyDay == 0 || c.hour&^anyDay == 0 {
		return false
	}
	if c.dom&anyDay == 0 && c.dow&anyDay == 0 && c.dow != 0 && c.month&^anyDay != 0 {
		return true
	}
	if c.dow&^anyDay == 0 {
		return false
	}
	for m := time.January; m <= time.December; m++ {
		if c.month&(1<<m) != 0 && bits.TrailingZeros64(c.dom) <= DaysIn(2024, m) {
			return true
		}
	}
	return false
}

// String returns the expression as written.
func (c Cron) String() string { return c.text }

// On reports whether a date is planned. Day of month and day of week both restricted mean either.
func (c Cron) On(d Date) bool {
	_, month, day := d.Civil()
	if c.month&(1<<month) == 0 {
		return false
	}
	onDay, onWeekday := c.dom&(1<<day) != 0, c.dow&(1<<d.Weekday()) != 0
	if c.dom&anyDay != 0 || c.dow&anyDay != 0 {
		return onDay && onWeekday
	}
	return onDay || onWeekday
}

// Between returns each planned local date and time once with after < instant <= until, ordered by instant and then by
// planned time. Its cost grows with the days between and the occurrences returned.
func (c Cron) Between(zone Zone, after, until time.Time) []Occurrence {
	if c.minute == 0 || !after.Before(until) {
		return nil
	}
	var found []Occurrence
	// A date line crossing moves a planned date by up to a day from the date shown at its instant.
	last := zone.Date(until).AddDays(2)
	for d := zone.Date(after).AddDays(-2); !d.IsZero() && !d.After(last); d = d.AddDays(1) {
		if c.On(d) {
			found = c.appendDay(found, zone, d, after, until)
		}
	}
	slices.SortStableFunc(found, byInstant)
	return found
}

// byInstant orders occurrences by instant, and by planned time where a gap lets two fall on one instant.
func byInstant(a, b Occurrence) int {
	return cmp.Or(a.At.Compare(b.At), a.Planned.Compare(b.Planned))
}

// appendDay appends one date's occurrences that fall in the interval.
func (c Cron) appendDay(found []Occurrence, zone Zone, d Date, after, until time.Time) []Occurrence {
	for hour := range 24 {
		if c.hour&(1<<hour) == 0 {
			continue
		}
		for minute := range 60 {
			if c.minute&(1<<minute) == 0 {
				continue
			}
			o := zone.Occurrence(Local{d, At(hour, minute)})
			if o.At.After(after) && !o.At.After(until) {
				found = append(found, o)
			}
		}
	}
	return found
}

// Next returns the first occurrence after an instant. It looks ahead far enough for 29 February over a century year;
// false only for a zero Cron or past the year 9999.
func (c Cron) Next(zone Zone, after time.Time) (Occurrence, bool) {
	from, span := after, 24*time.Hour
	for range 16 {
		to := from.Add(span)
		if found := c.Between(zone, from, to); len(found) > 0 {
			return found[0], true
		}
		// Wider steps: a yearly rule is found in a few looks, a daily one in the first.
		from, span = to, min(2*span, 366*24*time.Hour)
	}
	return Occurrence{}, false
}
