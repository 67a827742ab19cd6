package unit

import (
	"math/big"
	"regexp"
	"strings"
)

// maxTyped bounds a typed quantity; a longer text is not one.
const maxTyped = 80

var (
	plainNumber  = regexp.MustCompile(`^-?(\d+(\.\d*)?|\.\d+)$`)
	powersOfTen  = regexp.MustCompile(`(?i)\d\s*(e|x\s*10|\*\s*10)\s*[-+^]?\s*\d`)
	numberThen   = regexp.MustCompile(`^(-?[\d.,\s]*)(.*)$`)
	hardGroups   = regexp.MustCompile(`(\d)[\x{00a0}\x{2009}\x{202f}](\d{3})(\D|$)`)
	blankGroups  = regexp.MustCompile(`^-?\d{1,3}( \d{3})+(\.\d*)?$`)
	typographic  = strings.NewReplacer(fromTypographic()...)
	vulgarByRune = map[rune]string{
		'½': "1/2", '⅓': "1/3", '⅔': "2/3", '¼': "1/4", '¾': "3/4", '⅕': "1/5", '⅖': "2/5", '⅗': "3/5", '⅘': "4/5",
		'⅙': "1/6", '⅚': "5/6", '⅐': "1/7", '⅛': "1/8", '⅜': "3/8", '⅝': "5/8", '⅞': "7/8", '⅑': "1/9", '⅒': "1/10",
	}
)

// fromTypographic lists the signs that a phone or a word processor puts for those of a keyboard.
func fromTypographic() []string {
	var pairs []string
	for plain, fancy := range map[string]string{"'": "′’‘ʹ´`＇ʼ", `"`: "″”“ʺ＂„", "-": "−–—‐‑‒﹣－", "/": "⁄∕／"} {
		for _, sign := range fancy {
			pairs = append(pairs, string(sign), plain)
		}
	}
	return pairs
}

// plain brings a typed text to the signs of a keyboard, with single blanks and without hard spaces between thousands.
func plain(typed string) string {
	s := typed
	for range 8 { // each round takes out one hard space of each number
		t := hardGroups.ReplaceAllString(s, "$1$2$3")
		if t == s {
			break
		}
		s = t
	}
	s = typographic.Replace(s)
	var b strings.Builder
	for _, r := range s {
		if fraction, ok := vulgarByRune[r]; ok {
			b.WriteString(" " + fraction + " ")
			continue
		}
		b.WriteRune(r)
	}
	s = strings.Join(strings.Fields(b.String()), " ")
	return strings.ReplaceAll(s, "''", `"`)
}

// parseNumber reads a decimal number with a point, thousands apart by blanks or not at all, and says how many decimals
// were typed.
func parseNumber(text string) (*big.Rat, int, error) {
	s := strings.TrimSpace(text)
	if strings.HasPrefix(s, "- ") {
		s = "-" + s[2:]
	}
	switch {
	case s == "" || s == "-":
		return nil, 0, refuse("there is no number; type one, such as 12.5")
	case powersOfTen.MatchString(s):
		return nil, 0, refuse("%q is written with a power of ten; write the number out", text)
	case strings.Contains(s, ","):
		return nil, 0, refuse("%q has a comma; write decimals with a point (1.5) and thousands with a blank (1 500)", text)
	case blankGroups.MatchString(s):
		s = strings.ReplaceAll(s, " ", "")
	case strings.Contains(s, " "):
		return nil, 0, refuse("%q is more than one number; write one, such as 12.5", text)
	}
	if !plainNumber.MatchString(s) {
		return nil, 0, refuse("%q is not a number; write it in digits, such as 12.5", text)
	}
	_, decimals, _ := strings.Cut(s, ".")
	r := decimal10(strings.TrimPrefix(s, "-"))
	if strings.HasPrefix(s, "-") {
		r.Neg(r)
	}
	return r, len(decimals), nil
}

// decimal10 turns digits with at most one point, known to be such, into their value. Noughts in front go first:
// big.Rat may take them for the mark of an octal number.
func decimal10(digits string) *big.Rat {
	digits = strings.TrimSuffix(strings.TrimLeft(digits, "0"), ".")
	if digits == "" {
		return new(big.Rat)
	}
	if digits[0] == '.' {
		digits = "0" + digits
	}
	r, ok := new(big.Rat).SetString(digits)
	if !ok {
		panic("unit: not digits: " + digits)
	}
	return r
}

// ParseNumber reads a decimal number as a person or a file writes it, and says how many decimals it has.
//
// It returns a Refused for powers of ten, decimal commas and whatever else is not one plain number.
func ParseNumber(typed string) (value *big.Rat, decimals int, err error) {
	if len(typed) > maxTyped {
		return nil, 0, refuse("the number is longer than %d characters; shorten it", maxTyped)
	}
	return parseNumber(plain(typed))
}
