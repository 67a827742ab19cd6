package web

import (
	"errors"
	"fmt"
	"html/template"
	"math"
	"net/url"
	"slices"

	"carryside/assets"
	"carryside/assets/enclosure"
	"carryside/assets/unit"
	"carryside/schedule/press"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// pressPage answers: was this splice pressed by its recipe, figure by figure, and if not, why and what follows?
type pressPage struct {
	Page
	Name, Splice string
	Recipe       Link
	Facts        []Fact
	Plot         template.HTML
	Trace        Link
	Judged       []judgedRow
	Notices      []string
	Cautions     []string
	Form         *Form // to keep what was judged just now; nil when it is kept
	To           string
	Points       []cyclePoint
}

// judgedRow is one figure of a cycle against its recipe.
type judgedRow struct{ Words, Allowed, Recorded, Verdict, Why string }

// cyclePoint is a moment of a trace for the table beside the drawing.
type cyclePoint struct{ Minute, Top, Bottom, Pressure string }

// pressEntry is what the page of a new press record was asked with.
type pressEntry struct {
	splice  assets.Splice
	tag     string
	recipes []assets.Recipe // for its kind of splice, in use
	fit     press.Fit       // which of them are for its belt
	orders  []Option
}

// newPress answers: how was this splice pressed? A trace is kept with the splice first and judged then, so that it is not lost
// whatever becomes of the form; figures read off the press are judged as they are sent.
func (s *Site) newPress(r *Request) error {
	in, err := s.pressEntry(r)
	if err != nil {
		return err
	}
	if len(in.recipes) == 0 {
		return r.Show("pressnew", r.withoutRecipe(in))
	}
	if id := numberOf(pick(r.Posted(), r.C.PostForm("trace"), r.Query("trace"))); id != 0 {
		return s.judgeTrace(r, in, id)
	}
	if r.Posted() && isMultipart(r.C.Request) {
		if head, err := r.C.FormFile("file"); err == nil && head != nil && head.Filename != "" {
			return s.takeTrace(r, in)
		}
	}
	return s.readOff(r, in)
}

func (s *Site) pressEntry(r *Request) (pressEntry, error) {
	in := pressEntry{}
	var err error
	if in.splice, err = s.spliceAsked(r); err != nil {
		return in, err
	}
	c, err := s.Registers.Conveyor(r.Context(), r.Scope, in.splice.ConveyorID)
	if err != nil {
		return in, err
	}
	in.tag = c.Tag
	all, err := s.Pressing.Recipes(r.Context())
	if err != nil {
		return in, err
	}
	for _, rc := range all {
		if !rc.Withdrawn && rc.Form == in.splice.Form && rc.Bond == in.splice.Bond {
			in.recipes = append(in.recipes, rc)
		}
	}
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return in, err
	}
	in.fit = press.Fitting(in.recipes, splicedIn(viewOf(fl, r.F), workorder.Order{BeltID: in.splice.BeltID}, in.splice))
	orders, _, err := s.Orders.OrderList(r.Context(), r.Scope, r.PlantID(), OrderFilter{ConveyorID: c.ID, Newest: true, Limit: 20})
	if err != nil {
		return in, err
	}
	in.orders = []Option{{Label: "none"}}
	for _, o := range orders {
		in.orders = append(in.orders, Option{Value: plainInt(o.ID), Label: fmt.Sprintf("%d, %s", o.Number, orderTitle(o))})
	}
	return in, nil
}

func (in pressEntry) name() string { return in.tag + " splice " + in.splice.Number }

// pressNewPage is the first page of a press record: the trace, or the figures read off the press.
type pressNewPage struct {
	Page
	Name, Splice string
	Form         *Form
	To           string
	Cautions     []string
	Empty        *Empty
}

func (r *Request) withoutRecipe(in pressEntry) *pressNewPage {
	p := &pressNewPage{Name: in.name(), Splice: r.At("splices", in.splice.ID)}
	p.Sheet, p.Say = "Press record", "No recipe is kept for "+assets.KindWords(in.splice.Form, in.splice.Bond)+", so no press cycle of "+in.name()+" can be judged"
	p.Empty = &Empty{What: "No recipe for this kind of splice", Why: "A press record proves how a splice was made against its recipe. Whoever leads keeps the recipes."}
	if to, ok := r.Link("recipes"); ok {
		p.Empty.Do = append(p.Empty.Do, Action{Word: "To the recipes", To: to, Main: true})
	}
	return p
}

func (r *Request) pressNew(in pressEntry) *pressNewPage {
	p := &pressNewPage{Name: in.name(), Splice: r.At("splices", in.splice.ID), To: r.C.Request.URL.Path, Cautions: pressCautions}
	p.Sheet, p.Say = "Press record", "Record how "+in.name()+" was pressed"
	p.Sub = "Give the trace that the press or a logger wrote, or the figures read off the press. Either is judged against the recipe before it is kept."
	f := r.NewForm()
	p.Form = f
	f.Select("recipe", "Recipe", in.firstRecipe(), in.recipeOptions()).Must()
	f.Text("press", "Press", "").Must().Hinted("as it is called at the plant: press 1")
	f.At("pressed_at", "Press opened", 0).Must()
	f.Select("order_id", "For the order", plainInt(in.splice.MadeOrderID), in.orders)
	f.File("file", "Trace", ".csv,.txt,text/csv,text/plain").OverBoth().Hinted(fmt.Sprintf("CSV with time, both temperatures and pressure, at most %d MB; leave it empty when figures were read off", enclosure.MaxBytes>>20))
	for _, name := range press.Criteria {
		field, _, _ := criterionUnit(name)
		sign := "min"
		if field != nil {
			sign = field.Sign(r.F.Units)
		}
		f.Number("read_"+name, Capital(press.Words(name)), "", sign)
	}
	f.Area("reason", "Reason, when a figure is outside", "").OverBoth()
	return p
}

func (in pressEntry) firstRecipe() string {
	if len(in.recipes) == 1 {
		return plainInt(in.recipes[0].ID)
	}
	if one, ok := in.fit.One(); ok {
		return plainInt(one.ID)
	}
	return ""
}

func (in pressEntry) recipeOptions() []Option {
	var out []Option
	if len(in.recipes) > 1 {
		out = append(out, Option{Label: "choose one"})
	}
	for _, rc := range in.recipes {
		label := recipeName(rc)
		if slices.ContainsFunc(in.fit.Another, func(other assets.Recipe) bool { return other.ID == rc.ID }) {
			label += ", kept for other belts"
		}
		out = append(out, Option{Value: plainInt(rc.ID), Label: label})
	}
	return out
}

// readOff shows the form, or judges and keeps the figures that were read off the press.
func (s *Site) readOff(r *Request, in pressEntry) error {
	p := r.pressNew(in)
	if !r.Posted() {
		return r.Show("pressnew", p)
	}
	e := r.entry(p.Form)
	rec, by := e.pressRecord(in)
	read := map[string]float64{}
	for _, name := range press.Criteria {
		field, per, _ := criterionUnit(name)
		at := "read_" + name
		switch {
		case e.text(at) == "":
		case field == nil:
			read[name] = e.number(at)
		default:
			read[name] = e.quantity(at, *field) / per
		}
	}
	if len(read) == 0 {
		e.bad.Add("file", "give the trace, or at least one figure read off the press")
	}
	err := e.Err()
	if err == nil {
		cycle := press.JudgeFigures(by, read)
		rec.fill(cycle)
		rec.Reason = e.text("reason")
		err = s.keepPress(r, in, &rec.PressRecord)
		if bad := (assets.Invalid{}); errors.As(err, &bad) && bad["reason"] != "" {
			bad["reason"] = outsideSentence(r.F, by, cycle) + ": give the reason"
		}
	}
	if err == nil {
		return r.Done(r.At("press", rec.ID), "Press record of "+in.name()+" kept: "+rec.Verdict+".")
	}
	if p.Form.Refused(err) {
		return r.Refill("pressnew", p)
	}
	return err
}

// outsideSentence names the figures that are outside, each with what is allowed.
func outsideSentence(f Format, by press.Recipe, c press.Cycle) string {
	var out []string
	for _, k := range c.Criteria {
		if k.Verdict == press.Outside {
			out = append(out, press.Words(k.Name)+" "+f.pressFigure(assets.PressFigure{Name: k.Name, Value: k.Value})+" (allowed "+f.allowedWords(by, k.Name)+")")
		}
	}
	return List(out)
}

// newRecord is a press record on its way in.
type newRecord struct{ assets.PressRecord }

func (n *newRecord) fill(c press.Cycle) {
	n.Figures, n.Verdict = nil, string(c.Overall)
	for _, k := range c.Criteria {
		n.Figures = append(n.Figures, assets.PressFigure{Name: k.Name, Value: k.Value, Verdict: string(k.Verdict), Why: k.Why})
	}
}

// pressRecord reads what a record is about: recipe, press, when, order.
func (e *entry) pressRecord(in pressEntry) (rec newRecord, by press.Recipe) {
	rec.PlantID, rec.SpliceID = e.r.PlantID(), in.splice.ID
	id := e.id("recipe")
	i := slices.IndexFunc(in.recipes, func(rc assets.Recipe) bool { return rc.ID == id })
	if i < 0 {
		e.bad.Add("recipe", "choose the recipe from the list")
	} else {
		rec.RecipeID, rec.Edition = id, in.recipes[i].Edition
		var err error
		if by, err = press.FromValues(in.recipes[i].Values); err != nil {
			e.bad.Add("recipe", "this recipe cannot be judged by: "+err.Error())
		}
	}
	rec.Press = e.must("press", "the press it was made on")
	e.must("pressed_at", "when the press was opened")
	rec.PressedAt = e.moment("pressed_at")
	if rec.OrderID = e.id("order_id"); rec.OrderID != 0 && !slices.ContainsFunc(in.orders, func(o Option) bool { return o.Value == plainInt(rec.OrderID) }) {
		e.bad.Add("order_id", "choose the order from the list")
	}
	return rec, by
}

func (s *Site) keepPress(r *Request, in pressEntry, rec *assets.PressRecord) error {
	return r.inPlantTime(s.Pressing.KeepPress(r.Context(), r.Scope, r.act("record how "+in.name()+" was pressed", rec.Reason), rec, r.F.Today()))
}

// takeTrace keeps the trace with the splice and leads on to its judgement, carrying what was typed.
func (s *Site) takeTrace(r *Request, in pressEntry) error {
	p := r.pressNew(in)
	e := r.entry(p.Form)
	rec, _ := e.pressRecord(in)
	to, err := "", e.Err()
	if err == nil {
		to, err = s.keepTrace(r, in, rec.PressRecord)
	}
	switch {
	case err == nil:
		return r.Done(to, "The trace is kept with "+in.name()+". Its record is not kept yet.")
	case p.Form.Refused(err):
		return r.Refill("pressnew", p)
	}
	return err
}

// keepTrace keeps the file that was sent, once it is seen to be a trace, and returns where it is judged.
func (s *Site) keepTrace(r *Request, in pressEntry, rec assets.PressRecord) (to string, err error) {
	name, sent, err := r.sentFile("file")
	if err != nil {
		return "", err
	}
	if _, err := press.Read(sent); err != nil {
		return "", assets.Invalid{"file": err.Error()}
	}
	a := assets.Attachment{PlantID: r.PlantID(), OfKind: assets.AttachedToSplice, OfID: in.splice.ID, Name: name}
	if _, err := s.Attachments.Attach(r.Context(), r.Scope, r.act("keep the trace of "+in.name(), ""), &a, sent); err != nil {
		return "", err
	}
	said := url.Values{"trace": {plainInt(a.ID)}, "recipe": {plainInt(rec.RecipeID)}, "press": {rec.Press}, "at": {plainInt(int64(rec.PressedAt))}, "order": {plainInt(rec.OrderID)}}
	return r.C.Request.URL.Path + "?" + said.Encode(), nil
}

// judgeTrace shows a trace that is kept, judged, and keeps its record.
func (s *Site) judgeTrace(r *Request, in pressEntry, id int64) error {
	a, err := s.Attachments.Attachment(r.Context(), r.Scope, id)
	if err == nil && (a.PlantID != r.PlantID() || a.OfKind != assets.AttachedToSplice || a.OfID != in.splice.ID) {
		err = assets.ErrNotFound
	}
	if err != nil {
		return err
	}
	content, err := s.Attachments.AttachmentContent(r.Context(), a)
	if err != nil {
		return err
	}
	trace, err := press.Read(content)
	if err != nil {
		return assets.Invalid{"": err.Error()}
	}
	p := &pressPage{Name: in.name(), Splice: r.At("splices", in.splice.ID), Cautions: pressCautions, To: r.C.Request.URL.Path, Trace: Link{Word: a.Name, To: r.At("attachments", a.ID)}}
	f := r.NewForm()
	p.Form = f
	f.Hidden("trace", plainInt(id))
	recipe := f.Select("recipe", "Recipe", pick(r.Query("recipe") == "", in.firstRecipe(), r.Query("recipe")), in.recipeOptions()).Must()
	by, ok := in.recipeBy(numberOf(f.Value("recipe")))
	if !ok {
		by = in.recipes[0]
		recipe.Value = plainInt(by.ID)
	}
	limits, err := press.FromValues(by.Values)
	if err != nil {
		return err
	}
	judged := trace.Judge(limits)
	s.judgedForm(r, in, f, judged)
	chosen := cycleChosen(f, judged)
	r.fillJudged(p, in, by, limits, trace, judged, chosen)
	r.askCycle(p, f, judged, chosen)
	if r.Posted() {
		rec, _ := r.entry(f).pressRecord(in)
		err := s.saveJudged(r, in, f, judged, &rec, a.ID)
		if err == nil {
			return r.Done(r.At("press", rec.ID), "Press record of "+in.name()+" kept: "+rec.Verdict+".")
		}
		if !f.Refused(err) {
			return err
		}
		return r.Refill("press", p)
	}
	return r.Show("press", p)
}

func (in pressEntry) recipeBy(id int64) (assets.Recipe, bool) {
	i := slices.IndexFunc(in.recipes, func(rc assets.Recipe) bool { return rc.ID == id })
	if i < 0 {
		return assets.Recipe{}, false
	}
	return in.recipes[i], true
}

func (s *Site) judgedForm(r *Request, in pressEntry, f *Form, judged press.Judgement) {
	f.Text("press", "Press", r.Query("press")).Must()
	f.At("pressed_at", "Press opened", assets.Instant(numberOf(r.Query("at")))).Must()
	f.Select("order_id", "For the order", pick(r.Query("order") == "0", "", r.Query("order")), in.orders)
	if judged.NeedsChoice() {
		options := []Option{{Label: "choose the one that made this splice"}}
		for i, c := range judged.Cycles {
			options = append(options, Option{Value: plainInt(int64(i + 1)), Label: fmt.Sprintf("cycle %d, rows %d to %d, %s", i+1, c.FirstRow, c.LastRow, c.Overall)})
		}
		f.Select("cycle", "Which cycle", r.Query("cycle"), options).Must()
	} else {
		f.Hidden("cycle", "1")
	}
	f.Area("reason", "Reason, when a figure is outside", "").OverBoth()
}

// cycleChosen is the cycle that is shown: the one chosen, else the last, which most likely made the splice. Kept is only one that was chosen.
func cycleChosen(f *Form, judged press.Judgement) int {
	if n := int(numberOf(f.Value("cycle"))); n >= 1 && n <= len(judged.Cycles) {
		return n - 1
	}
	return len(judged.Cycles) - 1
}

func (s *Site) saveJudged(r *Request, in pressEntry, f *Form, judged press.Judgement, rec *newRecord, trace int64) error {
	e := r.entry(f)
	*rec, _ = e.pressRecord(in)
	n := e.whole("cycle", 1, max(1, len(judged.Cycles)))
	if len(judged.Cycles) == 0 {
		e.bad.Add("", "no press cycle is in this trace; give the right file, or the figures read off the press")
	}
	if e.text("cycle") == "" {
		e.bad.Add("cycle", "say which of the cycles made this splice")
	}
	if err := e.Err(); err != nil {
		return err
	}
	rec.fill(judged.Cycles[n-1])
	rec.Cycle, rec.AttachmentID, rec.Reason = int64(n), trace, e.text("reason")
	for _, notice := range judged.Notices {
		rec.Notices = append(rec.Notices, noticeWords(notice))
	}
	return s.keepPress(r, in, &rec.PressRecord)
}

// fillJudged says what was judged just now.
func (r *Request) fillJudged(p *pressPage, in pressEntry, rc assets.Recipe, by press.Recipe, trace *press.Trace, judged press.Judgement, chosen int) {
	p.Sheet = "Press record"
	p.Recipe = Link{Word: "recipe " + recipeName(rc), To: r.At("recipes", rc.ID)}
	p.Sub = "Judged just now, not kept yet. Trace of " + Figure(len(trace.AtS), "row", "rows") + "."
	for _, n := range judged.Notices {
		p.Notices = append(p.Notices, Capital(noticeWords(n)))
	}
	if chosen < 0 {
		p.Say = "No press cycle is in this trace"
		return
	}
	c := judged.Cycles[chosen]
	var rec newRecord
	rec.fill(c)
	p.Judged = r.judgedRows(rec.Figures, by)
	p.Say = judgedSay(in.name(), rec.PressRecord)
	p.Plot, p.Points = r.cyclePlot(in.name(), by, trace, c)
}

// askCycle says of a trace of several cycles that nobody has said yet which one counts, and leads to each of the others.
func (r *Request) askCycle(p *pressPage, f *Form, judged press.Judgement, chosen int) {
	if !judged.NeedsChoice() {
		return
	}
	if f.Value("cycle") == "" {
		p.Say = fmt.Sprintf("%s press cycles are in this trace: say which one made %s", Capital(Word(len(judged.Cycles))), p.Name)
	}
	p.Sub += fmt.Sprintf(" Cycle %d of %d is shown.", chosen+1, len(judged.Cycles))
	if r.Posted() {
		return
	}
	for i := range judged.Cycles {
		if said := r.C.Request.URL.Query(); i != chosen {
			said.Set("cycle", plainInt(int64(i+1)))
			p.Do = append(p.Do, Action{Word: fmt.Sprintf("Show cycle %d", i+1), To: r.C.Request.URL.Path + "?" + said.Encode()})
		}
	}
}

func judgedSay(name string, rec assets.PressRecord) string {
	in, out, not := 0, 0, 0
	for _, f := range rec.Figures {
		switch press.Verdict(f.Verdict) {
		case press.Within:
			in++
		case press.Outside:
			out++
		default:
			not++
		}
	}
	switch {
	case out > 0:
		return fmt.Sprintf("%s was pressed outside its recipe: %d of %d figures %s outside", name, out, len(rec.Figures), pick(out == 1, "is", "are"))
	case not > 0:
		return fmt.Sprintf("How %s was pressed cannot be judged whole: %d of %d figures %s", name, not, len(rec.Figures), pick(not == 1, "is in doubt", "are in doubt"))
	}
	return fmt.Sprintf("%s was pressed inside its recipe: all %d figures are within", name, in)
}

func (r *Request) judgedRows(figures []assets.PressFigure, by press.Recipe) []judgedRow {
	var out []judgedRow
	for _, f := range figures {
		out = append(out, judgedRow{Words: Capital(press.Words(f.Name)), Allowed: r.F.allowedWords(by, f.Name), Recorded: r.F.pressFigure(f), Verdict: f.Verdict, Why: f.Why})
	}
	return out
}

// noticeWords says what a person should know of a trace.
func noticeWords(n press.Notice) string {
	says := n.Kind
	if n.Sensor != "" {
		says += ", " + n.Sensor
	}
	switch {
	case n.FromS != nil && n.ToS != nil:
		says += fmt.Sprintf(", from %s to %s on the file's clock", fileClock(*n.FromS), fileClock(*n.ToS))
	case n.DataRow > 0:
		says += fmt.Sprintf(", row %d", n.DataRow)
	}
	return says
}

func fileClock(s float64) string {
	return fmt.Sprintf("%d:%02d:%02d", int(s)/3600, int(s)/60%60, int(s)%60)
}

// cyclePlot draws a cycle of a trace, and gives it as some rows.
func (r *Request) cyclePlot(name string, by press.Recipe, trace *press.Trace, c press.Cycle) (template.HTML, []cyclePoint) {
	from, to := max(0, c.FirstRow-1), min(len(trace.AtS), c.LastRow)
	if from >= to {
		return "", nil
	}
	heat, strong := scale(unit.Heat, 1, r.F.Units), scale(unit.PlatePress, 100_000, r.F.Units)
	d := drawing.Cycle{Sentence: "Press cycle of " + name + ": temperature of both platens and pressure over time against the recipe",
		HeatSign: unit.Heat.Sign(r.F.Units), PressSign: unit.PlatePress.Sign(r.F.Units), SetTop: heat(by.SetTopC), SetBottom: heat(by.SetBottomC),
		Tolerance: unit.HeatStep.In(by.ToleranceK, r.F.Units), Release: heat(by.ReleaseMaxC), Axis: "minutes from the first row of the cycle"}
	slack := by.PressureBar * by.PressurePct / 100
	d.PressLow, d.PressHigh = strong(by.PressureBar-slack), strong(by.PressureBar+slack)
	zero := trace.AtS[from]
	d.DwellFrom, d.DwellTo = (c.DwellFromS-zero)/60, (c.DwellToS-zero)/60
	if c.DwellToS <= c.DwellFromS {
		d.DwellFrom, d.DwellTo = 0, 0
	}
	var points []cyclePoint
	every := max(1, (to-from)/20)
	for i := from; i < to; i++ {
		m := (trace.AtS[i] - zero) / 60
		d.Minutes = append(d.Minutes, m)
		d.Top, d.Bottom, d.Pressure = append(d.Top, heat(trace.Top[i])), append(d.Bottom, heat(trace.Bottom[i])), append(d.Pressure, strong(trace.Pressure[i]))
		if (i-from)%every == 0 || i == to-1 {
			points = append(points, cyclePoint{Num(m, 1), r.F.heatOrNone(trace.Top[i]), r.F.heatOrNone(trace.Bottom[i]), r.F.pressureOrNone(trace.Pressure[i])})
		}
	}
	return drawing.OfCycle(d), points
}

// scale turns figures into a field's unit; per is what a figure is worth in the stored unit. Units lie on straight lines, so two of
// their points give the line: a trace has some ten thousand rows.
func scale(field unit.Field, per float64, system assets.UnitSystem) func(float64) float64 {
	zero, one := field.In(0, system), field.In(per, system)
	return func(v float64) float64 { return zero + (one-zero)*v }
}

func (f Format) heatOrNone(c float64) string {
	if math.IsNaN(c) {
		return "none"
	}
	return unit.Heat.Show(c, f.Units)
}

func (f Format) pressureOrNone(bar float64) string {
	if math.IsNaN(bar) {
		return "none"
	}
	return unit.PlatePress.Show(bar*100_000, f.Units)
}

// pressRecord shows a record that is kept.
func (s *Site) pressRecord(r *Request) error {
	file, err := s.pressAsked(r)
	if err != nil {
		return err
	}
	rec := file.Record
	sp, err := s.Registers.Splice(r.Context(), r.Scope, rec.SpliceID)
	if err != nil {
		return err
	}
	c, err := s.Registers.Conveyor(r.Context(), r.Scope, sp.ConveyorID)
	if err != nil {
		return err
	}
	rc, by, err := s.editionOf(r, rec)
	if err != nil {
		return err
	}
	name := c.Tag + " splice " + sp.Number
	p := &pressPage{Name: name, Splice: r.At("splices", sp.ID), Notices: rec.Notices, Judged: r.judgedRows(rec.Figures, by)}
	p.Sheet, p.Say = "Press record", judgedSay(name, rec)
	p.Sub = "Pressed " + r.F.Stamp(rec.PressedAt) + " on " + rec.Press + ", recorded " + r.F.Stamp(rec.RecordedAt) + "."
	p.Recipe = Link{Word: fmt.Sprintf("recipe %s, version %d of %s", rc.Name, rc.Edition, r.F.Date(rc.SavedAt)), To: r.At("recipes", rc.ID)}
	p.Do = append(p.Do, Action{Word: "Print the record", Print: true}, Action{Word: "To " + name, To: p.Splice})
	p.Facts = r.pressFacts(file)
	if to, ok := r.Link("press/:record/withdraw", rec.ID); ok {
		p.Do = append(p.Do, Action{Word: "Entered in error", To: to})
	}
	if rec.AttachmentID != 0 {
		if err := s.plotKept(r, p, rec, by, name); err != nil {
			return err
		}
	}
	return r.Show("press", p)
}

func (r *Request) pressFacts(file PressFile) []Fact {
	rec := file.Record
	facts := []Fact{{"Figures from", pick(rec.AttachmentID == 0, "read off the press", fmt.Sprintf("the recorded trace, cycle %d", rec.Cycle))}, {"Recorded by", orNotKnown(file.People[rec.RecordedBy])}}
	if rec.Reason != "" {
		facts = append(facts, Fact{"Reason given", rec.Reason + " (" + orNotKnown(file.People[rec.ReasonBy]) + ")"})
	}
	if file.FollowUp != 0 {
		facts = append(facts, Fact{"Raised by itself", fmt.Sprintf("order %d, an early inspection", file.FollowUp)})
	}
	if file.Order != 0 {
		facts = append(facts, Fact{"Made for", fmt.Sprintf("order %d", file.Order)})
	}
	return facts
}

func (s *Site) pressAsked(r *Request) (PressFile, error) {
	id, err := r.ID("record")
	if err != nil {
		return PressFile{}, err
	}
	file, err := s.Pressing.PressRecord(r.Context(), r.Scope, id)
	return file, r.ofPlant(file.Record.PlantID, err)
}

// editionOf is the edition a record was made with, as limits.
func (s *Site) editionOf(r *Request, rec assets.PressRecord) (assets.Recipe, press.Recipe, error) {
	editions, _, err := s.Pressing.Editions(r.Context(), rec.RecipeID)
	if err != nil {
		return assets.Recipe{}, press.Recipe{}, err
	}
	i := slices.IndexFunc(editions, func(e assets.Recipe) bool { return e.Edition == rec.Edition })
	if i < 0 {
		return assets.Recipe{}, press.Recipe{}, fmt.Errorf("version %d of recipe %d: %w", rec.Edition, rec.RecipeID, assets.ErrNotFound)
	}
	by, err := press.FromValues(editions[i].Values)
	return editions[i], by, err
}

// plotKept draws the trace of a record that is kept.
func (s *Site) plotKept(r *Request, p *pressPage, rec assets.PressRecord, by press.Recipe, name string) error {
	a, err := s.Attachments.Attachment(r.Context(), r.Scope, rec.AttachmentID)
	if errors.Is(err, assets.ErrNotFound) {
		p.Notices = append(slices.Clone(p.Notices), "The trace was withdrawn; the figures stand as they were judged.")
		return nil
	}
	if err != nil {
		return err
	}
	p.Trace = Link{Word: a.Name, To: r.At("attachments", a.ID)}
	content, err := s.Attachments.AttachmentContent(r.Context(), a)
	if err != nil {
		return err
	}
	trace, err := press.Read(content)
	if err != nil {
		return err
	}
	judged := trace.Judge(by)
	if n := int(rec.Cycle); n >= 1 && n <= len(judged.Cycles) {
		p.Plot, p.Points = r.cyclePlot(name, by, trace, judged.Cycles[n-1])
	}
	return nil
}

// withdrawPress answers: this record was entered in error; how does it go?
func (s *Site) withdrawPress(r *Request) error {
	file, err := s.pressAsked(r)
	if err != nil {
		return err
	}
	back := r.At("splices", file.Record.SpliceID)
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Take it back", Leave: r.At("press", file.Record.ID)}
		p.Sheet, p.Say = "Take a press record back", "Take back the press record of "+r.F.Stamp(file.Record.PressedAt)
		if file.FollowUp != 0 {
			p.Says = []string{fmt.Sprintf("Order %d, the early inspection it raised, stays; withdraw it from its page.", file.FollowUp)}
		}
		f.version(file.Record.Version)
		p.reason(true, "Wrong splice, wrong trace, entered twice")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		why, row := e.reason(), e.rowID()
		if err := e.Err(); err != nil {
			return "", "", err
		}
		return back, "The press record is taken back.", s.Pressing.WithdrawPress(r.Context(), r.Scope, r.act("take a press record back", why), r.PlantID(), file.Record.ID, row)
	})
}

// pressLinks leads from a splice to the records of how it was pressed.
func (s *Site) pressLinks(r *Request, sp assets.Splice) ([]Link, error) {
	if !pressedHot(sp.Bond) {
		return nil, nil
	}
	var out []Link
	made, err := s.Pressing.Pressed(r.Context(), r.Scope, PressFilter{PlantID: r.PlantID(), SpliceID: sp.ID})
	if err != nil {
		return nil, err
	}
	for _, m := range made {
		out = append(out, Link{Word: "Press record of " + r.F.Date(m.Record.PressedAt) + ", " + m.Record.Verdict, To: r.At("press", m.Record.ID)})
	}
	if to, ok := r.Link("splices/:splice/press", sp.ID); ok {
		out = append(out, Link{Word: "Record how it was pressed", To: to})
	}
	return out, nil
}
