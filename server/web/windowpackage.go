package web

import (
	"bytes"
	"strings"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/people"
)

// packagePage answers: what happens in this stop in which order, who comes, what do we take along, where is it isolated?
type packagePage struct {
	Page
	Cautions []string
	Lacks    []string
	Facts    []fact
	Sections []packageSection
}

type packageSection struct {
	Name, None, ID string
	Heads          []packageHead
	Rows           [][]packageCell
}

type packageHead struct {
	Word    string
	Numbers bool
}

type packageCell struct {
	Head, Word string
	Numbers    bool
}

// windowPackage shows the work package of a stop, or gives it out as a workbook or CSV.
func (s *Site) windowPackage(r *Request) error {
	w, err := s.stopAsked(r)
	if err != nil {
		return err
	}
	facts, err := s.StopBook.WindowFacts(r.Context(), r.Scope, r.PlantID(), w.ID, r.May(people.ReadStores), r.Now)
	if err != nil {
		return err
	}
	made := reports.NewWindowPackage(facts)
	var file bytes.Buffer
	name := "window-package-" + string(assets.DayOf(r.F.Local(w.Start)))
	switch r.Query("form") {
	case "xlsx":
		if err := made.WriteXLSX(&file); err != nil {
			return err
		}
		return r.Send(name+".xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", file.Bytes())
	case "csv":
		if err := made.WriteCSV(&file); err != nil {
			return err
		}
		return r.Send(name+".csv", "text/csv; charset=utf-8", file.Bytes())
	}
	p := &packagePage{Cautions: made.Cautions, Lacks: made.Lacks}
	p.Sheet, p.Say = "Window package", packageSay(len(facts.Orders), len(made.Lacks))
	p.Sub = Capital(stopWhere(facts.Register, w)) + ", " + r.F.Stamp(w.Start) + " to " + r.F.Stamp(w.End) + ", " + stopLength(w) + "."
	p.Facts = []fact{{"Stands still", stopWhere(facts.Register, w)}, {"From", r.F.Stamp(w.Start)}, {"To", r.F.Stamp(w.End)}, {"Length", stopLength(w)}, {"The plant", string(w.Answer.Given())}}
	here := r.At("stops", w.ID, "package")
	p.Do = []Action{{Word: "Workbook", To: here + "?form=xlsx"}, {Word: "CSV", To: here + "?form=csv"}, {Word: "Print", Print: true}}
	for _, sec := range made.Sections {
		p.Sections = append(p.Sections, sectionShown(sec))
	}
	return r.Show("windowpackage", p)
}

// packageSay is the headline: how much is done in the stop, and whether something is to be looked at first.
func packageSay(orders, lacks int) string {
	if orders == 0 {
		return "Nothing is placed in this stop"
	}
	say := Capital(Count(orders, "order is", "orders are")) + " worked at in this stop"
	if lacks == 0 {
		return say + "; nothing is missing that we know of"
	}
	return say + "; " + Count(lacks, "point needs", "points need") + " a look before anybody leaves"
}

func sectionShown(sec reports.Section) packageSection {
	out := packageSection{Name: sec.Name, None: sec.None, ID: "p-" + strings.ReplaceAll(strings.ToLower(sec.Name), " ", "-")}
	numbers := func(k reports.Kind) bool { return k == reports.KindInteger || k == reports.KindNumber }
	for _, c := range sec.Columns {
		out.Heads = append(out.Heads, packageHead{c.Title(), numbers(c.Kind)})
	}
	for _, row := range sec.Rows {
		cells := make([]packageCell, len(row))
		for i, c := range row {
			cells[i] = packageCell{sec.Columns[i].Title(), c.Shown(), numbers(sec.Columns[i].Kind)}
		}
		out.Rows = append(out.Rows, cells)
	}
	return out
}
