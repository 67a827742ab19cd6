package assets

import (
	"strings"
	"time"
	"unicode"
)

// Plant is one site of a customer.
type Plant struct {
	Version
	CustomerID    int64
	Name          string
	NameKey       string
	Zone          string // IANA name
	UnitSystem    UnitSystem
	Currency      string // ISO 4217
	SiteRules     string // the plant's own rules, shown with every job
	AccessHours   string
	VisitorNeeds  string  // what a visitor needs to get in
	SettingsAsked bool    // zone, units and currency were taken from defaults: Today asks until a person confirms
	History       History `gorm:"serializer:json"`
	Remark        string
}

// History is since when a plant's failures are on record, as the plant states, and how it knows; empty: not stated.
type History struct {
	From Day    `json:"from,omitempty"`
	Why  string `json:"why,omitempty"` // e.g. the log book begins then
}

// Location returns the plant's zone; an unknown name gives UTC (names are checked when saved).
func (p Plant) Location() *time.Location {
	if l, err := time.LoadLocation(p.Zone); err == nil {
		return l
	}
	return time.UTC
}

// Contact is a person to reach at a plant.
type Contact struct {
	Version
	PlantID  int64
	PersonID int64
	Duty     string // e.g. "shift lead", "permit office"
	Phone    string
	Email    string

	PrivateSalt string `json:"-"` // kept by the storage: the journal sees phone and email through it
	PrivateHash string `json:"-"`
}

// Line is a stretch of a plant that stands still together.
type Line struct {
	Version
	PlantID  int64
	Name     string
	NameKey  string
	Position int // order in which material flows
}

// NameKey returns how a plant, line, customer or person is found again: without case and surplus blanks.
func NameKey(name string) string { return strings.Join(strings.Fields(strings.ToLower(name)), " ") }

// TagKey returns how a conveyor tag is found again: split into groups of letters and of digits, upper
// case, leading zeros and separators dropped. CV-01, CV01 and "cv 1" are one conveyor; CV-1-1 and CV-11
// are two; CV-1O (letter O) is not CV-10.
func TagKey(tag string) string {
	var groups []string
	var cur []rune
	digits := false
	flush := func() {
		if len(cur) == 0 {
			return
		}
		g := string(cur)
		if digits {
			if g = strings.TrimLeft(g, "0"); g == "" {
				g = "0"
			}
		}
		groups = append(groups, g)
		cur = nil
	}
	for _, r := range strings.ToUpper(tag) {
		switch {
		case unicode.IsDigit(r):
			if !digits {
				flush()
			}
			digits = true
			cur = append(cur, r)
		case unicode.IsLetter(r):
			if digits {
				flush()
			}
			digits = false
			cur = append(cur, r)
		default:
			flush()
		}
	}
	flush()
	return strings.Join(groups, "-")
}
