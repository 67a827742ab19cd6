package intake

import "strings"

// monthNumber by the folded name or abbreviation, in English, German and Spanish.
var monthNumber = func() map[string]int {
	m := map[string]int{}
	for i, names := range []string{
		"january jan januar janner jaen enero ene",
		"february feb februar feber febrero",
		"march mar marz maerz mrz marzo",
		"april apr abril abr",
		"may mai mayo",
		"june jun juni junio",
		"july jul juli julio",
		"august aug agosto ago",
		"september sep sept septiembre setiembre set",
		"october oct oktober okt octubre",
		"november nov noviembre",
		"december dec dezember dez diciembre dic",
	} {
		for _, n := range strings.Fields(names) {
			m[n] = i + 1
		}
	}
	return m
}()

// season is a part of the year; the northern ones, as is common practice where no hemisphere is told.
type season uint8

const (
	noSeason season = iota
	spring
	summer
	autumn
	winter
)

var seasonNamed = map[string]season{
	"spring": spring, "fruhjahr": spring, "fruhling": spring, "fruehjahr": spring, "fruehling": spring, "primavera": spring,
	"summer": summer, "sommer": summer, "verano": summer,
	"autumn": autumn, "fall": autumn, "herbst": autumn, "otono": autumn,
	"winter": winter, "invierno": winter,
}

// aboutWords stand before a date that is not sure.
var aboutWords = set("about", "around", "approx", "approximately", "circa", "ca", "c", "roughly", "est", "etwa", "ungefahr", "um", "rund", "zirka", "aprox", "aproximadamente", "hacia", "alrededor", "sobre")

// beforeWords and afterWords open an interval at one end.
var (
	beforeWords = set("before", "vor", "antes", "pre", "prior", "earlier")
	afterWords  = set("after", "nach", "despues", "post")
	sinceWords  = set("since", "seit", "desde", "from", "ab")
)

// fillWords may stand between the parts of a date and mean nothing.
var fillWords = set("of", "de", "del", "the", "the", "im", "in", "en", "the", "am", "on", "el", "to", "than", "the", "month", "year", "jahr", "ano", "th", "st", "nd", "rd", "dem", "den", "der")

// weekWords stand before or behind the number of an ISO week.
var weekWords = set("kw", "w", "wk", "week", "cw", "s", "sem", "semana", "woche", "kalenderwoche", "wk.")

// quarterWords stand before or behind the number of a quarter.
var quarterWords = set("q", "quarter", "quartal", "trimestre", "trim", "t", "qtr")

// weekdayWords may stand before a date.
var weekdayWords = set("mon", "tue", "tues", "wed", "thu", "thur", "thurs", "fri", "sat", "sun", "monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday",
	"mo", "di", "mi", "do", "fr", "sa", "so", "montag", "dienstag", "mittwoch", "donnerstag", "freitag", "samstag", "sonnabend", "sonntag",
	"lunes", "martes", "miercoles", "jueves", "viernes", "sabado", "domingo", "lun", "mie", "jue", "vie", "sab", "dom")
