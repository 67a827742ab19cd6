package unit

import (
	"math/big"
	"strings"

	"carryside/assets"
)

// Field is what one box of a form, or one column of a screen, takes and shows: a unit for plants on SI and one for
// plants on US customary units, and how many decimals.
type Field struct {
	Dimension
	SI, US string // names of units
	// Decimals shown when nobody typed the value: at least and at most, trailing zeros between them left out. Inches and
	// feet of a FeetInches or "in" field are shown to 1/16 in instead, unless InchDecimals.
	SILeast, SIMost int
	USLeast, USMost int
	InchDecimals    bool // decimal inches instead of sixteenths: fingers, openings, covers and whole belts are gauged, not taped
}

// The fields of the register, the calculator and the job sheet.
var (
	Width        = Field{Dimension: Length, SI: "mm", US: "in", SIMost: 1}
	Diameter     = Field{Dimension: Length, SI: "mm", US: "in", SIMost: 1}
	Travel       = Field{Dimension: Length, SI: "mm", US: "in", SIMost: 1}
	Step         = Field{Dimension: Length, SI: "mm", US: "in", SIMost: 1}
	Thickness    = Field{Dimension: Length, SI: "mm", US: "in", SILeast: 1, SIMost: 2, USLeast: 3, USMost: 3, InchDecimals: true}
	Finger       = Field{Dimension: Length, SI: "mm", US: "in", SIMost: 2, USLeast: 3, USMost: 3, InchDecimals: true} // by template: a sixteenth is a tenth of it
	Opening      = Field{Dimension: Length, SI: "mm", US: "in", SIMost: 1, USLeast: 3, USMost: 3, InchDecimals: true} // of a seam: gauged
	LoopLength   = Field{Dimension: Length, SI: "m", US: FeetInches, SILeast: 2, SIMost: 3}
	Distance     = Field{Dimension: Length, SI: "m", US: FeetInches, SIMost: 3}
	BeltSpeed    = Field{Dimension: Speed, SI: "m/s", US: "ft/min", SILeast: 1, SIMost: 3, USMost: 1}
	BeltTension  = Field{Dimension: Tension, SI: "N/mm", US: "lbf/in (PIW)", SIMost: 2, USMost: 1}
	TensionPerM  = Field{Dimension: Tension, SI: "N/m", US: "lbf/in (PIW)", USMost: 1}
	AreaMass     = Field{Dimension: MassPerArea, SI: "kg/m2", US: "lb/ft2", SILeast: 1, SIMost: 2, USMost: 2}
	BeltMass     = Field{Dimension: Mass, SI: "kg", US: "lb", SIMost: 1, USMost: 1}
	Heat         = Field{Dimension: Temperature, SI: "degC", US: "degF", SIMost: 1, USMost: 1}
	HeatStep     = Field{Dimension: TemperatureDifference, SI: "K", US: "degF difference", SIMost: 1, USMost: 1}
	HeatRate     = Field{Dimension: HeatingRate, SI: "K/min", US: "degF/min", SIMost: 1, USMost: 1}
	Slope        = Field{Dimension: Angle, SI: "deg", US: "deg", SIMost: 1, USMost: 1}
	PlatePress   = Field{Dimension: Pressure, SI: "bar", US: "psi", SIMost: 2, USMost: 1}
	Tightening   = Field{Dimension: Torque, SI: "N.m", US: "ft.lbf", SIMost: 1, USMost: 1}
	RunningHours = Field{Dimension: Duration, SI: "h", US: "h", SIMost: 1, USMost: 1}
	SurfaceArea  = Field{Dimension: Area, SI: "m2", US: "ft2", SIMost: 2, USMost: 1}
)

// finest is how many decimals a box offers at most when a stored value is put back into it.
const finest = 9

// name of the unit the field has under a system; anything but US customary is SI.
func (f Field) name(system assets.UnitSystem) string {
	if system == assets.UnitsUS {
		return f.US
	}
	return f.SI
}

func (f Field) unit(system assets.UnitSystem) *Unit { return Find(f.name(system)) }

// Sign is the unit for a label or a table's head, such as mm or °F; for feet and inches it is ft-in.
func (f Field) Sign(system assets.UnitSystem) string {
	if f.name(system) == FeetInches {
		return FeetInches
	}
	return f.unit(system).Sign
}

// Parse reads what a person typed in the field. A number without a unit has the field's own; another unit of the same
// dimension may stand behind the number, in either system.
//
// It returns a Refused, whose one sentence belongs beside the field.
func (f Field) Parse(typed string, system assets.UnitSystem) (Measure, error) {
	if f.Dimension == Length {
		return ParseLength(typed, f.name(system))
	}
	if len(typed) > maxTyped {
		return Measure{}, refuse("the text is longer than %d characters; shorten it", maxTyped)
	}
	m := numberThen.FindStringSubmatch(plain(typed))
	if m == nil {
		return Measure{}, refuse("%q is not a number; write it in digits, such as 12.5", typed)
	}
	u := f.unit(system)
	if m[2] != "" {
		if u = spelt(f.Dimension, m[2]); u == nil {
			return Measure{}, f.notMine(typed, m[2], system)
		}
	}
	r, decimals, err := parseNumber(m[1])
	if err != nil {
		return Measure{}, err
	}
	return Measure{Typed: typed, Unit: u, reading: r, decimals: decimals}.bounded()
}

// notMine refuses text behind a number that is no unit of the field.
func (f Field) notMine(typed, behind string, system assets.UnitSystem) error {
	if powersOfTen.MatchString(typed) {
		return refuse("%q is written with a power of ten; write the number out", typed)
	}
	if strings.ContainsAny(typed, "0123456789") {
		return refuse("%q has %q behind the number, which is no unit of %s; use %s or leave it out", typed, behind, f.Dimension, f.Sign(system))
	}
	return refuse("%q is not a number; write it in digits, such as 12.5", typed)
}

// Show writes a stored SI value with its unit for the plant's readers: 1 400 mm, 63 1/2", 100 ft/min, with hard spaces.
func (f Field) Show(stored float64, system assets.UnitSystem) string {
	r := Exact(stored)
	if r == nil {
		return "not a number"
	}
	return f.show(r, system)
}

// ShowTyped is Show for a value whose text was kept: while the text still stands for the stored value it is shown, in the
// system it was typed in, with all that was typed.
func (f Field) ShowTyped(stored float64, typed string, system assets.UnitSystem) string {
	if m, ok := f.stillTyped(stored, typed, system); ok {
		return m.Show(f, system)
	}
	return f.Show(stored, system)
}

// Entry is what stands in the field's box when a stored value is opened for change: the text as typed, else a text that
// Parse reads back to the very same value, so that saving an untouched form changes nothing.
func (f Field) Entry(stored float64, typed string, system assets.UnitSystem) string {
	if m, ok := f.stillTyped(stored, typed, system); ok {
		return m.Typed
	}
	r := Exact(stored)
	if r == nil {
		return ""
	}
	for _, text := range f.entries(r, system) {
		if m, err := f.Parse(text, system); err == nil && m.SI() == stored {
			return text
		}
	}
	si := Find(f.SI)
	return Plain(si.of(r), 30) + " " + si.Sign
}

// entries are the texts for a box in the field's own unit, the shortest first.
func (f Field) entries(r *big.Rat, system assets.UnitSystem) []string {
	u := f.unit(system)
	decimal := Plain(u.of(r), finest)
	switch {
	case u.Name == FeetInches:
		return []string{FeetAndInches(r)}
	case u.Name == "in" && !f.InchDecimals:
		return []string{Inches(r), decimal}
	}
	return []string{decimal}
}

// stillTyped reads a kept text again and reports whether it stands for the stored value.
func (f Field) stillTyped(stored float64, typed string, system assets.UnitSystem) (Measure, bool) {
	if typed == "" {
		return Measure{}, false
	}
	m, err := f.Parse(typed, system)
	return m, err == nil && m.SI() == stored
}

// Number is Show without the unit, for columns that have it in their head.
func (f Field) Number(stored float64, system assets.UnitSystem) string {
	r := Exact(stored)
	if r == nil {
		return "not a number"
	}
	u := f.unit(system)
	if f.taped(u) {
		return f.show(r, system)
	}
	return f.number(u.of(r), u, 0)
}

// In is a stored value in the field's unit, as a number: for drawings.
func (f Field) In(stored float64, system assets.UnitSystem) float64 {
	r := Exact(stored)
	if r == nil {
		return stored
	}
	v, _ := f.unit(system).of(r).Float64()
	return v
}

// show writes a stored value in the field's unit.
func (f Field) show(r *big.Rat, system assets.UnitSystem) string {
	u := f.unit(system)
	switch {
	case u.Name == FeetInches:
		return strings.ReplaceAll(FeetAndInches(r), " ", HardSpace)
	case f.taped(u):
		return strings.ReplaceAll(Inches(r), " ", HardSpace)
	}
	return f.write(u.of(r), u, 0)
}

// taped reports whether a unit is read off a tape, in sixteenths.
func (f Field) taped(u *Unit) bool {
	return u.Name == FeetInches || u.Name == "in" && !f.InchDecimals
}

// write puts number and unit together, with no fewer decimals than were typed.
func (f Field) write(v *big.Rat, u *Unit, typed int) string {
	return f.number(v, u, typed) + gap(u) + u.Sign
}

// number writes a reading with the field's decimals, thousands apart.
func (f Field) number(v *big.Rat, u *Unit, typed int) string {
	least, most := f.SILeast, f.SIMost
	if u.Name == f.US && f.US != f.SI {
		least, most = f.USLeast, f.USMost
	}
	return Grouped(trimZeros(Fixed(v, max(most, typed)), max(least, typed)))
}

// gap is the hard space before a unit; the sign of an angle stands close to its number.
func gap(u *Unit) string {
	if u.Sign == "°" {
		return ""
	}
	return HardSpace
}
