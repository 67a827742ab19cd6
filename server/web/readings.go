package web

import (
	"context"
	"fmt"
	"strings"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/clock"
	"carryside/schedule/people"
)

// Meters is what the pages of hour meters need.
type Meters interface {
	// PlantMeters returns the newest accepted reading and the meter stretches of every conveyor of a plant.
	PlantMeters(ctx context.Context, scope assets.Scope, plantID int64) (last map[int64]assets.Reading, meters map[int64][]assets.Meter, err error)
	// MetersOf returns the stretches of a conveyor's meter in order of time.
	MetersOf(ctx context.Context, scope assets.Scope, conveyorID int64) ([]assets.Meter, error)
	// LastReadings returns a conveyor's newest accepted readings, newest first.
	LastReadings(ctx context.Context, scope assets.Scope, conveyorID int64, limit int) ([]assets.Reading, error)
	// ReadingsBetween returns a conveyor's accepted readings in [from, to), in order of time.
	ReadingsBetween(ctx context.Context, scope assets.Scope, conveyorID int64, from, to assets.Instant) ([]assets.Reading, error)
	// WaitingReadings returns a plant's held readings that wait for a person, oldest first.
	WaitingReadings(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.HeldReading, error)
	// HeldOf returns a conveyor's held readings, decided ones too, newest first.
	HeldOf(ctx context.Context, scope assets.Scope, conveyorID int64) ([]assets.HeldReading, error)
	HeldReading(ctx context.Context, scope assets.Scope, id int64) (assets.HeldReading, error)
	// LeftOutBy returns the accepted readings that would be left out if a held one was decided to be right.
	LeftOutBy(ctx context.Context, scope assets.Scope, heldID int64) ([]assets.Reading, error)
	// DecidedReadings returns a page of a plant's held readings that were decided, the newest decision first, and how
	// many there are in all.
	DecidedReadings(ctx context.Context, scope assets.Scope, plantID int64, offset, limit int) ([]assets.HeldReading, int, error)
	// NamesOf returns the names of people by number.
	NamesOf(ctx context.Context, ids []int64) (map[int64]string, error)

	// EnterReadings takes readings in one change and says what became of each, in their order.
	EnterReadings(ctx context.Context, scope assets.Scope, act Act, plantID int64, readings []ReadingEntered) ([]ReadingOutcome, error)
	DecideReading(ctx context.Context, scope assets.Scope, act Act, plantID, heldID int64, d ReadingDecision) error
	// CorrectReading gives an accepted reading another value; nil leaves it out.
	CorrectReading(ctx context.Context, scope assets.Scope, act Act, plantID, conveyorID int64, at assets.Instant, shownH *float64) error
	// DeclareStretch declares a replaced meter or a counter that rolled over.
	DeclareStretch(ctx context.Context, scope assets.Scope, act Act, m *assets.Meter) error
	// CorrectStretch corrects a declared one.
	CorrectStretch(ctx context.Context, scope assets.Scope, act Act, m *assets.Meter) error
	// CancelStretch takes back one that never was.
	CancelStretch(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64) error
}

// ReadingEntered is a reading as somebody enters it.
type ReadingEntered struct {
	ConveyorID int64
	At         assets.Instant
	ShownH     float64
	Remark     string
}

// ReadingOutcome is what became of a reading; HeldID is not 0 where it waits for a person.
type ReadingOutcome struct {
	Class  clock.Class
	HeldID int64
}

// Decisions about a held reading.
const (
	readingRight      = "accepted"
	readingReplaced   = "replaced"
	readingRolledOver = "rolled_over"
	readingLeftOut    = "left_out"
)

// ReadingDecision is a person's answer to a held reading. From and what follows describe the replacement or
// the rollover; From 0 puts it just after the reading before.
type ReadingDecision struct {
	What, Why      string
	From           assets.Instant
	PreviousFinalH *float64
	StartH         float64
	RollsOverAtH   float64
	SerialNumber   string
}

// readingsPage answers: how old are the running hours, which reading contradicts the others, and what does
// the meter show today?
type readingsPage struct {
	Page
	Form   *Form
	When   *Field
	Held   []heldLine
	Groups []meterGroup
	Enter  bool
	Past   string // address of what was decided
	Pager  Pager
}

type heldLine struct{ Tag, To, Shown, At, Question, From, Decide string }

type meterGroup struct {
	Name string
	Rows []meterLine
}

type meterLine struct {
	Tag, Name, To, Shown, At, Running, Since string
	Entry                                    *Field // nil: may not enter
}

// readings lists the hour meters of a plant and takes a round of readings.
func (s *Site) readings(r *Request) error {
	p, reg, err := s.readingsPage(r)
	if err != nil || !r.Posted() {
		if err != nil {
			return err
		}
		return r.Show("readings", p)
	}
	e := r.entry(p.Form)
	entered := e.round(reg)
	if err := e.Err(); p.Form.Refused(err) {
		return r.Refill("readings", p)
	}
	out, err := s.Meters.EnterReadings(r.Context(), r.Scope, r.act("enter readings", ""), r.PlantID(), entered)
	if err = r.inPlantTime(err); p.Form.Refused(err) {
		return r.Refill("readings", p)
	} else if err != nil {
		return err
	}
	return r.Done(r.At("readings"), readingsNotice(out))
}

// round reads what was typed beside each meter.
func (e *entry) round(reg *assets.Register) []ReadingEntered {
	at := e.readAt("at")
	var out []ReadingEntered
	for _, c := range reg.Conveyors {
		name := "h" + plainInt(c.ID)
		if e.text(name) == "" {
			continue
		}
		out = append(out, ReadingEntered{ConveyorID: c.ID, At: at, ShownH: e.notBelowNought(name, "what the meter shows", unit.RunningHours)})
	}
	if len(out) == 0 {
		e.bad.Add("", "type what at least one meter shows")
	}
	return out
}

// readAt reads the time at which a meter was read.
func (e *entry) readAt(name string) assets.Instant {
	e.must(name, "the time at which the meter was read")
	at := e.moment(name)
	if at > assets.InstantOf(e.r.Now) {
		e.bad.Add(name, "this lies in the future; give the time at which the meter was read")
	}
	return at
}

// readingsNotice says what became of readings: nothing is dropped without a word.
func readingsNotice(out []ReadingOutcome) string {
	kept, held, again := 0, 0, 0
	for _, o := range out {
		switch {
		case o.HeldID != 0:
			held++
		case o.Class == clock.Duplicate:
			again++
		default:
			kept++
		}
	}
	var say []string
	if kept > 0 {
		say = append(say, Capital(Count(kept, "reading", "readings"))+" kept.")
	}
	if again > 0 {
		say = append(say, Capital(Count(again, "reading was", "readings were"))+" there already.")
	}
	if held > 0 {
		say = append(say, Capital(Count(held, "reading contradicts what was read before and waits", "readings contradict what was read before and wait"))+" for a decision below.")
	}
	return strings.Join(say, " ")
}

func (s *Site) readingsPage(r *Request) (*readingsPage, *assets.Register, error) {
	reg, err := s.register(r)
	if err != nil {
		return nil, nil, err
	}
	last, meters, err := s.Meters.PlantMeters(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return nil, nil, err
	}
	held, err := s.Meters.WaitingReadings(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return nil, nil, err
	}
	p := &readingsPage{Form: r.NewForm(), Enter: r.May(people.EnterReading)}
	p.Sheet, p.Say, p.Sub = "Readings", readingsSay(len(held), reg, last), "Hours as the meters show them; running hours count on over replaced meters and rollovers."
	p.Past, _ = r.Link("held")
	p.When = p.Form.At("at", "Read at", r.thisMinute()).Must()
	for _, h := range held {
		c, ok := reg.Conveyor(h.ConveyorID)
		if !ok { // out of use: the register of now has it no more
			if c, err = s.Registers.Conveyor(r.Context(), r.Scope, h.ConveyorID); err != nil {
				return nil, nil, err
			}
		}
		question, err := s.questionOf(r, h, meters[h.ConveyorID], len(p.Held))
		if err != nil {
			return nil, nil, err
		}
		p.Held = append(p.Held, r.heldLine(c, h, question))
	}
	var inUse []assets.Conveyor
	for _, c := range reg.Conveyors {
		if c.Status != assets.ConveyorRetired {
			inUse = append(inUse, c)
		}
	}
	inUse, p.Pager = pageOf(inUse, r.C.Request.URL)
	p.Groups = r.meterGroups(reg, inUse, last, meters, p)
	return p, reg, nil
}

func (r *Request) heldLine(c assets.Conveyor, h assets.HeldReading, question string) heldLine {
	l := heldLine{Tag: c.Tag, To: r.At("conveyors", h.ConveyorID, "readings"), Shown: With(Short(h.ShownH, 1), "h"), At: r.F.Stamp(h.At), Question: Capital(question), From: h.Origin}
	if r.May(people.DecideReading) {
		l.Decide = r.At("held", h.ID)
	}
	return l
}

func (r *Request) meterGroups(reg *assets.Register, shown []assets.Conveyor, last map[int64]assets.Reading, meters map[int64][]assets.Meter, p *readingsPage) []meterGroup {
	var groups []meterGroup
	line := int64(-1)
	for _, c := range shown {
		if c.LineID != line {
			name := reg.LineName(c)
			if name == "" {
				name = "No line named"
			}
			groups, line = append(groups, meterGroup{Name: name}), c.LineID
		}
		g := &groups[len(groups)-1]
		g.Rows = append(g.Rows, r.meterLine(c, last, meters[c.ID], p))
	}
	return groups
}

func (r *Request) meterLine(c assets.Conveyor, last map[int64]assets.Reading, meters []assets.Meter, p *readingsPage) meterLine {
	l := meterLine{Tag: c.Tag, Name: c.Name, To: r.At("conveyors", c.ID, "readings"), Shown: "none yet", Since: "first meter"}
	if rd, ok := last[c.ID]; ok {
		l.Shown, l.At = Num(rd.ShownH, 1), r.F.Stamp(rd.At)
		l.Running = Hours(rd.ShownH + offsetAt(meters, rd.At))
	}
	if n := len(meters); n > 0 && meters[n-1].Why != assets.MeterFirst {
		l.Since = meterWords(meters[n-1].Why) + " " + r.F.Date(meters[n-1].FromAt)
	}
	if p.Enter {
		l.Entry = p.Form.Number("h"+plainInt(c.ID), "What the meter of "+c.Tag+" shows, h", "", "h")
	}
	return l
}

// offsetAt is what the meter stretch in force at an instant adds to what the meter shows.
func offsetAt(meters []assets.Meter, at assets.Instant) float64 {
	offset := 0.0
	for _, m := range meters {
		if m.FromAt <= at {
			offset = m.OffsetH
		}
	}
	return offset
}

func meterWords(w assets.MeterWhy) string {
	switch w {
	case assets.MeterReplaced:
		return "replaced"
	case assets.MeterRolledOver:
		return "rolled over"
	}
	return "first meter"
}

// readingsSay is the headline: what waits, else how old the hours are.
func readingsSay(held int, reg *assets.Register, last map[int64]assets.Reading) string {
	in, missing := 0, 0
	for _, c := range reg.Conveyors {
		if c.Status == assets.ConveyorRetired {
			continue
		}
		in++
		if _, ok := last[c.ID]; !ok {
			missing++
		}
	}
	switch {
	case held > 0:
		return Capital(Count(held, "reading waits", "readings wait")) + " for a decision and " + pick(held == 1, "is", "are") + " not used until then"
	case in == 0:
		return "No conveyor has a meter yet"
	case missing > 0:
		return fmt.Sprintf("%s of %s %s no reading: their splices age by planned hours or by days alone", Capital(Int(int64(missing))), Figure(in, "conveyor", "conveyors"), pick(missing == 1, "has", "have"))
	}
	return "Every meter has been read and no reading waits"
}

// newReading enters a reading of one conveyor's meter.
func (s *Site) newReading(r *Request) error {
	c, err := s.conveyorAsked(r)
	if err != nil {
		return err
	}
	last, err := s.Meters.LastReadings(r.Context(), r.Scope, c.ID, 3)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the reading", Leave: r.At("conveyors", c.ID), FactsOf: "Read last"}
		p.Sheet, p.Say = "Reading of "+c.Tag, "Enter what the hour meter of "+c.Tag+" shows"
		p.Says = []string{"A reading that contradicts the others is held and asked about; it is neither used nor dropped."}
		for _, rd := range last {
			p.Facts = append(p.Facts, fact{r.F.Stamp(rd.At), With(Num(rd.ShownH, 1), "h")})
		}
		p.section("", f.Number("shown_h", "The meter shows", "", "h").Must(), f.At("at", "Read at", r.thisMinute()).Must(), f.Text("remark", "Remark", "").OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		e.must("shown_h", "the hours as the meter shows them")
		rd := ReadingEntered{ConveyorID: c.ID, ShownH: e.notBelowNought("shown_h", "what the meter shows", unit.RunningHours), At: e.readAt("at"), Remark: e.text("remark")}
		if err := e.Err(); err != nil {
			return "", "", err
		}
		out, err := s.Meters.EnterReadings(r.Context(), r.Scope, r.act("enter a reading of "+c.Tag, ""), r.PlantID(), []ReadingEntered{rd})
		if err != nil {
			return "", "", err
		}
		to := r.At("conveyors", c.ID)
		if len(out) == 1 && out[0].HeldID != 0 {
			to = r.At("readings")
		}
		return to, readingsNotice(out), nil
	})
}
