package intake

import (
	"sort"
	"strings"
)

// column is one column of a table and what its cells are read as.
type column struct {
	col    int
	f      *field // nil: passed over
	unit   *unitOf
	order  dateOrder         // told by the heading
	values map[string]string // words of the cells and what they mean, folded
	dated  bool              // a column of readings; when they were taken stands in the heading
	when   readDateResult
	style  decimals
	from   heading

	mixedOrders bool // the column holds dates of both orders
	byLanguage  bool // the order rests on the language of the headings
}

// table is one table of a sheet.
type table struct {
	sheet       *Sheet
	order       int // of tables in the file
	first, last int // columns
	headerIdx   []int
	unitIdx     int // index of the row of units below the heading, -1 for none
	bodyFrom    int // indices into sheet.Rows
	bodyTo      int
	columns     []*column
	byField     map[string]*column
	records     map[Kind]bool
	creates     bool // makes conveyors and belts; otherwise it refers to them
	lang        language
	titles      []string // texts above the heading
	above       int      // the sheet's first heading row: what is above it are titles
	plantTitle  string   // "Plant: NAME" above the heading
	plant       string   // for rows without one of their own
	side        bool     // beside the first table
	mapped      bool     // told by a mapping
}

// cellsIn returns a row's cells within columns.
func cellsIn(r *Row, first, last int) []Cell {
	lo := sort.Search(len(r.Cells), func(i int) bool { return int(r.Cells[i].Col) >= first })
	hi := sort.Search(len(r.Cells), func(i int) bool { return int(r.Cells[i].Col) > last })
	return r.Cells[lo:hi]
}

// originals counts the cells that are not carried from a merged area.
func originals(cells []Cell) int {
	n := 0
	for i := range cells {
		if !cells[i].Covered {
			n++
		}
	}
	return n
}

// span is a run of columns.
type columnSpan struct{ first, last int }

// spans parts columns at those without content. Rows with a single cell do not count: they are titles and notes.
func spans(rows []Row, first, last int) []columnSpan {
	used := make([]bool, 1<<14+1)
	for i := range rows {
		cells := cellsIn(&rows[i], first, last)
		if originals(cells) < 2 {
			continue
		}
		for j := range cells {
			used[cells[j].Col] = true
		}
	}
	var out []columnSpan
	for c, is := range used {
		if !is {
			continue
		}
		if n := len(out); n > 0 && out[n-1].last == c-1 {
			out[n-1].last = c
			continue
		}
		out = append(out, columnSpan{c, c})
	}
	return out
}

// guesser finds the tables of a book.
type guesser struct {
	book  *Book
	known map[string]heading // headings looked at
	order dateOrder
}

// headingOf reads a text as a heading; texts come again and again.
func (g *guesser) headingOf(text string) heading {
	if h, ok := g.known[text]; ok {
		return h
	}
	h := matchHeading(text)
	if len(g.known) < 100_000 {
		g.known[text] = h
	}
	return h
}

// tables finds the tables of a sheet, in order of rows and then of columns.
func (g *guesser) tables(s *Sheet) []*table {
	var out []*table
	for i, sp := range spans(s.Rows, 1, 1<<14) {
		found := g.tablesIn(s, sp)
		for _, t := range found {
			t.side = t.side || i > 0
		}
		out = append(out, found...)
	}
	above := len(s.Rows)
	for _, t := range out {
		if len(t.headerIdx) > 0 {
			above = min(above, t.headerIdx[0])
		}
	}
	for _, t := range out {
		t.above = above
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].headAt() < out[j].headAt() })
	return out
}

func (t *table) headAt() int {
	if len(t.headerIdx) > 0 {
		return t.headerIdx[0]
	}
	return t.bodyFrom
}

// tablesIn finds the tables of a run of columns: each heading begins one, the same heading again does not.
func (g *guesser) tablesIn(s *Sheet, sp columnSpan) []*table {
	heads := g.headingClusters(s, sp)
	if len(heads) == 0 {
		return []*table{{sheet: s, first: sp.first, last: sp.last, unitIdx: -1, bodyTo: len(s.Rows)}}
	}
	var out []*table
	for i := 0; i < len(heads); {
		next := i + 1
		for next < len(heads) && g.sameHeading(s, sp, heads[i], heads[next]) {
			next++
		}
		end := len(s.Rows)
		if next < len(heads) {
			end = heads[next][0]
		}
		out = append(out, g.band(s, sp, heads[i], end)...)
		i = next
	}
	return out
}

// band makes the tables that share one heading row: columns without content part them.
func (g *guesser) band(s *Sheet, sp columnSpan, head []int, end int) []*table {
	parts := spans(s.Rows[head[0]:end], sp.first, sp.last)
	if len(parts) == 0 {
		parts = []columnSpan{sp}
	}
	var out []*table
	for i, p := range parts {
		t := &table{sheet: s, first: p.first, last: p.last, headerIdx: head, unitIdx: -1, bodyFrom: head[len(head)-1] + 1, bodyTo: end, side: i > 0}
		if at := t.bodyFrom; at < end && isUnitRow(cellsIn(&s.Rows[at], p.first, p.last)) {
			t.unitIdx, t.bodyFrom = at, at+1
		}
		out = append(out, t)
	}
	return out
}

// isUnitRow tells whether a row below a heading holds units and nothing else.
func isUnitRow(cells []Cell) bool {
	units := 0
	for i := range cells {
		if cells[i].Kind != Text {
			return false
		}
		text := strings.Trim(trimmed(cells[i].Text), "()[]")
		switch {
		case findUnit(text) != nil:
			units++
		case strings.Trim(text, "-– ") == "":
		default:
			return false
		}
	}
	return units > 0
}

// score counts the different headings recognised in a row, and the cells with content.
func (g *guesser) score(cells []Cell) (found, filled int, conveyor bool) {
	seen := map[string]bool{}
	for i := range cells {
		c := &cells[i]
		if c.Kind != Text {
			filled++
			continue
		}
		if !c.Covered {
			filled++
		}
		if hasDigit(c.Text) || len(c.Text) > 120 {
			continue
		}
		if h := g.headingOf(c.Text); h.field != "" && !seen[h.field] {
			seen[h.field] = true
			found++
		} else if h.own {
			filled--
		}
	}
	return found, filled, seen["conveyor"]
}

func hasDigit(s string) bool { return strings.ContainsAny(s, "0123456789") }

// headingClusters finds the heading rows, each with the rows that belong to it, as indices.
func (g *guesser) headingClusters(s *Sheet, sp columnSpan) [][]int {
	var strong []int
	best, bestFound := -1, 1
	for i := range s.Rows {
		cells := cellsIn(&s.Rows[i], sp.first, sp.last)
		if len(cells) < 2 {
			continue
		}
		found, filled, conveyor := g.score(cells)
		if conveyor || g.monthsBelow(s, sp, i) {
			if n := g.datedHeadings(cells); n > 1 || n == 1 && filled <= 3 {
				found += n
			}
		}
		if found >= 2 && 2*found >= filled {
			if data := g.dataLike(cells); data == 0 || found >= 4 && 4*data <= found {
				strong = append(strong, i)
			}
		}
		if found > bestFound {
			best, bestFound = i, found
		}
	}
	if len(strong) == 0 {
		if best < 0 {
			return nil
		}
		strong = []int{best}
	}
	var out [][]int
	for _, i := range strong {
		if n := len(out); n > 0 && i <= out[n-1][len(out[n-1])-1] {
			continue
		}
		low := 0
		if n := len(out); n > 0 {
			low = out[n-1][len(out[n-1])-1] + 1
		}
		out = append(out, g.cluster(s, sp, i, low))
	}
	return out
}

// monthsBelow tells whether a row can be months below a heading that names the conveyor: nothing stands under that name.
func (g *guesser) monthsBelow(s *Sheet, sp columnSpan, at int) bool {
	if at == 0 || s.Rows[at-1].Number != s.Rows[at].Number-1 {
		return false
	}
	for _, c := range cellsIn(&s.Rows[at-1], sp.first, sp.last) {
		if c.Kind == Text && g.headingOf(c.Text).field == "conveyor" {
			under := s.Rows[at].at(int(c.Col))
			return under.Kind == Blank || under.Covered
		}
	}
	return false
}

// dataLike counts the cells that no heading row has: numbers, and texts with digits that are neither headings nor dates,
// and a date that stands alone.
func (g *guesser) dataLike(cells []Cell) int {
	n, dates := 0, 0
	for _, c := range cells {
		_, dated := g.dateOfHeading(c, "")
		switch {
		case dated:
			dates++
		case c.Kind == Number:
			if c.Number < 1990 || c.Number > 2100 {
				n++
			}
		case c.Kind == Text:
			if h := g.headingOf(c.Text); hasDigit(c.Text) && h.field == "" && !h.own && !isYear(c.Text) {
				n++
			}
		default:
			n++
		}
	}
	if dates == 1 {
		n++ // a lone date is a row's own; months over readings come in numbers
	}
	return n
}

// datedHeadings counts headings that are dates or months.
func (g *guesser) datedHeadings(cells []Cell) int {
	n := 0
	for i := range cells {
		if _, ok := g.dateOfHeading(cells[i], ""); ok && !cells[i].Covered {
			n++
		} else if cells[i].Kind == Text && monthNumber[fold(cells[i].Text)] > 0 {
			n++
		}
	}
	return n
}

// dateOfHeading reads a heading cell that is a date.
func (g *guesser) dateOfHeading(c Cell, year string) (readDateResult, bool) {
	if c.Kind == Number {
		if !g.book.style(c).Date {
			return readDateResult{}, false
		}
		d, _, ok := serialDay(c.Number, g.book.Epoch1904)
		if ok && g.book.style(c).MonthOnly {
			return readMonth(string(d[:4]), string(d[5:7])), true
		}
		return exactly(d), ok
	}
	if c.Kind != Text {
		return readDateResult{}, false
	}
	return headingDate(c.Text, year, g.order)
}

// cluster chooses which of the rows around a heading row belong to it: those that, read together from top to bottom,
// give the most headings.
func (g *guesser) cluster(s *Sheet, sp columnSpan, at, low int) []int {
	from, to := at, at
	for from > low && at-from < 2 && g.headingLike(s, sp, from-1) && s.Rows[from-1].Number == s.Rows[from].Number-1 {
		from--
	}
	for to+1 < len(s.Rows) && to-at < 2 && g.headingLike(s, sp, to+1) && s.Rows[to+1].Number == s.Rows[to].Number+1 {
		to++
	}
	best, bestFound := []int{at}, -1
	for a := from; a <= to; a++ {
		for b := a; b <= to && b-a < 3; b++ {
			rows := make([]int, 0, 3)
			for i := a; i <= b; i++ {
				rows = append(rows, i)
			}
			found := 0
			seen := map[string]bool{}
			for _, h := range g.headings(s, sp, rows, -1) {
				switch {
				case h.field != "" && !seen[h.field]:
					seen[h.field] = true
					found++
				case h.dated:
					found++
				}
			}
			if found > bestFound || (found == bestFound && len(rows) > len(best) && g.allKnown(s, sp, rows)) {
				best, bestFound = rows, found
			}
		}
	}
	return best
}

// allKnown tells whether every cell of rows is a heading or the name of a group: only then do rows that add no heading
// belong to it.
func (g *guesser) allKnown(s *Sheet, sp columnSpan, rows []int) bool {
	for _, at := range rows {
		for _, c := range cellsIn(&s.Rows[at], sp.first, sp.last) {
			if c.Kind != Text || c.Covered {
				continue
			}
			if h := g.headingOf(c.Text); h.field == "" && !h.own && !groupWords[fold(c.Text)] && !isYear(c.Text) {
				return false
			}
		}
	}
	return true
}

// headingLike tells whether a row could be part of a heading: at least two texts or group names, no figures.
func (g *guesser) headingLike(s *Sheet, sp columnSpan, at int) bool {
	cells := cellsIn(&s.Rows[at], sp.first, sp.last)
	own := 0
	known := false
	for i := range cells {
		c := &cells[i]
		if c.Kind == Number && (c.Number < 1990 || c.Number > 2100) && !g.book.style(*c).Date {
			return false
		}
		if c.Kind == Failed || c.Kind == Boolean || c.Kind == Text && plantTitle.MatchString(c.Text) {
			return false
		}
		if c.Covered {
			continue
		}
		own++
		known = known || c.Kind == Number && !g.book.style(*c).Date
		if c.Kind == Text {
			h := g.headingOf(c.Text)
			known = known || h.field != "" || monthNumber[fold(c.Text)] > 0 || groupWords[fold(c.Text)]
			if hasDigit(c.Text) && h.field == "" {
				if _, dated := g.dateOfHeading(*c, ""); !dated && !isYear(c.Text) {
					return false
				}
				known = known || isYear(c.Text)
			}
		}
	}
	return own >= 2 && known && !isUnitRow(cells)
}

// isYear tells whether a text is a year of four digits, as it stands above months.
func isYear(s string) bool {
	s = trimmed(s)
	return len(s) == 4 && (s[:2] == "19" || s[:2] == "20") && strings.Trim(s, "0123456789") == ""
}

// groupWords stand above a group of columns.
var groupWords = set("splice", "joint", "belt", "conveyor", "reading", "finding", "meter", "verbindung", "gurt", "band", "forderer", "messung", "empalme", "banda", "cinta", "lectura", "hour meter", "inspection", "prufung", "hallazgo")

// headings reads a heading of one or more rows: by column. In rows but the lowest a blank cell takes the group's name from
// the left.
func (g *guesser) headings(s *Sheet, sp columnSpan, rows []int, unitIdx int) map[int]heading {
	out := map[int]heading{}
	year := g.yearAbove(s, rows)
	group := make([]string, len(rows))
	for _, col := range g.columnsOf(s, sp, rows, unitIdx) {
		parts := make([]string, 0, len(rows)+1)
		var lowest Cell
		for i, at := range rows {
			c := s.Rows[at].at(col)
			text := g.book.shown(c)
			if c.Kind != Blank {
				group[i] = text
				lowest = c
			} else if i < len(rows)-1 && s.Rows[rows[len(rows)-1]].at(col).Kind != Blank {
				text = group[i]
			}
			parts = append(parts, text)
		}
		h := joinHeadings(parts)
		if h.field == "" && !h.own {
			if len(rows) > 1 {
				lowest = Cell{Kind: Text, Text: strings.Join(parts, " ")}
			}
			if lowest.Kind == Number && lowest.Number >= 20000 && lowest.Number <= 60000 {
				if d, _, ok := serialDay(lowest.Number, g.book.Epoch1904); ok && !g.book.style(lowest).Date {
					h.date, h.dated = exactly(d), true // a date that lost its format
				}
			}
			if d, ok := g.dateOfHeading(lowest, year); ok {
				h.date, h.dated = d, true
			}
		}
		if unitIdx >= 0 && h.unit == nil {
			h.unit = findUnit(strings.Trim(g.book.shown(s.Rows[unitIdx].at(col)), "()[] "))
		}
		out[col] = h
	}
	return out
}

// columnsOf lists the columns with content in any of the heading's rows.
func (g *guesser) columnsOf(s *Sheet, sp columnSpan, rows []int, unitIdx int) []int {
	seen := map[int]bool{}
	var cols []int
	for _, at := range append([]int{unitIdx}, rows...) {
		if at < 0 {
			continue
		}
		for _, c := range cellsIn(&s.Rows[at], sp.first, sp.last) {
			if !seen[int(c.Col)] {
				seen[int(c.Col)] = true
				cols = append(cols, int(c.Col))
			}
		}
	}
	sort.Ints(cols)
	return cols
}

// yearAbove finds the one year that titles above a heading, or the sheet's name, tell.
func (g *guesser) yearAbove(s *Sheet, rows []int) string {
	texts := []string{s.Name}
	if len(rows) > 0 {
		for i := range s.Rows[:rows[0]] {
			for _, c := range s.Rows[i].Cells {
				texts = append(texts, g.book.shown(c))
			}
			if len(texts) > 40 {
				break
			}
		}
	}
	year := ""
	for _, t := range texts {
		for _, w := range strings.Fields(fold(t)) {
			if len(w) == 4 && (strings.HasPrefix(w, "19") || strings.HasPrefix(w, "20")) && strings.Trim(w, "0123456789") == "" {
				if year != "" && year != w {
					return ""
				}
				year = w
			}
		}
	}
	return year
}

// sameHeading tells whether a later heading repeats an earlier one.
func (g *guesser) sameHeading(s *Sheet, sp columnSpan, a, b []int) bool {
	for _, i := range b {
		same := false
		for _, j := range a {
			same = same || sameCells(g.book, cellsIn(&s.Rows[i], sp.first, sp.last), cellsIn(&s.Rows[j], sp.first, sp.last))
		}
		if !same {
			return false
		}
	}
	return true
}

// sameCells tells whether two rows say the same.
func sameCells(b *Book, x, y []Cell) bool {
	if len(x) != len(y) || len(x) == 0 {
		return false
	}
	for i := range x {
		if x[i].Col != y[i].Col || x[i].Kind != y[i].Kind || fold(b.shown(x[i])) != fold(b.shown(y[i])) {
			return false
		}
	}
	return true
}
