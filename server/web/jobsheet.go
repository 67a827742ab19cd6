package web

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"

	"carryside/assets"
	"carryside/assets/loop"
	"carryside/assets/unit"
	"carryside/schedule/jobsheet"
	"carryside/schedule/people"
	"carryside/schedule/press"
	"carryside/schedule/workorder"
)

// Worksheets is the steps of job sheets: templates, and what was noted on the sheets of a plant.
type Worksheets interface {
	// Sheet returns the sheet of an order: as it was opened, else with the steps it would be opened with.
	Sheet(ctx context.Context, scope assets.Scope, o workorder.Order, form assets.Form, bond assets.Bond) (SheetFile, error)
	// NoteSteps opens the sheet where there is none, writes its head and adds entries, each once by its ClientID, all or none.
	NoteSteps(ctx context.Context, scope assets.Scope, act Act, o workorder.Order, form assets.Form, bond assets.Bond, head SheetHead, entries []assets.JobEntry) error
	// TakeSheet keeps what came in from a device, once however often it is sent; a signature then holds what is kept. ErrDeviceEnded when the
	// device was ended.
	TakeSheet(ctx context.Context, scope assets.Scope, act Act, sent *SheetSent) (again bool, err error)
	// MayHaveSigned tells whether a person was ever given a role here that may do jobs.
	MayHaveSigned(ctx context.Context, scope assets.Scope, plantID, personID int64) (bool, error)
	// SignSheet signs the order of a signature that waits, or says why it goes on waiting. by is the lead who lets it stand; 0: it has just come in.
	SignSheet(ctx context.Context, scope assets.Scope, act Act, g assets.JobSignature, by int64, said string) (why string, err error)
	RefuseSignature(ctx context.Context, scope assets.Scope, act Act, g assets.JobSignature, why string) error
	SignaturesWaiting(ctx context.Context, scope assets.Scope, plantID int64) ([]SignatureFile, error)
	Signature(ctx context.Context, scope assets.Scope, plantID, id int64) (SignatureFile, error)
	// StepTemplates lists the company's own templates; jobsheet.For picks among them.
	StepTemplates(ctx context.Context) ([]assets.JobTemplate, error)
	SaveStepTemplate(ctx context.Context, act Act, t *assets.JobTemplate) error
}

// SheetFile is a job sheet with what was noted on it and the names in it.
type SheetFile struct {
	Sheet   assets.JobSheet
	Opened  bool
	Entries []assets.JobEntry // in the order in which they came
	People  map[int64]string
}

// SheetHead is what stands above the steps.
type SheetHead struct{ Isolation, Permit string }

// computedRow is a figure computed for the job.
type computedRow struct{ What, Value, How, Class, Look string }

// sheetRow is a step or check with what was noted at it.
type sheetRow struct {
	No                    int
	Words, Ask            string // Ask: what is measured and its limits
	State, Value, Note    string
	When, Who             string
	Wrong                 bool // failed, or measured outside its limits
	Before                int  // entries that stood here before
	Photo                 bool
	Closed                bool   // nothing can be noted any more
	Unit                  string // of what is measured; "" where nothing is
	Key, Client           string
	StateField, ValueAsks *Field
	NoteField             *Field
}

// sheetPart is the steps of an order's page.
type sheetPart struct {
	Head          []headFact
	Steps, Checks []sheetRow
	Says          string
	To            string // where it is filled in; "" where whoever asks may not
}

// headFact stands above the steps: isolation and permit come before kit, stock and work. Write: on paper there is room to write it.
type headFact struct {
	Fact
	Write bool
}

// jobOf gathers what the figures of an order are computed from.
func jobOf(v fleetView, o workorder.Order, sp assets.Splice, by sheetRecipe) jobsheet.Job {
	c, _ := v.Register.Conveyor(o.ConveyorID)
	b := workedBelt(v, o)
	thick := thickness(v.Register, b)
	spec, _ := v.Register.Specification(b.SpecificationID)
	of := func(quantity string) float64 {
		found, _ := assets.ValueOf(spec.Values, quantity)
		return found.Value
	}
	j := jobsheet.Job{Form: sp.Form, Bond: sp.Bond, WidthM: b.WidthM, ThicknessM: thick, MassKGPerM2: of("mass_kg_per_m2"), Plies: spec.Plies, StepM: cmp.Or(sp.StepLengthM, of("step_length_m")),
		FingerPitchM: cmp.Or(sp.FingerPitchM, of("finger_pitch_m")), FingerLengthM: cmp.Or(sp.FingerLengthM, of("finger_length_m")), PathM: b.LoopLengthM, PathMeasured: true, WholeBelt: o.Kind == workorder.KindBeltChange,
		Splices: max(1, len(v.Register.SplicesOn(c.ID))), AmbientC: 20}
	if sp.Steps > 0 {
		j.Plies = sp.Steps + 1
	}
	if sp.BiasAngleDeg > 0 {
		bias := b.WidthM * math.Tan(sp.BiasAngleDeg*math.Pi/180)
		j.BiasM = &bias
	}
	if l, placed := loop.Of(c.Pulleys, thick); placed {
		if path, err := l.Measure(); err == nil {
			j.PathM, j.PathMeasured = path.LengthMM/1000, false
		}
	}
	if by.One == nil {
		j.RecipeLacks = "which recipe it is pressed by, see there"
	} else if limits, err := press.FromValues(by.One.Values); err == nil {
		j.Recipe, j.RecipeName = &limits, recipeName(*by.One)
	} else {
		j.RecipeLacks = recipeName(*by.One) + " cannot be pressed by: " + err.Error()
	}
	return j
}

// computedPart is the figures of a job, in words what is missing for the others, and the recipe they and the crew go by.
type computedPart struct {
	Rows    []computedRow
	Missing []string
	Recipe  []Fact
}

// computed are the figures of a job whose work opens the belt: by the recipe it was pressed by, else by the one that fits.
func (s *Site) computed(r *Request, v fleetView, o workorder.Order, pressed []pressedPart) (p computedPart, err error) {
	if !opensBelt(o) {
		return p, nil
	}
	by, err := s.recipeOf(r, v, o, pressed)
	if err != nil {
		return p, err
	}
	if by.Says != "" {
		p.Recipe = []Fact{{"Recipe", by.Says}}
	}
	figures, missing := jobsheet.Compute(jobOf(v, o, splicedBy(v, o), by), r.F.inUnit)
	for _, f := range figures {
		p.Rows = append(p.Rows, computedRow{What: f.What, Value: r.F.inUnit(f.Value, f.Unit), How: f.How, Class: string(f.Class), Look: f.Look})
	}
	p.Missing = missing
	return p, nil
}

// splicedBy is the splice an order is about, or one like the last on the conveyor.
func splicedBy(v fleetView, o workorder.Order) assets.Splice {
	if sp, ok := v.Register.Splice(o.SpliceID); ok {
		return sp
	}
	if all := v.Register.SplicesOn(o.ConveyorID); len(all) > 0 {
		return all[len(all)-1]
	}
	return assets.Splice{}
}

// inUnit is a figure of a job sheet as the plant reads it.
func (f Format) inUnit(v float64, sign string) string {
	if sign == "m" {
		return f.length(v)
	}
	if field, per := stepUnit(sign); field != nil {
		return field.Show(v*per, f.Units)
	}
	if sign == "fingers" || sign == "steps" {
		return Num(v, 0)
	}
	return With(Short(v, 1), sign)
}

// Lengths from these on are taped, and told in metres or feet; shorter ones are gauged.
const tapedFromM, distanceFromM = 0.1, 3

// length writes a length by what it is measured with: a gauge, a tape, a long tape.
func (f Format) length(m float64) string {
	switch size := math.Abs(m); {
	case size >= distanceFromM:
		return unit.Distance.Show(m, f.Units)
	case size >= tapedFromM:
		return unit.Travel.Show(m, f.Units)
	}
	return unit.Finger.Show(m, f.Units)
}

// sheet is the steps of an order with what was noted.
func (s *Site) sheet(r *Request, v fleetView, o workorder.Order) (*sheetPart, error) {
	sp := splicedBy(v, o)
	file, err := s.Worksheets.Sheet(r.Context(), r.Scope, o, sp.Form, sp.Bond)
	if err != nil {
		return nil, err
	}
	p := &sheetPart{}
	if to, ok := r.Link("orders/:order/sheet", o.Number); ok && sheetOpen(o) {
		p.To = to
	}
	done, closed := 0, o.State == workorder.Signed || o.State == workorder.Withdrawn
	for i, step := range file.Sheet.Steps {
		row := r.sheetRow(i+1, step, file)
		row.Closed = closed
		done += count(row.State != "")
		if step.Check {
			p.Checks = append(p.Checks, row)
		} else {
			p.Steps = append(p.Steps, row)
		}
	}
	p.Says = fmt.Sprintf("%d of %d noted", done, len(file.Sheet.Steps))
	c, _ := v.Register.Conveyor(o.ConveyorID)
	isolation := file.Sheet.Isolation
	if isolation == "" {
		isolation = c.IsolationGroup
	}
	p.Head = []headFact{{Fact{"Isolation", pick(isolation == "", "find out and note it before anything is touched", isolation)}, isolation == "" && !closed},
		{Fact{"Permit", pick(file.Sheet.Permit == "", "none noted", file.Sheet.Permit)}, file.Sheet.Permit == "" && !closed}}
	if noted := r.headClock(file.Sheet); noted != "" {
		p.Head = append(p.Head, headFact{Fact: Fact{"Both noted", noted}})
	}
	for _, before := range r.headsBefore(file) {
		p.Head = append(p.Head, headFact{Fact: before})
	}
	return p, nil
}

// sheetOpen tells whether steps can be noted: from the stop it is placed in until it is signed.
func sheetOpen(o workorder.Order) bool {
	return slices.Contains([]workorder.State{workorder.Accepted, workorder.Placed, workorder.Started, workorder.Done}, o.State)
}

func (r *Request) sheetRow(no int, step assets.JobStep, file SheetFile) sheetRow {
	row := sheetRow{No: no, Words: step.Words, Ask: r.F.askWords(step), Photo: step.Photo, Key: step.Key}
	if step.Measure != "" {
		row.Unit = r.F.stepSign(step.Unit)
	}
	for _, e := range file.Entries {
		if e.StepKey != step.Key {
			continue
		}
		if row.State != "" {
			row.Before++
		}
		row.State, row.Note, row.When, row.Who = e.State, e.Note, r.F.Stamp(e.At), orNotKnown(file.People[e.PersonID])
		row.Value, row.Wrong = "", e.State == jobsheet.Failed
		if e.Value != nil {
			row.Value = r.F.inUnit(*e.Value, step.Unit)
			row.Wrong = row.Wrong || r.F.beyond(*e.Value, step.Least, -1, step.Unit) || r.F.beyond(*e.Value, step.Most, 1, step.Unit)
		}
	}
	return row
}

// askWords says what is measured at a step and within which limits.
func (f Format) askWords(step assets.JobStep) string {
	if step.Measure == "" {
		return ""
	}
	say := step.Measure
	switch {
	case step.Least != nil && step.Most != nil:
		say += ", " + f.stepLimit(*step.Least, step.Unit) + " to " + f.stepLimit(*step.Most, step.Unit)
	case step.Most != nil:
		say += ", " + f.stepLimit(*step.Most, step.Unit) + " or less"
	case step.Least != nil:
		say += ", " + f.stepLimit(*step.Least, step.Unit) + " or more"
	}
	return say
}

// stepLimit is a limit to its last digit: what is measured is judged by it, and 6.4 mm is not within 6.35.
func (f Format) stepLimit(v float64, kept string) string {
	field, per := stepUnit(kept)
	switch {
	case f.us():
		return f.inUnit(v, kept)
	case field == nil:
		return With(strconv.FormatFloat(v, 'f', -1, 64), f.stepSign(kept))
	}
	return With(field.Entry(v*per, "", f.Units), f.stepSign(kept))
}

// beyond tells whether a value lies over a limit (sign 1) or under it (sign -1), as both are read: a limit of 1.6 mm is shown in inches as 0.063,
// which is a hair more.
func (f Format) beyond(v float64, limit *float64, sign float64, kept string) bool {
	return limit != nil && sign*(v-*limit) > 0 && f.stepLimit(v, kept) != f.stepLimit(*limit, kept)
}

// stepUnit is the field in which a figure of a sheet is typed and shown, and what the figure is multiplied with to be stored so; nil: a plain
// number.
func stepUnit(sign string) (field *unit.Field, per float64) {
	if sign == "bar" {
		return &unit.PlatePress, 100_000
	}
	return map[string]*unit.Field{"m": &unit.Travel, jobsheet.LongMetres: &unit.Distance, "degC": &unit.Heat, "kg": &unit.BeltMass, "K/min": &unit.HeatRate, "N·m": &unit.Tightening}[sign], 1
}

// sheetPage answers: what has been done at the conveyor, what was measured, what is still to do?
type sheetPage struct {
	Page
	Form          *Form
	Steps, Checks []sheetRow
	To, Order     string
	Cautions      []string
	States        []string
}

// fillSheet shows the steps of an order to be noted, and takes them.
func (s *Site) fillSheet(r *Request) error {
	number, err := r.ID("order")
	if err != nil {
		return err
	}
	file, err := s.Orders.Order(r.Context(), r.Scope, r.PlantID(), number)
	if err != nil {
		return err
	}
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	v, o := viewOf(fl, r.F), file.Order
	sp := splicedBy(v, o)
	sheet, err := s.Worksheets.Sheet(r.Context(), r.Scope, o, sp.Form, sp.Bond)
	if err != nil {
		return err
	}
	p := r.sheetForm(o, v, sheet)
	if !r.Posted() {
		return r.Show("sheet", p)
	}
	if !sheetOpen(o) {
		err = assets.Invalid{"": fmt.Sprintf("the order stands as %s; steps are noted from when it is accepted until it is signed", o.State)}
	} else {
		err = s.saveSheet(r, o, sp, sheet, p.Form)
	}
	if err == nil {
		return r.Done(r.At("orders", number), fmt.Sprintf("Sheet of order %d kept.", number))
	}
	if p.Form.Refused(err) {
		return r.Refill("sheet", p)
	}
	return err
}

func (r *Request) sheetForm(o workorder.Order, v fleetView, sheet SheetFile) *sheetPage {
	p := &sheetPage{Form: r.NewForm(), To: r.C.Request.URL.Path, Order: r.At("orders", o.Number), States: jobsheet.States}
	p.Sheet, p.Say = fmt.Sprintf("Sheet of order %d", o.Number), fmt.Sprintf("Note what was done: order %d, %s", o.Number, orderHeading(o, v))
	p.Sub = "Only steps for which something is chosen are kept, each as a new entry; what stood there before stays in the history."
	if c, ok := v.Register.Conveyor(o.ConveyorID); ok {
		p.Cautions = cautions(c, v, o)
	}
	f := p.Form
	f.Text("isolation", "Isolation point", sheet.Sheet.Isolation)
	f.Text("permit", "Permit number", sheet.Sheet.Permit)
	f.At("at", "Done at", r.thisMinute()).Must()
	for i, step := range sheet.Sheet.Steps {
		row := r.sheetRow(i+1, step, sheet)
		name := func(part string) string { return part + "_" + step.Key }
		row.StateField = f.Select(name("state"), fmt.Sprintf("step %d", i+1), "", choices("not now", jobsheet.States, func(s string) string { return s }))
		if step.Measure != "" {
			sign := step.Unit
			if field, _ := stepUnit(step.Unit); field != nil {
				sign = field.Sign(r.F.Units)
			}
			row.ValueAsks = f.Number(name("value"), step.Measure, "", sign)
		}
		row.NoteField = f.Text(name("note"), fmt.Sprintf("note at step %d", i+1), "")
		f.Hidden(name("client"), token())
		if step.Check {
			p.Checks = append(p.Checks, row)
		} else {
			p.Steps = append(p.Steps, row)
		}
	}
	return p
}

func (s *Site) saveSheet(r *Request, o workorder.Order, sp assets.Splice, sheet SheetFile, f *Form) error {
	e := r.entry(f)
	at := e.moment("at")
	e.must("at", "when it was done")
	var entries []assets.JobEntry
	for _, step := range sheet.Sheet.Steps {
		name := func(part string) string { return part + "_" + step.Key }
		state := e.text(name("state"))
		if state == "" {
			if e.text(name("value")) != "" || e.text(name("note")) != "" {
				e.bad.Add(name("state"), "say whether this step is done")
			}
			continue
		}
		entry := assets.JobEntry{StepKey: step.Key, State: state, Note: e.text(name("note")), At: at, ClientID: e.text(name("client"))}
		e.stepValue(step, name("value"), &entry)
		if entry.State != jobsheet.Done && entry.Note == "" {
			e.bad.Add(name("note"), "say why it is "+entry.State)
		}
		entries = append(entries, entry)
	}
	if err := e.Err(); err != nil {
		return err
	}
	head := SheetHead{Isolation: e.text("isolation"), Permit: e.text("permit")}
	return s.Worksheets.NoteSteps(r.Context(), r.Scope, r.act(fmt.Sprintf("note the sheet of order %d", o.Number), ""), o, sp.Form, sp.Bond, head, entries)
}

// stepValue reads what was measured at a step.
func (e *entry) stepValue(step assets.JobStep, at string, entry *assets.JobEntry) {
	if step.Measure == "" || e.text(at) == "" {
		if step.Measure != "" && entry.State == jobsheet.Done {
			e.bad.Add(at, "give the measured value: "+step.Measure)
		}
		return
	}
	v := 0.0
	if field, per := stepUnit(step.Unit); field != nil {
		v = e.quantity(at, *field) / per
	} else {
		v = e.number(at)
	}
	if wrong := jobsheet.Mistyped(step.Unit, v); wrong != "" && e.bad[at] == "" {
		e.bad.Add(at, wrong)
	}
	entry.Value = &v
}

// jobRoutes are the addresses of job sheets and their templates.
func jobRoutes() []Route {
	var out []Route
	add := func(may people.Deed, back, path string, do func(*Site, *Request) error, methods ...string) {
		for _, m := range methods {
			out = append(out, Route{Method: m, Path: "/plants/:plant/" + path, May: may, Under: "orders", Back: back, Do: do})
		}
	}
	add(people.DoJob, "orders", "orders/:order/sheet", (*Site).fillSheet, get, post)
	add(people.DoJob, "orders", "orders/:order/along", (*Site).takeAlong, get)
	add(people.DoJob, "orders", "orders/:order/along/facts", (*Site).alongFacts, get)
	add(people.DoJob, "orders", "orders/:order/along/entries", (*Site).takeAlongEntry, post)
	out[len(out)-1].Raw = true
	add(people.KeepCrew, "orders", "signatures/:signature", (*Site).decideSignature, get, post)
	add(people.Read, "steps", "steps", (*Site).stepTemplates, get)
	add(people.EditCatalogues, "steps", "steps/:work", (*Site).editSteps, get, post)
	return out
}
