package web

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
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
	Asks                             []string // each step with what is measured at it, in order
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
			row.Asks = append(row.Asks, joinWords(step.Words, r.F.askWords(step), pick(step.Photo, "a photo", "")))
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
		p.Sub = "Steps stand in the order of their numbers: 5.5 puts one between 5 and 6. A row whose words are emptied is left out. Sheets that are open keep the steps they were opened with. " +
			"The step that isolates and proves dead stays; site rules, local codes and qualified people come first."
		f.version(t.Version)
		p.stepRows(t.Steps)
		p.section("", f.Area("changed", "What is changed, and why", "").Must().OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := assets.JobTemplate{Version: t.Version, OrderKind: string(w.Kind), Form: w.Form, Bond: w.Bond, Changed: e.must("changed", "what is changed, and why")}
		next.RowID = e.rowID()
		named := e.stepRows(&next)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if at, message := isolates(next.Steps, jobsheet.Usual(w.Kind, w.Form, w.Bond)); message != "" {
			return "", "", renamed(assets.Invalid{fmt.Sprintf("steps.%d", at): message}, named)
		}
		err := s.Worksheets.SaveStepTemplate(r.Context(), r.act("change the steps of a job sheet", next.Changed), &next)
		return r.At("steps"), "Steps kept.", renamed(err, named)
	})
}

// isolates says what is wrong with the step that isolates, and at which step: it is there, says so, and before it stands only what the usual
// steps have there (a belt watched running from outside the guards).
func isolates(steps, usual []assets.JobStep) (at int, message string) {
	isolated := func(s assets.JobStep) bool { return s.Key == "isolated" }
	i := slices.IndexFunc(steps, isolated)
	if i < 0 {
		return 0, "the step that isolates and proves dead stays, whatever else is changed"
	}
	if steps[i].Check || !saysIsolated.MatchString(steps[i].Words) {
		return i, "this step isolates and proves dead: its words must say so, and it is a step, not a check"
	}
	before := usual[:max(0, slices.IndexFunc(usual, isolated))]
	for j, s := range steps[:i] {
		if !slices.ContainsFunc(before, func(u assets.JobStep) bool { return u.Key == s.Key }) {
			return j, "nothing is done at the belt before it is isolated and proved dead: put this step after that one"
		}
	}
	return 0, ""
}

// saysIsolated are the words of the trade for it.
var saysIsolated = regexp.MustCompile(`(?i)\b(isolat|lock|de-?energi[sz])`)

// stepUnits are what can be measured at a step, by the sign it is kept under.
var stepUnits = []string{"m", jobsheet.LongMetres, "degC", "kg", "min", "h", "bar", "%", "fingers", "N·m"}

// stepSign is a unit as the plant reads it.
func (f Format) stepSign(kept string) string {
	if field, _ := stepUnit(kept); field != nil {
		return field.Sign(f.Units)
	}
	return kept
}

func (p *formPage) stepRows(steps []assets.JobStep) {
	f := p.Form
	n := f.rowCount(len(steps) + 2)
	f.Hidden("rows", "").Value = plainInt(int64(n))
	p.Rows = &formRows{Head: "Steps and checks", More: "More rows", Stack: true, Columns: []string{"No.", "Kind", "What is done", "What is measured", "Unit", "At least", "At most", "Photo"}}
	for i := range n {
		var s assets.JobStep
		no := ""
		if i < len(steps) {
			s, no = steps[i], plainInt(int64(i+1))
		}
		name := func(part string) string { return fmt.Sprintf("%s%d", part, i) }
		f.Hidden(name("key"), s.Key)
		limit := func(part, word string, v *float64) *Field {
			label := fmt.Sprintf("%s at step %d", word, i+1)
			switch field, per := stepUnit(s.Unit); {
			case field != nil:
				if v != nil {
					stored := *v * per
					v = &stored
				}
				return f.Optional(name(part), label, *field, v, nil)
			case v != nil:
				return f.Number(name(part), label, strconv.FormatFloat(*v, 'f', -1, 64), "")
			}
			return f.Number(name(part), label, "", "")
		}
		p.Rows.Rows = append(p.Rows.Rows, []*Field{f.Number(name("no"), fmt.Sprintf("number of step %d", i+1), no, ""), f.Select(name("kind"), fmt.Sprintf("kind of step %d", i+1), pick(s.Check, "check", "step"), []Option{{Value: "step", Label: "step"}, {Value: "check", Label: "check"}}),
			f.Area(name("w"), fmt.Sprintf("step %d", i+1), s.Words).OverBoth(),
			f.Area(name("measure"), fmt.Sprintf("measured at step %d", i+1), s.Measure).OverBoth(),
			f.Select(name("unit"), fmt.Sprintf("unit at step %d", i+1), s.Unit, choices("none", stepUnits, f.Plain.stepSign)),
			limit("least", "least", s.Least), limit("most", "most", s.Most), f.Tick(name("photo"), fmt.Sprintf("photo at step %d", i+1), s.Photo)})
	}
}

// stepRows reads the table of steps in the order of their numbers, and where each stands, for the messages of the storage.
func (e *entry) stepRows(next *assets.JobTemplate) map[string]string {
	type numbered struct {
		no   float64
		at   string
		step assets.JobStep
	}
	var rows []numbered
	seen := map[string]bool{}
	for i := range e.f.sentRows() {
		name := func(part string) string { return fmt.Sprintf("%s%d", part, i) }
		words := oneLine(e.text(name("w")))
		if words == "" {
			continue
		}
		s := assets.JobStep{Key: e.text(name("key")), Words: words, Check: e.text(name("kind")) == "check", Measure: oneLine(e.text(name("measure"))), Unit: e.text(name("unit")), Photo: e.f.Ticked(name("photo"))}
		if s.Key == "" || seen[s.Key] {
			s.Key = "own_" + token()[:10]
		}
		seen[s.Key] = true
		s.Least, s.Most = e.stepLimit(name("least"), s.Unit), e.stepLimit(name("most"), s.Unit)
		e.offered(name("unit"), "choose a unit from the list")
		no := math.Inf(1) // a row without a number comes last
		if e.text(name("no")) != "" {
			no = e.number(name("no"))
		}
		rows = append(rows, numbered{no, name("w"), s})
	}
	slices.SortStableFunc(rows, func(a, b numbered) int { return cmp.Compare(a.no, b.no) })
	named := map[string]string{}
	for i, r := range rows {
		named[fmt.Sprintf("steps.%d", i)] = r.at
		next.Steps = append(next.Steps, r.step)
	}
	return named
}

// oneLine puts words that were typed or pasted over several lines on one, as a sheet shows them.
func oneLine(words string) string { return strings.Join(strings.Fields(words), " ") }

// stepLimit reads a limit in the unit of what is measured; empty is none.
func (e *entry) stepLimit(name, kept string) *float64 {
	if field, per := stepUnit(kept); field != nil {
		v := e.optional(name, *field)
		if v != nil {
			*v /= per
		}
		return v
	}
	if e.text(name) == "" {
		return nil
	}
	v := e.number(name)
	return &v
}
