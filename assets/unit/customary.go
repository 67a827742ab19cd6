package unit

import (
	"math/big"
	"strconv"
)

// An inch and a foot in sixteenths of an inch, the grain of a tape.
const (
	perInch = 16
	perFoot = 12 * perInch
	tenFeet = 10 * perFoot
)

// FeetAndInches writes a length in metres as 5'-3 1/2", to the nearest 1/16 in.
func FeetAndInches(metres *big.Rat) string {
	return signed(sixteenths(metres), func(n int64) string {
		return strconv.FormatInt(n/perFoot, 10) + "'-" + beside(n%perFoot) + `"`
	})
}

// Inches writes a length in metres as 63 1/2", to the nearest 1/16 in.
func Inches(metres *big.Rat) string {
	return signed(sixteenths(metres), func(n int64) string { return inchText(n) + `"` })
}

// Customary writes a length that nobody typed: inches as on a tape, feet and inches where it comes to whole feet or to
// ten feet and more, where inches alone say little. Common practice; the bound of ten feet is ours.
func Customary(metres *big.Rat) string {
	n := new(big.Int).Abs(sixteenths(metres))
	if n.Cmp(big.NewInt(tenFeet)) >= 0 || n.Sign() > 0 && new(big.Int).Mod(n, big.NewInt(perFoot)).Sign() == 0 {
		return FeetAndInches(metres)
	}
	return Inches(metres)
}

// sixteenths rounds a length in metres to sixteenths of an inch, half away from zero.
func sixteenths(metres *big.Rat) *big.Int {
	return roundHalfAway(product(quotient(metres, inch), big.NewRat(perInch, 1)))
}

// signed writes a number of sixteenths with its sign in front. Lengths past the range of int64, beyond any belt, are
// written in whole inches.
func signed(n *big.Int, write func(int64) string) string {
	sign := ""
	if n.Sign() < 0 {
		sign = "-"
	}
	n = new(big.Int).Abs(n)
	if !n.IsInt64() {
		return sign + n.Div(n, big.NewInt(perInch)).String() + `"`
	}
	return sign + write(n.Int64())
}

// beside writes the inches beside feet, where a fraction alone keeps its nought: 2'-0 1/16".
func beside(n int64) string {
	if 0 < n && n < perInch {
		return "0 " + inchText(n)
	}
	return inchText(n)
}

// inchText writes sixteenths as a whole number and a reduced fraction, without the mark.
func inchText(n int64) string {
	whole, over, under := n/perInch, n%perInch, int64(perInch)
	if over == 0 {
		return strconv.FormatInt(whole, 10)
	}
	for over%2 == 0 {
		over, under = over/2, under/2
	}
	part := strconv.FormatInt(over, 10) + "/" + strconv.FormatInt(under, 10)
	if whole == 0 {
		return part
	}
	return strconv.FormatInt(whole, 10) + " " + part
}
