package web

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/rules"
)

// These forms answer: what was seen at the conveyor, how bad is it, and what was measured?

// measured is what may be measured at a finding: its name in the register, its unit, how it is typed.
type measured struct {
	Quantity, Unit string // Unit as stored: m, or Shore A
	Field          *unit.Field
}

var measurements = []measured{
	{"splice gap", "m", &unit.Opening},
	{"cover thickness", "m", &unit.Thickness},
	{rules.TakeUpTravel, "m", &unit.Travel},
	{"hardness", "Shore A", nil},
}

func (m measured) sign(u assets.UnitSystem) string {
	if m.Field == nil {
		return m.Unit
	}
	return m.Field.Sign(u)
}

func measurementOf(quantity string) (measured, bool) {
	for _, m := range measurements {
		if m.Quantity == quantity {
			return m, true
		}
	}
	return measured{}, false
}

func (p *formPage) findingFields(all assets.FindingKinds, reg *assets.Register, c assets.Conveyor, fd assets.Finding, target string) {
	f := p.Form
	grade := ""
	if fd.Grade != nil {
		grade = plainInt(int64(*fd.Grade))
	}
	p.section("Where and when",
		f.Select("target", "At", target, targetOptions(reg, c)).Must(),
		f.At("found_at", "Found", fd.FoundAt).Must())
	kinds, offered := []Option{{Label: "choose one"}}, all.Offered()
	for _, k := range offered {
		kinds = append(kinds, Option{Value: k.Name, Label: k.Name})
	}
	if fd.Category != "" && !slices.ContainsFunc(offered, func(k assets.FindingKind) bool { return k.Name == fd.Category }) {
		kinds = append(kinds, Option{Value: fd.Category, Label: fd.Category})
	}
	p.section("What was seen",
		f.Select("category", "Kind of finding", fd.Category, kinds).Must(),
		f.Select("grade", "Grade", grade, gradesOf(all.Of(fd.Category).Words)).Hinted("Grade 3 and 4 end in an order or in a signed refusal"),
		f.Area("text", "In words", fd.Text).OverBoth())
	p.measureFields(fd)
	running := ""
	if fd.Running != nil {
		running = pick(*fd.Running, "running", "stopped")
	}
	p.section("", f.Radio("running", "The belt was", running, []Option{{Value: "running", Label: "running"}, {Value: "stopped", Label: "stopped"}, {Label: "not noted"}}))
}

func (p *formPage) measureFields(fd assets.Finding) {
	f, value := p.Form, ""
	options := []Option{{Label: "nothing"}}
	var units []string
	for _, m := range measurements {
		sign := m.sign(f.Plain.Units)
		options = append(options, Option{Value: m.Quantity, Label: m.Quantity + ", " + sign})
		units = append(units, m.Quantity+" in "+sign)
		if fd.Measurement != nil && fd.Quantity == m.Quantity {
			value = plainNumber(*fd.Measurement)
			if m.Field != nil {
				value = m.Field.Entry(*fd.Measurement, "", f.Plain.Units)
			}
		}
	}
	p.section("What was measured",
		f.Select("quantity", "Measured", fd.Quantity, options),
		f.Number("measurement", "Value", value, "").Hinted(Capital(List(units))))
}

// gradesByKind says of each kind what its grades mean: before the kind is chosen the choice of grades can only name the usual words.
func gradesByKind(all assets.FindingKinds) []fact {
	var out []fact
	for _, k := range all.Offered() {
		var says []string
		for g := range assets.GradeWords {
			says = append(says, plainInt(int64(g))+" "+k.Words(g))
		}
		out = append(out, fact{Capital(k.Name), strings.Join(says, "; ")})
	}
	return out
}

// targetOptions are what may be looked at on a conveyor: its running splices, its belt, its take-up, itself.
func targetOptions(reg *assets.Register, c assets.Conveyor) []Option {
	var out []Option
	b, on := reg.BeltOn(c.ID, 0)
	if on {
		for _, sp := range reg.SplicesOf(b.ID) {
			if sp.Ended == nil {
				out = append(out, Option{Value: "splice " + plainInt(sp.ID), Label: "splice " + sp.Number})
			}
		}
		out = append(out, Option{Value: "belt", Label: "belt"}, Option{Value: "take-up", Label: "take-up"})
	}
	return append(out, Option{Value: "conveyor", Label: "conveyor as a whole"})
}

// finding reads the fields of a finding.
func (e *entry) finding(fd *assets.Finding, reg *assets.Register, c assets.Conveyor) {
	e.findingTarget(fd, reg, c)
	fd.FoundAt = e.moment("found_at")
	if e.must("found_at", "the time at which it was found"); fd.FoundAt > assets.InstantOf(e.r.Now) {
		e.bad.Add("found_at", "this lies in the future; give the time at which it was found")
	}
	fd.FoundDay = assets.DayOf(e.r.F.Local(fd.FoundAt))
	fd.Category, fd.Text = e.must("category", "the kind of finding"), e.text("text")
	fd.Grade = nil
	if e.text("grade") != "" {
		g := e.whole("grade", 0, 4)
		fd.Grade = &g
	}
	e.measure(fd)
	fd.Running = nil
	if run := oneOf(e, "running", "say whether the belt was running or stopped, or leave it as not noted", "", "running", "stopped"); run != "" {
		is := run == "running"
		fd.Running = &is
	}
	if fd.Grade == nil && fd.Measurement == nil && fd.Text == "" {
		e.bad.Add("text", "say what was found: a grade, a measurement or a few words")
	}
	if fd.Category == assets.OtherKind && fd.Text == "" {
		e.bad.Add("text", "say in a few words what was found")
	}
}

func (e *entry) findingTarget(fd *assets.Finding, reg *assets.Register, c assets.Conveyor) {
	fd.PlantID, fd.ConveyorID, fd.BeltID, fd.SpliceID, fd.Target = c.PlantID, c.ID, 0, 0, ""
	b, on := reg.BeltOn(c.ID, 0)
	target := e.text("target")
	switch {
	case target == "conveyor":
	case on && (target == "belt" || target == "take-up"):
		fd.BeltID, fd.Target = b.ID, target
	case on && strings.HasPrefix(target, "splice "):
		sp, ok := reg.Splice(numberOf(strings.TrimPrefix(target, "splice ")))
		if ok && sp.ConveyorID == c.ID {
			fd.BeltID, fd.SpliceID, fd.Target = sp.BeltID, sp.ID, spliceMark(sp)
			return
		}
		e.bad.Add("target", "this splice is not in the belt of "+c.Tag+"; choose one from the list")
	default:
		e.bad.Add("target", "choose where it was found from the list")
	}
}

func (e *entry) measure(fd *assets.Finding) {
	fd.Quantity, fd.Measurement, fd.MeasurementUnit = e.text("quantity"), nil, ""
	typed := e.text("measurement")
	if fd.Quantity == "" {
		if typed != "" {
			e.bad.Add("quantity", "say what was measured")
		}
		return
	}
	m, known := measurementOf(fd.Quantity)
	switch {
	case !known:
		e.bad.Add("quantity", "choose what was measured from the list")
		return
	case typed == "":
		e.bad.Add("measurement", "give the value measured, or choose 'nothing' above")
		return
	case m.Field != nil:
		fd.Measurement = e.optional("measurement", *m.Field)
	default:
		v := e.number("measurement")
		fd.Measurement = &v
	}
	if fd.Measurement != nil && *fd.Measurement < 0 {
		e.bad.Add("measurement", "what is measured here cannot be below 0")
	}
	if m.Unit == "Shore A" && fd.Measurement != nil && *fd.Measurement > 100 {
		e.bad.Add("measurement", "Shore A runs from 0 to 100")
	}
	fd.MeasurementUnit = m.Unit
}

// newFinding records a finding.
func (s *Site) newFinding(r *Request) error {
	c, err := s.conveyorAsked(r)
	if err != nil {
		return err
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	past, err := s.Fleets.Past(r.Context(), r.Scope, r.PlantID(), c.ID)
	if err != nil {
		return err
	}
	all, err := r.kinds()
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Record the finding", Leave: r.At("conveyors", c.ID), Links: r.findingsBefore(past.Findings)}
		p.Sheet, p.Say = "Finding at "+c.Tag, "Say what was found at "+c.Tag
		p.Cautions = []string{"Look at a running belt from outside the guards only. To touch or measure, the belt stands still and is isolated by the site's own rules."}
		p.FactsOf, p.Facts = "What each grade means", gradesByKind(all)
		f.Hidden("client_id", token())
		target := "conveyor"
		if id := numberOf(r.Query("splice")); id != 0 {
			target = "splice " + plainInt(id)
		}
		p.findingFields(all, reg, c, assets.Finding{FoundAt: r.thisMinute()}, target)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		fd := assets.Finding{FoundByID: r.Who.Person.ID, ClientID: r.onceAsTyped(e.text("client_id"))}
		e.finding(&fd, reg, c)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		again, err := s.Registers.AddFinding(r.Context(), r.Scope, r.act("record a finding at "+c.Tag, ""), &fd)
		return r.At("conveyors", c.ID), findingNotice(c.Tag, fd, again), err
	})
}

// onceAsTyped is the client number of what is typed in a form of this number: sent twice it is one finding, but gone
// back to, changed and sent again it is another, which is not to be lost.
func (r *Request) onceAsTyped(form string) string {
	if form == "" {
		return ""
	}
	sum := sha256.Sum256([]byte(form + "\x00" + r.C.Request.PostForm.Encode()))
	return hex.EncodeToString(sum[:12])
}

// findingsListed is how many earlier findings stand beside the form.
const findingsListed = 12

// findingsBefore names the newest findings of a conveyor, each with the address on which it is corrected.
func (r *Request) findingsBefore(all []assets.Finding) []Link {
	var out []Link
	for i, fd := range all {
		if i == findingsListed {
			break
		}
		l := Link{Word: r.findingWords(fd)}
		l.To, _ = r.Link("findings/:finding/correct", fd.ID)
		out = append(out, l)
	}
	return out
}

// findingWords says a finding in a line: "Tue 24 Nov 2026, S2: opening along the seam, grade 3, splice gap 3.4 mm".
func (r *Request) findingWords(fd assets.Finding) string {
	say := r.F.Date(fd.FoundAt)
	if fd.Target != "" {
		say += ", " + fd.Target
	}
	say += ": " + fd.Category
	if fd.Grade != nil {
		say += ", grade " + plainInt(int64(*fd.Grade))
	}
	if fd.Measurement != nil {
		say += ", " + fd.Quantity + " " + r.F.measurement(fd)
	}
	return say
}

func findingNotice(tag string, fd assets.Finding, again bool) string {
	say := "Finding at " + tag + " recorded."
	if again {
		say = "This finding at " + tag + " was recorded already; nothing was added."
	}
	if fd.Grade != nil && *fd.Grade == 4 {
		say += " Nobody has been told by this: stop and act now, and call whom the site's rules name."
	}
	if fd.Grade != nil && *fd.Grade >= 3 {
		say += fmt.Sprintf(" Grade %d ends in an order or in a signed refusal.", *fd.Grade)
	}
	return say
}

// correctFinding corrects a finding: the wrong splice, a slip in the value.
func (s *Site) correctFinding(r *Request) error {
	fd, err := s.findingAsked(r)
	if err != nil {
		return err
	}
	c, err := s.Registers.Conveyor(r.Context(), r.Scope, fd.ConveyorID)
	if err != nil {
		return err
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	all, err := r.kinds()
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the correction", Leave: r.At("conveyors", c.ID)}
		p.Sheet, p.Say = "Finding at "+c.Tag, "Correct the finding of "+r.F.Date(fd.FoundAt)+" at "+c.Tag
		p.Says = []string{"A correction says that it was so from the start. What was held before stays in the records, with who corrected it and why."}
		f.version(fd.Version)
		p.findingFields(all, reg, c, fd, targetOf(fd))
		p.reason(true, "What was wrong, and how it is known now")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := fd
		next.RowID = e.rowID()
		if e.text("target") == targetOf(fd) { // a splice that has ended since is still what was looked at
			kept := next
			e.finding(&next, reg, c)
			next.BeltID, next.SpliceID, next.Target = kept.BeltID, kept.SpliceID, kept.Target
			delete(e.bad, "target")
		} else {
			e.finding(&next, reg, c)
		}
		e.reason()
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Registers.CorrectFinding(r.Context(), r.Scope, r.act("correct a finding at "+c.Tag, e.text("reason")), &next)
		return r.At("conveyors", c.ID), "Finding at " + c.Tag + " corrected.", err
	})
}

// targetOf is the choice that stands for what a finding is about.
func targetOf(fd assets.Finding) string {
	switch {
	case fd.SpliceID != 0:
		return "splice " + plainInt(fd.SpliceID)
	case fd.BeltID != 0 && fd.Target == "take-up":
		return "take-up"
	case fd.BeltID != 0:
		return "belt"
	}
	return "conveyor"
}

// refuseFollowUp signs that a finding of grade 3 or 4 gets no order, and why.
func (s *Site) refuseFollowUp(r *Request) error {
	fd, err := s.findingAsked(r)
	if err != nil {
		return err
	}
	c, err := s.Registers.Conveyor(r.Context(), r.Scope, fd.ConveyorID)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Sign the refusal", Leave: r.At("conveyors", c.ID), Facts: r.findingFacts(fd), FactsOf: "The finding"}
		p.Sheet, p.Say = "Finding at "+c.Tag, "Say why this finding gets no order"
		r.Offer(&p.Page, "Correct the finding", "findings/:finding/correct", false, fd.ID)
		p.Says = []string{"The refusal is signed as " + r.Who.Person.Name + " and stays with the finding."}
		f.version(fd.Version)
		p.reason(true, "Who judged it, on what ground, and until when that holds")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		why := e.must("reason", "the reason: it is signed with your name")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Registers.RefuseFollowUp(r.Context(), r.Scope, r.act("refuse a follow-up at "+c.Tag, why), r.PlantID(), fd.ID, e.rowID(), why)
		return r.At("conveyors", c.ID), "Refusal signed as " + r.Who.Person.Name + ".", err
	})
}

func (r *Request) findingFacts(fd assets.Finding) []fact {
	facts := []fact{{"Found", r.F.Stamp(fd.FoundAt)}, {"Kind", fd.Category}, {"In words", orNotKnown(fd.Text)}}
	if fd.Grade != nil {
		facts = append(facts, fact{"Grade", r.graded(fd)})
	}
	if fd.Measurement != nil {
		facts = append(facts, fact{Capital(fd.Quantity), r.F.measurement(fd)})
	}
	return facts
}

// measurement writes what was measured at a finding in the plant's unit.
func (f Format) measurement(fd assets.Finding) string {
	if fd.Measurement == nil {
		return ""
	}
	if m, ok := measurementOf(fd.Quantity); ok && m.Field != nil {
		return m.Field.Show(*fd.Measurement, f.Units)
	}
	if fd.MeasurementUnit == "m" {
		return f.length(*fd.Measurement)
	}
	return With(Short(*fd.Measurement, 2), fd.MeasurementUnit)
}

// findingAnywhere asks at which conveyor something was found and goes on to its form.
func (s *Site) findingAnywhere(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Go on", Leave: r.At()}
		p.Sheet, p.Say = "Finding", "Say at which conveyor it was found"
		p.section("", f.ConveyorTag("conveyor", "Conveyor", "choose one", "", reg).Must())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		c, ok := reg.ConveyorByTag(e.must("conveyor", "the conveyor's tag"))
		if !ok {
			return "", "", assets.Invalid{"conveyor": "there is no such conveyor in this plant; give its tag as it stands on it"}
		}
		return r.At("conveyors", c.ID, "finding"), "", nil
	})
}
