package calendar

import (
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestUnknownZonesAreRefused(t *testing.T) {
	for _, name := range []string{"", "Nowhere/Town", "Local", "localtime", "../../etc/passwd", "right/UTC", "posix/Europe/Berlin", "europe berlin"} {
		_, err := LoadZone(name)
		var refused *Refused
		if !errors.As(err, &refused) || refused.Kind != UnknownZone {
			t.Errorf("%q gives %v", name, err)
		}
	}
}

func TestWallTimesAroundClockChanges(t *testing.T) {
	for _, tt := range []struct {
		name, zone, wall, want string
		showing                Showing
	}{
		{"spring gap takes the offset before it", "Europe/Berlin", "2026-03-29T02:30", "2026-03-29T01:30:00Z", Skipped},
		{"first minute of a gap", "Europe/Berlin", "2026-03-29T02:00", "2026-03-29T01:00:00Z", Skipped},
		{"last minute before a gap", "Europe/Berlin", "2026-03-29T01:59", "2026-03-29T00:59:00Z", Once},
		{"first minute after a gap", "Europe/Berlin", "2026-03-29T03:00", "2026-03-29T01:00:00Z", Once},
		{"repeated hour means the first", "Europe/Berlin", "2025-10-26T02:30", "2025-10-26T00:30:00Z", Twice},
		{"first minute that repeats", "Europe/Berlin", "2025-10-26T02:00", "2025-10-26T00:00:00Z", Twice},
		{"first minute after the repeated hour", "Europe/Berlin", "2025-10-26T03:00", "2025-10-26T02:00:00Z", Once},
		{"half-hour gap", "Australia/Lord_Howe", "2025-10-05T02:15", "2025-10-04T15:45:00Z", Skipped},
		{"after the half-hour gap", "Australia/Lord_Howe", "2025-10-05T02:30", "2025-10-04T15:30:00Z", Once},
		{"repeated half hour", "Australia/Lord_Howe", "2025-04-06T01:45", "2025-04-05T14:45:00Z", Twice},
		{"midnight that does not exist", "America/Santiago", "2025-09-07T00:00", "2025-09-07T04:00:00Z", Skipped},
		{"hour before midnight that repeats", "America/Santiago", "2025-04-05T23:30", "2025-04-06T02:30:00Z", Twice},
		{"midnight after it", "America/Santiago", "2025-04-06T00:00", "2025-04-06T04:00:00Z", Once},
		{"a date that the date line took", "Pacific/Apia", "2011-12-30T06:00", "2011-12-30T16:00:00Z", Skipped},
		{"the evening before", "Pacific/Apia", "2011-12-29T23:59", "2011-12-30T09:59:00Z", Once},
		{"the morning after", "Pacific/Apia", "2011-12-31T00:00", "2011-12-30T10:00:00Z", Once},
		{"last day of a leap year after the zone data end", "Europe/Berlin", "2040-12-31T12:00", "2040-12-31T11:00:00Z", Once},
		{"the same in the south", "Australia/Sydney", "2040-12-31T12:00", "2040-12-31T01:00:00Z", Once},
		{"a gap after the zone data end", "Europe/Berlin", "2040-03-25T02:30", "2040-03-25T01:30:00Z", Skipped},
		{"a date that came twice (1892)", "Pacific/Apia", "1892-07-04T12:00", "1892-07-03T23:26:56Z", Twice},
	} {
		at, showing := mustZone(t, tt.zone).Resolve(mustLocal(t, tt.wall))
		if got := at.Format(time.RFC3339); got != tt.want || showing != tt.showing {
			t.Errorf("%s: %s %s is %s shown %d, want %s shown %d", tt.name, tt.zone, tt.wall, got, showing, tt.want, tt.showing)
		}
	}
}

func TestDaysBeginAndEndWhereTheClockSays(t *testing.T) {
	for _, tt := range []struct{ zone, date, start, end string }{
		{"Europe/Berlin", "2026-03-29", "2026-03-28T23:00:00Z", "2026-03-29T22:00:00Z"},
		{"Europe/Berlin", "2025-10-26", "2025-10-25T22:00:00Z", "2025-10-26T23:00:00Z"},
		{"America/Santiago", "2025-09-07", "2025-09-07T04:00:00Z", "2025-09-08T03:00:00Z"},
		{"America/Santiago", "2025-04-05", "2025-04-05T03:00:00Z", "2025-04-06T04:00:00Z"},
		{"Pacific/Apia", "2011-12-30", "2011-12-30T10:00:00Z", "2011-12-30T10:00:00Z"},
		{"Pacific/Apia", "2011-12-29", "2011-12-29T10:00:00Z", "2011-12-30T10:00:00Z"},
		{"Australia/Lord_Howe", "2025-10-05", "2025-10-04T13:30:00Z", "2025-10-05T13:00:00Z"},
	} {
		z := mustZone(t, tt.zone)
		d, err := ParseDate(tt.date)
		if err != nil {
			t.Fatal(err)
		}
		start, end := z.StartOfDay(d).Format(time.RFC3339), z.EndOfDay(d).Format(time.RFC3339)
		if start != tt.start || end != tt.end {
			t.Errorf("%s %s runs from %s to %s, want %s to %s", tt.zone, tt.date, start, end, tt.start, tt.end)
		}
	}
}

// An instant read off the clock and placed again is the same instant, or the same wall time an earlier time.
func TestInstantAndWallTimeAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z, err := LoadZone(rapid.SampledFrom(difficultZones).Draw(t, "zone"))
		if err != nil {
			t.Fatal(err)
		}
		at := time.Unix(rapid.Int64Range(-3e9, 9e9).Draw(t, "unix"), 0).UTC()
		wall := z.Local(at)
		back, showing := z.Resolve(wall)
		switch {
		case showing == Skipped:
			t.Fatalf("%s shows %s, which it is said to skip", z, wall)
		case !back.Equal(at) && (showing != Twice || !back.Before(at) || z.Local(back) != wall):
			t.Fatalf("%s at %s shows %s, which is placed at %s", z, at, wall, back)
		}
	})
}
