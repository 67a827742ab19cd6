package press

import (
	"bytes"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// Trace is a recorded trace: rows in the order of the file, with values in seconds, degrees Celsius and bar. A value
// that is not there is NaN.
type Trace struct {
	AtS         []float64
	Top, Bottom []float64
	Pressure    []float64
	celsius     bool // the heading says the temperatures are degrees Celsius
	incomplete  []Notice
	midnights   float64 // seconds of the days that ended while it was recorded
}

// most rows a file may have: a day at ten samples a second.
const mostRows = 24 * 3600 * 10

// Read reads a trace from the bytes of a text file: comma, semicolon, tab or bar between the fields, decimal point or
// comma, comment lines before the heading, times in seconds, minutes or hh:mm:ss, units as the heading names them.
//
// A *NoTrace error says in one sentence why the file holds none.
func Read(file []byte) (*Trace, error) {
	lines := strings.Split(decoded(file), "\n")
	h, first, err := headingOf(lines)
	if err != nil {
		return nil, err
	}
	t := &Trace{}
	data := dataLines(lines[first:])
	if len(data) > 0 && h.unitRow(data[0]) {
		data = data[1:]
	}
	t.celsius = h.unit[topColumn].celsius || h.unit[bottomColumn].celsius
	if len(data) > mostRows {
		return nil, &NoTrace{"the file has more than a day of rows at ten a second; cut it to the press cycle"}
	}
	t.grow(len(data))
	for i, line := range data {
		if !t.add(h, line) {
			t.incomplete = append(t.incomplete, Notice{Kind: IncompleteRow, DataRow: i + 1})
		}
	}
	if len(t.AtS) < 2 {
		return nil, &NoTrace{"the file has a heading but no rows of values under it; export the cycle again"}
	}
	return t, nil
}

// decoded is the file as text: a byte order mark decides, else UTF-8, else Windows-1252 for the degree sign of older loggers.
func decoded(file []byte) string {
	whole, _, err := transform.Bytes(unicode.BOMOverride(transform.Nop), file)
	if err != nil {
		whole = file
	}
	if !utf8.Valid(whole) {
		if w, err := charmap.Windows1252.NewDecoder().Bytes(whole); err == nil {
			whole = w
		}
	}
	return string(bytes.ReplaceAll(bytes.ReplaceAll(whole, []byte("\r\n"), []byte("\n")), []byte("\r"), []byte("\n")))
}

// headingOf finds the line of headings among the first lines and where the data begin.
func headingOf(lines []string) (*heading, int, error) {
	missing := columnNames[:]
	for i, line := range lines[:min(len(lines), 100)] {
		h, lacks := findHeading(line)
		if h != nil {
			return h, i + 1, nil
		}
		if len(lacks) < len(missing) {
			missing = lacks
		}
	}
	return nil, 0, noHeading(missing)
}

// dataLines leaves out blank lines and comments.
func dataLines(lines []string) []string {
	kept := lines[:0:0]
	for _, l := range lines {
		if s := strings.TrimSpace(l); s != "" && s[0] != '#' {
			kept = append(kept, l)
		}
	}
	return kept
}

func (t *Trace) grow(n int) {
	t.AtS, t.Top, t.Bottom, t.Pressure = make([]float64, 0, n), make([]float64, 0, n), make([]float64, 0, n), make([]float64, 0, n)
}

// add takes one row; false when the row is cut off or broken.
func (t *Trace) add(h *heading, line string) bool {
	var v [columnCount]float64
	var cells [columnCount]string
	if !pick(h, line, &cells) {
		return false
	}
	at, ok := seconds(cells[timeColumn], h.delimiter, h.unit[timeColumn].hoursFirst)
	if !ok {
		return false
	}
	if !strings.ContainsRune(cells[timeColumn], ':') {
		at = h.unit[timeColumn].of(at)
	} else if at += t.midnights; len(t.AtS) > 0 && t.AtS[len(t.AtS)-1]-at > 12*3600 { // the clock of the press went past midnight
		t.midnights, at = t.midnights+24*3600, at+24*3600
	}
	for c := topColumn; c < columnCount; c++ {
		if v[c], ok = number(cells[c], h.delimiter); !ok {
			return false
		}
		v[c] = h.unit[c].of(v[c])
	}
	t.AtS, t.Top, t.Bottom, t.Pressure = append(t.AtS, at), append(t.Top, v[topColumn]), append(t.Bottom, v[bottomColumn]), append(t.Pressure, v[pressureColumn])
	return true
}

// pick cuts the needed cells out of a line; false when the line is too short.
func pick(h *heading, line string, cells *[columnCount]string) bool {
	for i := 0; ; i++ {
		cell, rest, more := nextField(line, h.delimiter)
		for c, at := range h.at {
			if at == i {
				cells[c] = strings.Trim(cell, " \t\"")
			}
		}
		if !more {
			return i+1 >= h.fields || i >= max(h.at[0], h.at[1], h.at[2], h.at[3])
		}
		line = rest
	}
}

// number reads a value: NaN for one that is missing, false for one that is broken.
func number(cell string, delimiter byte) (float64, bool) {
	switch strings.ToLower(cell) {
	case "", "nan", "---", "--", "-", "n/a", "null":
		return math.NaN(), true
	}
	if delimiter != ',' {
		cell = strings.Replace(cell, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(cell, 64)
	return v, err == nil && !math.IsInf(v, 0) && math.Abs(v) < 1e12
}

// seconds reads a time: a number, hh:mm:ss (also behind a date), mm:ss, or hh:mm where the heading says so. False when
// it is missing or broken.
func seconds(cell string, delimiter byte, hoursFirst bool) (float64, bool) {
	if !strings.ContainsRune(cell, ':') {
		v, ok := number(cell, delimiter)
		return v, ok && known(v)
	}
	cell, afternoon := clockOf(cell)
	sum := 0.0
	parts := strings.Split(cell, ":")
	for _, p := range parts {
		v, ok := number(p, delimiter)
		if !ok || !known(v) || v < 0 {
			return 0, false
		}
		sum = sum*60 + v
	}
	if len(parts) == 2 && hoursFirst {
		sum *= 60
	}
	if afternoon != nil { // 12:30 AM is half past midnight
		sum = math.Mod(sum, 12*3600)
		if *afternoon {
			sum += 12 * 3600
		}
	}
	return sum, len(parts) <= 3
}

// zoned is the offset behind a time as ISO 8601 writes it.
var zoned = regexp.MustCompile(`(Z|[+-]\d\d:?\d\d)$`)

// clockOf is the time of day of a cell that may have a date before it and an offset or AM and PM behind it; afternoon is nil for a clock of 24 hours.
func clockOf(cell string) (clock string, afternoon *bool) {
	cell = strings.TrimSpace(cell)
	if n := len(cell) - 2; n > 0 && (cell[n+1] == 'M' || cell[n+1] == 'm') && strings.ContainsRune("AaPp", rune(cell[n])) {
		pm := cell[n] == 'P' || cell[n] == 'p'
		cell, afternoon = strings.TrimSpace(cell[:n]), &pm
	}
	i := strings.LastIndexAny(cell, " T")
	if i < 0 {
		return cell, afternoon
	}
	return zoned.ReplaceAllString(cell[i+1:], ""), afternoon
}
