package web

import (
	"errors"
	"fmt"
	"html/template"
	"math"
	"strings"

	"carryside/assets"
	"carryside/assets/loop"
	"carryside/assets/unit"
	"carryside/schedule/rules"
	"carryside/server/web/drawing"
)

// calculatorPage answers: how long is the belt to be cut, do the fingers fit the width, how much belt is on
// the roll, how many re-splices does the take-up leave, and what does it weigh? It changes nothing.
type calculatorPage struct {
	Page
	Form      *Form
	Choose    *Field // the conveyor to fill in from
	Rows      *formRows
	Computed  []pulleyResult // beside each row
	Drawing   template.HTML
	Larger    bool
	LoopSays  string
	LoopWrong string
	Thick     *Field
	Parts     []*calcPart
	Cautions  []string
	Empty     string // address of the empty page
}

type pulleyResult struct{ Wrap, Run string }

// calcPart is one reckoning: its fields, its results with their formulas, its drawing.
type calcPart struct {
	ID, Head, More string
	Fields         []*Field
	Drawing        template.HTML
	Rows           []calcRow
	Wrong          string
	Says           string
}

// calcRow is a result: what it is, its value, the formula in words and what that rests on.
type calcRow struct {
	What, Value, How, Class string
	Bad, Total              bool
}

// The classes of the calculator's formulas.
const (
	byGeometry = "B, elementary geometry, as in every machine handbook"
	byPractice = "D, common practice"
	byStandard = "B, as tabulated from DIN 22102-3"
)

// calcStart is what the calculator begins with: what the register knows of a conveyor.
type calcStart struct {
	tag      string
	pulleys  []assets.Pulley
	belt     assets.Belt
	thickM   float64
	massKGM2 float64
	splice   assets.Splice
	plies    int
	travelM  float64
	usedM    *float64
	allowsMM float64 // what a splice like the last one adds to the cut length
}

func (s *Site) calculator(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	start, err := s.calcStart(r, reg)
	if err != nil {
		return err
	}
	p := &calculatorPage{Form: r.NewForm(), Empty: r.At("calculator") + "?empty=yes", Choose: NewForm(nil).ConveyorTag("conveyor", "Fill in from conveyor", "no conveyor", start.tag, reg)}
	p.Sheet = "Calculator"
	if start.tag != "" {
		p.Sheet += ", " + start.tag
	}
	p.fields(start)
	e := r.entry(p.Form)
	path := p.loop(e)
	cut := p.cut(e, start, path)
	p.Parts = append(p.Parts, p.stepped(e, start), p.fingers(e, start), p.roll(e, start), p.takeUp(e, start), p.mass(e, start, cut))
	p.Say, p.Sub = calcSay(r.F, start.tag, path, cut), "Nothing here changes the register. Every result has its formula in words and the class of what it rests on."
	p.Cautions = []string{
		"Cutting and splicing need the belt isolated, the take-up pinned and the belt clamped, by the site's own rules.",
		"Measure on the conveyor before you cut; lists and drawings age.",
		"Rolls and belt over 25 kg are lifted by a plan, with hoist and people who are trained for it.",
	}
	if r.Posted() && p.Form.Refused(e.Err()) {
		return r.Refill("calculator", p)
	}
	return r.Show("calculator", p)
}

// calcStart fills in from the conveyor asked for, else from the first whose pulleys were measured.
func (s *Site) calcStart(r *Request, reg *assets.Register) (calcStart, error) {
	if r.Posted() { // everything else was sent
		c, _ := reg.ConveyorByTag(r.C.Request.PostForm.Get("tag"))
		return calcStart{tag: c.Tag}, nil
	}
	if r.Query("empty") != "" {
		return calcStart{}, nil
	}
	asked, known := reg.ConveyorByTag(r.Query("conveyor"))
	id := asked.ID
	if r.Query("conveyor") == "" || !known {
		for _, c := range reg.Conveyors {
			if _, ok := loop.Of(c.Pulleys, 0); ok {
				id = c.ID
				break
			}
		}
	}
	c, ok := reg.Conveyor(id)
	if !ok {
		return calcStart{}, nil
	}
	start := calcStart{tag: c.Tag, pulleys: c.Pulleys, travelM: c.TakeUpTravelM}
	b, on := reg.BeltOn(c.ID, 0)
	if !on {
		return start, nil
	}
	start.fillBelt(reg, b)
	past, err := s.Fleets.Past(r.Context(), r.Scope, r.PlantID(), c.ID)
	if err != nil {
		return start, err
	}
	if used, known := rules.TravelUsedM(b, past.Findings); known {
		start.usedM = &used
	}
	return start, nil
}

func (start *calcStart) fillBelt(reg *assets.Register, b assets.Belt) {
	start.belt, start.thickM, start.usedM = b, thickness(reg, b), b.TakeUpUsedM
	spec, _ := reg.Specification(b.SpecificationID)
	start.plies = spec.Plies
	if v, ok := assets.ValueOf(spec.Values, "mass_kg_per_m2"); ok {
		start.massKGM2 = v.Value
	}
	if of := reg.SplicesOf(b.ID); len(of) > 0 {
		start.splice = of[len(of)-1]
		start.allowsMM = start.allowance()
	}
}

// usualBiasDeg is how stepped splices are slanted where the register does not say: common practice.
const usualBiasDeg = 22

// allowance is what a splice like the one in the belt adds to the cut length, mm; 0 where its measures are
// not known.
func (start *calcStart) allowance() float64 {
	sp, bias := start.splice, start.splice.BiasAngleDeg
	if bias == 0 {
		bias = usualBiasDeg
	}
	if sp.FingerLengthM > 0 {
		return sp.FingerLengthM * 1000
	}
	plies := start.plies
	if sp.Steps > 0 {
		plies = sp.Steps + 1
	}
	fig, err := loop.Stepped{Plies: plies, StepMM: sp.StepLengthM * 1000, WidthMM: start.belt.WidthM * 1000, Bias: loop.Bias{FromSquareDeg: &bias}}.Figures()
	if err != nil {
		return 0 // not known: the field stays empty
	}
	return math.Round(fig.AllowanceMM*10) / 10
}

// fields lays out the form; the pulleys come as in the register's form.
func (p *calculatorPage) fields(start calcStart) {
	f := p.Form
	n := f.rowCount(len(start.pulleys))
	u := f.Plain.Units
	p.Rows = &formRows{Head: "Pulleys", Columns: []string{"No.", "Pulley", "x, " + unit.Distance.Sign(u), "y, " + unit.Distance.Sign(u), "Diameter, " + unit.Diameter.Sign(u), "Belt face on it"}}
	f.Hidden("rows", "").Value = plainInt(int64(n))
	for i := range n {
		var pl assets.Pulley
		if i < len(start.pulleys) {
			pl = start.pulleys[i]
		}
		row := f.pulley(i+1, pl)
		p.Rows.Rows = append(p.Rows.Rows, []*Field{row[0], row[1], row[5], row[6], row[2], row[3]})
	}
	p.Thick = f.Quantity("thickness", "Belt thickness", unit.Thickness, start.thickM, nil)
	f.Hidden("tag", start.tag)
}

// loop measures the loop as listed; nil when it cannot be.
func (p *calculatorPage) loop(e *entry) *loop.Path {
	pulleys := e.pulleys()
	thick := e.notBelowNought("thickness", "the thickness", unit.Thickness)
	p.Computed = make([]pulleyResult, len(p.Rows.Rows))
	if len(pulleys) == 0 || e.Err() != nil {
		return nil
	}
	l, placed := loop.Of(pulleys, thick)
	if !placed {
		p.LoopWrong = "Give x and y of every pulley: without its place there is nothing to measure."
		return nil
	}
	path, err := l.Measure()
	if err != nil {
		p.LoopWrong = Capital(err.Error()) + "."
		return nil
	}
	f := p.Form.Plain
	for k, i := 0, 0; i < len(p.Rows.Rows) && k < len(pulleys); i++ {
		if p.Rows.Rows[i][1].Value == "" && p.Rows.Rows[i][4].Value == "" {
			continue
		}
		p.Computed[i] = pulleyResult{Wrap: Num(path.WrapsDeg[k], 0) + "°", Run: unit.LoopLength.Number(path.RunsMM[k]/1000, f.Units)}
		k++
	}
	p.LoopSays = fmt.Sprintf("The loop as listed: %s, %s round them", Figure(len(pulleys), "pulley", "pulleys"), f.Loop(path.LengthMM/1000))
	p.Drawing, p.Larger = drawing.OfLoop(l, p.LoopSays)
	if low(path) {
		p.Drawing, p.Larger = flatLoop(pulleys, path, p.LoopSays, f), true
	}
	return path
}

// low tells whether a loop is so much longer than high that nothing is seen of it to scale.
func low(path *loop.Path) bool {
	a, b := path.Box()
	return (b.YMM-a.YMM)*12 < b.XMM-a.XMM
}

// flatLoop draws a long loop the way its conveyor's page does: centres to scale, pulleys larger and further
// apart, each with its number.
func flatLoop(pulleys []assets.Pulley, path *loop.Path, sentence string, f Format) template.HTML {
	d := drawing.Detail{Belt: drawing.Belt{Name: sentence, Pulleys: pulleys, LoopM: path.LengthMM / 1000, TakeUpKind: "gravity"}, TakeUpShare: -1}
	var tail, head assets.Pulley
	for i, p := range pulleys {
		switch p.Role {
		case assets.PulleyTail:
			tail = p
		case assets.PulleyHead:
			head = p
		}
		d.PulleyWords = append(d.PulleyWords, Int(int64(i+1))+" "+string(p.Role))
	}
	dx, dy := head.XM-tail.XM, head.YM-tail.YM
	d.CentresM = math.Hypot(dx, dy)
	d.InclineDeg = math.Atan2(dy, dx) * 180 / math.Pi
	d.Dimension = f.Distance(math.Round(d.CentresM*1000)/1000) + " centres"
	return drawing.OfConveyor(d).SVG
}

// part begins a part of the page.
func (p *calculatorPage) part(id, head, more string, fields ...*Field) *calcPart {
	return &calcPart{ID: id, Head: head, More: more, Fields: fields}
}

// wrong notes why a part has no result.
func (c *calcPart) wrong(err error) bool {
	if err == nil {
		return false
	}
	var refused *loop.Refused
	if errors.As(err, &refused) {
		c.Wrong = Capital(refused.Text) + "."
	} else {
		c.Wrong = Capital(err.Error()) + "."
	}
	return true
}

func (c *calcPart) row(what, value, how, class string) *calcRow {
	c.Rows = append(c.Rows, calcRow{What: what, Value: value, How: how, Class: class})
	return &c.Rows[len(c.Rows)-1]
}

// mm reads a length of the form in millimetres; known is false when nothing stands in it.
func (e *entry) mm(name, what string, field unit.Field) (mm float64, known bool) {
	v := e.optional(name, field)
	if v == nil {
		return 0, false
	}
	if *v < 0 {
		e.bad.Add(name, what+" cannot be below 0")
		return 0, false
	}
	return *v * 1000, true
}

// cutResult is a length to cut with what it is made of, mm.
type cutResult struct{ LengthMM, LessForFitMM, SplicesMM float64 }

// cut is the length to which a belt is cut.
func (p *calculatorPage) cut(e *entry, start calcStart, path *loop.Path) *cutResult {
	f := p.Form
	c := p.part("ct", "2. What to cut", "path / (1 + stretch) + splices + trim",
		f.Number("stretch", "Stretched when fitted by", "0.2", "%"),
		f.length("allowance", "Allowance of a splice", unit.Step, unit.MetresOf(start.allowsMM)).Hinted("From the part on stepped splices or fingers"),
		f.Number("splices", "Splices made", "1", ""),
		f.Number("cut_trim", "Trim of each end", "", unit.Step.Sign(f.Plain.Units)))
	p.Parts = append(p.Parts, c)
	stretch, splices := e.number("stretch"), e.whole("splices", 0, 100)
	allowance, _ := e.mm("allowance", "the allowance", unit.Step)
	trim, _ := e.mm("cut_trim", "the trim", unit.Step)
	if stretch < 0 {
		e.bad.Add("stretch", "the stretch cannot be below 0")
	}
	if path == nil || e.Err() != nil {
		return nil
	}
	length, err := loop.Cut{PathMM: path.LengthMM, FitStretchPercent: stretch, SpliceAllowanceMM: allowance, Splices: splices, TrimEachEndMM: trim}.LengthMM()
	if c.wrong(err) {
		return nil
	}
	runs := 0.0
	for _, run := range path.RunsMM {
		runs += run
	}
	m := func(mm float64) string {
		return strings.Replace(unit.LoopLength.Show(mm/1000, f.Plain.Units), "-", "− ", 1)
	}
	c.row("Straight runs", m(runs), "from the list", byGeometry)
	c.row("Arcs", m(path.LengthMM-runs), "wrap times radius, middle of the belt", byGeometry)
	c.row("Round the pulleys", m(path.LengthMM), "runs and arcs together", byGeometry)
	c.row("Less for fit", m(path.LengthMM/(1+stretch/100)-path.LengthMM), fmt.Sprintf("path / (1 + %s %%)", Short(stretch, 2)), byPractice)
	c.row(Capital(Figure(splices, "splice", "splices")), m(allowance*float64(splices)), "allowance times splices", byPractice)
	c.row("Trim of both ends", m(2*trim), "twice the trim", byPractice)
	c.row("Cut", m(length), "all of it together; shrinkage of new belts left out", byPractice).Total = true
	c.Says = bendsWords(path)
	return &cutResult{length, path.LengthMM - path.LengthMM/(1+stretch/100), allowance * float64(splices)}
}

func bendsWords(path *loop.Path) string {
	return fmt.Sprintf("A splice bends over %s in one pass, %d of them in reverse.", Figure(path.Bends, "pulley", "pulleys"), path.ReverseBends)
}

// calcSay is the headline.
func calcSay(f Format, tag string, path *loop.Path, cut *cutResult) string {
	of := ""
	if tag != "" {
		of = " for " + tag
	}
	switch {
	case path == nil:
		return "List the pulleys to get the length of the loop" + of
	case cut == nil:
		return f.Loop(path.LengthMM/1000) + " round " + Figure(len(path.WrapsDeg), "pulley", "pulleys") + of
	}
	say := "Cut " + f.Loop(cut.LengthMM/1000) + of + ": " + f.Loop(path.LengthMM/1000) + " round " + Count(len(path.WrapsDeg), "pulley", "pulleys")
	if cut.LessForFitMM > 0 {
		say += ", " + f.Loop(cut.LessForFitMM/1000) + " less for fit"
	}
	if cut.SplicesMM > 0 {
		say += ", " + f.Loop(cut.SplicesMM/1000) + " for splices"
	}
	return say
}
