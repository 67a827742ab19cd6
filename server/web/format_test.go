package web

import (
	"strings"
	"testing"
	"time"

	"carryside/assets"
)

func plainly(s string) string { return strings.ReplaceAll(s, nb, " ") }

func TestNumbersHaveHardSpaces(t *testing.T) {
	tests := []struct{ got, want string }{
		{Int(0), "0"}, {Int(999), "999"}, {Int(12940), "12 940"}, {Int(1234567), "1 234 567"}, {Int(-1234), "−1 234"},
		{Num(10408.46, 1), "10 408.5"}, {Num(-0.04, 1), "0.0"}, {Num(-0.5, 1), "−0.5"}, {Short(2.60, 2), "2.6"}, {Short(3, 2), "3"},
		{Percent(1.064), "106 %"}, {Percent(0.005), "1 %"}, {With("3.4", "mm"), "3.4 mm"}, {With("", "mm"), ""},
		{Count(0, "splice", "splices"), "no splices"}, {Count(1, "splice", "splices"), "one splice"}, {Count(32, "splice", "splices"), "32 splices"},
		{Figure(1, "splice", "splices"), "1 splice"}, {Duration(11), "11 h"}, {Duration(3.17), "3 h 10 min"}, {Duration(0.5), "30 min"},
		{List([]string{"S1", "S2", "S3"}), "S1, S2 and S3"}, {List([]string{"S1"}), "S1"}, {List(nil), ""},
		{Once(251, 2.6), "once round in 96.5 s"}, {Once(0, 2), ""},
	}
	for _, tt := range tests {
		if plainly(tt.got) != tt.want {
			t.Errorf("%q, want %q", tt.got, tt.want)
		}
		if strings.Contains(tt.want, " %") && strings.Contains(tt.got, " ") {
			t.Errorf("%q breaks between number and unit", tt.got)
		}
	}
}

func TestDatesInPlantTimeWithWeekdayWithinThreeWeeks(t *testing.T) {
	oslo, err := time.LoadLocation("Europe/Oslo")
	if err != nil {
		t.Fatal(err)
	}
	f := Format{Zone: oslo, Now: morning}
	tests := []struct{ name, got, want string }{
		{"in 17 days", f.Day("2026-12-12"), "Sat 12 Dec 2026"},
		{"in 21 days", f.Day("2026-12-16"), "Wed 16 Dec 2026"},
		{"in 22 days", f.Day("2026-12-17"), "17 Dec 2026"},
		{"22 days ago", f.Day("2026-11-03"), "3 Nov 2026"},
		{"none", f.Day(""), ""},
		{"a quarter of an hour before midnight UTC is the next day in Oslo", f.Date(assets.InstantOf(time.Date(2026, 1, 31, 23, 45, 0, 0, time.UTC))), "1 Feb 2026"},
		{"summer time", f.Stamp(assets.InstantOf(time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC))), "1 Jul 2026, 14:00"},
		{"in full", f.LongDay("2026-11-25"), "Wednesday 25 November 2026"},
		{"as written", f.When(assets.When{AsWritten: "spring 2022", Earliest: "2022-03-01", Latest: "2022-05-31"}), "spring 2022"},
		{"a day", f.When(assets.When{Earliest: "2023-09-14", Latest: "2023-09-14"}), "14 Sep 2023"},
		{"not after", f.When(assets.When{Latest: "2018-01-01", At: 1}), "by 1 Jan 2018"},
		{"not given", f.When(assets.When{}), "not known"},
	}
	for _, tt := range tests {
		if got := plainly(tt.got); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestUnitsOfThePlant(t *testing.T) {
	si, us := Format{Units: assets.UnitsSI}, Format{Units: assets.UnitsUS}
	tests := []struct{ got, want string }{
		{si.Width(1.4), "1 400 mm"}, {si.Loop(251), "251.00 m"}, {si.Centres(118), "118 m"}, {si.Speed(2.6), "2.6 m/s"}, {si.Width(0), "not known"},
		{us.Speed(2.54), "500 ft/min"}, {si.Tension(100000), "100 N/mm"},
	}
	for _, tt := range tests {
		if got := plainly(tt.got); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}
