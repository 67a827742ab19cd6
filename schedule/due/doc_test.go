package due_test

import (
	"fmt"
	"strings"

	"carryside/schedule/due"
	"carryside/schedule/rules"
)

// A splice of 339 012 passes under a rule of the plant's own history at 364 000 passes and a rule of thumb at four
// years: the passes run out first.
func ExamplePlant() {
	register, clocks := grainPlant()
	for _, s := range due.Plant(local("2026-11-25T12:00"), register, []rules.Rule{passesLimit(1, 364000), monthsLimit(2, 48)}, clocks) {
		fmt.Printf("%d days, %.0f h, %.0f passes\n", s.Age.Days, s.Age.RunHours.Value, s.Age.Passes.Value)
		fmt.Printf("%s, %s, due %s\n", due.Percent(s.Used), s.Band, s.DueDay)
		fmt.Println(strings.ReplaceAll(s.Reason, "\u00a0", " "))
	}
	// Output:
	// 1167 days, 9417 h, 339012 passes
	// 93 %, 80 to 100 %, due 2027-02-02
	// 339 012 of 364 000 passes since 14 Sep 2023 (class C)
}
