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
	sign, feet, rest := divided(metres, perFoot)
	return sign + feet.String() + "'-" + strconv.FormatInt(rest/perInch, 10) + part(rest%perInch, " ") + `"`
}

// Inches writes a length in metres as 63 1/2", to the nearest 1/16 in.
func Inches(metres *big.Rat) string {
	sign, whole, rest := divided(metres, perInch)
	switch {
	case rest == 0:
		return sign + whole.String() + `"`
	case whole.Sign() == 0:
		return sign + part(rest, "") + `"`
	}
	return sign + whole.String() + part(rest, " ") + `"`
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

// divided rounds a length to sixteenths and splits its size by a number of them.
func divided(metres *big.Rat, by int64) (sign string, whole *big.Int, rest int64) {
	n := sixteenths(metres)
	if n.Sign() < 0 {
		sign = "-"
	}
	whole, left := new(big.Int).QuoRem(n.Abs(n), big.NewInt(by), new(big.Int))
	return sign, whole, left.Int64()
}

// part writes sixteenths below an inch as a reduced fraction behind a gap, nothing for none.
func part(over int64, gap string) string {
	if over == 0 {
		return ""
	}
	under := int64(perInch)
	for over%2 == 0 {
		over, under = over/2, under/2
	}
	return gap + strconv.FormatInt(over, 10) + "/" + strconv.FormatInt(under, 10)
}
