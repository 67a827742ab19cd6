package calendar

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// file makes a calendar file of events as programs write them: lines ended by CR LF and folded (RFC 5545, 3.1).
func file(events ...string) []byte {
	text := "BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:-//plant outages//EN\n"
	for _, e := range events {
		text += "BEGIN:VEVENT\nDTSTAMP:20261101T080000Z\n" + strings.TrimSpace(e) + "\nEND:VEVENT\n"
	}
	return []byte(strings.ReplaceAll(text+"END:VCALENDAR\n", "\n", "\r\n"))
}

func zoneNamed(t testing.TB, name string) Zone {
	t.Helper()
	z, err := LoadZone(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

func TestEventsAreReadAsRFC5545WritesThem(t *testing.T) {
	oslo := zoneNamed(t, "Europe/Oslo")
	for name, tt := range map[string]struct {
		event            string
		zone, start, end string
		rule             string
		nominal          bool
		cancelled        bool
	}{
		"with a zone (3.3.5, form 3)":                           {"UID:a@plant\nDTSTART;TZID=America/New_York:19970714T133000\nDTEND;TZID=America/New_York:19970714T173000", "America/New_York", "1997-07-14T13:30", "1997-07-14T17:30", "", false, false},
		"in UTC (3.3.5, form 2)":                                {"UID:a@plant\nDTSTART:19980119T070000Z\nDTEND:19980119T080000Z", "UTC", "1998-01-19T07:00", "1998-01-19T08:00", "", false, false},
		"floating (3.3.5, form 1): the plant's clock":           {"UID:a@plant\nDTSTART:19980118T230000\nDTEND:19980119T060000", "Europe/Oslo", "1998-01-18T23:00", "1998-01-19T06:00", "", false, false},
		"a whole day without an end (3.6.1)":                    {"UID:a@plant\nDTSTART;VALUE=DATE:20070628", "Europe/Oslo", "2007-06-28T00:00", "2007-06-29T00:00", "", false, false},
		"whole days; the end is the day after the last (3.6.1)": {"UID:a@plant\nDTSTART;VALUE=DATE:20070628\nDTEND;VALUE=DATE:20070709", "Europe/Oslo", "2007-06-28T00:00", "2007-07-09T00:00", "", false, false},
		"a duration (3.3.6): 15 days, 5 hours and 20 seconds":   {"UID:a@plant\nDTSTART:20270101T060000\nDURATION:P15DT5H0M20S", "Europe/Oslo", "2027-01-01T06:00", "2027-01-16T11:00:20", "", true, false},
		"a duration of weeks (3.3.6)":                           {"UID:a@plant\nDTSTART:20270101T060000\nDURATION:P7W", "Europe/Oslo", "2027-01-01T06:00", "2027-02-19T06:00", "", true, false},
		"a rule, last weekday of the month (3.8.5.3)":           {"UID:a@plant\nDTSTART:20261128T200000\nDTEND:20261129T060000\nRRULE:FREQ=MONTHLY;BYDAY=-1SA", "Europe/Oslo", "2026-11-28T20:00", "2026-11-29T06:00", "FREQ=MONTHLY;BYDAY=-1SA", false, false},
		"cancelled (3.8.1.11)":                                  {"UID:a@plant\nSTATUS:CANCELLED\nDTSTART:20261128T200000\nDTEND:20261129T060000", "Europe/Oslo", "2026-11-28T20:00", "2026-11-29T06:00", "", false, true},
		"end in another zone than the start":                    {"UID:a@plant\nDTSTART;TZID=Europe/Oslo:20261128T200000\nDTEND:20261129T050000Z", "Europe/Oslo", "2026-11-28T20:00", "2026-11-29T06:00", "", false, false},
	} {
		t.Run(name, func(t *testing.T) {
			events, err := ReadEvents(file(tt.event), oslo)
			if err != nil || len(events) != 1 || events[0].Wrong != "" {
				t.Fatalf("%+v, %v", events, err)
			}
			e := events[0]
			if e.Zone.String() != tt.zone || e.Start.String() != tt.start || e.End.String() != tt.end || e.Rule != tt.rule || e.Nominal != tt.nominal || e.Cancelled != tt.cancelled {
				t.Errorf("read as %s %s to %s, rule %q, by the clock %v, cancelled %v", e.Zone, e.Start, e.End, e.Rule, e.Nominal, e.Cancelled)
			}
		})
	}
}

// officeZone is a zone as office programs export it: a name of their own with the rules beside it, in force for ever. The rules are those
// of the European Union's summer time (directive 2000/84/EC): from the last Sunday of March to the last of October, at 01:00 UTC.
const officeZone = "BEGIN:VTIMEZONE\nTZID:Plant Standard Time\n" +
	"BEGIN:STANDARD\nDTSTART:16010101T030000\nTZOFFSETFROM:+0200\nTZOFFSETTO:+0100\nRRULE:FREQ=YEARLY;INTERVAL=1;BYDAY=-1SU;BYMONTH=10\nEND:STANDARD\n" +
	"BEGIN:DAYLIGHT\nDTSTART:16010101T020000\nTZOFFSETFROM:+0100\nTZOFFSETTO:+0200\nRRULE:FREQ=YEARLY;INTERVAL=1;BYDAY=-1SU;BYMONTH=3\nEND:DAYLIGHT\nEND:VTIMEZONE\n"

// withZone puts the rules of a zone into a calendar file.
func withZone(file []byte, zone string) []byte {
	return []byte(strings.Replace(string(file), "BEGIN:VEVENT", strings.ReplaceAll(zone, "\n", "\r\n")+"BEGIN:VEVENT", 1))
}

func TestAZoneOfAProgramsOwnNameIsKnownByItsRules(t *testing.T) {
	const event = "UID:a@plant\nDTSTART;TZID=\"Plant Standard Time\":20270301T060000\nDTEND;TZID=Plant Standard Time:20270301T160000"
	eastern := strings.NewReplacer("+0200", "-0400", "+0100", "-0500", "BYDAY=-1SU;BYMONTH=10", "BYDAY=1SU;BYMONTH=11", "BYDAY=-1SU;BYMONTH=3", "BYDAY=2SU;BYMONTH=3", "T030000", "T020000").Replace(officeZone)
	steady := "BEGIN:VTIMEZONE\nTZID:Plant Standard Time\nBEGIN:STANDARD\nDTSTART:16010101T000000\nTZOFFSETFROM:+0530\nTZOFFSETTO:+0530\nEND:STANDARD\nEND:VTIMEZONE\n"
	for name, tt := range map[string]struct{ plant, rules, event, zone, start string }{
		"the plant's own clock under another name":                        {"Europe/Oslo", officeZone, event, "Europe/Oslo", "2027-03-01T05:00:00Z"},
		"another clock (US Energy Policy Act of 2005)":                    {"Europe/Oslo", eastern, event, "America/New_York", "2027-03-01T11:00:00Z"},
		"a clock that never changes":                                      {"Europe/Oslo", steady, event, "UTC+05:30", "2027-03-01T00:30:00Z"},
		"a name of the zone data base behind a path":                      {"Europe/Oslo", "", strings.ReplaceAll(event, "Plant Standard Time", "/plant.example/2026/Asia/Tokyo"), "Asia/Tokyo", "2027-02-28T21:00:00Z"},
		"another name of the plant's clock, so that a series stays on it": {"Europe/Oslo", "", strings.ReplaceAll(event, "Plant Standard Time", "Europe/Berlin"), "Europe/Oslo", "2027-03-01T05:00:00Z"},
	} {
		t.Run(name, func(t *testing.T) {
			events, err := ReadEvents(withZone(file(tt.event), tt.rules), zoneNamed(t, tt.plant))
			if err != nil || len(events) != 1 || events[0].Wrong != "" {
				t.Fatalf("%+v, %v", events, err)
			}
			if e := events[0]; e.Zone.String() != tt.zone || e.Zone.Instant(e.Start).Format(time.RFC3339) != tt.start {
				t.Errorf("begins %s in %s (%s)", e.Start, e.Zone, e.Zone.Instant(e.Start).Format(time.RFC3339))
			}
		})
	}
	odd := strings.ReplaceAll(officeZone, "BYMONTH=10", "BYMONTH=9")
	for name, rules := range map[string]string{"rules that no zone keeps": odd, "rules that cannot be read": strings.ReplaceAll(officeZone, "+0200", "two hours"), "rules that change the clock every second": strings.ReplaceAll(officeZone, "FREQ=YEARLY", "FREQ=SECONDLY"), "no observance": "BEGIN:VTIMEZONE\nTZID:Plant Standard Time\nEND:VTIMEZONE\n"} {
		events, err := ReadEvents(withZone(file(event), rules), zoneNamed(t, "Europe/Oslo"))
		if err != nil || len(events) != 1 || !strings.Contains(events[0].Wrong, "time zone \"Plant Standard Time\"") {
			t.Errorf("%s: %+v, %v", name, events, err)
		}
	}
}

func TestAFileOfSeveralCalendarsIsReadWhole(t *testing.T) {
	two := append(file("UID:a@plant\nDTSTART:20270301T060000\nDTEND:20270301T160000"), file("UID:b@plant\nDTSTART:20270302T060000\nDTEND:20270302T160000")...)
	tail := strings.Replace(string(two), "END:VCALENDAR", "X-WR-CALNAME:Plant outages\r\nMETHOD:CANCEL\r\nEND:VCALENDAR", 1)
	events, err := ReadEvents([]byte(tail), zoneNamed(t, "Europe/Oslo"))
	if err != nil || len(events) != 2 || events[0].UID != "a@plant" || events[1].UID != "b@plant" {
		t.Fatalf("%+v, %v", events, err)
	}
	if !events[0].Cancelled || events[1].Cancelled {
		t.Error("what one calendar of the file cancels is not what the other does")
	}
}

func TestExceptionsAndReplacedEventsAreReadOnTheClockOfTheSeries(t *testing.T) {
	oslo := zoneNamed(t, "Europe/Oslo")
	events, err := ReadEvents(file(
		"UID:s@plant\nSUMMARY:Night\\, reclaim tunnel\nDTSTART;TZID=Europe/Oslo:20261205T200000\nDTEND;TZID=Europe/Oslo:20261206T060000\nRRULE:FREQ=WEEKLY\nEXDATE:20261212T190000Z,20261219T190000Z\nEXDATE;VALUE=DATE:20261226",
		"UID:s@plant\nRECURRENCE-ID:20270102T190000Z\nDTSTART;TZID=Europe/Oslo:20270103T200000\nDTEND;TZID=Europe/Oslo:20270104T060000"), oslo)
	if err != nil || len(events) != 2 {
		t.Fatalf("%d events, %v", len(events), err)
	}
	if got := fmt.Sprint(events[0].Except); got != "[2026-12-12T20:00 2026-12-19T20:00 2026-12-26T20:00]" || events[0].Summary != "Night, reclaim tunnel" {
		t.Errorf("%q leaves out %s", events[0].Summary, got)
	}
	if events[1].Of == nil || events[1].Of.String() != "2027-01-02T20:00" {
		t.Errorf("replaces %v", events[1].Of)
	}
}

func TestWhatCannotBeReadIsSaidOfItsEvent(t *testing.T) {
	oslo := zoneNamed(t, "Europe/Oslo")
	for name, tt := range map[string]struct{ event, want string }{
		"no UID":                     {"DTSTART:20261128T200000\nDTEND:20261129T060000", "UID"},
		"no start":                   {"UID:a@plant\nDTEND:20261129T060000", "start"},
		"no end":                     {"UID:a@plant\nDTSTART:20261128T200000", "neither an end nor a duration"},
		"an end before the start":    {"UID:a@plant\nDTSTART:20261128T200000\nDTEND:20261127T060000", "ends before it begins"},
		"a zone that nobody knows":   {"UID:a@plant\nDTSTART;TZID=Plant Standard Time:20261128T200000\nDTEND:20261129T060000", "time zone"},
		"a rule that cannot be read": {"UID:a@plant\nDTSTART:20261128T200000\nDTEND:20261129T060000\nRRULE:FREQ=FORTNIGHTLY", "FREQ"},
		"dates one by one":           {"UID:a@plant\nDTSTART:20261128T200000\nDTEND:20261129T060000\nRDATE:20261130T200000", "RDATE"},
	} {
		t.Run(name, func(t *testing.T) {
			events, err := ReadEvents(file(tt.event, "UID:good@plant\nDTSTART:20261201T060000\nDTEND:20261201T140000"), oslo)
			if err != nil || len(events) != 2 || !strings.Contains(events[0].Wrong, tt.want) {
				t.Errorf("%+v, %v; want a word of %q", events, err, tt.want)
			}
			if len(events) == 2 && events[1].Wrong != "" {
				t.Errorf("the sound event beside it is refused: %s", events[1].Wrong)
			}
		})
	}
	for name, text := range map[string]string{"a letter": "Dear planner,\n", "nothing": "", "no event": "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nEND:VCALENDAR\r\n"} {
		if _, err := ReadEvents([]byte(text), oslo); err == nil {
			t.Errorf("%s is read as a calendar", name)
		}
	}
}

func FuzzReadEvents(f *testing.F) {
	f.Add(file("UID:a@plant\nDTSTART:20261128T200000\nDURATION:PT10H\nRRULE:FREQ=WEEKLY;COUNT=3\nEXDATE:20261205T200000"))
	f.Add([]byte("BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nDTSTART;TZID=:1\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"))
	f.Add(withZone(file("UID:a@plant\nDTSTART;TZID=Plant Standard Time:20261128T200000\nDURATION:PT10H"), officeZone))
	oslo := zoneNamed(f, "Europe/Oslo")
	f.Fuzz(func(t *testing.T, text []byte) {
		events, err := ReadEvents(text, oslo)
		for _, e := range events {
			if err == nil && e.Wrong == "" && (e.UID == "" || e.End.Compare(e.Start) <= 0) {
				t.Errorf("%q is taken with UID %q from %s to %s", text, e.UID, e.Start, e.End)
			}
		}
	})
}

// TestDurationsStayWhatTheyAre: what is refused is not nought.
func TestDurationsStayWhatTheyAre(t *testing.T) {
	for text, want := range map[string]time.Duration{"PT10H": 10 * time.Hour, "P1DT30M": 24*time.Hour + 30*time.Minute, "+P1W": 7 * 24 * time.Hour,
		"PT": 0, "10H": 0, "P10": 0, "-PT1H": 0, "P99999999W": 0} {
		got, ok := parseDuration(text)
		if ok != (want > 0) || ok && got != want {
			t.Errorf("%q is %s, %v", text, got, ok)
		}
	}
}
