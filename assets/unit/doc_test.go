package unit_test

import (
	"fmt"
	"strings"

	"carryside/assets"
	"carryside/assets/unit"
)

// show makes hard spaces visible in the output below.
func show(s string) string { return strings.ReplaceAll(s, unit.HardSpace, "_") }

// A width typed in a US plant, read by one on SI and opened for change again.
func ExampleField_Parse() {
	m, err := unit.Width.Parse("47 1/4", assets.UnitsUS)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(m.SI(), "m")
	fmt.Println(show(unit.Width.Show(m.SI(), assets.UnitsSI)))
	fmt.Println(show(unit.Width.ShowTyped(m.SI(), m.Typed, assets.UnitsUS)))
	fmt.Println(unit.Width.Entry(m.SI(), m.Typed, assets.UnitsUS))
	// Output:
	// 1.20015 m
	// 1_200.2_mm
	// 47_1/4"
	// 47 1/4
}

// What cannot be read is refused in one sentence.
func ExampleParseLength() {
	_, err := unit.ParseLength("5'-12\"", "")
	fmt.Println(err)
	// Output:
	// "5'-12\"" has twelve inches or more beside feet; carry them over into the feet
}
