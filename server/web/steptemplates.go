package web

import (
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/schedule/jobsheet"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
)

// stepsPage answers: which steps does the sheet of each kind of work ask for, and whose are they?
type stepsPage struct {
	Page
	Rows []stepsRow
}

type stepsRow struct {
	Work, To, Splice, Whose, Changed string
	Steps, Checks                    int
}

// workSplice is a kind of work at a splice kind.
type workSplice struct {
	Kind workorder.Kind
	Form assets.Form
	Bond assets.Bond
}

// works are the kinds of work that have a sheet: those that make a splice once for each splice kind of the trade, the others once.
func works() []workSplice {
	var out []workSplice
	for _, kind := range workorder.Kinds {
		switch kind {
		case workorder.KindResplice, workorder.KindBeltChange, workorder.KindInsertPiece:
			for _, p := range []assets.KindPair{{Form: assets.FormFinger, Bond: assets.BondHotPressed}, {Form: assets.FormFingerOverFinger, Bond: assets.BondHotPressed}, {Form: assets.FormStepped, Bond: assets.BondHotVulcanised},
				{Form: assets.FormStepped, Bond: assets.BondColdBonded}, {Form: assets.FormMechanical, Bond: assets.BondNone}, {Form: assets.FormHinged, Bond: assets.BondNone}, {Form: assets.FormBoltedPlate, Bond: assets.BondNone}} {
				out = append(out, workSplice{kind, p.Form, p.Bond})
			}
		default:
			out = append(out, workSplice{kind, "", ""})
		}
	}
	return out
}

// word names a kind of work in an address: re-splice.finger.hot-pressed.
func (w workSplice) word() string {
	return strings.ReplaceAll(string(w.Kind), " ", "-") + "." + string(w.Form) + "." + string(w.Bond)
}

func (s *Site) stepTemplates(r *Request) error {
	own, err := s.Worksheets.StepTemplates(r.Context())
	if err != nil {
		return err
	}
	p := &stepsPage{}
	p.Sheet, p.Say = "Steps of job sheets", "The sheets of all kinds of work ask for the usual steps of the trade"
	if len(own) > 0 {
		p.Say = Capital(Count(len(own), "kind of work has", "kinds of work have")) + " steps of the company's own; the others have the usual ones of the trade"
	}
	p.Sub = "The usual steps are common practice (class D). The maker's instruction for the belt, site rules and qualified people come first; an open sheet keeps the steps it was opened with."
	for _, w := range works() {
		t := jobsheet.For(own, w.Kind, w.Form, w.Bond)
		row := stepsRow{Work: Capital(string(w.Kind)), Splice: pick(w.Form == "", "any", assets.KindWords(w.Form, w.Bond)), Whose: "usual, class D"}
		if r.May(people.EditCatalogues) {
			row.To = r.At("steps", w.word())
		}
		if t.ID != 0 {
			row.Whose, row.Changed = fmt.Sprintf("own, version %d of %s", t.Edition, r.F.Date(t.SavedAt)), t.Changed
		}
		for _, step := range t.Steps {
			row.Steps, row.Checks = row.Steps+count(!step.Check), row.Checks+count(step.Check)
		}
		p.Rows = append(p.Rows, row)
	}
	return r.Show("steps", p)
}

// editSteps answers: which steps does the sheet of this kind of work ask for from now on, and why?
func (s *Site) editSteps(r *Request) error {
	all := works()
	i := slices.IndexFunc(all, func(w workSplice) bool { return w.word() == r.C.Param("work") })
	if i < 0 {
		return assets.ErrNotFound
	}
	w := all[i]
	own, err := s.Worksheets.StepTemplates(r.Context())
	if err != nil {
		return err
	}
	t := jobsheet.For(own, w.Kind, w.Form, w.Bond)
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the steps", Leave: r.At("steps")}
		p.Sheet, p.Say = "Steps", "Change the steps of the sheet for: "+joinWords(string(w.Kind), pick(w.Form == "", "", assets.KindWords(w.Form, w.Bond)))
		p.Says = []string{"Steps stand in the order of the rows. A row whose words are emptied is left out. Sheets that are open keep the steps they were opened with.",
			"The first step isolates and proves dead; site rules, local codes and qualified people come first."}
		f.version(t.Version)
		p.stepRows(t.Steps)
		p.section("", f.Area("changed", "What is changed, and why", "").Must().OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := assets.JobTemplate{Version: t.Version, OrderKind: string(w.Kind), Form: w.Form, Bond: w.Bond, Changed: e.must("changed", "what is changed, and why")}
		next.RowID = e.rowID()
		at := e.stepRows(&next)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if len(next.Steps) == 0 || next.Steps[0].Key != "isolated" {
			return "", "", assets.Invalid{"w0": "the first step isolates and proves dead: it stays, whatever else is changed"}
		}
		err := s.Worksheets.SaveStepTemplate(r.Context(), r.act("change the steps of a job sheet", next.Changed), &next)
		return r.At("steps"), "Steps kept.", renamed(err, at)
	})
}

func (p *formPage) stepRows(steps []assets.JobStep) {
	f := p.Form
	n := f.rowCount(len(steps) + 2)
	f.Hidden("rows", "").Value = plainInt(int64(n))
	p.Rows = &formRows{Head: "Steps and checks", More: "More rows", Columns: []string{"What is done", "Kind", "What is measured", "Unit", "At least", "At most"}}
	for i := range n {
		var s assets.JobStep
		if i < len(steps) {
			s = steps[i]
		}
		name := func(part string) string { return fmt.Sprintf("%s%d", part, i) }
		f.Hidden(name("key"), s.Key)
		f.Hidden(name("photo"), pick(s.Photo, "yes", ""))
		limit := func(v *float64) string {
			if v == nil {
				return ""
			}
			return plainNumber(*v)
		}
		p.Rows.Rows = append(p.Rows.Rows, []*Field{f.Text(name("w"), fmt.Sprintf("step %d", i+1), s.Words),
			f.Select(name("kind"), fmt.Sprintf("kind of step %d", i+1), pick(s.Check, "check", "step"), []Option{{Value: "step", Label: "step"}, {Value: "check", Label: "check"}}),
			f.Text(name("measure"), fmt.Sprintf("measured at step %d", i+1), s.Measure),
			f.Select(name("unit"), fmt.Sprintf("unit at step %d", i+1), s.Unit, choices("none", []string{"m", "degC", "kg", "min", "h", "bar", "%", "fingers", "N·m"}, func(u string) string { return u })),
			f.Number(name("least"), fmt.Sprintf("least at step %d", i+1), limit(s.Least), ""), f.Number(name("most"), fmt.Sprintf("most at step %d", i+1), limit(s.Most), "")})
	}
}

// stepRows reads the table of steps, and where each stands, for the messages of the storage.
func (e *entry) stepRows(next *assets.JobTemplate) map[string]string {
	at := map[string]string{}
	seen := map[string]bool{}
	for i := range e.f.sentRows() {
		name := func(part string) string { return fmt.Sprintf("%s%d", part, i) }
		words := e.text(name("w"))
		if words == "" {
			continue
		}
		s := assets.JobStep{Key: e.text(name("key")), Words: words, Check: e.text(name("kind")) == "check", Measure: e.text(name("measure")), Unit: e.text(name("unit")), Photo: e.text(name("photo")) == "yes"}
		if s.Key == "" || seen[s.Key] {
			s.Key = "own_" + token()[:10]
		}
		seen[s.Key] = true
		for _, l := range []struct {
			part string
			into **float64
		}{{"least", &s.Least}, {"most", &s.Most}} {
			if e.text(name(l.part)) != "" {
				v := e.number(name(l.part))
				*l.into = &v
			}
		}
		at[fmt.Sprintf("steps.%d", len(next.Steps))] = name("w")
		next.Steps = append(next.Steps, s)
	}
	return at
}
