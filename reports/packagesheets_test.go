package reports

import (
	"bytes"
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"carryside/assets"
)

// someStops is a source with the stops it is given.
type someStops struct {
	oneStop
	all []WindowFacts
}

func (s someStops) PackagesAt(context.Context, int64, time.Time) ([]WindowFacts, []ChainRead, error) {
	return s.all, nil, nil
}

// packageBook writes the packages of stops as a workbook and opens it again.
func packageBook(t *testing.T, stops ...WindowFacts) *excelize.File {
	t.Helper()
	f := packed()
	r, err := windowPackages.Build(t.Context(), Inputs{Source: someStops{oneStop{facts: f}, stops}, Built: f.Window.Start.Time().AddDate(0, 0, -3), Version: "test"}, "")
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if _, err := r.WriteXLSX(t.Context(), &b); err != nil {
		t.Fatal(err)
	}
	book, err := excelize.OpenReader(&b)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { book.Close() })
	return book
}

// cellsOf reads a sheet as it is shown, a line per row.
func cellsOf(t *testing.T, book *excelize.File, sheet string) []string {
	t.Helper()
	rows, err := book.GetRows(sheet)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, row := range rows {
		out = append(out, strings.Join(row, "|"))
	}
	return out
}

// TestAWindowPackageIsAWorkbookOfLists: one stop, the lists worked out by hand at TestAWindowPackageTellsTheWholeStop.
func TestAWindowPackageIsAWorkbookOfLists(t *testing.T) {
	book := packageBook(t, packed())
	sheets := []string{"Cover", "To look at first", "Order of jobs", "People", "Kit", "Belts to cut", "Stock to pick", "Isolation points", "Register", "Definitions"}
	if diff := cmp.Diff(sheets, book.GetSheetList()); diff != "" {
		t.Fatal(diff)
	}
	for sheet, want := range map[string][]string{
		"Order of jobs": {"Turn|From|Order|Conveyor|Work|Takes, h|People|Isolated at", "1|12 Dec 2026 07:00|412|Q1|remake splice 2|8.0|M. Okkerdal, S. Ilveth|E-14",
			"2|12 Dec 2026 11:00|420|Q2|change the belt|9.0|S. Ilveth|by itself, point not entered"},
		"People":           {"Person|Orders|Tickets that hold that day|Look", "M. Okkerdal|412|hot vulcanising", "S. Ilveth|412, 420||order 412: ticket ended"},
		"Kit":              {"Kit|Class|Orders|Note", "press 1|press|412", "|cutter|412|asked for, no piece named"},
		"Belts to cut":     {"Order|Conveyor|Belt|Width, mm|Loop, m|Note", "420|Q2|=EP 800/4|1,200|130.50|loop as it is now; add what the splice takes"},
		"Stock to pick":    {"Item|Quantity|Unit|Orders|Take from", "release cloth|4.500|m|412|4.5 m of lot 31, rack 2"},
		"Isolation points": {"Group|Isolated at|Conveyors|Work from|Work over by", "MCC-1|E-14|Q1|12 Dec 2026 06:20|12 Dec 2026 19:45", "|not entered|Q2|12 Dec 2026 06:00|12 Dec 2026 20:00"},
	} {
		if diff := cmp.Diff(want, cellsOf(t, book, sheet)); diff != "" {
			t.Errorf("%s: -want +got\n%s", sheet, diff)
		}
	}
	if look := cellsOf(t, book, "To look at first"); look[0] != "No.|What is missing or does not fit" || !slices.ContainsFunc(look, func(row string) bool { return strings.HasSuffix(row, "|No cutter is named for order 412.") }) {
		t.Errorf("to look at first:\n%s", strings.Join(look, "\n"))
	}
	if f, err := book.GetCellFormula("Belts to cut", "C2"); err != nil || f != "" {
		t.Errorf("the belt's name is the formula %q, %v", f, err)
	}
}

func TestTheCoverOfAWindowPackageBeginsWithTheRulesOfTheSite(t *testing.T) {
	cover := cellsOf(t, packageBook(t, packed()), "Cover")
	want := []string{"Rules of the site|Permit office first.", "Before anybody touches the belt|" + cautionsOfStops[0], "|" + cautionsOfStops[1], "|" + cautionsOfStops[2], "|" + cautionsOfStops[3], "",
		"Plant|Skarrow Grain Terminal", "Stands still|Ship intake", "Stop from|12 Dec 2026 06:00", "Stop to|12 Dec 2026 20:00", "Time zone|Europe/Oslo"}
	if diff := cmp.Diff(want, cover[3:3+len(want)]); diff != "" {
		t.Errorf("-want +got\n%s", diff)
	}
	if n := strings.Count(strings.Join(cover, "\n"), cautionsOfStops[1]); n != 1 {
		t.Errorf("a caution stands %d times on the cover", n)
	}
}

func TestTheListsOfAWindowPackageArePrintedOnA4(t *testing.T) {
	book := packageBook(t, packed())
	titles := map[string]string{}
	for _, n := range book.GetDefinedName() {
		if n.Name == "_xlnm.Print_Titles" {
			titles[n.Scope] = n.RefersTo
		}
	}
	for sheet, orientation := range map[string]string{"To look at first": "portrait", "Order of jobs": "landscape", "People": "landscape", "Kit": "portrait", "Belts to cut": "landscape", "Stock to pick": "portrait", "Isolation points": "portrait"} {
		page, err := book.GetPageLayout(sheet)
		if err != nil {
			t.Fatal(err)
		}
		if *page.Size != 9 || *page.Orientation != orientation || *page.FitToWidth != 1 { // 9 is A4: ECMA-376 part 1, 18.3.1.63
			t.Errorf("%s: size %d, %s, %d pages wide", sheet, *page.Size, *page.Orientation, *page.FitToWidth)
		}
		if panes, err := book.GetPanes(sheet); err != nil || !panes.Freeze || panes.YSplit != 1 {
			t.Errorf("%s: headings are not frozen: %+v, %v", sheet, panes, err)
		}
		if titles[sheet] != "'"+sheet+"'!$1:$1" {
			t.Errorf("%s: the rows repeated on paper are %q", sheet, titles[sheet])
		}
	}
}

func TestSeveralWindowPackagesShareTheirSheets(t *testing.T) {
	us, later := packed(), packed()
	plant := us.Register.Plant
	plant.UnitSystem = assets.UnitsUS
	us.Register.Plant = plant
	later.Window.Start, later.Window.End, later.Orders = later.Window.Start+7*day, later.Window.End+7*day, later.Orders[:1]
	book := packageBook(t, packed(), us, later)
	jobs := cellsOf(t, book, "Order of jobs")
	if len(jobs) != 6 || !strings.HasPrefix(jobs[0], "Plant|Stop from|Stands still|Turn|") || !strings.HasPrefix(jobs[5], "Skarrow Grain Terminal|19 Dec 2026 06:00|Ship intake|1|") {
		t.Errorf("jobs:\n%s", strings.Join(jobs, "\n"))
	}
	// 1.2 m / 0.0254 = 47.24 in, 130.5 m / 0.3048 = 428.15 ft (NIST SP 811, appendix B.8).
	for sheet, want := range map[string]string{"Belts to cut": "|Width, mm|Loop, m|", "Belts to cut (in, ft)": "|Width, in|Loop, ft|"} {
		if rows := cellsOf(t, book, sheet); !strings.Contains(rows[0], want) {
			t.Errorf("%s is headed %q", sheet, rows[0])
		}
	}
	if rows := cellsOf(t, book, "Belts to cut (in, ft)"); !strings.Contains(rows[1], "|47.24|428.15|") {
		t.Errorf("a belt in US units: %q", rows[1])
	}
	if cover := strings.Join(cellsOf(t, book, "Cover"), "\n"); strings.Count(cover, "Permit office first.") != 1 || !strings.Contains(cover, "Stop|Skarrow Grain Terminal, Ship intake, 19 Dec 2026, 06:00 to 19 Dec 2026, 20:00, Europe/Oslo") {
		t.Errorf("cover:\n%s", cover)
	}
}

func TestAListOfAWindowPackageWithoutARowSaysSo(t *testing.T) {
	f := packed()
	f.Orders = f.Orders[1:] // no change of a belt
	if rows := cellsOf(t, packageBook(t, f), "Belts to cut"); len(rows) != 2 || rows[1] != "No belt is cut for this stop." {
		t.Errorf("belts: %q", rows)
	}
	if rows := cellsOf(t, packageBook(t), "Order of jobs"); len(rows) != 2 || rows[1] != "No stop with work placed in it is in this report." {
		t.Errorf("jobs of no stop: %q", rows)
	}
}
