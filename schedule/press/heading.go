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
	timeColumn:     {"time", "elapsed", "seconds", "t", "zeit", "temps"},
	topColumn:      {"top", "upper", "t1", "temp1", "ober", "oben"},
	bottomColumn:   {"bottom", "lower", "t2", "temp2", "unter", "unten"},
	pressureColumn: {"pressure", "press", "p", "druck", "pression"},
}

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
	cells := strings.Split(line, string(delimiter))
	h := &heading{delimiter: delimiter, fields: len(cells)}
	for c := range h.at {
		h.at[c] = -1
	}
	for i, cell := range cells {
		c, ok := columnOf(cell)
		if !ok || h.at[c] >= 0 {
			continue
		}
		h.at[c], h.unit[c] = i, unitOf(c, cell)
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

// columnOf tells which column a heading names. Temperatures are asked first: "T1 top" holds a t as well.
func columnOf(cell string) (column, bool) {
	said := pieces(cell)
	for _, c := range []column{topColumn, bottomColumn, pressureColumn, timeColumn} {
		for _, w := range words[c] {
			for _, p := range said {
				if p == w || len(w) > 2 && strings.HasPrefix(p, w) {
					return c, true
				}
			}
		}
	}
	return 0, false
}

// unitOf reads the unit from a heading; without one the first of the trade's: seconds, degrees Celsius, bar.
func unitOf(c column, cell string) unit {
	table := units[c]
	if c == bottomColumn {
		table = units[topColumn]
	}
	said := pieces(cell)
	for i := len(said) - 1; i >= 0; i-- { // the unit stands at the end
		if u, ok := table[said[i]]; ok {
			return u
		}
	}
	return unit{factor: 1, celsius: c == topColumn || c == bottomColumn, hoursFirst: slices.Contains(said, "hh") && !slices.Contains(said, "ss")}
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
