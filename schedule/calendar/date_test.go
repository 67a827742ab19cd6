package calendar

import (
	"encoding/json"
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestDateAgreesWithTheStandardLibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unix := rapid.Int64Range(-62135596800, 253402300799).Draw(t, "unix")
		want := time.Unix(unix, 0).UTC()
		d := dateOf(want)
		if d.String() != want.Format(time.DateOnly) || d.Weekday() != want.Weekday() {
			t.Fatalf("%s reads as %s, a %s", want, d, d.Weekday())
		}
		days := rapid.IntRange(-400, 400).Draw(t, "days")
		later := want.AddDate(0, 0, days)
		if later.Year() >= 1 && later.Year() <= 9999 && d.AddDays(days).String() != later.Format(time.DateOnly) {
			t.Fatalf("%s and %d days is %s, not %s", d, days, d.AddDays(days), later.Format(time.DateOnly))
		}
		if got := d.AddDays(days); !got.IsZero() && got.DaysSince(d) != days {
			t.Fatalf("from %s to %s are %d days, not %d", d, got, got.DaysSince(d), days)
		}
	})
}

func TestMonthsAreClampedToTheirLastDay(t *testing.T) {
	for _, tt := range []struct {
		from   string
		months int
		want   string
	}{
		{"2025-01-31", 1, "2025-02-28"},
		{"2024-01-31", 1, "2024-02-29"},
		{"2024-02-29", 12, "2025-02-28"},
		{"2024-02-29", 48, "2028-02-29"},
		{"2100-01-30", 1, "2100-02-28"},
		{"2025-03-31", -1, "2025-02-28"},
		{"2025-12-15", 1, "2026-01-15"},
		{"9999-12-31", 1, ""},
		{"0001-01-01", -1, ""},
		{"", 5, ""},
	} {
		from, err := ParseDate(tt.from)
		if err != nil {
			t.Fatal(err)
		}
		if got := from.AddMonths(tt.months).String(); got != tt.want {
			t.Errorf("%q and %d months is %q, want %q", tt.from, tt.months, got, tt.want)
		}
	}
}

func TestDateTextAndBack(t *testing.T) {
	type record struct {
		Fitted Date `json:"fitted"`
		Gone   Date `json:"gone"`
	}
	fitted := NewDate(2024, time.February, 29)
	text, err := json.Marshal(record{Fitted: fitted})
	if err != nil || string(text) != `{"fitted":"2024-02-29","gone":""}` {
		t.Fatalf("written as %s (%v)", text, err)
	}
	var back record
	if err := json.Unmarshal(text, &back); err != nil || back.Fitted != fitted || !back.Gone.IsZero() {
		t.Fatalf("read back as %+v (%v)", back, err)
	}
}

func TestDatesThatAreNone(t *testing.T) {
	for _, s := range []string{"2025-02-29", "2025-13-01", "29.03.2026", "2026-3-29", "0000-01-01", "2026-03-29T06:00", "tomorrow"} {
		_, err := ParseDate(s)
		var refused *Refused
		if !errors.As(err, &refused) || refused.Kind != BadDate {
			t.Errorf("%q gives %v", s, err)
		}
	}
}

func TestTimesOfDay(t *testing.T) {
	for s, want := range map[string]TimeOfDay{"00:00": 0, "06:00": At(6, 0), "23:59": At(23, 59), "24:00": 86400, "06:00:30": At(6, 0) + 30} {
		if got, err := ParseTimeOfDay(s); err != nil || got != want {
			t.Errorf("%q reads as %d (%v)", s, got, err)
		}
	}
	for _, s := range []string{"", "6:00", "24:01", "12:60", "25:00", "noon", "06.00", "-1:00", "06:00:60", "+6:00"} {
		if got, err := ParseTimeOfDay(s); err == nil {
			t.Errorf("%q reads as %s", s, got)
		}
	}
}
