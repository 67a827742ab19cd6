package calendar

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/teambition/rrule-go"
)

// Recurrence is a recurrence rule of RFC 5545 (3.3.10) with its first start, expanded in wall time.
//
// The library expands the bare rule on a clock that never changes; COUNT and UNTIL are applied here, because a start
// that the plant's clock skips is left out and not counted (RFC 5545, 3.3.10), and an excluded one is counted.
type Recurrence struct {
	start    Local
	rule     *rrule.RRule
	count    int       // 0: no COUNT
	untilUTC time.Time // set when UNTIL is written in UTC
	until    Local     // set when UNTIL is a wall time; a bare date means the whole of it
	excluded map[Local]bool
}

// ParseRecurrence reads a rule such as FREQ=WEEKLY;BYDAY=SU;COUNT=5, without DTSTART, and checks what the library lets pass.
//
// start is the first start on the wall; as in the library a start that the rule does not name is no occurrence. A rule
// with BYWEEKNO and no day takes the weekday of start (RFC 5545, 3.3.10, of what the rule leaves open).
func ParseRecurrence(rule string, start Local, excluded ...Local) (*Recurrence, error) {
	parts, err := splitRule(rule)
	if err != nil {
		return nil, err
	}
	r := &Recurrence{start: start, excluded: map[Local]bool{}}
	for _, l := range excluded {
		r.excluded[l] = true
	}
	if err := r.readEnd(parts); err != nil {
		return nil, err
	}
	if parts["BYWEEKNO"] != "" && parts["BYDAY"]+parts["BYMONTHDAY"]+parts["BYYEARDAY"] == "" {
		parts["BYDAY"] = strings.ToUpper(start.Date.Weekday().String()[:2])
	}
	if err := checkParts(rule, parts, start); err != nil {
		return nil, err
	}
	if r.rule, err = buildRule(rule, parts, start); err != nil {
		return nil, err
	}
	if _, some := r.rule.Iterator()(); !some {
		return nil, refuse(NeverOccurs, "the recurrence rule %q never occurs; correct its days", rule)
	}
	return r, nil
}

// ruleParts are the parts of a rule that are read, in the order in which they are handed to the library.
var ruleParts = []string{"FREQ", "INTERVAL", "WKST", "BYMONTH", "BYWEEKNO", "BYYEARDAY", "BYMONTHDAY", "BYDAY", "BYHOUR", "BYMINUTE", "BYSECOND", "BYSETPOS", "COUNT", "UNTIL"}

// splitRule reads the parts of a rule, each at most once.
func splitRule(rule string) (map[string]string, error) {
	text := strings.ToUpper(strings.TrimSpace(rule))
	text = strings.TrimPrefix(text, "RRULE:")
	if text == "" || len(text) > 2000 {
		return nil, refuse(BadRecurrence, "the recurrence rule is empty or too long; write one such as FREQ=WEEKLY;BYDAY=SU")
	}
	parts := map[string]string{}
	for _, part := range strings.Split(strings.TrimSuffix(text, ";"), ";") {
		name, value, ok := strings.Cut(part, "=")
		if !ok || value == "" || !slices.Contains(ruleParts, name) {
			return nil, refuse(BadRecurrence, "the recurrence rule has the part %q, which is none of RFC 5545; take it out or correct it", part)
		}
		if parts[name] != "" {
			return nil, refuse(BadRecurrence, "the recurrence rule has %s twice; keep one", name)
		}
		parts[name] = value
	}
	return parts, nil
}

// readEnd takes COUNT and UNTIL.
func (r *Recurrence) readEnd(parts map[string]string) error {
	count, until := parts["COUNT"], parts["UNTIL"]
	if count != "" && until != "" {
		return refuse(BadRecurrence, "the recurrence rule has both COUNT and UNTIL; keep one of them")
	}
	if count != "" {
		n, err := strconv.Atoi(count)
		if err != nil || n < 1 {
			return refuse(BadRecurrence, "COUNT=%s is not a number of times; write a whole number from 1", count)
		}
		r.count = n
	}
	if until == "" {
		return nil
	}
	if t, err := time.Parse("20060102T150405Z", until); err == nil {
		r.untilUTC = t
		return nil
	}
	if t, err := time.Parse("20060102", until); err == nil && t.Year() >= 1 {
		r.until = Local{dateOf(t), secondsPerDay}
		return nil
	}
	l, err := ParseLocal(until)
	if err != nil || !strings.Contains(until, "T") {
		return refuse(BadRecurrence, "UNTIL=%s is not a date or time; write it as YYYYMMDD, YYYYMMDDTHHMMSS or, in UTC, YYYYMMDDTHHMMSSZ", until)
	}
	r.until = l
	return nil
}

// longestInterval bounds INTERVAL; a million seconds is still under a fortnight, and a rule of more than 9999 years has one occurrence.
const longestInterval = 1_000_000

// mostTimesOfDay bounds BYHOUR, BYMINUTE and BYSECOND together, one a minute: the library works out a year's times at once.
const mostTimesOfDay = 24 * 60

// timesOfDay is how many times of day a rule names.
func timesOfDay(parts map[string]string) int {
	n := 1
	for _, name := range []string{"BYHOUR", "BYMINUTE", "BYSECOND"} {
		n *= max(1, len(distinct(parts[name])))
	}
	return n
}

// frequencies in the order of the library.
var frequencies = []string{"YEARLY", "MONTHLY", "WEEKLY", "DAILY", "HOURLY", "MINUTELY", "SECONDLY"}

// checkParts refuses what the library accepts without meaning, or cannot come back from.
func checkParts(rule string, parts map[string]string, start Local) error {
	freq := slices.Index(frequencies, parts["FREQ"])
	if freq < 0 {
		return refuse(BadRecurrence, "the recurrence rule needs FREQ, one of %s", strings.Join(frequencies, ", "))
	}
	interval := 1
	if text := parts["INTERVAL"]; text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > longestInterval {
			return refuse(BadRecurrence, "INTERVAL=%s is not an interval; write a whole number from 1 to %d", text, longestInterval)
		}
		interval = n
	}
	for _, name := range []string{"BYMONTH", "BYWEEKNO", "BYYEARDAY", "BYMONTHDAY", "BYHOUR", "BYMINUTE", "BYSECOND", "BYSETPOS"} {
		if err := checkNumbers(name, parts[name]); err != nil {
			return err
		}
	}
	if err := checkCombination(parts, freq); err != nil {
		return err
	}
	if n := timesOfDay(parts); n > mostTimesOfDay {
		return refuse(BadRecurrence, "the recurrence rule names %d times of day; name %d at most", n, mostTimesOfDay)
	}
	if freq >= 4 && !reachesTime(parts, freq, interval, start) {
		return refuse(NeverOccurs, "the recurrence rule %q never reaches the times of day it names; correct INTERVAL or the times", rule)
	}
	return nil
}

// numberBounds are the ranges of RFC 5545, 3.3.10; negative counts from the end where allowed. Second 60 is a leap second, which no plant's clock shows.
var numberBounds = map[string]struct {
	low, high int
	fromEnd   bool
}{
	"BYMONTH": {1, 12, false}, "BYWEEKNO": {1, 53, true}, "BYYEARDAY": {1, 366, true}, "BYMONTHDAY": {1, 31, true},
	"BYHOUR": {0, 23, false}, "BYMINUTE": {0, 59, false}, "BYSECOND": {0, 59, false}, "BYSETPOS": {1, 366, true},
}

// checkNumbers checks a list of numbers against its range.
func checkNumbers(name, list string) error {
	if list == "" {
		return nil
	}
	bound := numberBounds[name]
	for _, text := range strings.Split(list, ",") {
		n, err := strconv.Atoi(text)
		size := n
		if bound.fromEnd {
			size = max(n, -n)
		}
		if err != nil || size < bound.low || size > bound.high {
			return refuse(BadRecurrence, "%s=%s is out of range; write numbers from %d to %d", name, list, bound.low, bound.high)
		}
	}
	return nil
}

// checkCombination refuses parts that RFC 5545 (3.3.10) does not allow together.
func checkCombination(parts map[string]string, freq int) error {
	const yearly, monthly, weekly, daily = 0, 1, 2, 3
	switch {
	case parts["BYWEEKNO"] != "" && freq != yearly:
		return refuse(BadRecurrence, "BYWEEKNO goes only with FREQ=YEARLY; take it out")
	case parts["BYYEARDAY"] != "" && (freq == monthly || freq == weekly || freq == daily):
		return refuse(BadRecurrence, "BYYEARDAY does not go with FREQ=%s; take it out", parts["FREQ"])
	case parts["BYMONTHDAY"] != "" && freq == weekly:
		return refuse(BadRecurrence, "BYMONTHDAY does not go with FREQ=WEEKLY; take it out")
	case parts["BYSETPOS"] != "" && !hasOtherBy(parts):
		return refuse(BadRecurrence, "BYSETPOS needs another BY part to choose from; add one or take it out")
	case parts["BYSETPOS"] != "" && freq > daily && !setReaches(parts, freq):
		return refuse(NeverOccurs, "BYSETPOS=%s is beyond the times in one step of FREQ=%s; correct it", parts["BYSETPOS"], parts["FREQ"])
	}
	return checkDays(parts, freq)
}

// hasOtherBy reports a BY part besides BYSETPOS.
func hasOtherBy(parts map[string]string) bool {
	for name := range parts {
		if strings.HasPrefix(name, "BY") && name != "BYSETPOS" {
			return true
		}
	}
	return false
}

// setReaches reports whether BYSETPOS can name one of the times in a step shorter than a day. The library would look for
// one second by second to the year 9999.
func setReaches(parts map[string]string, freq int) bool {
	size := 1
	for i, name := range []string{"BYMINUTE", "BYSECOND"} {
		if freq < 5+i && parts[name] != "" {
			size *= len(distinct(parts[name]))
		}
	}
	for _, n := range distinct(parts["BYSETPOS"]) {
		if max(n, -n) <= size {
			return true
		}
	}
	return false
}

// checkDays checks BYDAY: a numbered weekday needs a month or year to be counted in, and a month has five of each at most.
func checkDays(parts map[string]string, freq int) error {
	if parts["BYDAY"] == "" {
		return nil
	}
	most := 0
	switch {
	case freq == 1 || freq == 0 && parts["BYMONTH"] != "":
		most = 5
	case freq == 0 && parts["BYWEEKNO"] == "":
		most = 53
	}
	for _, day := range strings.Split(parts["BYDAY"], ",") {
		n, err := strconv.Atoi(day[:max(0, len(day)-2)])
		plain := len(day) == 2
		if !plain && (err != nil || n == 0 || max(n, -n) > most) {
			return refuse(BadRecurrence, "BYDAY=%s cannot be counted here; write weekdays as MO, TU, WE, TH, FR, SA, SU, numbered only within a month or year", day)
		}
	}
	return nil
}

// reachesTime reports whether steps shorter than a day ever come to a time of day that the rule names. The library would
// step on forever.
func reachesTime(parts map[string]string, freq, interval int, start Local) bool {
	step, round := interval, 24
	at := int(start.Time) / 3600
	switch frequencies[freq] {
	case "MINUTELY":
		at, round = int(start.Time)/60, 24*60
	case "SECONDLY":
		at, round = int(start.Time), secondsPerDay
	}
	hours, minutes, seconds := distinct(parts["BYHOUR"]), distinct(parts["BYMINUTE"]), distinct(parts["BYSECOND"])
	named := func(set []int, n int) bool { return len(set) == 0 || slices.Contains(set, n) }
	for range round {
		perHour := round / 24
		ok := named(hours, at/perHour)
		if perHour >= 60 {
			ok = ok && named(minutes, at*60/perHour%60)
		}
		if perHour == 3600 {
			ok = ok && named(seconds, at%60)
		}
		if ok {
			return true
		}
		at = (at + step) % round
	}
	return false
}

// distinct reads a checked list of numbers, each once.
func distinct(list string) []int {
	var numbers []int
	for _, text := range strings.Split(list, ",") {
		if n, err := strconv.Atoi(text); err == nil && !slices.Contains(numbers, n) {
			numbers = append(numbers, n)
		}
	}
	return numbers
}

// buildRule hands the bare rule to the library, on a clock without changes.
func buildRule(rule string, parts map[string]string, start Local) (built *rrule.RRule, err error) {
	unreadable := refuse(BadRecurrence, "the recurrence rule %q cannot be read; write one such as FREQ=WEEKLY;BYDAY=SU", rule)
	defer func() {
		if recover() != nil {
			built, err = nil, unreadable
		}
	}()
	option, parseErr := rrule.StrToROption(bareRule(parts))
	if parseErr != nil {
		return nil, unreadable
	}
	option.Dtstart = time.Unix(start.unix(), 0).UTC()
	option.Until = time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC)
	if built, err = rrule.NewRRule(*option); err != nil {
		return nil, unreadable
	}
	return built, nil
}

// bareRule writes the rule without its end, every number once: the library would repeat an hour that is named twice.
func bareRule(parts map[string]string) string {
	var bare []string
	for _, name := range ruleParts {
		value := parts[name]
		if value == "" || name == "COUNT" || name == "UNTIL" {
			continue
		}
		if _, numbers := numberBounds[name]; numbers {
			var texts []string
			for _, n := range distinct(value) {
				texts = append(texts, strconv.Itoa(n))
			}
			value = strings.Join(texts, ",")
		}
		bare = append(bare, name+"="+value)
	}
	return strings.Join(bare, ";")
}

// Endless reports a rule without COUNT and UNTIL.
func (r *Recurrence) Endless() bool {
	return r.count == 0 && r.untilUTC.IsZero() && r.until.Date.IsZero()
}

// First returns the first occurrences in a zone, at most limit of them.
func (r *Recurrence) First(zone Zone, limit int) []Occurrence {
	return r.expand(zone, time.Time{}, time.Unix(math.MaxInt32*64, 0), limit, false)
}

// Between returns the occurrences with after < instant <= until. Its cost grows with the steps from the rule's start.
func (r *Recurrence) Between(zone Zone, after, until time.Time) []Occurrence {
	return r.expand(zone, after, until, math.MaxInt, false)
}

// Skipped returns the starts after one instant and up to another that the rule plans and the zone's clock does not show: they are no
// occurrences.
func (r *Recurrence) Skipped(zone Zone, after, until time.Time) []Occurrence {
	return r.expand(zone, after, until, math.MaxInt, true)
}

// expand walks the rule from its start, since COUNT counts from there. It collects the occurrences, or the starts that are skipped.
func (r *Recurrence) expand(zone Zone, after, until time.Time, limit int, skipped bool) []Occurrence {
	var found []Occurrence
	next := r.rule.Iterator()
	for counted := 0; len(found) < limit && (r.count == 0 || counted < r.count); {
		wall, more := next()
		if !more {
			break
		}
		o := zone.Occurrence(wallOf(wall))
		if r.over(o) || o.At.After(until.Add(farthest*time.Second)) {
			break
		}
		if o.Showing != Skipped {
			counted++
		}
		if (o.Showing == Skipped) == skipped && !r.excluded[o.Planned] && o.At.After(after) && !o.At.After(until) {
			found = append(found, o)
		}
	}
	return found
}

// over reports an occurrence past UNTIL, which itself still belongs to the rule.
func (r *Recurrence) over(o Occurrence) bool {
	switch {
	case !r.untilUTC.IsZero():
		// A skipped start is left out anyway, so its shifted instant must not end the rule early.
		return o.Showing != Skipped && o.At.After(r.untilUTC)
	case !r.until.Date.IsZero():
		return o.Planned.Compare(r.until) > 0
	default:
		return false
	}
}
