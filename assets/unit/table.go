package unit

import (
	"math/big"
	"strings"
)

// Dimension is what a quantity measures; only units of one dimension convert into each other.
type Dimension string

// Dimensions, each with the unit its values are stored in.
const (
	Length                Dimension = "length"                 // m
	Speed                 Dimension = "speed"                  // m/s
	Tension               Dimension = "tension"                // N/m, force per belt width
	MassPerArea           Dimension = "mass per area"          // kg/m²
	Mass                  Dimension = "mass"                   // kg
	Temperature           Dimension = "temperature"            // °C
	TemperatureDifference Dimension = "temperature difference" // K, also of rates (K/min)
	Angle                 Dimension = "angle"                  // °
	Pressure              Dimension = "pressure"               // Pa
	Duration              Dimension = "hours"                  // h
	Area                  Dimension = "area"                   // m²
	Force                 Dimension = "force"                  // N
	Torque                Dimension = "torque"                 // N·m
	Throughput            Dimension = "throughput"             // t/h
	Flow                  Dimension = "flow"                   // l/min
	HeatingRate           Dimension = "heating rate"           // K/min
)

// Unit is one unit: its name in tables and files, its sign on screens, and what it is worth.
type Unit struct {
	Name      string
	Sign      string // as shown behind a number
	Dimension Dimension
	Worth     *big.Rat // one of it in the dimension's stored unit
	zeroAt    *big.Rat // what is added to a reading before it is worth anything; nil for all but temperatures
	places    []grain
	spellings []string
}

// grain says with how many decimals values from a size on are shown. The sizes are common practice: a belt's thickness is
// read to a hundredth of a millimetre, its width to a tenth.
type grain struct {
	from   *big.Rat
	places int
}

// frac reads a fraction written in this file.
func frac(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("unit: bad factor " + s)
	}
	return r
}

// always shows every value with that many decimals.
func always(places int) []grain { return []grain{{new(big.Rat), places}} }

// below shows values under a size with more decimals than those from it on.
func below(size string, small, large int) []grain {
	return []grain{{new(big.Rat), small}, {frac(size), large}}
}

// The worth of pound-force and its kin: one pound is 0.45359237 kg exactly, standard gravity 9.80665 m/s² exactly.
var (
	inch       = frac("0.0254")
	foot       = frac("0.3048")
	pound      = frac("0.45359237")
	poundForce = product(pound, frac("9.80665"))
	zero       = new(big.Rat)
)

func product(a, b *big.Rat) *big.Rat  { return new(big.Rat).Mul(a, b) }
func quotient(a, b *big.Rat) *big.Rat { return new(big.Rat).Quo(a, b) }

// FeetInches is the name of the unit of lengths written as feet and inches.
const FeetInches = "ft-in"

// units is every unit that is read or shown. A spelling is compared without blanks and without regard to case.
var units = []*Unit{
	{Name: "m", Sign: "m", Dimension: Length, Worth: frac("1"), places: always(2), spellings: words("metre metres meter meters")},
	{Name: "mm", Sign: "mm", Dimension: Length, Worth: frac("0.001"), places: below("25.4", 2, 1), spellings: words("millimetre millimetres millimeter millimeters")},
	{Name: "cm", Sign: "cm", Dimension: Length, Worth: frac("0.01"), places: always(2), spellings: words("centimetre centimetres centimeter centimeters")},
	{Name: "in", Sign: "in", Dimension: Length, Worth: inch, places: below("1", 3, 2), spellings: words("inch inches \"")},
	{Name: "ft", Sign: "ft", Dimension: Length, Worth: foot, places: always(1), spellings: words("foot feet '")},
	{Name: FeetInches, Sign: "ft", Dimension: Length, Worth: inch, places: always(2)},

	{Name: "m/s", Sign: "m/s", Dimension: Speed, Worth: frac("1"), places: always(3), spellings: words("mps")},
	{Name: "m/min", Sign: "m/min", Dimension: Speed, Worth: frac("1/60"), places: always(1)},
	{Name: "ft/min", Sign: "ft/min", Dimension: Speed, Worth: quotient(foot, frac("60")), places: always(1), spellings: words("fpm")},

	{Name: "N/m", Sign: "N/m", Dimension: Tension, Worth: frac("1"), places: always(0)},
	{Name: "N/mm", Sign: "N/mm", Dimension: Tension, Worth: frac("1000"), places: always(2)},
	{Name: "kN/m", Sign: "kN/m", Dimension: Tension, Worth: frac("1000"), places: always(2)},
	{Name: "lbf/in (PIW)", Sign: "lbf/in", Dimension: Tension, Worth: quotient(poundForce, inch), places: always(0), spellings: words("lbf/in piw lb/in")},

	{Name: "kg/m2", Sign: "kg/m²", Dimension: MassPerArea, Worth: frac("1"), places: always(2), spellings: words("kg/m²")},
	{Name: "lb/ft2", Sign: "lb/ft²", Dimension: MassPerArea, Worth: quotient(pound, product(foot, foot)), places: always(2), spellings: words("lb/ft² psf")},

	{Name: "kg", Sign: "kg", Dimension: Mass, Worth: frac("1"), places: below("1", 3, 2)},
	{Name: "t", Sign: "t", Dimension: Mass, Worth: frac("1000"), places: always(3)},
	{Name: "lb", Sign: "lb", Dimension: Mass, Worth: pound, places: below("10", 2, 1), spellings: words("lbs")},

	{Name: "degC", Sign: "°C", Dimension: Temperature, Worth: frac("1"), zeroAt: zero, places: below("10", 1, 0), spellings: words("°c c celsius")},
	{Name: "degF", Sign: "°F", Dimension: Temperature, Worth: frac("5/9"), zeroAt: frac("-32"), places: below("10", 1, 0), spellings: words("°f f fahrenheit")},

	{Name: "K", Sign: "K", Dimension: TemperatureDifference, Worth: frac("1"), places: always(1), spellings: words("degcdifference °c degc")},
	{Name: "degF difference", Sign: "°F", Dimension: TemperatureDifference, Worth: frac("5/9"), places: always(1), spellings: words("°f degf f")},
	{Name: "K/min", Sign: "K/min", Dimension: HeatingRate, Worth: frac("1"), places: always(1), spellings: words("°c/min degc/min")},
	{Name: "degF/min", Sign: "°F/min", Dimension: HeatingRate, Worth: frac("5/9"), places: always(1), spellings: words("°f/min")},

	{Name: "deg", Sign: "°", Dimension: Angle, Worth: frac("1"), places: always(1), spellings: words("° degree degrees")},

	{Name: "Pa", Sign: "Pa", Dimension: Pressure, Worth: frac("1"), places: always(0)},
	{Name: "kPa", Sign: "kPa", Dimension: Pressure, Worth: frac("1000"), places: always(1)},
	{Name: "MPa", Sign: "MPa", Dimension: Pressure, Worth: frac("1000000"), places: always(3), spellings: words("N/mm2 N/mm²")},
	{Name: "bar", Sign: "bar", Dimension: Pressure, Worth: frac("100000"), places: always(1)},
	{Name: "psi", Sign: "psi", Dimension: Pressure, Worth: quotient(poundForce, product(inch, inch)), places: always(0), spellings: words("lbf/in2 lbf/in²")},
	{Name: "kgf/cm2", Sign: "kgf/cm²", Dimension: Pressure, Worth: frac("98066.5"), places: always(1), spellings: words("kgf/cm²")},

	{Name: "h", Sign: "h", Dimension: Duration, Worth: frac("1"), places: always(1), spellings: words("hour hours hr hrs")},
	{Name: "min", Sign: "min", Dimension: Duration, Worth: frac("1/60"), places: always(0), spellings: words("minute minutes")},

	{Name: "m2", Sign: "m²", Dimension: Area, Worth: frac("1"), places: always(2), spellings: words("m²")},
	{Name: "ft2", Sign: "ft²", Dimension: Area, Worth: product(foot, foot), places: always(1), spellings: words("ft²")},

	{Name: "N", Sign: "N", Dimension: Force, Worth: frac("1"), places: always(0)},
	{Name: "kN", Sign: "kN", Dimension: Force, Worth: frac("1000"), places: always(2)},
	{Name: "lbf", Sign: "lbf", Dimension: Force, Worth: poundForce, places: always(0)},

	{Name: "N.m", Sign: "N·m", Dimension: Torque, Worth: frac("1"), places: always(1), spellings: words("N·m Nm")},
	// 1 lbf·ft = 1.355 818 N·m (NIST Special Publication 811, 2008, appendix B.8, moment of force); as a torque it is written lbf·ft there, ft·lbf being
	// energy.
	{Name: "ft.lbf", Sign: "lbf·ft", Dimension: Torque, Worth: product(poundForce, foot), places: always(1), spellings: words("ft·lbf ft-lbf lbf.ft lbf·ft lbf-ft")},

	{Name: "t/h", Sign: "t/h", Dimension: Throughput, Worth: frac("1"), places: always(1)},
	{Name: "short ton/h", Sign: "short ton/h", Dimension: Throughput, Worth: product(pound, frac("2")), places: always(0), spellings: words("tph(us)")},

	{Name: "l/min", Sign: "l/min", Dimension: Flow, Worth: frac("1"), places: always(1)},
	{Name: "gal/min (US)", Sign: "gal/min", Dimension: Flow, Worth: frac("3.785411784"), places: always(1), spellings: words("gal/min gpm")},
}

// words splits a list of spellings.
func words(s string) []string { return strings.Fields(s) }

// Find returns the unit of that exact table name, or nil.
func Find(name string) *Unit {
	for _, u := range units {
		if u.Name == name {
			return u
		}
	}
	return nil
}

// named returns the unit of that table name or, when there is none, of that spelling; a lone °F is a temperature.
func named(name string) *Unit {
	if u := Find(name); u != nil {
		return u
	}
	for _, u := range units {
		if s := spelt(u.Dimension, name); s != nil {
			return s
		}
	}
	return nil
}

// spelt returns the unit of a dimension that a person means by what stands behind the number, or nil.
func spelt(d Dimension, text string) *Unit {
	text = strings.Join(strings.Fields(text), "")
	for _, u := range units {
		if u.Dimension != d {
			continue
		}
		for _, s := range append([]string{u.Name, u.Sign}, u.spellings...) {
			if strings.EqualFold(s, text) && u.Name != FeetInches {
				return u
			}
		}
	}
	return nil
}

// Convert gives a value of one unit in another, exactly.
//
// It returns a Refused for an unknown unit and for units that do not measure the same.
func Convert(value *big.Rat, from, to string) (*big.Rat, error) {
	f, t := named(from), named(to)
	switch {
	case f == nil:
		return nil, refuse("the unit %q is not known; name it as the tables do", from)
	case t == nil:
		return nil, refuse("the unit %q is not known; name it as the tables do", to)
	case f.Dimension != t.Dimension:
		return nil, refuse("%s measures %s and %s measures %s; choose a unit of the same kind", from, f.Dimension, to, t.Dimension)
	}
	return t.of(f.stored(value)), nil
}

// stored turns a reading in this unit into the stored unit.
func (u *Unit) stored(v *big.Rat) *big.Rat {
	if u.zeroAt != nil {
		v = new(big.Rat).Add(v, u.zeroAt)
	}
	return product(v, u.Worth)
}

// of turns a stored value into a reading in this unit.
func (u *Unit) of(stored *big.Rat) *big.Rat {
	v := quotient(stored, u.Worth)
	if u.zeroAt != nil {
		v.Sub(v, u.zeroAt)
	}
	return v
}

// Places is the number of decimals with which a reading of that size is shown.
func (u *Unit) Places(v *big.Rat) int {
	size, places := new(big.Rat).Abs(v), 0
	for _, g := range u.places {
		if size.Cmp(g.from) >= 0 {
			places = g.places
		}
	}
	return places
}
