package due_test

import (
	"testing"

	"carryside/assets"
	"carryside/schedule/clock"
	"carryside/schedule/due"
)

// The meter is read on 25 November 2026 at noon and no more. The line is planned for Monday to Friday, 06:00
// to 14:00, 8 h a day; the plant around the clock. Over the trailing 90 days the conveyor ran as planned.
func TestHoursAreProjectedByTheLinesOwnCalendar(t *testing.T) {
	weekdays := func(line int64, start, end string, days ...int) assets.ProductionCalendar {
		c := assets.ProductionCalendar{LineID: line}
		for _, d := range days {
			c.Shifts = append(c.Shifts, assets.Shift{Weekday: d, Start: start, End: end})
		}
		return c
	}
	reg, _ := grainPlant()
	other := reg.Conveyors[0]
	other.ID, other.LineID = 11, 4
	reg.Conveyors = append(reg.Conveyors, other)
	reg.Arrange()
	own := weekdays(3, "06:00", "14:00", 1, 2, 3, 4, 5)
	own.Exceptions = []assets.ExceptionDay{{Day: "2026-12-01"}}
	calendars := []assets.ProductionCalendar{own, weekdays(0, "00:00", "00:00", 0, 1, 2, 3, 4, 5, 6)}
	clocks := due.NewClocks(due.History{Register: reg, Calendars: calendars, Points: map[int64][]clock.Point{
		10: {{At: local("2026-11-25T12:00"), Hours: 19417}}, 11: {{At: local("2026-11-25T12:00"), Hours: 100}},
	}})
	// To Wednesday 2 December, noon: 2 h on the 25th, 8 h each on 26, 27 and 30 November, none on 1 December
	// (closed), 6 h on the 2nd: 32 h. The other line runs 168 h.
	for conveyor, want := range map[int64]float64{10: 19417 + 32, 11: 268} {
		if h, ok := clocks.Lines[conveyor].HoursAt(local("2026-12-02T12:00")); !ok || h < want-1e-6 || h > want+1e-6 {
			t.Errorf("conveyor %d: %v h, want %v", conveyor, h, want)
		}
	}
}

func TestConveyorNobodyReadRunsByItsPlanSinceItsFirstKnownDate(t *testing.T) {
	reg, _ := grainPlant()
	around := assets.ProductionCalendar{}
	for d := range 7 {
		around.Shifts = append(around.Shifts, assets.Shift{Weekday: d, Start: "00:00", End: "00:00"})
	}
	clocks := due.NewClocks(due.History{Register: reg, Calendars: []assets.ProductionCalendar{around}})
	// The belt's fitting is not known, the splice was made by the end of 14 September 2023; the 1 167.5 days
	// since (and an hour, for summer time) are 28 021 h.
	got := one(t, reg, clocks).Age
	if got.RunHours != figure(28021) || got.Passes.Value != 28021*36 {
		t.Errorf("age %+v, want 28 021 h", got)
	}
	if got := one(t, reg, due.NewClocks(due.History{Register: reg})).Age; got.RunHours.Known || !got.Known {
		t.Errorf("without readings and plan hours were made up: %+v", got)
	}
}

func TestEarlierVersionsOfConveyorAndBeltCount(t *testing.T) {
	reg, _ := grainPlant()
	slow := reg.Conveyors[0]
	slow.SpeedMPS = 0.25
	reg.Conveyors[0].ValidFrom = assets.InstantOf(local("2025-03-01T06:00"))
	history := due.History{Register: reg, Points: map[int64][]clock.Point{
		10: {{At: local("2023-09-15T00:00"), Hours: 0}, {At: local("2025-03-01T06:00"), Hours: 1000}, {At: local("2026-11-25T12:00"), Hours: 3000}},
	}}
	// 1 000 h at 18 passes an hour, then 2 000 h at 36, whether the register's version is named again or not.
	for _, versions := range [][]assets.Conveyor{{slow}, {reg.Conveyors[0], slow}} {
		history.Conveyors = map[int64][]assets.Conveyor{10: versions}
		if got := one(t, reg, due.NewClocks(history)).Age.Passes; got != figure(18000+72000) {
			t.Errorf("passes %+v, want 90 000", got)
		}
	}
}
