package calendar

import (
	"errors"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// mustRecurrence reads a rule that the test names.
func mustRecurrence(t testing.TB, rule, start string, excluded ...string) *Recurrence {
	t.Helper()
	var left []Local
	for _, e := range excluded {
		left = append(left, mustLocal(t, e))
	}
	r, err := ParseRecurrence(rule, mustLocal(t, start), left...)
	if err != nil {
		t.Fatalf("%s: %v", rule, err)
	}
	return r
}

func TestRecurrence(t *testing.T) {
	for _, c := range readCases[struct {
		ID, Name, Zone, RRule string
		Start                 string   `json:"dtstart_local"`
		Finite                bool     `json:"finite"`
		Local                 []string `json:"expected_local"`
		UTC                   []string `json:"expected_utc"`
	}](t, "rfc5545.json") {
		t.Run(c.ID+" "+c.Name, func(t *testing.T) {
			r := mustRecurrence(t, c.RRule, c.Start)
			limit := len(c.Local)
			if c.Finite {
				limit++ // one more must not come
			}
			var local, utc []string
			for _, o := range r.First(mustZone(t, c.Zone), limit) {
				local = append(local, time.Unix(o.Planned.unix(), 0).UTC().Format("2006-01-02T15:04:05"))
				utc = append(utc, o.At.Format(time.RFC3339))
			}
			if !slices.Equal(local, c.Local) || !slices.Equal(utc, c.UTC) {
				t.Errorf("got  %v\nwant %v", local, c.Local)
			}
			if r.Endless() == c.Finite {
				t.Errorf("endless %v, finite %v", r.Endless(), c.Finite)
			}
		})
	}
}

// More examples of RFC 5545, section 3.8.5.3 (America/New_York), given there by date.
func TestRecurrenceMoreExamplesOfTheStandard(t *testing.T) {
	zone := mustZone(t, "America/New_York")
	for _, tt := range []struct {
		name, rule, start string
		excluded          []string
		want              string
	}{
		{"Monday of week 20", "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO", "19970512T090000", nil, "1997-05-12T09:00 1998-05-11T09:00 1999-05-17T09:00"},
		{"20th Monday of the year", "FREQ=YEARLY;BYDAY=20MO", "19970519T090000", nil, "1997-05-19T09:00 1998-05-18T09:00 1999-05-17T09:00"},
		{"Thursdays in March", "FREQ=YEARLY;BYMONTH=3;BYDAY=TH", "19970313T090000", nil, "1997-03-13T09:00 1997-03-20T09:00 1997-03-27T09:00 1998-03-05T09:00"},
		{"Friday the 13th, the first start taken out", "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13", "19970902T090000", []string{"19970902T090000"},
			"1998-02-13T09:00 1998-03-13T09:00 1998-11-13T09:00 1999-08-13T09:00 2000-10-13T09:00"},
		{"first Saturday after the first Sunday", "FREQ=MONTHLY;BYDAY=SA;BYMONTHDAY=7,8,9,10,11,12,13", "19970913T090000", nil,
			"1997-09-13T09:00 1997-10-11T09:00 1997-11-08T09:00 1997-12-13T09:00 1998-01-10T09:00"},
		{"Tuesday after a Monday in November, every four years", "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8", "19961105T090000", nil,
			"1996-11-05T09:00 2000-11-07T09:00 2004-11-02T09:00"},
		{"every three hours from nine to five", "FREQ=HOURLY;INTERVAL=3;UNTIL=19970902T210000Z", "19970902T090000", nil, "1997-09-02T09:00 1997-09-02T12:00 1997-09-02T15:00"},
		{"every quarter of an hour, six times", "FREQ=MINUTELY;INTERVAL=15;COUNT=6", "19970902T090000", nil,
			"1997-09-02T09:00 1997-09-02T09:15 1997-09-02T09:30 1997-09-02T09:45 1997-09-02T10:00 1997-09-02T10:15"},
		{"every hour and a half, four times", "FREQ=MINUTELY;INTERVAL=90;COUNT=4", "19970902T090000", nil, "1997-09-02T09:00 1997-09-02T10:30 1997-09-02T12:00 1997-09-02T13:30"},
		{"1st, 100th and 200th day every third year", "FREQ=YEARLY;INTERVAL=3;COUNT=10;BYYEARDAY=1,100,200", "19970101T090000", nil,
			"1997-01-01T09:00 1997-04-10T09:00 1997-07-19T09:00 2000-01-01T09:00 2000-04-09T09:00 2000-07-18T09:00 2003-01-01T09:00 2003-04-10T09:00 2003-07-19T09:00 2006-01-01T09:00"},
		{"yearly in June and July", "FREQ=YEARLY;COUNT=4;BYMONTH=6,7", "19970610T090000", nil, "1997-06-10T09:00 1997-07-10T09:00 1998-06-10T09:00 1998-07-10T09:00"},
	} {
		r := mustRecurrence(t, tt.rule, tt.start, tt.excluded...)
		want := strings.Fields(tt.want)
		var got []string
		for _, o := range r.First(zone, len(want)) {
			got = append(got, o.Planned.String())
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: got %v, want %v", tt.name, got, want)
		}
	}
	for name, pair := range map[string][2]string{
		"every 20 minutes from 9:00 to 16:40 written two ways": {"FREQ=DAILY;BYHOUR=9,10,11,12,13,14,15,16;BYMINUTE=0,20,40", "FREQ=MINUTELY;INTERVAL=20;BYHOUR=9,10,11,12,13,14,15,16"},
	} {
		a, b := mustRecurrence(t, pair[0], "19970902T090000"), mustRecurrence(t, pair[1], "19970902T090000")
		if !slices.Equal(a.First(zone, 100), b.First(zone, 100)) {
			t.Errorf("%s: they differ", name)
		}
	}
}

func TestStartsThatAreLeftOutAndCounted(t *testing.T) {
	berlin := mustZone(t, "Europe/Berlin")
	for _, tt := range []struct {
		name, rule string
		excluded   []string
		want       string
	}{
		{"a skipped start is not counted", "FREQ=DAILY;COUNT=3", nil, "2026-03-28T02:30 2026-03-30T02:30 2026-03-31T02:30"},
		{"an excluded one is counted", "FREQ=DAILY;COUNT=3", []string{"20260330T023000"}, "2026-03-28T02:30 2026-03-31T02:30"},
		{"excluding a skipped one changes nothing", "FREQ=DAILY;COUNT=3", []string{"20260329T023000"}, "2026-03-28T02:30 2026-03-30T02:30 2026-03-31T02:30"},
		{"UNTIL in UTC is an instant and belongs to the rule", "FREQ=DAILY;UNTIL=20260330T003000Z", nil, "2026-03-28T02:30 2026-03-30T02:30"},
		{"a second before", "FREQ=DAILY;UNTIL=20260330T002959Z", nil, "2026-03-28T02:30"},
		{"UNTIL as wall time", "FREQ=DAILY;UNTIL=20260330T023000", nil, "2026-03-28T02:30 2026-03-30T02:30"},
		{"UNTIL as a date means the whole of it", "FREQ=DAILY;UNTIL=20260330", nil, "2026-03-28T02:30 2026-03-30T02:30"},
		{"UNTIL before the start", "FREQ=DAILY;UNTIL=20260101T000000Z", nil, ""},
		{"hours named twice come once", "FREQ=DAILY;BYHOUR=4,4;BYMINUTE=0;COUNT=2", nil, "2026-03-28T04:00 2026-03-29T04:00"},
		{"small letters and prefix", "rrule:freq=daily;count=1;", nil, "2026-03-28T02:30"},
		{"a week number alone takes the weekday of the start", "FREQ=YEARLY;BYWEEKNO=20;COUNT=2", nil, "2026-05-16T02:30 2027-05-22T02:30"},
	} {
		r := mustRecurrence(t, tt.rule, "20260328T023000", tt.excluded...)
		var got []string
		for _, o := range r.First(berlin, 50) {
			got = append(got, o.Planned.String())
		}
		if strings.Join(got, " ") != tt.want {
			t.Errorf("%s: got %v, want %s", tt.name, got, tt.want)
		}
	}
}

func TestRecurrenceBetween(t *testing.T) {
	zone := mustZone(t, "Europe/Berlin")
	r := mustRecurrence(t, "FREQ=DAILY", "20250101T060000")
	got := r.Between(zone, mustTime(t, "2025-03-29T05:00:00Z"), mustTime(t, "2025-03-31T04:00:00Z"))
	if len(got) != 2 || got[0].Planned.String() != "2025-03-30T06:00" || got[1].Planned.String() != "2025-03-31T06:00" {
		t.Errorf("between, the first instant left out and the last one in: %v", got)
	}
}

func TestRecurrenceRefused(t *testing.T) {
	for rule, kind := range map[string]string{
		"":                                     BadRecurrence,
		"DAILY":                                BadRecurrence,
		"INTERVAL=2":                           BadRecurrence,
		"FREQ=FORTNIGHTLY":                     BadRecurrence,
		"FREQ=DAILY;INTERVAL=0":                BadRecurrence,
		"FREQ=DAILY;INTERVAL=-1":               BadRecurrence,
		"FREQ=DAILY;INTERVAL=two":              BadRecurrence,
		"FREQ=DAILY;INTERVAL=99999999999":      BadRecurrence,
		"FREQ=DAILY;COUNT=0":                   BadRecurrence,
		"FREQ=DAILY;COUNT=-3":                  BadRecurrence,
		"FREQ=DAILY;COUNT=2;UNTIL=20260101":    BadRecurrence,
		"FREQ=DAILY;UNTIL=someday":             BadRecurrence,
		"FREQ=DAILY;UNTIL=2026-01-01":          BadRecurrence,
		"FREQ=DAILY;FREQ=WEEKLY":               BadRecurrence,
		"FREQ=DAILY;BYEASTER=0":                BadRecurrence,
		"FREQ=DAILY;DTSTART=20260101":          BadRecurrence,
		"FREQ=MONTHLY;BYMONTHDAY=0":            BadRecurrence,
		"FREQ=MONTHLY;BYMONTHDAY=32":           BadRecurrence,
		"FREQ=WEEKLY;BYMONTHDAY=1":             BadRecurrence,
		"FREQ=WEEKLY;BYDAY=1MO":                BadRecurrence,
		"FREQ=MONTHLY;BYDAY=6MO":               BadRecurrence,
		"FREQ=YEARLY;BYDAY=54MO":               BadRecurrence,
		"FREQ=YEARLY;BYMONTH=1;BYDAY=-53MO":    BadRecurrence,
		"FREQ=YEARLY;BYWEEKNO=20;BYDAY=1MO":    BadRecurrence,
		"FREQ=WEEKLY;BYDAY=XX":                 BadRecurrence,
		"FREQ=WEEKLY;BYDAY=,MO":                BadRecurrence,
		"FREQ=WEEKLY;WKST=FUNDAY":              BadRecurrence,
		"FREQ=MONTHLY;BYWEEKNO=3":              BadRecurrence,
		"FREQ=MONTHLY;BYYEARDAY=3":             BadRecurrence,
		"FREQ=MONTHLY;BYSETPOS=1":              BadRecurrence,
		"FREQ=DAILY;BYHOUR=24":                 BadRecurrence,
		"FREQ=DAILY;BYHOUR=-1":                 BadRecurrence,
		"FREQ=HOURLY;INTERVAL=2;BYHOUR=7":      NeverOccurs,
		"FREQ=MINUTELY;INTERVAL=30;BYMINUTE=5": NeverOccurs,
		"FREQ=SECONDLY;INTERVAL=60;BYSECOND=5": NeverOccurs,
		"FREQ=SECONDLY;BYMINUTE=0;BYSETPOS=2":  NeverOccurs,
		"FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30":  NeverOccurs,
	} {
		_, err := ParseRecurrence(rule, mustLocal(t, "20260328T023000"))
		var refused *Refused
		if !errors.As(err, &refused) || refused.Kind != kind {
			t.Errorf("%q gives %v, want class %s", rule, err, kind)
		}
	}
}

func TestWindows(t *testing.T) {
	type expected struct {
		StartLocal string  `json:"start_local"`
		Start      string  `json:"start_utc"`
		EndLocal   string  `json:"end_local"`
		End        string  `json:"end_utc"`
		Minutes    float64 `json:"minutes"`
	}
	seconds := func(l Local) string { return l.String() + ":00" }
	for _, c := range readCases[struct {
		ID, Name, Zone, RRule string
		Start                 string   `json:"dtstart_local"`
		Minutes               int      `json:"wall_minutes"`
		Excluded              []string `json:"exdates_local"`
		Expected              []expected
	}](t, "windows.json") {
		t.Run(c.ID+" "+c.Name, func(t *testing.T) {
			windows, err := NewWindows(mustRecurrence(t, c.RRule, c.Start, c.Excluded...), c.Minutes)
			if err != nil {
				t.Fatal(err)
			}
			var got []expected
			for _, w := range windows.First(mustZone(t, c.Zone), len(c.Expected)+1) {
				got = append(got, expected{seconds(w.StartLocal), w.Start.Format(time.RFC3339), seconds(w.EndLocal), w.End.Format(time.RFC3339), w.Minutes()})
			}
			if !slices.Equal(got, c.Expected) {
				t.Errorf("got  %v\nwant %v", got, c.Expected)
			}
		})
	}
}

func TestWindowsThatAreNone(t *testing.T) {
	for _, minutes := range []int{0, -60, 366*24*60 + 1} {
		if w, err := NewWindow(Zone{}, mustLocal(t, "2026-03-28T22:00"), minutes); err == nil {
			t.Errorf("%d minutes make a window %v", minutes, w)
		}
	}
}

// A window lasts as long on the wall as planned; elapsed minutes differ only by what the clock was moved.
func TestWindowsKeepTheirWallTimes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z, err := LoadZone(rapid.SampledFrom(difficultZones).Draw(t, "zone"))
		if err != nil {
			t.Fatal(err)
		}
		start := Local{NewDate(2010, 1, 1).AddDays(rapid.IntRange(0, 6000).Draw(t, "day")), At(rapid.IntRange(0, 23).Draw(t, "hour"), rapid.IntRange(0, 59).Draw(t, "minute"))}
		minutes := rapid.IntRange(1, 3000).Draw(t, "minutes")
		w, err := NewWindow(z, start, minutes)
		if err != nil {
			t.Fatal(err)
		}
		_, before := w.Start.In(z.Location()).Zone()
		_, after := w.End.In(z.Location()).Zone()
		moved := float64(after-before) / 60
		if _, showing := z.Resolve(w.EndLocal); showing == Skipped {
			return // the end itself is placed before the gap
		}
		if _, showing := z.Resolve(start); showing == Skipped {
			return
		}
		if w.Minutes() != float64(minutes)-moved && w.End.After(w.Start) {
			t.Fatalf("%s in %s for %d minutes: %v elapse, the clock moved %v", start, z, minutes, w.Minutes(), moved)
		}
	})
}

func FuzzParseRecurrence(f *testing.F) {
	for _, c := range readCases[struct{ RRule string }](f, "rfc5545.json") {
		f.Add(c.RRule, "19970902T090000")
	}
	f.Add("FREQ=MONTHLY;BYDAY=-5MO,5SU;BYSETPOS=-1", "20260131T235959")
	f.Add("FREQ=YEARLY;BYWEEKNO=53,-1;WKST=SU", "20240229T000000")
	f.Add("FREQ=SECONDLY;INTERVAL=7;BYHOUR=3;BYMINUTE=1", "20260329T023000")
	zone := mustZone(f, "Europe/Berlin")
	f.Fuzz(func(t *testing.T, rule, start string) {
		first, err := ParseLocal(start)
		if err != nil {
			return
		}
		r, err := ParseRecurrence(rule, first)
		if err != nil {
			if !errors.As(err, new(*Refused)) {
				t.Errorf("%q is refused without a class: %v", rule, err)
			}
			return
		}
		var last Occurrence
		for i, o := range r.First(zone, 5) {
			if i > 0 && o.Planned.Compare(last.Planned) <= 0 {
				t.Errorf("%q from %s: %s comes after %s", rule, start, o.Planned, last.Planned)
			}
			if o.Planned.Compare(first) < 0 || o.Showing == Skipped {
				t.Errorf("%q from %s: %s is no start", rule, start, o.Planned)
			}
			last = o
		}
	})
}

// TestARuleThatNamesEverySecondIsRefused: the library would work out thirty million times for its first year.
func TestARuleThatNamesEverySecondIsRefused(t *testing.T) {
	every := func(n int) string {
		texts := make([]string, n)
		for i := range texts {
			texts[i] = strconv.Itoa(i)
		}
		return strings.Join(texts, ",")
	}
	start := mustLocal(t, "2026-12-01T06:00")
	if _, err := ParseRecurrence("FREQ=YEARLY;BYHOUR="+every(24)+";BYMINUTE="+every(60)+";BYSECOND=0,30", start); err == nil {
		t.Error("2880 times of day are taken")
	}
	if _, err := ParseRecurrence("FREQ=DAILY;BYHOUR="+every(24)+";BYMINUTE="+every(60), start); err != nil {
		t.Errorf("each minute: %v", err)
	}
}
