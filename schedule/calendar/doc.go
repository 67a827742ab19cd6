// Package calendar is plant time: civil dates, the plant's zone, cron expressions, intervals, recurrence, stop
// windows and production calendars.
//
// What a plant plans is a wall time in its own zone; what happens is an instant in UTC. The package turns the one
// into the other by one rule wherever it does so (RFC 5545, 3.3.5): a wall time that the clock skips takes the
// offset before the gap, a wall time that occurs twice means the first one. It reads no clock, knows nothing of
// conveyors or storage, and takes every instant as an argument.
//
//	zone, err := calendar.LoadZone("Europe/Berlin")
//	expr, err := calendar.ParseCron("30 2 * * *")
//	due := expr.Between(zone, lastLook, now) // each planned local date and time once, skipped or doubled
package calendar
