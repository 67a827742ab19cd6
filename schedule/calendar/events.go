package calendar

import (
	"bytes"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"
)

// Event is an event of a calendar file (RFC 5545) as far as a stop needs it.
type Event struct {
	UID, Summary string
	Cancelled    bool
	Zone         Zone  // in which its times are written; the plant's where the file names none
	Start, End   Local // in Zone; the end is exclusive
	Nominal      bool  // the file gives how long by the clock (DURATION), not when it ends
	Rule         string
	Except       []Local // in Zone: starts that the rule names and that do not take place
	Of           *Local  // in Zone: the start of the series' event in whose place this one stands
	Wrong        string  // why it cannot be taken, in words; "" when it can
}

// mostEvents bounds a file: a plant's stops of twenty years are some thousands.
const mostEvents = 5000

// ReadEvents reads the events of a calendar file; plant is the zone of times that name none. What is wrong with one event is
// said of that event, what is wrong with the file is the error.
func ReadEvents(file []byte, plant Zone) (events []Event, err error) {
	defer func() { // the library is not ours, the file is anybody's
		if recover() != nil {
			events, err = nil, refuse(BadCalendar, "the calendar file cannot be read; export it again as .ics")
		}
	}()
	var calendars []*ics.Calendar
	count := 0
	for _, one := range calendarsIn(bytes.TrimPrefix(file, []byte("\xef\xbb\xbf"))) {
		parsed, parseErr := ics.ParseCalendarWithOptions(bytes.NewReader(one), ics.WithUnknownPropertyHandler(ics.AcceptUnknownPropertyHandler))
		if parseErr != nil || parsed == nil {
			return nil, refuse(BadCalendar, "this is no calendar file (.ics, RFC 5545); export the calendar again")
		}
		calendars, count = append(calendars, parsed), count+len(parsed.Events())
	}
	switch {
	case count == 0:
		return nil, refuse(BadCalendar, "the calendar file has no event")
	case count > mostEvents:
		return nil, refuse(BadCalendar, "the calendar file has %d events; bring in at most %d at once", count, mostEvents)
	}
	for _, c := range calendars {
		events = append(events, eventsOf(c, plant)...)
	}
	return events, nil
}

// calendarBegins finds where a calendar begins: a file may hold several, one after the other (RFC 5545, 3.4).
var calendarBegins = regexp.MustCompile(`(?im)^BEGIN:VCALENDAR[ \t\r]*$`)

// calendarsIn parts a file into its calendars; what stands before the first stays with it.
func calendarsIn(file []byte) [][]byte {
	var out [][]byte
	from := 0
	for i, at := range calendarBegins.FindAllIndex(file, -1) {
		if i > 0 {
			out, from = append(out, file[from:at[0]]), at[0]
		}
	}
	return append(out, file[from:])
}

// eventsOf reads the events of one calendar.
func eventsOf(c *ics.Calendar, plant Zone) (events []Event) {
	cancels := false
	for _, p := range c.CalendarProperties {
		cancels = cancels || strings.EqualFold(p.IANAToken, "METHOD") && strings.EqualFold(p.Value, "CANCEL")
	}
	zones := newFileZones(c, plant)
	for _, v := range c.Events() {
		e := readEvent(v, zones)
		e.Cancelled = e.Cancelled || cancels
		events = append(events, e)
	}
	return events
}

// eventReader reads one event and keeps the first thing that is wrong with it.
type eventReader struct {
	v     *ics.VEvent
	zones *fileZones
	e     Event
}

func readEvent(v *ics.VEvent, zones *fileZones) Event {
	r := &eventReader{v: v, zones: zones, e: Event{Zone: zones.plant}}
	r.e.UID, r.e.Summary = r.text(ics.ComponentPropertyUniqueId), r.text(ics.ComponentPropertySummary)
	r.e.Cancelled = strings.EqualFold(r.text(ics.ComponentPropertyStatus), "CANCELLED")
	if r.e.UID == "" {
		r.wrong("it has no UID, so that nobody could tell it again")
	}
	r.times()
	r.series()
	return r.e
}

func (r *eventReader) wrong(format string, args ...any) {
	if r.e.Wrong == "" {
		r.e.Wrong = fmt.Sprintf(format, args...)
	}
}

func (r *eventReader) text(name ics.ComponentProperty) string {
	p := r.v.GetProperty(name)
	if p == nil {
		return ""
	}
	return strings.TrimSpace(ics.FromText(p.Value))
}

// times reads start and end; an event of whole days ends with its last day.
func (r *eventReader) times() {
	start := r.v.GetProperty(ics.ComponentPropertyDtStart)
	if start == nil {
		r.wrong("it has no start (DTSTART)")
		return
	}
	var days bool
	r.e.Start, r.e.Zone, days = r.read(&start.BaseProperty, start.Value)
	end, duration := r.v.GetProperty(ics.ComponentPropertyDtEnd), r.text(ics.ComponentPropertyDuration)
	switch {
	case end != nil:
		at, zone, _ := r.read(&end.BaseProperty, end.Value)
		r.e.End = sameZone(at, zone, r.e.Zone)
	case duration != "":
		length, ok := parseDuration(duration)
		if !ok {
			r.wrong("its DURATION %q cannot be read", duration)
		}
		r.e.End, r.e.Nominal = r.e.Start.Add(length), true
	case days:
		r.e.End = r.e.Start.Add(24 * time.Hour)
	default:
		r.wrong("it has neither an end nor a duration")
	}
	if r.e.Wrong == "" && r.e.End.Compare(r.e.Start) <= 0 {
		r.wrong("it ends before it begins")
	}
}

// series reads the rule, its exceptions and which event of a series this one replaces.
func (r *eventReader) series() {
	rules := r.v.GetProperties(ics.ComponentPropertyRrule)
	if len(rules) > 1 || r.v.HasProperty(ics.ComponentPropertyRdate) || r.v.HasProperty(ics.ComponentPropertyExrule) {
		r.wrong("it comes again by more than one rule (RDATE, EXRULE or a second RRULE); enter it by hand")
	}
	if len(rules) > 0 {
		r.e.Rule = strings.TrimPrefix(rules[0].Value, "RRULE:")
		if _, err := ParseRecurrence(r.e.Rule, r.e.Start); err != nil {
			r.wrong("%s", err.Error())
		}
	}
	for _, p := range r.v.GetProperties(ics.ComponentPropertyExdate) {
		for _, one := range strings.Split(p.Value, ",") {
			at, zone, days := r.read(&p.BaseProperty, one)
			if at = sameZone(at, zone, r.e.Zone); days {
				at.Time = r.e.Start.Time
			}
			r.e.Except = append(r.e.Except, at)
		}
	}
	if p := r.v.GetProperty(ics.ComponentPropertyRecurrenceId); p != nil {
		if p.ICalParameters["RANGE"] != nil {
			r.wrong("it changes a series from one event on (RANGE); enter it by hand")
		}
		at, zone, _ := r.read(&p.BaseProperty, p.Value)
		at = sameZone(at, zone, r.e.Zone)
		r.e.Of = &at
	}
}

// sameZone writes a wall time of one zone on the clock of another.
func sameZone(l Local, from, to Zone) Local {
	if from.String() == to.String() {
		return l
	}
	return to.Local(from.Instant(l))
}

// read reads a time of a property: in UTC, in the zone it names, on the plant's clock, or a whole day.
func (r *eventReader) read(p *ics.BaseProperty, value string) (at Local, zone Zone, wholeDay bool) {
	zone, value = r.zones.plant, strings.TrimSpace(value)
	if name := p.ICalParameters["TZID"]; len(name) > 0 {
		year, _ := strconv.Atoi(value[:min(4, len(value))]) // a value that is no date is refused below
		found, ok := r.zones.zone(name[0], year)
		if !ok {
			r.wrong("its time zone %q is not in the zone data base, nor do its rules in the file fit one; export the calendar with a name such as Europe/Berlin", tzid(name[0]))
		}
		zone = found
	}
	if utc, ok := strings.CutSuffix(value, "Z"); ok {
		zone, value = Zone{}, utc
	}
	if t, err := time.Parse("20060102", value); err == nil && t.Year() >= 1 {
		return Local{Date: dateOf(t)}, zone, true
	}
	at, err := ParseLocal(value)
	if err != nil {
		r.wrong("%q is no date or time of a calendar file", value)
	}
	return at, zone, false
}

// parseDuration reads a duration of RFC 5545, 3.3.6: P1D, PT8H30M, P2W.
func parseDuration(text string) (time.Duration, bool) {
	rest, ok := strings.CutPrefix(strings.ToUpper(strings.TrimPrefix(text, "+")), "P")
	units := map[byte]time.Duration{'W': 7 * 24 * time.Hour, 'D': 24 * time.Hour}
	var total time.Duration
	number, some := 0, false
	for i := 0; ok && i < len(rest); i++ {
		switch c := rest[i]; {
		case c == 'T':
			units = map[byte]time.Duration{'H': time.Hour, 'M': time.Minute, 'S': time.Second}
		case c >= '0' && c <= '9' && number < 1e6:
			number, some = number*10+int(c-'0'), true
		case some && units[c] > 0:
			total, number, some = total+time.Duration(number)*units[c], 0, false
		default:
			ok = false
		}
	}
	return total, ok && !some && total > 0 && total < longestWindow*time.Minute
}
