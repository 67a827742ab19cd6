package reports

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"carryside/assets"
	"carryside/reports/workbook"
)

// packageSheets lays window packages out in a workbook as a supervisor works with them: a sheet for each list of NewWindowPackage, as
// the lists stand on the page. The register with all lists in one, which the digest is of, stands behind them.
type packageSheets struct {
	book   *workbook.Writer
	report *Report
	first  *stopPacked // waits until another comes: of one stop alone no row need say which stop it is of
	stops  int
	sheets map[string]*workbook.Sheet // by the name and the headings of their list
	taken  map[string]bool            // names of sheets
	rules  []workbook.CoverLine       // of the sites, each once
	facts  []workbook.CoverLine       // which stops
}

// stopPacked is a package with the plant it is of.
type stopPacked struct {
	plant PlantName
	made  *WindowPackage
}

// listOrder is how the sheets stand behind the cover.
var listOrder = []string{lookList, "Order of jobs", "People", "Kit", "Belts to cut", "Stock to pick", "Isolation points"}

const lookList = "To look at first"

// newPackageSheets gives the lists their places behind the cover.
func newPackageSheets(book *workbook.Writer, r *Report) (*packageSheets, error) {
	return &packageSheets{book: book, report: r, sheets: map[string]*workbook.Sheet{}, taken: map[string]bool{}}, book.Place(listOrder...)
}

// add lays a package out.
func (s *packageSheets) add(plant PlantName, made *WindowPackage) error {
	s.stops++
	now := stopPacked{plant, made}
	switch s.stops {
	case 1:
		s.first = &now
		return nil
	case 2:
		if err := s.lay(*s.first, true); err != nil {
			return err
		}
	}
	return s.lay(now, true)
}

// end lays out what waits, and says on every sheet without a row why it has none.
func (s *packageSheets) end() error {
	switch s.stops {
	case 0:
		return s.none()
	case 1:
		return s.lay(*s.first, false)
	}
	for _, list := range s.first.made.lists() {
		if sheet := s.sheets[signature(list)]; sheet.Rows() == 0 {
			if err := sheet.Say(list.None); err != nil {
				return err
			}
		}
	}
	return nil
}

// none makes the sheets of no stop: headings, and that there is nothing.
func (s *packageSheets) none() error {
	empty := NewWindowPackage(WindowFacts{Register: &assets.Register{}, WithStores: true})
	for _, list := range empty.lists() {
		sheet, err := s.sheet(list, list.Columns, s.report.headerLine())
		if err != nil {
			return err
		}
		if err := sheet.Say("No stop with work placed in it is in this report."); err != nil {
			return err
		}
	}
	return nil
}

// lists are the sections of a package with what is to be looked at first, in the order of the sheets.
func (p *WindowPackage) lists() []Section {
	look := Section{Name: lookList, None: "Nothing is missing that the records know of. What stands on the shelf and who turns up is seen on the day.",
		Columns: []Column{{Key: "number", Heading: "No.", Kind: KindInteger, WidthCh: 5}, {Key: "look", Heading: "What is missing or does not fit", Kind: KindText, WidthCh: 86, Wrap: true}}}
	for i, lack := range p.Lacks {
		look.Rows = append(look.Rows, []Cell{Integer(float64(i + 1)), Text(lack)})
	}
	all := append([]Section{look}, p.Sections...)
	slices.SortStableFunc(all, func(a, b Section) int { return slices.Index(listOrder, a.Name) - slices.Index(listOrder, b.Name) })
	return all
}

// lay writes the lists of one stop; beside those of others each row says its stop.
func (s *packageSheets) lay(p stopPacked, several bool) error {
	s.onCover(p, several)
	header := p.made.heading()
	var of []Column
	var stop []Cell
	if several {
		header, of = s.report.headerLine(), stopColumns
		stop = []Cell{Text(p.plant.Name), Instant(p.made.Start, p.made.Zone), Text(p.made.Where)}
	}
	for _, list := range p.made.lists() {
		sheet, err := s.sheet(list, slices.Concat(of, list.Columns), header)
		if err != nil {
			return err
		}
		for _, row := range list.Rows {
			for _, c := range slices.Concat(stop, row) {
				c.into(sheet)
			}
			if err := sheet.EndRow(); err != nil {
				return err
			}
		}
		if len(list.Rows) == 0 && !several {
			if err := sheet.Say(list.None); err != nil {
				return err
			}
		}
	}
	return nil
}

var stopColumns = []Column{
	{Key: "plant", Heading: "Plant", Kind: KindText, WidthCh: 25},
	{Key: "stop", Heading: "Stop from", Kind: KindInstant, WidthCh: 18},
	{Key: "where", Heading: "Stands still", Kind: KindText, WidthCh: 16},
}

// heading is what stands on each printed page of one stop.
func (p *WindowPackage) heading() string {
	return strings.ReplaceAll(fmt.Sprintf("%s, %s to %s, %s", p.Scope, Instant(p.Start, p.Zone).Shown(), Instant(p.End, p.Zone).Shown(), p.Zone), hard, " ")
}

// sheet returns the sheet of a list and starts it on first use. A list whose headings differ, of a plant with other units, has its own.
func (s *packageSheets) sheet(list Section, columns []Column, header string) (*workbook.Sheet, error) {
	key := signature(list)
	if sheet, ok := s.sheets[key]; ok {
		return sheet, nil
	}
	name := list.Name
	if s.taken[name] {
		name += " (" + strings.Join(units(list.Columns), ", ") + ")"
	}
	laid, wide := onPaper(columns)
	const upright = 100 // characters of A4 upright between its margins
	sheet, err := s.book.AddSheet(name, laid, workbook.Layout{FrozenColumns: len(columns) - len(list.Columns) + 1, Filter: true, Portrait: wide <= upright, Header: header})
	if err != nil {
		return nil, err
	}
	s.sheets[key], s.taken[name] = sheet, true
	return sheet, nil
}

// signature tells lists apart that cannot stand on one sheet.
func signature(list Section) string {
	return list.Name + "|" + strings.Join(units(list.Columns), "|")
}

func units(columns []Column) []string {
	var out []string
	for _, c := range columns {
		if c.Unit != "" {
			out = append(out, c.Unit)
		}
	}
	return out
}

// onPaper gives columns room for their headings beside the filter's button, lets texts go on in the next line, and adds the widths up.
func onPaper(columns []Column) (laid []workbook.Column, wide float64) {
	laid = inWorkbook(columns)
	const button = 4 // characters
	for i := range laid {
		c := &laid[i]
		c.Wrap = c.Kind == workbook.Text
		c.WidthCh = max(c.WidthCh, float64(utf8.RuneCountInString(c.Title())+button))
		if c.Kind == workbook.DateTime {
			c.WidthCh = max(c.WidthCh, 18)
		}
		wide += c.WidthCh
	}
	return laid, wide
}

// onCover notes the site's rules and the stop for the cover.
func (s *packageSheets) onCover(p stopPacked, several bool) {
	label := "Rules of the site"
	if several {
		label = "Rules of " + p.plant.Name
	}
	rule := workbook.CoverLine{Label: label, Text: p.made.SiteRules}
	if rule.Text != "" && !slices.Contains(s.rules, rule) {
		s.rules = append(s.rules, rule)
	}
	if several {
		s.facts = append(s.facts, workbook.CoverLine{Label: "Stop", Text: p.made.heading()})
		return
	}
	s.facts = []workbook.CoverLine{
		{Label: "Plant", Text: p.plant.Name}, {Label: "Stands still", Text: p.made.Where},
		{Label: "Stop from", At: p.made.Start, Zone: p.made.Zone}, {Label: "Stop to", At: p.made.End, Zone: p.made.Zone}, {Label: "Time zone", Text: p.made.Zone.String()},
	}
}

// cover puts the rules of the sites, then the usual cautions, then the stops before what the cover of a report says.
func (s *packageSheets) cover(c workbook.Cover) workbook.Cover {
	for i, caution := range cautionsOfStops {
		label := ""
		if i == 0 {
			label = "Before anybody touches the belt"
		}
		c.First = append(c.First, workbook.CoverLine{Label: label, Text: caution})
	}
	c.First = slices.Concat(s.rules, c.First)
	c.Lines = slices.Concat(s.facts, c.Lines)
	c.Notes = slices.DeleteFunc(slices.Clone(c.Notes), func(n string) bool { return slices.Contains(cautionsOfStops, n) })
	return c
}
