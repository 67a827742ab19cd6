package unit

import (
	"math/big"
	"regexp"
	"strings"
)

var (
	wordUnits   = regexp.MustCompile(`[A-Za-zµ]+\.?`)
	metricUnit  = regexp.MustCompile(`^(.*?)\s*([A-Za-z]+)\.?$`)
	mixedNumber = regexp.MustCompile(`^(\d+)(?: | ?- ?)(\d+) ?/ ?(\d+)$`)
	loneNumber  = regexp.MustCompile(`^(\d+) ?/ ?(\d+)$`)
	twoNumbers  = regexp.MustCompile(`^[\d.]+(?: | ?- ?)[\d.]+( ?/ ?[\d.]+)?$`)
)

// ParseLength reads a length as people type it: 5'-3 1/2", 5 ft 3.5 in, 63½″, 5-3/8", 1612.9 mm, 20.63 m.
//
//	fieldUnit  the unit of a number without one: "mm", "m", "in", "ft", FeetInches (a lone number is feet) or "" for none
//
// After feet the inch mark may be missing. It returns a Refused for twelve inches or more beside feet, a fraction not
// below one after a whole number, a denominator of zero, decimals with a fraction, powers of ten, and a number with no
// unit where the field gives none.
func ParseLength(typed, fieldUnit string) (Measure, error) {
	if len(typed) > maxTyped {
		return Measure{}, refuse("the length is longer than %d characters; shorten it", maxTyped)
	}
	text := wordUnits.ReplaceAllStringFunc(plain(typed), markOf)
	if strings.TrimSpace(text) == "" {
		return Measure{}, refuse(`there is no length; type one, such as 5'-3 1/2" or 1612.9 mm`)
	}
	if !strings.ContainsAny(text, `'"`) {
		if m := metricUnit.FindStringSubmatch(text); m != nil {
			return metric(typed, m[1], m[2])
		}
		switch fieldUnit {
		case "":
			return Measure{}, refuse(`%q has no unit; type one behind it, such as %s" or %s mm`, typed, text, text)
		case "in":
			text += `"`
		case "ft", FeetInches:
			text += "'"
		default:
			return metric(typed, text, fieldUnit)
		}
	}
	return customary(typed, text)
}

// markOf turns the words for feet and inches into their marks and leaves other words alone.
func markOf(word string) string {
	switch strings.ToLower(strings.TrimSuffix(word, ".")) {
	case "ft", "foot", "feet":
		return "'"
	case "in", "inch", "inches":
		return `"`
	}
	return word
}

// metric reads a number in a unit of length that is written as a word.
func metric(typed, number, name string) (Measure, error) {
	u := spelt(Length, name)
	r, decimals, err := parseNumber(number)
	switch {
	case err != nil:
		return Measure{}, err
	case u == nil:
		return Measure{}, refuse("%q has the unit %s, which is no length; use mm, m, in or ft", typed, name)
	}
	return Measure{Typed: typed, Unit: u, reading: r, decimals: decimals}.bounded()
}

// customary reads feet and inches, or either alone, with their marks.
func customary(typed, text string) (Measure, error) {
	negative := strings.HasPrefix(text, "-")
	text = strings.TrimSpace(strings.TrimPrefix(text, "-"))
	feet, inches, hasFeet := strings.Cut(text, "'")
	if !hasFeet {
		feet, inches = "", text
	}
	total := new(big.Rat)
	if hasFeet {
		value, decimal, err := mixed(typed, strings.TrimSpace(feet))
		if err != nil {
			return Measure{}, err
		}
		total.Mul(value, big.NewRat(12, 1))
		if inches = afterFeet(inches); inches != "" && (decimal || !value.IsInt()) {
			return Measure{}, refuse("%q has parts of a foot beside inches; give whole feet, or feet alone", typed)
		}
	}
	if inches != "" || !hasFeet {
		value, _, err := mixed(typed, strings.TrimSpace(strings.TrimSuffix(inches, `"`)))
		if err != nil {
			return Measure{}, err
		}
		if hasFeet && value.Cmp(big.NewRat(12, 1)) >= 0 {
			return Measure{}, refuse("%q has twelve inches or more beside feet; carry them over into the feet", typed)
		}
		total.Add(total, value)
	}
	if negative {
		total.Neg(total)
	}
	u := Find("in")
	if hasFeet {
		u = Find(FeetInches)
	}
	return Measure{Typed: typed, Unit: u, reading: total}.bounded()
}

// afterFeet takes off the blank or hyphen that parts feet and inches.
func afterFeet(inches string) string {
	inches = strings.TrimSpace(inches)
	return strings.TrimSpace(strings.TrimPrefix(inches, "-"))
}

// mixed reads a whole number, decimals, a fraction, or a whole number with a fraction behind a blank or hyphen.
func mixed(typed, text string) (value *big.Rat, decimal bool, err error) {
	if m := mixedNumber.FindStringSubmatch(text); m != nil {
		part, err := fraction(typed, m[2], m[3])
		if err != nil {
			return nil, false, err
		}
		if part.Cmp(big.NewRat(1, 1)) >= 0 {
			return nil, false, refuse("%q has a fraction that is not below one behind a whole number; carry it over", typed)
		}
		return part.Add(part, decimal10(m[1])), false, nil
	}
	if m := loneNumber.FindStringSubmatch(text); m != nil {
		value, err = fraction(typed, m[1], m[2])
		return value, false, err
	}
	switch {
	case powersOfTen.MatchString(text):
		return nil, false, refuse("%q is written with a power of ten; write the number out", typed)
	case twoNumbers.MatchString(text):
		return nil, false, refuse("%q has two numbers that do not make one; write a whole number with a fraction (3 1/2) or decimals (3.5)", typed)
	case strings.Contains(text, ","):
		return nil, false, refuse("%q has a comma; write decimals with a point", typed)
	case !plainNumber.MatchString(text) || strings.HasPrefix(text, "-"):
		return nil, false, refuse(`%q is not a length; write it like 5'-3 1/2", 63.5 in or 1612.9 mm`, typed)
	}
	return decimal10(text), strings.Contains(text, "."), nil
}

// fraction reads a numerator and a denominator.
func fraction(typed, over, under string) (*big.Rat, error) {
	if strings.Trim(under, "0") == "" {
		return nil, refuse("%q has a fraction with nothing below the line; the denominator must be above zero", typed)
	}
	return quotient(decimal10(over), decimal10(under)), nil
}
