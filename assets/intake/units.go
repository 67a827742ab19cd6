package intake

import (
	"math/big"
	"strings"
)

// unitOf is one unit a list may be kept in.
type unitOf struct {
	name  string // in a mapping
	dim   dimension
	worth *big.Rat // in m, m/s, N/m, degrees or hours
}

func rat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("intake: bad factor " + s)
	}
	return r
}

// Worths follow from the exact inch (25.4 mm), foot (304.8 mm) and pound-force (4.4482216152605 N): international
// yard and pound agreement of 1959, standard gravity 9.80665 m/s² (NIST SP 811).
var (
	unitMM    = &unitOf{"mm", length, rat("1/1000")}
	unitCM    = &unitOf{"cm", length, rat("1/100")}
	unitM     = &unitOf{"m", length, rat("1")}
	unitIn    = &unitOf{"in", length, rat("0.0254")}
	unitFt    = &unitOf{"ft", length, rat("0.3048")}
	unitMS    = &unitOf{"m/s", speed, rat("1")}
	unitMMin  = &unitOf{"m/min", speed, rat("1/60")}
	unitFtMin = &unitOf{"ft/min", speed, rat("0.00508")}
	unitNM    = &unitOf{"N/m", tension, rat("1")}
	unitNMM   = &unitOf{"N/mm", tension, rat("1000")}
	unitKNM   = &unitOf{"kN/m", tension, rat("1000")}
	unitPIW   = &unitOf{"PIW", tension, new(big.Rat).Quo(rat("4.4482216152605"), rat("0.0254"))}
	unitDeg   = &unitOf{"deg", angle, rat("1")}
	unitH     = &unitOf{"h", hours, rat("1")}
)

// unitSpellings are compared in lower case without blanks and full stops.
var unitSpellings = func() map[string]*unitOf {
	m := map[string]*unitOf{}
	for u, spelt := range map[*unitOf]string{
		unitMM:    "mm millimetre millimetres millimeter millimeters milimetros milímetros",
		unitCM:    "cm centimetre centimetres centimeter centimeters zentimeter centimetros centímetros",
		unitM:     "m mtr mtrs metre metres meter meters metro metros",
		unitIn:    `in ins inch inches zoll " pulg pulgada pulgadas`,
		unitFt:    `ft feet foot fuß fuss ' pie pies`,
		unitMS:    "m/s m/sec m/sek m/seg mps ms-1 ms⁻¹",
		unitMMin:  "m/min m/minute mpm mtr/min m/min.",
		unitFtMin: "ft/min ft/m fpm feet/min feet/minute pies/min",
		unitNM:    "n/m",
		unitNMM:   "n/mm",
		unitKNM:   "kn/m",
		unitPIW:   "piw lb/in lbf/in lbs/in lb/inch lbs/inch ppi",
		unitDeg:   "deg degs degree degrees ° grad grados º",
		unitH:     "h hr hrs hour hours std stunden stunde bh hora horas h/bh",
	} {
		for _, s := range strings.Fields(spelt) {
			m[s] = u
		}
	}
	return m
}()

// findUnit returns the unit that a text names and nothing else, or nil.
func findUnit(s string) *unitOf {
	if len(s) > 24 {
		return nil
	}
	s = strings.ToLower(plainMarks(trimmed(s)))
	s = noBlanks.Replace(s)
	if u := unitSpellings[s]; u != nil {
		return u
	}
	return nil
}

var noBlanks = strings.NewReplacer(" ", "", ".", "")

// plainMarks turns typographic quotes, primes, minus signs and one-character fractions into the plain signs, and blanks
// of every width into the usual one.
func plainMarks(s string) string {
	if ascii(s) {
		return s
	}
	return marks.Replace(s)
}

var marks = strings.NewReplacer(
	"”", `"`, "“", `"`, "„", `"`, "″", `"`, "‟", `"`, "’’", `"`, "′′", `"`,
	"’", "'", "‘", "'", "′", "'", "‛", "'", "´", "'",
	"−", "-", "–", "-", "—", "-", "‐", "-", "‑", "-",
	"½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8", "⅓", " 1/3", "⅔", " 2/3", "⁄", "/",
	"\u00a0", " ", "\u2009", " ", "\u202f", " ", "\u2007", " ", "\u2008", " ", "\u200a", " ", "\u2002", " ", "\u2003", " ", "\t", " ",
)
