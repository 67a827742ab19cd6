package calendar

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"
)

// fileZones finds the zones that a calendar file names. Many programs write names of their own and give the rules of the zone
// beside them (VTIMEZONE, RFC 5545, 3.6.5): a zone of the zone data base that keeps the same clock stands for such a name.
type fileZones struct {
	plant Zone
	own   map[string]*ics.VTimezone
	found map[string]fileZone // by name and year, so that a thousand events cost one search
}

type fileZone struct {
	zone Zone
	ok   bool
}

// mostZones is how many zones of its own a file may bring; calendars name one or two.
const mostZones = 50

func newFileZones(file *ics.Calendar, plant Zone) *fileZones {
	f := &fileZones{plant: plant, own: map[string]*ics.VTimezone{}, found: map[string]fileZone{}}
	for _, z := range file.Timezones() {
		if id := z.GetProperty(ics.ComponentPropertyTzid); id != nil && len(f.own) < mostZones {
			f.own[tzid(id.Value)] = z
		}
	}
	return f
}

// tzid is a zone's name as properties and VTIMEZONE both may write it.
func tzid(name string) string { return strings.Trim(strings.TrimSpace(name), `"`) }

// zone finds the zone of a name for times of a year and the next few. It is the plant's own where that keeps the same clock.
func (f *fileZones) zone(name string, year int) (Zone, bool) {
	name, year = tzid(name), min(max(year, 1), lastYear)
	key := fmt.Sprint(year, " ", name)
	if _, done := f.found[key]; !done {
		zone, ok := f.search(name, year)
		if ok && slices.Equal(steps(zone, year), steps(f.plant, year)) {
			zone = f.plant
		}
		f.found[key] = fileZone{zone, ok}
	}
	return f.found[key].zone, f.found[key].ok
}

// search looks in the zone data base, also behind the path that some programs set before a name, then among the file's own.
func (f *fileZones) search(name string, year int) (Zone, bool) {
	for rest, more := strings.Trim(name, "/"), true; more; _, rest, more = strings.Cut(rest, "/") {
		if zone, err := LoadZone(rest); err == nil {
			return zone, true
		}
	}
	own := f.own[name]
	if own == nil {
		return Zone{}, false
	}
	clock, ok := ownSteps(own, year)
	if !ok {
		return Zone{}, false
	}
	if len(clock) == 1 {
		return ZoneOf(time.FixedZone("UTC"+time.Unix(0, 0).In(time.FixedZone("", clock[0].offset)).Format("-07:00"), clock[0].offset)), true
	}
	for _, zone := range append([]Zone{f.plant}, clockChanging()...) {
		if slices.Equal(steps(zone, year), clock) {
			return zone, true
		}
	}
	return Zone{}, false
}

// step is a change of a clock: from at on it is so many seconds ahead of UTC.
type step struct {
	at     int64
	offset int
}

// stepYears is for how long two clocks must agree to stand for each other.
const stepYears = 3

// lastYear is the last year for which clocks are compared: later times take it for theirs.
const lastYear = 2200

// stepSpan is the stretch over which clocks are compared.
func stepSpan(year int) (from, until time.Time) {
	return time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(year+stepYears, 1, 1, 0, 0, 0, 0, time.UTC)
}

// steps are the changes of a zone's clock over some years; the first is the offset at the beginning.
func steps(zone Zone, year int) []step {
	from, until := stepSpan(year)
	var out []step
	for at := from; at.Before(until); {
		offset, end := stretch(at.In(zone.Location()))
		out = append(out, step{at.Unix(), int(offset)})
		if end.IsZero() {
			break
		}
		at = end
	}
	return distinctSteps(out)
}

// ownSteps are those of a VTIMEZONE: each of its observances begins at DTSTART and as its RRULE says, on the clock that was kept
// before (TZOFFSETFROM), and sets TZOFFSETTO.
func ownSteps(own *ics.VTimezone, year int) ([]step, bool) {
	from, until := stepSpan(year)
	var all []step
	for _, c := range own.SubComponents() {
		some, ok := observance(c, from.AddDate(-2, 0, 0), until)
		if !ok {
			return nil, false
		}
		all = append(all, some...)
	}
	slices.SortFunc(all, func(a, b step) int { return int(a.at - b.at) })
	first := 0 // the last that began before the span
	for i, s := range all {
		if s.at <= from.Unix() {
			first = i
		}
	}
	if len(all) == 0 {
		return nil, false
	}
	all = all[first:]
	all[0].at = from.Unix()
	return distinctSteps(all), true
}

// observance are the steps of one part of a VTIMEZONE; ok is false where it cannot be read.
func observance(c ics.Component, from, until time.Time) (out []step, ok bool) {
	value := map[string]string{}
	for _, p := range c.UnknownPropertiesIANAProperties() {
		value[p.IANAToken] = strings.TrimSpace(p.Value)
	}
	start, err := ParseLocal(value["DTSTART"])
	before, okBefore := utcOffset(value["TZOFFSETFROM"])
	after, okAfter := utcOffset(value["TZOFFSETTO"])
	if err != nil || !okBefore || !okAfter || value["RDATE"] != "" {
		return nil, false
	}
	if value["RRULE"] == "" {
		return []step{{start.unix() - int64(before), after}}, true
	}
	rule, err := ParseRecurrence(value["RRULE"], start)
	if err != nil || !onceAYear(value["RRULE"]) {
		return nil, false
	}
	for _, o := range rule.Between(Zone{}, from, until) {
		if at := o.Planned.unix() - int64(before); at < until.Unix() {
			out = append(out, step{at, after})
		}
	}
	return out, true
}

// onceAYear tells whether a rule names one day of a year, as the rules of zones do. Any other could be millions of steps since 1601.
func onceAYear(rule string) bool {
	parts, err := splitRule(rule)
	return err == nil && parts["FREQ"] == "YEARLY" && !strings.Contains(parts["BYMONTH"]+parts["BYDAY"], ",") &&
		parts["BYHOUR"]+parts["BYMINUTE"]+parts["BYSECOND"]+parts["BYYEARDAY"]+parts["BYWEEKNO"] == ""
}

// distinctSteps leaves out what changes nothing.
func distinctSteps(list []step) []step {
	return slices.CompactFunc(list, func(a, b step) bool { return a.offset == b.offset })
}

// utcOffset reads +0100 or -043000 (RFC 5545, 3.3.14) as seconds.
func utcOffset(text string) (seconds int, ok bool) {
	if len(text) != 5 && len(text) != 7 || text[0] != '+' && text[0] != '-' {
		return 0, false
	}
	n, err := strconv.Atoi(text[1:])
	if len(text) == 5 {
		n *= 100
	}
	seconds = n/10000*3600 + n/100%100*60 + n%100
	if text[0] == '-' {
		seconds = -seconds
	}
	return seconds, err == nil
}

// clockChanging are zones of the zone data base whose clocks change, one for each way of changing them that is kept today; clocks
// that never change need none.
func clockChanging() []Zone {
	var out []Zone
	for _, name := range []string{"Europe/London", "Europe/Berlin", "Europe/Athens", "Europe/Chisinau", "Europe/Dublin", "Atlantic/Azores", "Africa/Cairo", "Africa/Casablanca",
		"Asia/Beirut", "Asia/Jerusalem", "America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles", "America/Anchorage", "America/Adak", "America/Halifax",
		"America/St_Johns", "America/Havana", "America/Santiago", "America/Nuuk", "America/Miquelon", "Pacific/Easter", "Australia/Sydney", "Australia/Adelaide", "Australia/Lord_Howe",
		"Pacific/Auckland", "Pacific/Chatham", "Pacific/Norfolk", "Antarctica/Troll"} {
		if zone, err := LoadZone(name); err == nil {
			out = append(out, zone)
		}
	}
	return out
}
