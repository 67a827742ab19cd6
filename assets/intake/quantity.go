package intake

import (
	"math"
	"math/big"
	"regexp"
	"strings"

	"carryside/assets/unit"
)

// quantity is a measured value as read: in the register's unit, and how finely it was written.
type quantity struct {
	si    float64
	step  float64 // one of the last digit written, in the register's unit
	unit  *unitOf // of the number; nil when the cell had none and none was told
	other string  // a unit of no known dimension, as written
}

// fault is why a cell cannot be taken, by the contract's class; "" is fine.
type fault string

// Classes of refusal and of remark.
const (
	faultNotANumber  fault = "not_a_number"
	faultOpenNumber  fault = "ambiguous_number"
	faultNoUnit      fault = "missing_unit"
	faultRange       fault = "out_of_range"
	faultSeveral     fault = "several_values"
	faultOpenDate    fault = "ambiguous_date"
	faultNoDate      fault = "not_a_date"
	faultDateRange   fault = "date_out_of_range"
	faultErrorCell   fault = "error_cell"
	faultNoKey       fault = "missing_key"
	faultUnknownTag  fault = "unknown_conveyor"
	faultUnknown     fault = "unknown_plant"
	faultTwoPlants   fault = "ambiguous_plant"
	faultDuplicate   fault = "duplicate"
	faultContradicts fault = "contradiction"
	faultSameOrNew   fault = "same_or_new"
)

var (
	numberThenUnit = regexp.MustCompile(`^([-+]? ?[\d.,][\d.,' ]*)(.*)$`)
	numbersIn      = regexp.MustCompile(`\d[\d.,]*`)
	footInchMark   = regexp.MustCompile(`(?i)['"]|\d ?(?:ft|feet|foot|in|inch|inches|zoll|pulg|pulgadas?|pies?)\b`)
	apostrophes    = regexp.MustCompile(`^\d{1,3}(?:'\d{3})+(?:[.,]\d+)?(?: ?[a-zA-Z/]+)?$`)
	plainFraction  = regexp.MustCompile(`^(?:(\d+)[ -]+)?(\d+) ?/ ?(\d+)$`)
	severalParts   = regexp.MustCompile(`(?i)\s*[/;|&\n+]\s*|\s+(?:and|und|y|to|bis|a|or|oder|o|x|-)\s+|\s*,\s+`)
	hourWord       = regexp.MustCompile(`(?i)\s*(?:h|hr|hrs|hour|hours|std|stunden|bh|horas?)\.?\s*$`)
)

// readQuantity reads a number with or without a unit as people write it. told is the unit of a bare number, nil for none.
func readQuantity(s string, dim dimension, told *unitOf, style decimals) (quantity, fault) {
	text := strings.TrimSpace(plainMarks(s))
	q, f := oneQuantity(text, dim, told, style)
	if m := saidTwice.FindStringSubmatch(text); m != nil && f == faultNotANumber {
		return twiceQuantity(m[1], m[2], dim, told, style)
	}
	if f == faultNotANumber && holdsSeveral(text, dim, told, style) {
		return quantity{}, faultSeveral
	}
	return q, f
}

var saidTwice = regexp.MustCompile(`^([^()\[\]]*\d[^()\[\]]*?)\s*[(\[]\s*=?\s*([^()\[\]]*\d[^()\[\]]*)[)\]]$`)

// twiceQuantity reads a value that is given again in another unit in brackets: 24 in (610 mm). The first one stands when
// the two agree within 1 %, which is rounding.
func twiceQuantity(first, second string, dim dimension, told *unitOf, style decimals) (quantity, fault) {
	a, f := oneQuantity(first, dim, told, style)
	b, g := oneQuantity(second, dim, told, style)
	switch {
	case f != "" || g != "":
		return quantity{}, faultNotANumber
	case math.Abs(a.si-b.si) > 0.01*math.Max(math.Abs(a.si), math.Abs(b.si)):
		return quantity{}, faultSeveral
	}
	return a, ""
}

// oneQuantity reads a text that is one value.
func oneQuantity(text string, dim dimension, told *unitOf, style decimals) (quantity, fault) {
	if dim == length && !apostrophes.MatchString(text) && (footInchMark.MatchString(text) || fractionOf(text, told)) {
		return feetInches(text, told, style)
	}
	m := numberThenUnit.FindStringSubmatch(text)
	if m == nil {
		return quantity{}, faultNotANumber
	}
	n, nf := readNumber(strings.TrimRight(m[1], " "), style, dim == hours)
	switch nf {
	case numberOpen:
		return quantity{}, faultOpenNumber
	case numberNone:
		return quantity{}, faultNotANumber
	}
	u := told
	if rest := strings.TrimSpace(m[2]); rest != "" {
		if u = findUnit(rest); u == nil || u.dim != dim {
			return quantity{}, faultNotANumber
		}
	}
	if u == nil {
		return quantity{}, faultNoUnit
	}
	return measured(n.value, n.decimals, u), ""
}

// measured turns a number of a unit into the register's unit, exactly.
func measured(v *big.Rat, places int, u *unitOf) quantity {
	si, _ := new(big.Rat).Mul(v, u.worth).Float64()
	worth, _ := u.worth.Float64()
	for range places {
		worth /= 10
	}
	return quantity{si: si, step: worth, unit: u}
}

// fractionOf tells whether a bare text is a fraction of inches or feet.
func fractionOf(text string, told *unitOf) bool {
	return (told == unitIn || told == unitFt) && plainFraction.MatchString(text)
}

// feetInches reads feet and inches with their marks or words.
func feetInches(text string, told *unitOf, style decimals) (quantity, fault) {
	field, open := "", false
	if told == unitIn || told == unitFt {
		field = told.name
	}
	plain := numbersIn.ReplaceAllStringFunc(text, func(n string) string {
		v, nf := readNumber(strings.TrimRight(n, ".,"), style, false)
		if nf == numberOpen {
			open = true
		}
		if nf != numberFine {
			return n
		}
		return v.value.FloatString(v.decimals)
	})
	if open {
		return quantity{}, faultOpenNumber
	}
	plain = customaryWords.Replace(strings.ToLower(plain))
	m, err := unit.ParseLength(plain, field)
	if err != nil {
		return quantity{}, faultNotANumber
	}
	return quantity{si: m.SI(), step: writtenStep(plain, field), unit: unitIn}, ""
}

var customaryWords = strings.NewReplacer("zoll", "in", "pulgadas", "in", "pulgada", "in", "pulg", "in", "pies", "ft", "pie", "ft")

// writtenStep is one of the last digit of a length in feet and inches, in metres.
func writtenStep(text, field string) float64 {
	last := 0.0254
	if !strings.Contains(text, `"`) && !strings.Contains(text, "in") && field != "in" {
		if _, behind, ok := strings.Cut(strings.NewReplacer("feet", "'", "foot", "'", "ft", "'").Replace(text), "'"); !ok || strings.TrimSpace(behind) == "" {
			last = 0.3048
		}
	}
	all := numbersIn.FindAllString(text, -1)
	if len(all) == 0 {
		return last
	}
	n := all[len(all)-1]
	if i := strings.LastIndex(text, n); i > 0 && strings.HasSuffix(strings.TrimSpace(text[:i]), "/") {
		if under, ok := new(big.Rat).SetString(n); ok && under.Sign() > 0 {
			d, _ := under.Float64()
			return last / d
		}
	}
	if _, part, ok := strings.Cut(n, "."); ok {
		for range part {
			last /= 10
		}
	}
	return last
}

// holdsSeveral tells whether a text that is no one value is two or more of them.
func holdsSeveral(text string, dim dimension, told *unitOf, style decimals) bool {
	if len(text) > 200 {
		return false
	}
	text = regexpRange.ReplaceAllString(text, "$1 ; $2")
	parts := severalParts.Split(text, -1)
	good := 0
	for _, p := range parts {
		p = strings.TrimSpace(p)
		if p == "" {
			continue
		}
		if _, f := oneQuantity(p, dim, told, style); f != "" && f != faultNoUnit {
			return false
		}
		good++
	}
	return good >= 2
}

var regexpRange = regexp.MustCompile(`(\d)\s*-\s*(\d)`)

// readMeasured reads what a finding measured: a length, or a number with a unit of its own.
func readMeasured(s string, told *unitOf, style decimals) (quantity, fault) {
	q, f := readQuantity(s, length, told, style)
	if f != faultNotANumber {
		return q, f
	}
	m := numberThenUnit.FindStringSubmatch(strings.TrimSpace(plainMarks(s)))
	if m == nil {
		return quantity{}, faultNotANumber
	}
	n, nf := readNumber(strings.TrimRight(m[1], " "), style, false)
	name := strings.TrimSpace(m[2])
	if nf != numberFine || name == "" || len(name) > 12 || strings.ContainsAny(name, " 0123456789") {
		return quantity{}, faultNotANumber
	}
	v, _ := n.value.Float64()
	return quantity{si: v, step: tenths(n.decimals), other: name}, ""
}

func tenths(places int) float64 {
	step := 1.0
	for range places {
		step /= 10
	}
	return step
}

// readHours reads what an hour meter showed, with or without h behind it.
func readHours(s string, style decimals) (quantity, fault) {
	s = hourWord.ReplaceAllString(plainMarks(trimmed(s)), "")
	n, nf := readNumber(s, style, true)
	switch nf {
	case numberOpen:
		return quantity{}, faultOpenNumber
	case numberNone:
		if holdsSeveral(s, hours, unitH, style) {
			return quantity{}, faultSeveral
		}
		return quantity{}, faultNotANumber
	}
	return measured(n.value, n.decimals, unitH), ""
}
