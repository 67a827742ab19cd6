package press

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// column is one of the four columns a trace needs.
type column int

const (
	timeColumn column = iota
	topColumn
	bottomColumn
	pressureColumn
	columnCount
)

// words are what headings of a column begin with or hold, as presses and loggers write them (common practice). A word
// of one or two letters must stand alone.
var words = [columnCount][]string{
	timeColumn:     {"time", "elapsed", "seconds", "t", "zeit", "temps", "tiempo", "tempo"},
	topColumn:      {"top", "upper", "t1", "temp1", "ober", "oben", "superi", "supéri"},
	bottomColumn:   {"bottom", "lower", "t2", "temp2", "unter", "unten", "inferi", "inféri"},
	pressureColumn: {"pressure", "press", "p", "druck", "pression", "presión", "presion", "pressão"},
}

// notRead are words of columns that hold no reading: what the controller was set to looks like a perfect cycle. A word of up to three letters must
// stand alone.
var notRead = []string{"set", "setp", "setv", "sp", "soll", "sollw", "target", "consigne", "consigna", "nominal", "preset", "deviation", "dev", "delta", "diff", "error", "alarm", "limit", "output"}

// forces are units of what some presses log in place of pressure: without the area of the platens they say nothing of it.
var forces = []string{"t", "tf", "ton", "tons", "tonne", "tonnes", "n", "kn", "lbf", "klbf", "kgf"}

var columnNames = [columnCount]string{"time", "the upper platen's temperature", "the lower platen's temperature", "pressure"}

// unit turns a value as written into seconds, degrees Celsius or bar.
type unit struct {
	factor, offset float64
	celsius        bool // the heading says degrees Celsius, or says nothing
	hoursFirst     bool // a time of two parts is hours and minutes
}

// Factors: 1 psi = 0.0689475729 bar from 1 lbf = 4.4482216152605 N and 1 in = 0.0254 m exactly (NIST SP 811, appendix B).
const psiBar = 4.4482216152605 / (0.0254 * 0.0254) / 1e5

var units = map[column]map[string]unit{
	timeColumn: {
		"s": {factor: 1}, "sec": {factor: 1}, "second": {factor: 1}, "seconds": {factor: 1}, "ms": {factor: 1e-3},
		"min": {factor: 60}, "minute": {factor: 60}, "minutes": {factor: 60}, "h": {factor: 3600},
	},
	topColumn: {
		"c": {factor: 1, celsius: true}, "degc": {factor: 1, celsius: true}, "celsius": {factor: 1, celsius: true},
		"f": {factor: 5. / 9, offset: -32}, "degf": {factor: 5. / 9, offset: -32}, "fahrenheit": {factor: 5. / 9, offset: -32},
		"k": {factor: 1, offset: -273.15}, "kelvin": {factor: 1, offset: -273.15},
	},
	pressureColumn: {
		"bar": {factor: 1}, "mbar": {factor: 1e-3}, "mpa": {factor: 10}, "kpa": {factor: 0.01}, "pa": {factor: 1e-5},
		"kg/cm2": {factor: 0.980665}, "kg/cm²": {factor: 0.980665}, "kgf/cm2": {factor: 0.980665}, "kgf/cm²": {factor: 0.980665}, // exact (NIST SP 811, appendix B)
		"atm": {factor: 1.01325}, // standard atmosphere, 101 325 Pa exact (NIST SP 811, appendix B)
		"psi": {factor: psiBar}, "n/cm2": {factor: 0.1}, "n/cm²": {factor: 0.1}, "n/mm2": {factor: 10}, "n/mm²": {factor: 10}, "hpa": {factor: 1e-3},
	},
}

// heading is a heading line understood: where each column stands and what its values are in.
type heading struct {
	delimiter byte
	at        [columnCount]int
	unit      [columnCount]unit
	fields    int
}

// findHeading reads a line as a heading. nil when it is none; the names of the columns not found otherwise stay in missing.
func findHeading(line string) (h *heading, missing []string) {
	best := columnCount + 1
	for _, d := range []byte{'\t', ';', ',', '|'} {
		got, lacks := headingWith(line, d)
		if got != nil {
			return got, nil
		}
		if column(len(lacks)) < best {
			best, missing = column(len(lacks)), lacks
		}
	}
	return nil, missing
}

func headingWith(line string, delimiter byte) (*heading, []string) {
	cells := fieldsOf(line, delimiter)
	h := &heading{delimiter: delimiter, fields: len(cells)}
	var best [columnCount]int // how well a heading names its column
	for c := range h.at {
		h.at[c] = -1
	}
	for i, cell := range cells {
		c, word, ok := columnOf(cell)
		if !ok {
			continue
		}
		u, named := unitOf(c, cell)
		fit := len(word)
		if named { // "Press" may be which press; "Pressure (bar)" is the pressure
			fit += 100
		}
		if fit > best[c] {
			best[c], h.at[c], h.unit[c] = fit, i, u
		}
	}
	var missing []string
	for c, at := range h.at {
		if at < 0 {
			missing = append(missing, columnNames[c])
		}
	}
	if missing != nil {
		return nil, missing
	}
	return h, nil
}

var apart = regexp.MustCompile(`[^\p{L}\p{N}/²]+`)

// pieces splits a heading into its words, lower case: "Upper platen [°C]" gives upper, platen, c.
func pieces(cell string) []string {
	return strings.Fields(apart.ReplaceAllString(strings.ToLower(cell), " "))
}

// columnOf tells which column a heading names, and by which word. Temperatures are asked first: "T1 top" holds a t as well. What a press was set to,
// or a force, is no reading.
func columnOf(cell string) (c column, word string, ok bool) {
	said := pieces(cell)
	if slices.ContainsFunc(said, func(p string) bool { return begins(p, notRead, 3) }) {
		return 0, "", false
	}
	for _, c := range []column{topColumn, bottomColumn, pressureColumn, timeColumn} {
		for _, w := range words[c] {
			if slices.ContainsFunc(said, func(p string) bool { return begins(p, []string{w}, 2) }) {
				return c, w, c != pressureColumn || !slices.Contains(forces, said[len(said)-1])
			}
		}
	}
	return 0, "", false
}

// begins tells whether a piece of a heading is one of some words, or begins with one that is longer than so many letters.
func begins(piece string, words []string, alone int) bool {
	return slices.ContainsFunc(words, func(w string) bool { return piece == w || len(w) > alone && strings.HasPrefix(piece, w) })
}

// unitOf reads the unit from a heading; without one (named is false) the first of the trade's: seconds, degrees Celsius, bar.
func unitOf(c column, cell string) (u unit, named bool) {
	table := unitsOf(c)
	said := pieces(cell)
	for i := len(said) - 1; i >= 0; i-- { // the unit stands at the end
		if u, ok := table[said[i]]; ok {
			return u, true
		}
	}
	return unit{factor: 1, celsius: c == topColumn || c == bottomColumn, hoursFirst: slices.Contains(said, "hh") && !slices.Contains(said, "ss")}, false
}

func unitsOf(c column) map[string]unit {
	if c == bottomColumn {
		return units[topColumn]
	}
	return units[c]
}

// unitRow takes the units from the line below the headings where a logger writes them there, and tells whether it is such a line.
func (h *heading) unitRow(line string) bool {
	cells := fieldsOf(line, h.delimiter)
	next, any := h.unit, false
	for c, at := range h.at {
		if at >= len(cells) {
			return false
		}
		said := pieces(cells[at])
		if len(said) == 0 {
			continue
		}
		u, ok := unitsOf(column(c))[said[len(said)-1]]
		if !ok {
			return false
		}
		next[c], any = u, true
	}
	if any {
		h.unit = next
	}
	return any
}

// fieldsOf cuts a line into its fields; within quotes a delimiter is a sign like any other.
func fieldsOf(line string, delimiter byte) []string {
	var out []string
	for {
		cell, rest, more := nextField(line, delimiter)
		out = append(out, cell)
		if !more {
			return out
		}
		line = rest
	}
}

// nextField cuts the first field off a line.
func nextField(line string, delimiter byte) (cell, rest string, more bool) {
	if line == "" || line[0] != '"' && line[0] != ' ' { // some ten thousand rows have no quote
		return cutAt(line, delimiter)
	}
	if trimmed := strings.TrimLeft(line, " "); strings.HasPrefix(trimmed, "\"") {
		if end := strings.IndexByte(trimmed[1:], '"'); end >= 0 {
			_, rest, more = cutAt(trimmed[end+2:], delimiter)
			return trimmed[1 : end+1], rest, more
		}
	}
	return cutAt(line, delimiter)
}

func cutAt(line string, delimiter byte) (cell, rest string, more bool) {
	if i := strings.IndexByte(line, delimiter); i >= 0 {
		return line[:i], line[i+1:], true
	}
	return line, "", false
}

// of turns a value as written into seconds, degrees Celsius or bar.
func (u unit) of(v float64) float64 { return (v + u.offset) * u.factor }

// NoTrace is a file in which no trace can be found, with what is missing.
type NoTrace struct{ What string }

// Error says what is missing and what to do.
func (e *NoTrace) Error() string { return e.What }

func noHeading(missing []string) error {
	return &NoTrace{fmt.Sprintf("no heading line names %s; give the file a line of headings for time, both platens and pressure", strings.Join(missing, ", "))}
}
