package clock_test

import (
	"fmt"
	"time"

	"carryside/schedule/clock"
)

// A reading that runs backwards waits for a person; the projection rests on the others.
func ExampleProject() {
	monday := time.Date(2025, time.June, 2, 4, 0, 0, 0, time.UTC)
	week := 7 * 24 * time.Hour
	line, verdicts := clock.NewMeter(0.1, nil).Accept([]clock.Reading{
		{At: monday, Shown: 1000}, {At: monday.Add(week), Shown: 1084}, {At: monday.Add(2 * week), Shown: 186}, {At: monday.Add(3 * week), Shown: 1252},
	})
	fmt.Println("third reading:", verdicts[2].Class.Words())
	ahead := clock.Project(line, nil, 90*24*time.Hour, time.Time{})
	e := ahead.At(monday.Add(4 * week))
	fmt.Printf("a week later: %.0f h, give or take %.0f h\n", e.Hours, e.SpreadH)
	due, _ := ahead.When(1500)
	fmt.Println("1500 h on", due.Format(time.DateOnly))
	// Output:
	// third reading: backwards
	// a week later: 1336 h, give or take 12 h
	// 1500 h on 2025-07-13
}
