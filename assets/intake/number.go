package intake

import (
	"math/big"
	"strings"
)

// decimals tells which sign parts a number's decimals, as far as a column or file shows it.
type decimals uint8

const (
	decimalOpen  decimals = iota // nothing shows it: a comma before three digits separates thousands
	decimalPoint                 // shown or told
	decimalComma                 // shown or told
	decimalWeak                  // a comma, because semicolons separate the file
	decimalMixed                 // both are shown
)

// figure is a number as read: exact, and with how many decimals it was written.
type figure struct {
	value    *big.Rat
	decimals int
	negative bool
}

// numberFault tells why a text is no number.
type numberFault uint8

const (
	numberFine numberFault = iota
	numberNone             // it is no number
	numberOpen             // it can be two numbers
)

// readNumber reads a number as people write it: signs, thousands with blanks, apostrophes, dots or commas, decimals with
// either sign, as far as style settles it. hourMeter is true for a meter's reading: such meters show at most one decimal,
// so three digits behind a dot stay open without other evidence.
func readNumber(s string, style decimals, hourMeter bool) (figure, numberFault) {
	s = plainMarks(trimmed(s))
	negative := false
	switch {
	case strings.HasPrefix(s, "-"):
		negative, s = true, strings.TrimSpace(s[1:])
	case strings.HasPrefix(s, "+"):
		s = strings.TrimSpace(s[1:])
	}
	s, ok := joinThousands(s)
	if !ok || s == "" || len(s) > 30 {
		return figure{}, numberNone
	}
	whole, part, fault := splitDecimals(s, style, hourMeter)
	if fault != numberFine {
		return figure{}, fault
	}
	text := whole
	if part != "" {
		text += "." + part
	}
	v, ok := new(big.Rat).SetString(text)
	if !ok {
		return figure{}, numberNone
	}
	if negative {
		v.Neg(v)
	}
	return figure{value: v, decimals: len(part), negative: negative}, numberFine
}

// joinThousands takes blanks and apostrophes out where they part groups of three digits; ok is false for any sign that no
// number has.
func joinThousands(s string) (string, bool) {
	plain := true
	for i := range len(s) {
		c := s[i]
		if c == ' ' || c == '\'' {
			plain = false
		} else if (c < '0' || c > '9') && c != '.' && c != ',' {
			return "", false
		}
	}
	if plain {
		return s, true
	}
	groups := strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '\'' })
	for i, g := range groups {
		body := g
		if i == len(groups)-1 {
			body = strings.TrimRight(g, "0123456789")
			if body != "" { // decimals behind the last group
				body = g[:strings.IndexAny(g, ".,")]
			} else {
				body = g
			}
		}
		if (i > 0 && len(body) != 3) || (i == 0 && (len(body) == 0 || len(body) > 3)) || strings.ContainsAny(body, ".,") {
			return "", false
		}
	}
	return strings.Join(groups, ""), true
}

// splitDecimals parts a number of digits, dots and commas into its whole and its decimals.
func splitDecimals(s string, style decimals, hourMeter bool) (whole, part string, fault numberFault) {
	dot, comma := strings.Count(s, "."), strings.Count(s, ",")
	switch {
	case dot == 0 && comma == 0:
		return s, "", numberFine
	case dot > 0 && comma > 0:
		return splitBoth(s, dot, comma)
	case dot > 1:
		return grouped(s, ".")
	case comma > 1:
		return grouped(s, ",")
	case dot == 1:
		return splitOne(s, ".", style, hourMeter)
	}
	return splitOne(s, ",", style, hourMeter)
}

// splitBoth reads a number that has both signs: the later one parts the decimals.
func splitBoth(s string, dot, comma int) (whole, part string, fault numberFault) {
	last, other := ".", ","
	if strings.LastIndexByte(s, ',') > strings.LastIndexByte(s, '.') {
		last, other = ",", "."
	}
	if (last == "." && dot > 1) || (last == "," && comma > 1) {
		return "", "", numberNone
	}
	head, part, _ := strings.Cut(s, last)
	whole, _, fault = grouped(head, other)
	if part == "" {
		fault = numberNone
	}
	return whole, part, fault
}

// grouped reads a whole number whose groups of three digits are parted by sep.
func grouped(s, sep string) (whole, part string, fault numberFault) {
	groups := strings.Split(s, sep)
	for i, g := range groups {
		if (i > 0 && len(g) != 3) || len(g) == 0 || len(g) > 3 {
			return "", "", numberNone
		}
	}
	return strings.Join(groups, ""), "", numberFine
}

// splitOne reads a number with a single dot or comma.
func splitOne(s, sign string, style decimals, hourMeter bool) (whole, part string, fault numberFault) {
	whole, part, _ = strings.Cut(s, sign)
	if whole == "" {
		whole = "0"
	}
	if part == "" {
		return "", "", numberNone
	}
	if !couldGroup(whole, part) {
		return whole, part, numberFine
	}
	switch style {
	case decimalMixed:
		return "", "", numberOpen
	case decimalPoint:
		if sign == "," {
			return whole + part, "", numberFine
		}
	case decimalComma:
		if sign == "." {
			return whole + part, "", numberFine
		}
	case decimalWeak:
		if sign == "." {
			return whole + part, "", numberFine
		}
		if hourMeter {
			return "", "", numberOpen
		}
	default:
		if sign == "," {
			return whole + part, "", numberFine
		}
		if hourMeter {
			return "", "", numberOpen
		}
	}
	return whole, part, numberFine
}

// couldGroup tells whether the sign between the two could part thousands: one to three digits, not a zero, before it and
// three behind it.
func couldGroup(whole, part string) bool {
	return len(part) == 3 && len(whole) >= 1 && len(whole) <= 3 && whole[0] != '0'
}

// shows tells which decimal sign a text proves by itself, decimalOpen for none.
func shows(s string) decimals {
	s = leadingNumber(plainMarks(trimmed(s)))
	dot, comma := strings.Count(s, "."), strings.Count(s, ",")
	switch {
	case dot == 0 && comma == 0, dot > 1 && comma == 0 && !allGroups(s, "."), comma > 1 && dot == 0 && !allGroups(s, ","):
		return decimalOpen
	case dot > 1 && comma == 0:
		return decimalComma // 1.234.567 has dots between thousands
	case comma > 1 && dot == 0:
		return decimalPoint
	case dot > 0 && comma > 0:
		_, part, fault := splitBoth(s, dot, comma)
		if fault != numberFine || part == "" {
			return decimalOpen
		}
		if strings.LastIndexByte(s, ',') > strings.LastIndexByte(s, '.') {
			return decimalComma
		}
		return decimalPoint
	}
	sign, proves := ".", decimalPoint
	if comma == 1 {
		sign, proves = ",", decimalComma
	}
	whole, part, _ := strings.Cut(s, sign)
	if part == "" || couldGroup(whole, part) {
		return decimalOpen
	}
	return proves
}

func allGroups(s, sep string) bool {
	_, _, fault := grouped(s, sep)
	return fault == numberFine
}

// leadingNumber cuts a text behind its first number: "3,410 h" gives 3,410.
func leadingNumber(s string) string {
	s = strings.TrimLeft(s, "+- ")
	end := 0
	for end < len(s) && (s[end] >= '0' && s[end] <= '9' || s[end] == '.' || s[end] == ',') {
		end++
	}
	if end < len(s) && s[end] == '/' {
		return ""
	}
	return strings.TrimRight(s[:end], ".,")
}

// evidence counts what the cells of a column or file show of the decimal sign.
type evidence struct{ point, comma int }

func (e *evidence) add(s string) {
	switch shows(s) {
	case decimalPoint:
		e.point++
	case decimalComma:
		e.comma++
	}
}

func (e evidence) style() decimals {
	switch {
	case e.point > 0 && e.comma > 0:
		return decimalMixed
	case e.point > 0:
		return decimalPoint
	case e.comma > 0:
		return decimalComma
	}
	return decimalOpen
}
