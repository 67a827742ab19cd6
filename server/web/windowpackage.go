package web

import (
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
	Take     *takePart // with which the package is taken along as a report; nil: whoever asks may not, or nothing is placed
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
	p := &packagePage{Cautions: made.Cautions, Lacks: made.Lacks}
	p.Sheet, p.Say = "Window package", packageSay(len(facts.Orders), len(made.Lacks))
	p.Sub = Capital(stopWhere(facts.Register, w)) + ", " + r.F.Stamp(w.Start) + " to " + r.F.Stamp(w.End) + ", " + stopLength(w) + "."
	p.Facts = []fact{{"Stands still", stopWhere(facts.Register, w)}, {"From", r.F.Stamp(w.Start)}, {"To", r.F.Stamp(w.End)}, {"Length", stopLength(w)}, {"The plant", string(w.Answer.Given())}}
	p.Do = []Action{{Word: "Print", Print: true}}
	if e, err := r.reportOpen("window-package"); err == nil && len(facts.Orders) > 0 {
		p.Take = takeOf(r, e.Slug, Option{Label: "stop", Value: r.F.Local(w.Start).Format(reports.StopLayout)}, Option{Label: "line", Value: lineName(facts.Register, w.LineID)})
	}
	for _, sec := range made.Sections {
		p.Sections = append(p.Sections, sectionShown(sec))
	}
	return r.Show("windowpackage", p)
}

// takeOf is the form with which a report is taken along as it is asked for.
func takeOf(r *Request, slug string, asked ...Option) *takePart {
	take := &takePart{To: r.At("reports", slug), Asked: asked}
	for _, form := range reportForms {
		take.Forms = append(take.Forms, Option{Value: form.format, Label: form.words})
	}
	return take
}

func lineName(reg *assets.Register, id int64) string {
	l, _ := reg.Line(id)
	return l.Name
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
