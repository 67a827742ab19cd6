package intake

import (
	"regexp"
	"strings"
)

// heading is what one column's heading means.
type heading struct {
	text   string    // as written, rows joined
	field  string    // field, or one of the open meanings; "" not recognised
	unit   *unitOf   // named with it
	lang   language  // the language it is written in
	order  dateOrder // "Date (dd/mm/yyyy)" tells the order
	date   readDateResult
	dated  bool   // the heading is a date: a column of readings taken then
	inside string // what stands in brackets and is no unit that columns have
	own    bool   // a column that the workbook of refused rows adds; passed over
}

// Headings of the columns that the workbook of refused rows adds at the right.
const (
	RefusedSheetHeading  = "Carryside: sheet"
	RefusedRowHeading    = "Carryside: row"
	RefusedReasonHeading = "Carryside: reason"
)

var (
	ownHeadings = set("carryside sheet", "carryside row", "carryside reason")
	bracketed   = regexp.MustCompile(`[(\[{]([^()\[\]{}]*)[)\]}]`)
	orderHint   = regexp.MustCompile(`(?i)^(?:dd?|tt?)[-/. ]mm?[-/. ](?:yy(?:yy)?|jj(?:jj)?|aa(?:aa)?)$|^mm?[-/. ]dd?[-/. ]yy(?:yy)?$|^yy(?:yy)?[-/. ]mm?[-/. ]dd?$`)
)

// matchHeading reads one heading cell.
func matchHeading(text string) heading {
	h := heading{text: joinBlanks(text)}
	if h.text == "" || len(h.text) > 120 {
		return h
	}
	if ownHeadings[fold(h.text)] {
		h.own = true
		return h
	}
	base, inside := h.text, ""
	if m := bracketed.FindStringSubmatch(h.text); m != nil {
		inside = trimmed(m[1])
		base = trimmed(bracketed.ReplaceAllString(h.text, " "))
		h.order = hintedOrder(inside)
		if u := findUnit(inside); u != nil {
			h.unit = u
			inside = ""
		}
		h.inside = inside
	}
	if inside != "" && (h.match(base+" "+inside) || h.match(inside+" "+base)) {
		return h
	}
	if h.match(base) {
		if rest, u := cutUnit(base); u != nil && h.unit == nil && fold(rest) == fold(base) {
			h.unit = u // a sign such as ° or " that words do without
		}
		return h
	}
	if rest, u := cutUnit(base); u != nil {
		if h.match(rest) {
			if h.unit == nil {
				h.unit = u
			}
			return h
		}
	}
	return h
}

// match looks a heading's words up and sets what they mean.
func (h *heading) match(base string) bool {
	f := fold(base)
	s, ok := headingMeans[f]
	if !ok {
		for _, end := range []string{" in", " en", " no", " of"} {
			if cut, found := strings.CutSuffix(f, end); found {
				if s, ok = headingMeans[cut]; ok {
					break
				}
			}
		}
	}
	if !ok {
		return false
	}
	h.field, h.lang = s.field, s.lang
	if strings.Contains(f, "piw") && h.unit == nil {
		h.unit = unitPIW
	}
	return true
}

// hintedOrder reads a format such as dd/mm/yyyy.
func hintedOrder(s string) dateOrder {
	if !orderHint.MatchString(s) {
		return orderOpen
	}
	switch s[0] {
	case 'd', 'D', 't', 'T':
		return orderDMY
	case 'm', 'M':
		return orderMDY
	}
	return orderYMD
}

// cutUnit takes a unit off a heading's end: "Belt width mm", "Belt Length, ft", "Width/mm".
func cutUnit(base string) (rest string, u *unitOf) {
	for _, sep := range []string{" ", ",", "/", ":", "-"} {
		at := strings.LastIndex(base, sep)
		if at <= 0 {
			continue
		}
		if u := findUnit(base[at+len(sep):]); u != nil {
			return strings.Trim(base[:at], " ,/:-"), u
		}
	}
	return base, nil
}

// joinHeadings reads a heading over several rows, top to bottom. The whole is tried first ("Splice / Date"), then the
// lowest cell alone, then, where nothing stands below, the ones above it.
func joinHeadings(cells []string) heading {
	var parts []string
	for _, c := range cells {
		c = trimmed(c)
		if c != "" && (len(parts) == 0 || !strings.EqualFold(parts[len(parts)-1], c)) {
			parts = append(parts, c)
		}
	}
	if len(parts) == 0 {
		return heading{}
	}
	if len(parts) > 1 {
		if u := findUnit(strings.Trim(parts[len(parts)-1], "()[]")); u != nil {
			h := joinHeadings(parts[:len(parts)-1])
			if h.unit == nil {
				h.unit = u
			}
			return h
		}
	}
	whole := matchHeading(strings.Join(parts, " "))
	if whole.field != "" || whole.own || len(parts) == 1 {
		return whole
	}
	low := matchHeading(parts[len(parts)-1])
	low.text = whole.text
	if low.field == "" && len(parts) > 2 {
		next := joinHeadings(parts[1:])
		next.text = whole.text
		return next
	}
	return low
}

// headingDate reads a heading that is a date or a month, for a table with a column per reading. years holds the year a
// title tells for headings of bare months.
func headingDate(text, year string, order dateOrder) (readDateResult, bool) {
	text = trimmed(text)
	if text == "" || len(text) > 40 {
		return readDateResult{}, false
	}
	if monthNumber[fold(text)] > 0 {
		if year == "" {
			return readDateResult{}, false
		}
		text += " " + year
	}
	text, _ = cutUnitOfDate(text)
	r := readDate(text, order)
	if r.blank || (r.fault != "" && r.fault != faultOpenDate) {
		return r, false
	}
	if r.fault == "" && (r.latest == "" || daysBetween(r.earliest, r.latest) > 31) {
		return r, false
	}
	return r, true
}

// cutUnitOfDate takes "h" or "(h)" off a heading that is a date.
func cutUnitOfDate(text string) (string, bool) {
	if m := bracketed.FindStringSubmatch(text); m != nil && findUnit(m[1]) == unitH {
		return trimmed(bracketed.ReplaceAllString(text, " ")), true
	}
	if rest, u := cutUnit(text); u == unitH {
		return rest, true
	}
	return text, false
}

var noteUnit = regexp.MustCompile(`(?i)([\p{L}]+)\s*(?:\(s\))?\s*(?:are |is |sind |ist |given |shown |angegeben |alle |all |estan )*\s*(?:in|en|:|=)\s*([\p{L}/"'°.]+)`)

// noteFields tells which fields a noun of a note above a table means; nil: all of the dimension.
var noteNouns = map[string][]string{
	"lengths": nil, "length": nil, "langen": nil, "lange": nil, "masse": nil, "mass": nil, "dimensions": nil, "dimension": nil, "dims": nil, "sizes": nil, "measurements": nil, "measures": nil, "units": nil, "unit": nil,
	"dimensiones": nil, "medidas": nil, "longitudes": nil, "longitud": nil, "einheiten": nil, "angaben": nil, "unidades": nil, "abmessungen": nil, "distances": nil, "values": nil, "werte": nil, "all": nil, "alle": nil, "todo": nil, "cotas": nil,
	"widths": {"width"}, "width": {"width"}, "breiten": {"width"}, "breite": {"width"}, "anchos": {"width"}, "ancho": {"width"},
	"speeds": {"speed"}, "speed": {"speed"}, "geschwindigkeiten": {"speed"}, "geschwindigkeit": {"speed"}, "velocidades": {"speed"}, "velocidad": {"speed"},
	"thicknesses": {"thickness"}, "thickness": {"thickness"}, "dicken": {"thickness"}, "espesores": {"thickness"},
	"tensions": {"working_tension"}, "tension": {"working_tension"}, "tensiones": {"working_tension"},
	"centres": {"centre_distance"}, "centers": {"centre_distance"}, "achsabstande": {"centre_distance"},
	"loops": {"loop_length"}, "gurtlangen": {"loop_length"}, "bandlangen": {"loop_length"}, "gurtbreiten": {"width"},
}

// unitNotes reads notes above a table such as "all lengths in mm, speeds in m/min" into units by field.
func unitNotes(notes []string) map[string]*unitOf {
	units := map[string]*unitOf{}
	named := map[string]bool{}
	for _, n := range notes {
		for _, m := range noteUnit.FindAllStringSubmatch(n, -1) {
			u := findUnit(strings.Trim(m[2], "."))
			only, known := noteNouns[fold(m[1])]
			if u == nil || !known {
				continue
			}
			for _, f := range fields {
				if f.dim != u.dim || !f.takesUnit() {
					continue
				}
				if only == nil && !named[f.name] {
					units[f.name] = u
				}
				if only != nil && f.name == only[0] {
					units[f.name], named[f.name] = u, true
				}
			}
		}
	}
	return units
}
