package unit

import (
	"math"
	"math/big"
	"strings"

	"carryside/assets"
)

// Measure is one quantity as a person typed it: the text, the unit it was typed in, and the exact value.
type Measure struct {
	Typed    string // exactly as typed
	Unit     *Unit
	reading  *big.Rat // in Unit
	decimals int      // typed behind the point
}

// Stored is the exact value in the unit its dimension is stored in.
func (m Measure) Stored() *big.Rat { return m.Unit.stored(m.reading) }

// SI is the value in the unit its dimension is stored in, as the register keeps it.
func (m Measure) SI() float64 {
	f, _ := m.Stored().Float64()
	return f
}

// MM is a length in millimetres, as the calculator and the loop take it; NaN for what is no length.
func (m Measure) MM() float64 {
	mm, err := m.In("mm")
	if err != nil {
		return math.NaN()
	}
	f, _ := mm.Float64()
	return f
}

// In is the exact value in another unit of the same dimension; a Refused where there is none.
func (m Measure) In(unit string) (*big.Rat, error) {
	to := named(unit)
	if to == nil || to.Dimension != m.Unit.Dimension {
		return nil, refuse("%s is no unit of %s; choose another", unit, m.Unit.Dimension)
	}
	return to.of(m.Stored()), nil
}

// largest is the size of any stored value, far beyond the trade; past it a slip of the finger would fill a screen with
// digits.
var largest = frac("1000000000000000")

// bounded refuses a measure past largest.
func (m Measure) bounded() (Measure, error) {
	if size := m.Stored(); size.Abs(size).Cmp(largest) > 0 {
		return Measure{}, refuse("%q is larger than anything in a plant; check the number", m.Typed)
	}
	return m, nil
}

// Decimals is how many decimals were typed.
func (m Measure) Decimals() int { return m.decimals }

// New makes a measure from a value and a unit apart, as files hold them, the unit by its name or another spelling of
// it; a Refused for an unknown unit or what is not a number.
func New(value, unit string) (Measure, error) {
	u := named(unit)
	if u == nil {
		return Measure{}, refuse("the unit %q is not known; name it as the tables do", unit)
	}
	r, decimals, err := ParseNumber(value)
	if err != nil {
		return Measure{}, err
	}
	return Measure{Typed: value, Unit: u, reading: r, decimals: decimals}, nil
}

// Shown is the reading in its own unit with no fewer decimals than were typed.
func (m Measure) Shown() string { return Fixed(m.reading, max(m.Unit.Places(m.reading), m.decimals)) }

// ShownIn is the reading in another unit with that unit's decimals. Between units a power of ten apart the resolution
// is kept instead (2.0 bar is 0.20 MPa): nothing was converted, the point only moved. A Refused for a unit of another
// dimension.
func (m Measure) ShownIn(unit string) (string, error) {
	v, err := m.In(unit)
	if err != nil {
		return "", err
	}
	to := named(unit)
	if to.zeroAt == nil {
		if shift, ok := tenfold(quotient(to.Worth, m.Unit.Worth)); ok {
			return Fixed(v, max(0, m.Unit.Places(m.reading)+shift)), nil
		}
	}
	return Fixed(v, to.Places(v)), nil
}

// ShownTemperatures are the reading and its value in the other unit, both with the same decimals: one where one was
// typed or where either is below ten degrees and a whole degree would say little, else none.
func (m Measure) ShownTemperatures(other string) (here, there string, err error) {
	v, err := m.In(other)
	if err != nil {
		return "", "", err
	}
	places := max(m.decimals, m.Unit.Places(m.reading), named(other).Places(v))
	return Fixed(m.reading, places), Fixed(v, places), nil
}

// tenfold reports whether a factor is a power of ten, and which one.
func tenfold(factor *big.Rat) (power int, ok bool) {
	digits := factor.Num().String() + "/" + factor.Denom().String()
	over, under, _ := strings.Cut(digits, "/")
	if strings.Trim(over, "0") != "1" || strings.Trim(under, "0") != "1" {
		return 0, false
	}
	return len(over) - len(under), true
}

// US is a length in feet and inches to the nearest 1/16 in, in the style it was typed in; typed in metric units, in the
// style Customary chooses.
func (m Measure) US() string {
	switch m.Unit.Name {
	case FeetInches, "ft":
		return FeetAndInches(m.Stored())
	case "in":
		return Inches(m.Stored())
	}
	return Customary(m.Stored())
}

// InSixteenths reports whether a length is a whole number of sixteenths of an inch, so that its US form is exact.
func (m Measure) InSixteenths() bool {
	return product(quotient(m.Stored(), inch), big.NewRat(16, 1)).IsInt()
}

// asTyped is what was typed, with its unit when only the field gave one.
func (m Measure) asTyped() string {
	typed := strings.TrimSpace(m.Typed)
	if last := typed[len(typed)-1]; last < '0' || last > '9' {
		return typed
	}
	switch m.Unit.Name {
	case "in":
		return typed + `"`
	case FeetInches:
		if strings.ContainsAny(plain(typed), `'"`) {
			return typed + `"`
		}
		return typed + "'"
	}
	return typed + gap(m.Unit) + m.Unit.Sign
}

// Show is the quantity for the plant's readers. In the system it was typed in it comes back with all that was typed.
func (m Measure) Show(f Field, system assets.UnitSystem) string {
	if f.unit(system) != m.Unit && !(f.Dimension == Length && system == assets.UnitsUS && m.isCustomary()) {
		return f.show(m.Stored(), system)
	}
	if !m.isCustomary() {
		return f.write(m.reading, m.Unit, m.decimals)
	}
	if m.InSixteenths() {
		return strings.ReplaceAll(m.US(), " ", HardSpace)
	}
	return strings.ReplaceAll(m.asTyped(), " ", HardSpace)
}

// isCustomary reports whether a length was typed in feet or inches.
func (m Measure) isCustomary() bool { return m.Unit.Name == FeetInches || m.Unit.Name == "in" }
