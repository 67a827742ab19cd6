package calendar_test

import (
	"fmt"
	"time"

	"carryside/schedule/calendar"
)

// A daily round at half past two keeps one occurrence a date, on the night that has no half past two as well.
func ExampleCron_Between() {
	zone, _ := calendar.LoadZone("Europe/Berlin")
	daily, _ := calendar.ParseCron("30 2 * * *")
	from := time.Date(2026, time.March, 27, 12, 0, 0, 0, time.UTC)
	for _, o := range daily.Between(zone, from, from.AddDate(0, 0, 3)) {
		fmt.Println(o.Planned, "is", o.At.Format(time.RFC3339), o.Showing == calendar.Skipped)
	}
	// Output:
	// 2026-03-28T02:30 is 2026-03-28T01:30:00Z false
	// 2026-03-29T02:30 is 2026-03-29T01:30:00Z true
	// 2026-03-30T02:30 is 2026-03-30T00:30:00Z false
}

// A night shift over the October change is nine hours long.
func ExampleProduction_Planned() {
	zone, _ := calendar.LoadZone("Europe/Berlin")
	night := []calendar.Shift{{Start: calendar.At(22, 0), End: calendar.At(6, 0)}}
	plan, _ := calendar.NewProduction(zone, []calendar.DayShifts{{Day: time.Saturday, Shifts: night}}, nil)
	saturday := time.Date(2025, time.October, 25, 10, 0, 0, 0, time.UTC)
	fmt.Println(plan.Planned(saturday, saturday.Add(24*time.Hour)), "h")
	// Output: 9 h
}
