package workbook

import (
	"regexp"
	"strconv"
	"strings"

	"carryside/assets/intake"
)

// maxStyles bounds the list of cell styles; spreadsheets themselves stop at 64 000.
const maxStyles = 65_000

// formatted is what a number format means.
type formatted struct {
	date, monthOnly, elapsed bool
	unit, pattern            string
}

// builtIn are the date formats that have a number of their own (ECMA-376 part 1, 18.8.30).
var builtIn = map[int]formatted{
	14: {date: true}, 15: {date: true}, 16: {date: true}, 17: {date: true, monthOnly: true}, 22: {date: true}, 46: {elapsed: true},
	27: {date: true}, 28: {date: true}, 29: {date: true}, 30: {date: true}, 31: {date: true}, 36: {date: true},
	50: {date: true}, 51: {date: true}, 52: {date: true}, 53: {date: true}, 54: {date: true}, 57: {date: true}, 58: {date: true},
}

// readStyles reads which styles are dates, struck through, or write a unit behind the number.
func (b *bookReader) readStyles(name string) error {
	formats := map[int]formatted{}
	var struck []bool
	inFonts, inCells := false, false
	err := b.scan(name, func(s *xmlScanner) error {
		switch {
		case string(s.name) == "fonts":
			inFonts = !s.closing && !s.single
		case string(s.name) == "cellXfs":
			inCells = !s.closing && !s.single
		case s.is("numFmt"):
			if id, err := strconv.Atoi(s.attr("numFmtId")); err == nil && len(formats) < maxStyles {
				formats[id] = readFormat(s.attr("formatCode"))
			}
		case inFonts && s.is("font"):
			if len(struck) < maxStyles {
				struck = append(struck, false)
			}
		case inFonts && s.is("strike") && len(struck) > 0:
			v := s.attr("val")
			struck[len(struck)-1] = v == "" || v == "1" || strings.EqualFold(v, "true")
		case inCells && s.is("xf"):
			if len(b.book.Styles) >= maxStyles {
				return nil
			}
			id, _ := strconv.Atoi(s.attr("numFmtId"))
			font, _ := strconv.Atoi(s.attr("fontId"))
			f, own := formats[id]
			if !own {
				f = builtIn[id]
			}
			st := intake.Style{Date: f.date, MonthOnly: f.monthOnly, Elapsed: f.elapsed, Unit: f.unit, Pattern: f.pattern}
			st.Struck = font >= 0 && font < len(struck) && struck[font]
			b.book.Styles = append(b.book.Styles, st)
		}
		return nil
	})
	return err
}

var (
	quotedInFormat  = regexp.MustCompile(`"([^"]*)"`)
	bracketInFormat = regexp.MustCompile(`\[[^\]]*\]`)
	elapsedFormat   = regexp.MustCompile(`(?i)\[(?:h+|hh+)\]`)
	skippedInFormat = regexp.MustCompile(`[\\_*].`)
	tagFormat       = regexp.MustCompile(`^((?:"[^"]*"|\\.|[A-Z/_-])*)(0+)$`)
	unitInFormat    = regexp.MustCompile(`^[#0,.\s?]+(?:\\ )?("[^"]*"|(?:\\.)+)$`)
)

// readFormat reads a number format of a workbook: only its first section counts.
func readFormat(code string) formatted {
	code, _, _ = strings.Cut(code, ";")
	if len(code) > 200 || strings.EqualFold(code, "general") {
		return formatted{}
	}
	if elapsedFormat.MatchString(code) {
		return formatted{elapsed: true}
	}
	if m := tagFormat.FindStringSubmatch(code); m != nil && (m[1] != "" || len(m[2]) > 1) {
		return formatted{pattern: unquoted(m[1]) + m[2]}
	}
	if m := unitInFormat.FindStringSubmatch(code); m != nil {
		return formatted{unit: strings.TrimSpace(unquoted(m[1]))}
	}
	bare := skippedInFormat.ReplaceAllString(bracketInFormat.ReplaceAllString(quotedInFormat.ReplaceAllString(code, ""), ""), "")
	bare = strings.ToLower(bare)
	day, year := strings.ContainsAny(bare, "dt"), strings.ContainsAny(bare, "yj")
	if strings.Contains(bare, "general") || strings.Contains(bare, "standard") {
		return formatted{}
	}
	month := strings.Contains(bare, "m")
	if (year && month) || (day && month) || (year && !strings.ContainsAny(bare, "#0")) {
		return formatted{date: true, monthOnly: year && month && !day && !strings.ContainsAny(bare, "hs")}
	}
	return formatted{}
}

// unquoted takes the quotes and backslashes off a literal of a format.
func unquoted(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] == '"' {
			continue
		}
		if s[i] == '\\' && i+1 < len(s) {
			i++
		}
		b.WriteByte(s[i])
	}
	return b.String()
}
