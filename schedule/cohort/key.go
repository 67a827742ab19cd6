package cohort

import (
	"strings"

	"carryside/assets"
)

// Key names a cohort: splice kind, belt family, duty. An empty part stands for all of them.
type Key struct {
	Form   assets.Form
	Bond   assets.Bond
	Family string // of the belt specification
	Duty   string // in words, from DutyOf
	Level  Level
}

// Level is how much of the key a cohort is told by.
type Level int

// Levels, the closest first.
const (
	ByDuty   Level = iota // kind, family and duty
	ByFamily              // kind and family
	ByKind                // kind
	ByHalf                // form or bond alone
	Everything
)

// DutyOf is a conveyor's duty as cohorts tell it: what wears a splice in its own way. Hot is 60 degrees Celsius and
// more, the lowest upper limit of the thermoplastic families' product temperature (common practice).
func DutyOf(c assets.Conveyor) string {
	var words []string
	if c.Abrasive {
		words = append(words, "abrasive")
	}
	if c.WashDown {
		words = append(words, "wash-down")
	}
	if c.ProductC != nil && *c.ProductC >= hotC {
		words = append(words, "hot")
	}
	if c.Outdoor {
		words = append(words, "outdoor")
	}
	if words == nil {
		return "plain"
	}
	return strings.Join(words, ", ")
}

const hotC = 60

// KeyOf is the closest cohort of a splice.
func KeyOf(s assets.Splice, family string, duty string) Key {
	return Key{Form: s.Form, Bond: s.Bond, Family: family, Duty: duty}
}

// Parents lists the cohorts a thin one may borrow from, the closest first. Where form or bond is not known, the half that
// is leads.
func (k Key) Parents() []Key {
	var up []Key
	if k.Level < ByFamily {
		up = append(up, Key{Form: k.Form, Bond: k.Bond, Family: k.Family, Level: ByFamily})
	}
	if k.Level < ByKind {
		up = append(up, Key{Form: k.Form, Bond: k.Bond, Level: ByKind})
	}
	if k.Level < ByHalf && (k.Form != "" || k.Bond != "") {
		half := Key{Bond: k.Bond, Level: ByHalf} // hot or cold tells more of a life than the shape of the ends
		if k.Bond == "" || k.Bond == assets.BondNone {
			half = Key{Form: k.Form, Level: ByHalf}
		}
		up = append(up, half)
	}
	if k.Level < Everything {
		up = append(up, Key{Level: Everything})
	}
	return up
}

// Holds reports whether a life of the closest cohort of belongs to the cohort k.
func (k Key) Holds(of Key) bool {
	switch k.Level {
	case Everything:
		return true
	case ByHalf:
		return (k.Form == "" || k.Form == of.Form) && (k.Bond == "" || k.Bond == of.Bond)
	case ByKind:
		return k.Form == of.Form && k.Bond == of.Bond
	case ByFamily:
		return k.Form == of.Form && k.Bond == of.Bond && k.Family == of.Family
	default:
		return k == of
	}
}

// Words names the cohort as a planner reads it: "hot vulcanised, stepped, on RB-EP, abrasive, outdoor".
func (k Key) Words() string {
	switch k.Level {
	case Everything:
		return "all splices"
	case ByHalf:
		if k.Form != "" {
			return "all " + k.Form.Words()
		}
		return "all " + k.Bond.Words()
	}
	words := assets.KindWords(k.Form, k.Bond)
	if k.Level <= ByFamily {
		family := k.Family
		if family == "" {
			family = "belts of no known family"
		}
		words += ", on " + family
	}
	if k.Level == ByDuty {
		words += ", " + k.Duty
	}
	return words
}
