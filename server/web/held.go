package web

import (
	"cmp"
	"errors"
	"fmt"
	"hash/fnv"
	"slices"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/people"
)

// decideHeld answers: this reading contradicts the others; what happened at the meter? A person says so, with
// a reason, and nothing is guessed.
func (s *Site) decideHeld(r *Request) error {
	id, err := r.ID("held")
	if err != nil {
		return err
	}
	h, err := s.Meters.HeldReading(r.Context(), r.Scope, id)
	if err = r.ofPlant(h.PlantID, err); err != nil {
		return err
	}
	c, err := s.Registers.Conveyor(r.Context(), r.Scope, h.ConveyorID)
	if err != nil {
		return err
	}
	if h.Decision != "" {
		return r.Done(r.At("conveyors", c.ID, "readings"), "That reading has been decided already.")
	}
	stretches, err := s.Meters.MetersOf(r.Context(), r.Scope, c.ID)
	if err != nil {
		return err
	}
	accepted, err := s.neighbours(r, h, farSpan)
	if err != nil {
		return err
	}
	leaves, err := s.Meters.LeftOutBy(r.Context(), r.Scope, h.ID)
	if err != nil {
		return err
	}
	near := r.around(h, accepted)
	question := r.F.question(stretches, accepted, h)
	build := func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Decide", Leave: r.At("readings"), Facts: near, FactsOf: "Read before and after"}
		p.Sheet, p.Say = "Held reading of "+c.Tag, Capital(question)
		p.Sub = fmt.Sprintf("%s of %s: %s. It was held because of this: %s.", r.F.Stamp(h.At), c.Tag, With(Num(h.ShownH, 1), "h"), heldAs(h.Class))
		p.heldFields(h)
		p.leavesOut(r.F, leaves)
		return p, nil
	}
	return r.answer(build, func(_ *formPage, e *entry) (string, string, error) {
		d := e.decision(h)
		if d.What == readingRight && e.text("leaves") != leavesKey(leaves) {
			e.bad.Add("what", "what would be left out changed since this page was opened; look at the list again and decide once more")
			e.f.Get("leaves").Value = leavesKey(leaves)
		}
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.Meters.DecideReading(r.Context(), r.Scope, r.act("decide a held reading of "+c.Tag, d.Why), r.PlantID(), h.ID, d)
		if errors.Is(err, assets.ErrConflict) {
			return r.At("conveyors", c.ID, "readings"), "Somebody else decided that reading in the meantime; what was decided stands here.", nil
		}
		return r.At("readings"), "Decided: " + decisionWords(d.What) + ".", err
	})
}

// leavesOut names the accepted readings that go when the held one is right, from old to new: nobody agrees to what he
// cannot see. The list travels with the form, so that a decision is about what was shown.
func (p *formPage) leavesOut(f Format, leaves []assets.Reading) {
	p.Form.Hidden("leaves", leavesKey(leaves))
	p.EffectOf = "If the reading is right, " + pick(len(leaves) == 1, "this accepted one is left out", "these accepted ones are left out")
	sorted := slices.SortedFunc(slices.Values(leaves), func(a, b assets.Reading) int { return cmp.Compare(a.At, b.At) })
	for _, rd := range sorted {
		p.Effects = append(p.Effects, fact{f.Stamp(rd.At), With(Num(rd.ShownH, 1), "h")})
	}
}

// leavesKey says in short which readings a list holds.
func leavesKey(leaves []assets.Reading) string {
	sum := fnv.New64a()
	for _, rd := range leaves {
		fmt.Fprintf(sum, "%d %g\n", rd.At, rd.ShownH)
	}
	return fmt.Sprintf("%d-%x", len(leaves), sum.Sum64())
}

// around lists the accepted readings next to a held one.
func (r *Request) around(h assets.HeldReading, all []assets.Reading) []fact {
	i := 0
	for i < len(all) && all[i].At < h.At {
		i++
	}
	var facts []fact
	for k := max(0, i-3); k < len(all) && k < i+3; k++ {
		if k == i {
			facts = append(facts, fact{r.F.Stamp(h.At), With(Num(h.ShownH, 1), "h") + ", the one asked about"})
		}
		facts = append(facts, fact{r.F.Stamp(all[k].At), With(Num(all[k].ShownH, 1), "h")})
	}
	if i == len(all) {
		facts = append(facts, fact{r.F.Stamp(h.At), With(Num(h.ShownH, 1), "h") + ", the one asked about"})
	}
	return facts
}

func decisionWords(what string) string {
	switch what {
	case readingRight:
		return "the reading is right, what contradicts it is left out"
	case readingReplaced:
		return "the meter was replaced in between"
	case readingRolledOver:
		return "the counter rolled over in between"
	case readingLeftOut:
		return "the reading is wrong and left out"
	}
	return "waiting"
}

var readingDecisions = []string{readingReplaced, readingRolledOver, readingRight, readingLeftOut}

func (p *formPage) heldFields(h assets.HeldReading) {
	f := p.Form
	var options []Option
	for _, d := range readingDecisions {
		options = append(options, Option{Value: d, Label: Capital(decisionWords(d))})
	}
	p.section("What is so", f.Select("what", "Decision", "", append([]Option{{Label: "choose what is so"}}, options...)).Must().OverBoth(),
		f.Area("why", "Reason", "").Must().Hinted("How it is known: it is kept with the reading").OverBoth())
	p.meterFields(assets.Meter{}, true)
}

// meterFields are what is known of a new stretch of meter.
func (p *formPage) meterFields(m assets.Meter, held bool) {
	f := p.Form
	head := "The change of meter"
	if held {
		head = "Only if the meter was replaced or rolled over"
	}
	when := f.At("from", "When it was", m.FromAt)
	if held {
		when.Hinted("Empty: just after the reading before")
	}
	p.section(head, when,
		f.Optional("previous_final_h", "The old meter showed last", unit.RunningHours, m.PreviousFinalH, nil).Hinted("Empty: its last reading counts"),
		f.Number("start_h", "The new meter showed when fitted", plainNumber(m.StartH), "h").Hinted("Empty: 0"),
		f.Number("rolls_over_at_h", "The counter starts again at", plainNumber(m.RollsOverAtH), "h").Hinted("Only for a rollover, e.g. 10000"),
		f.Text("serial_number", "Number of the meter", m.SerialNumber))
}

func (e *entry) decision(h assets.HeldReading) ReadingDecision {
	d := ReadingDecision{What: oneOf(e, "what", "choose what is so: the meter was replaced, it rolled over, the reading is right, or it is wrong", readingDecisions...),
		Why: e.must("why", "the reason for the decision; it is kept with the reading")}
	if d.What != readingReplaced && d.What != readingRolledOver {
		return d
	}
	m := e.meter()
	d.From, d.PreviousFinalH, d.StartH, d.RollsOverAtH, d.SerialNumber = m.FromAt, m.PreviousFinalH, m.StartH, m.RollsOverAtH, m.SerialNumber
	if d.From > h.At {
		e.bad.Add("from", "the change of meter lies before the reading it explains")
	}
	e.rollover(d.What == readingRolledOver, d.RollsOverAtH)
	return d
}

// meter reads meterFields.
func (e *entry) meter() assets.Meter {
	return assets.Meter{FromAt: e.moment("from"), PreviousFinalH: e.optional("previous_final_h", unit.RunningHours),
		StartH: e.notBelowNought("start_h", "what a meter shows", unit.RunningHours), RollsOverAtH: e.notBelowNought("rolls_over_at_h", "the range of a counter", unit.RunningHours),
		SerialNumber: e.text("serial_number")}
}

func (e *entry) rollover(is bool, rangeH float64) {
	if is && rangeH <= 0 {
		e.bad.Add("rolls_over_at_h", "give the hours at which the counter starts again from zero, as in 10000")
	}
}

// meterPage answers: what does the meter of this conveyor show over time, which meters were there, and who
// decided what about held readings?
type meterPage struct {
	Page
	Stretches []stretchLine
	Readings  []readingLine
	Held      []heldLine
	Decided   []decidedLine
}

type stretchLine struct{ From, Why, Final, Start, Offset, Serial, To string }

type readingLine struct{ At, Shown, Running, Remark, To string }

type decidedLine struct{ At, Shown, Question, Decided, Why, By string }

// readingsShown is how many readings the page of a meter lists.
const readingsShown = 60

func (s *Site) conveyorReadings(r *Request) error {
	c, err := s.conveyorAsked(r)
	if err != nil {
		return err
	}
	meters, err := s.Meters.MetersOf(r.Context(), r.Scope, c.ID)
	if err != nil {
		return err
	}
	last, err := s.Meters.LastReadings(r.Context(), r.Scope, c.ID, readingsShown)
	if err != nil {
		return err
	}
	p := &meterPage{}
	p.Sheet, p.Say = "Readings of "+c.Tag, meterSay(r.F, c.Tag, meters, last)
	p.Sub = "The newest " + Int(readingsShown) + " accepted readings. A corrected reading keeps what was held before in the records."
	r.Offer(&p.Page, "Replace the meter", "conveyors/:conveyor/meter", false, c.ID)
	r.Offer(&p.Page, "Enter a reading", "conveyors/:conveyor/reading", true, c.ID)
	for _, m := range meters {
		p.Stretches = append(p.Stretches, r.stretchLine(m))
	}
	for _, rd := range last {
		l := readingLine{At: r.F.Stamp(rd.At), Shown: Num(rd.ShownH, 1), Running: Num(rd.ShownH+offsetAt(meters, rd.At), 1)}
		if rd.Remark != nil {
			l.Remark = *rd.Remark
		}
		if r.May(people.EditRegister) {
			l.To = r.At("conveyors", c.ID, "readings", int64(rd.At))
		}
		p.Readings = append(p.Readings, l)
	}
	if err := s.heldHistory(r, p, c, meters); err != nil {
		return err
	}
	return r.Show("meter", p)
}

func (s *Site) heldHistory(r *Request, p *meterPage, c assets.Conveyor, stretches []assets.Meter) error {
	held, err := s.Meters.HeldOf(r.Context(), r.Scope, c.ID)
	if err != nil {
		return err
	}
	var ids []int64
	for _, h := range held {
		ids = append(ids, h.DecidedBy)
	}
	names, err := s.Meters.NamesOf(r.Context(), ids)
	if err != nil {
		return err
	}
	for _, h := range held {
		l := r.decidedLine(h, names)
		if h.Decision == "" {
			if r.May(people.DecideReading) {
				question, err := s.questionOf(r, h, stretches, len(p.Held))
				if err != nil {
					return err
				}
				p.Held = append(p.Held, heldLine{At: l.At, Shown: l.Shown, Question: Capital(question), Decide: r.At("held", h.ID)})
			}
			continue
		}
		p.Decided = append(p.Decided, l)
	}
	return nil
}

func (r *Request) stretchLine(m assets.Meter) stretchLine {
	l := stretchLine{From: r.F.Stamp(m.FromAt), Why: Capital(meterWords(m.Why)), Start: Num(m.StartH, 1), Offset: Num(m.OffsetH, 1), Serial: m.SerialNumber}
	if m.Why == assets.MeterFirst {
		l.From = "the beginning"
	} else if r.May(people.EditRegister) {
		l.To = r.At("conveyors", m.ConveyorID, "meter", m.ID)
	}
	switch {
	case m.Why == assets.MeterRolledOver:
		l.Final = "at " + Num(m.RollsOverAtH, 0)
	case m.PreviousFinalH != nil:
		l.Final = Num(*m.PreviousFinalH, 1)
	}
	return l
}

func meterSay(f Format, tag string, meters []assets.Meter, last []assets.Reading) string {
	if len(last) == 0 {
		return "The meter of " + tag + " has not been read yet"
	}
	rd := last[0]
	return fmt.Sprintf("%s had run %s when its meter was read on %s", tag, With(Hours(rd.ShownH+offsetAt(meters, rd.At)), "h"), f.Date(rd.At))
}
