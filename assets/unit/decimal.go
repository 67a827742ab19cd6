package unit

import (
	"math"
	"math/big"
	"strconv"
	"strings"
)

// HardSpace stands between a number and its unit and between thousands, so that no line breaks there.
const HardSpace = "\u00a0"

// Exact returns the decimal number that a float64 stands for: the shortest one that reads back as it. 609.6 gives
// 3048/5, not the binary fraction nearest to it, so that 609.6 / 25.4 is 24. An infinity or NaN gives nil.
func Exact(v float64) *big.Rat {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	r, _ := new(big.Rat).SetString(strconv.FormatFloat(v, 'g', -1, 64))
	return r
}

// MillimetresOf turns metres into millimetres by moving the decimal point: 0.6096 m is 609.6 mm, which 0.6096 * 1000 in
// binary need not be. An infinity or NaN is returned as it is.
func MillimetresOf(metres float64) float64 { return shifted(metres, big.NewRat(1000, 1)) }

// MetresOf turns millimetres into metres by moving the decimal point.
func MetresOf(millimetres float64) float64 { return shifted(millimetres, big.NewRat(1, 1000)) }

func shifted(v float64, by *big.Rat) float64 {
	r := Exact(v)
	if r == nil {
		return v
	}
	f, _ := r.Mul(r, by).Float64()
	return f
}

// Fixed writes a value with a fixed number of decimals, half away from zero on the exact value, zero without a sign.
func Fixed(r *big.Rat, places int) string {
	s := r.FloatString(places) // documented to round half away from zero
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// Plain writes a value with at most that many decimals and no zeros at the end.
func Plain(r *big.Rat, places int) string { return trimZeros(Fixed(r, places), 0) }

// Grouped sets a hard space between thousands: 20628.3 becomes 20 628.3. Four digits are grouped as well.
func Grouped(number string) string {
	whole, rest, dot := strings.Cut(number, ".")
	sign := ""
	if strings.HasPrefix(whole, "-") {
		sign, whole = "-", whole[1:]
	}
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + HardSpace + whole[i:]
	}
	if dot {
		return sign + whole + "." + rest
	}
	return sign + whole
}

// trimZeros cuts zeros off the decimals, down to at least `least` of them.
func trimZeros(number string, least int) string {
	whole, rest, dot := strings.Cut(number, ".")
	if !dot {
		return number
	}
	for len(rest) > least && strings.HasSuffix(rest, "0") {
		rest = rest[:len(rest)-1]
	}
	if rest == "" {
		return whole
	}
	return whole + "." + rest
}

// roundHalfAway rounds to a whole number, half away from zero.
func roundHalfAway(r *big.Rat) *big.Int {
	twice := new(big.Int).Mul(new(big.Int).Abs(r.Num()), big.NewInt(2))
	twice.Add(twice, r.Denom())
	n := twice.Div(twice, new(big.Int).Mul(r.Denom(), big.NewInt(2)))
	if r.Sign() < 0 {
		n.Neg(n)
	}
	return n
}
