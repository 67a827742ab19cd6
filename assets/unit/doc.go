// Package unit reads quantities as people type them and shows them in the plant's units, exact on the way back.
//
// Inside everything is SI; a number becomes inches or degrees Fahrenheit only at a form, a sheet or a screen. Values are
// exact fractions, so that 1/16 in is 1.5875 mm and comes back as 1/16 in. The package knows no plant, no belt and no
// page: a Field says which units a box of a form takes, and everything else follows from it.
//
//	m, err := unit.Width.Parse("5'-3 1/2\"", assets.UnitsUS) // m.SI() is 1.6129 (m), m.Typed what was typed
//	unit.Width.Show(1.6129, assets.UnitsUS)                  // 63 1/2"
//	unit.Width.Show(1.6129, assets.UnitsSI)                  // 1 612.9 mm, with hard spaces
//
// Factors follow from the exact definitions of inch, foot and pound (international agreement of 1959) and of standard
// gravity, 9.80665 m/s² (NIST SP 811).
package unit
