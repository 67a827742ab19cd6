package web

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/window"
)

// newStop adds a stop.
func (s *Site) newStop(r *Request) error {
	w := assets.StopWindow{PlantID: r.PlantID(), LineID: numberOf(r.Query("line"))}
	return s.stopForm(r, w)
}

// editStop changes a stop.
func (s *Site) editStop(r *Request) error {
	w, err := s.stopAsked(r)
	if err != nil {
		return err
	}
	return s.stopForm(r, w)
}

// stopAsked reads the stop an address names; a withdrawn one is not there any more. One of a recurring stop that has no
// row is named by a number below nought.
func (s *Site) stopAsked(r *Request) (assets.StopWindow, error) {
	text := r.C.Param("stop")
	if occurrence, ok := strings.CutPrefix(text, "0-"); ok {
		text = "-" + occurrence
	}
	id, err := strconv.ParseInt(text, 10, 64)
	if err != nil || id == 0 {
		return assets.StopWindow{}, fmt.Errorf("stop %q: %w", r.C.Param("stop"), assets.ErrNotFound)
	}
	w, err := s.StopBook.StopOf(r.Context(), r.Scope, id)
	if err == nil && w.Withdrawn {
		err = assets.ErrNotFound
	}
	return w, r.ofPlant(w.PlantID, err)
}

func (s *Site) stopForm(r *Request, w assets.StopWindow) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	owner, err := s.Owners.Owner(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(w.ID == 0, "Add the stop", "Keep the change"), Leave: r.At("stops")}
		p.Sheet, p.Say = "Stop", "Say what stands still, from when to when"
		p.Says = []string{"A stop gives time, it isolates nothing: whoever works at the belt isolates it by the site's own rules.",
			"Work is placed only in stops that the plant has agreed. An asked one waits for its answer."}
		if w.ID != 0 {
			if err := s.stopAsItStands(r, p, w); err != nil {
				return nil, err
			}
		}
		f.version(w.Version)
		p.section("", f.stopLine(reg, w.LineID), f.stopConveyors(reg, w.ConveyorIDs),
			f.At("start", "From", w.Start).Must(), f.At("end", "To", w.End).Must(),
			f.Radio("keep", "If the clocks change inside it, keep", pick(w.ID == 0, "", "clock"), []Option{{Value: "clock", Label: "both clock times"}, {Value: "length", Label: "the length"}}).OverBoth(),
			f.Text("note", "Name or note", w.Note).Hinted("What it is for").OverBoth())
		p.section("What the plant said", f.answerFields(w.ID == 0, w.Answer, owner)...)
		if w.ID != 0 {
			p.reason(false, "Why it changes: it stands with the change, for whoever had planned on the stop as it was")
		}
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := w
		next.RowID = e.rowID()
		e.stop(&next, reg)
		e.stopAnswer(&next.Answer)
		why := ""
		if w.ID != 0 {
			why = e.text("reason")
		}
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if err := s.sameStop(r, next); err != nil {
			return "", "", err
		}
		err := s.StopBook.SaveStop(r.Context(), r.Scope, r.act(pick(w.ID == 0, "add a stop", "change a stop"), why), &next)
		if err != nil {
			return "", "", err
		}
		outside, err := s.outsideWords(r, next)
		return r.At("stops"), "Stop of " + r.F.Stamp(next.Start) + " kept: " + stopLength(next) + ", " + string(next.Answer.Given()) + "." + outside, err
	})
}

// outsideWords says which work a stop was moved away from; "" when none.
func (s *Site) outsideWords(r *Request, w assets.StopWindow) (string, error) {
	open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
	var orders []string
	for _, o := range open {
		if o.WindowID == w.ID && outside(o, w) {
			orders = append(orders, fmt.Sprint(o.Number))
		}
	}
	if len(orders) == 0 {
		return "", err
	}
	return " " + pick(len(orders) == 1, "Order ", "Orders ") + List(orders) + pick(len(orders) == 1, " keeps its hours", " keep their hours") + " of before, outside it: the horizon sets them inside.", err
}

// stopAsItStands tells beside the form what the stop is now and how it came to be so.
func (s *Site) stopAsItStands(r *Request, p *formPage, w assets.StopWindow) error {
	p.Say = "Change the stop of " + r.F.Stamp(w.Start)
	p.Facts, p.FactsOf = []fact{{"From", r.F.Stamp(w.Start)}, {"To", r.F.Stamp(w.End)}, {"Length", stopLength(w)}, {"Answer", string(w.Answer.Given())}}, "As it stands"
	if words := r.clockWords(w); words != "" {
		p.Facts = append(p.Facts, fact{"Clock change", words})
	}
	if w.Source.RecurrenceID != 0 {
		p.Says = append([]string{"It is one of a recurring stop. What is changed here holds for this one only."}, p.Says...)
	}
	if w.Source.CalendarUID != "" {
		p.Says = append(p.Says, "It was read from a calendar file; the next file with the same event compares itself with what stands here.")
	}
	if w.ID > 0 {
		past, err := s.StopBook.StopPast(r.Context(), r.Scope, r.PlantID(), w.ID, time.Unix(0, 0))
		if err != nil {
			return err
		}
		for _, c := range past {
			p.Says = append(p.Says, r.F.Stamp(c.At)+": "+r.whatMoved(c)+pick(c.By == "", "", ", by "+c.By)+pick(c.Reason == "", "", " ("+c.Reason+")")+".")
		}
	}
	r.Offer(&p.Page, "Window package", "stops/:stop/package", false, w.ID)
	r.Offer(&p.Page, "What the plant answered", "stops/:stop/answer", false, w.ID)
	r.Offer(&p.Page, "Withdraw it", "stops/:stop/withdraw", false, w.ID)
	return nil
}

// stopLine chooses the line that stands still.
func (f *Form) stopLine(reg *assets.Register, line int64) *Field {
	return f.Select("line_id", "Line", plainInt(line), append([]Option{{Value: "0", Label: "the whole plant"}}, lineOptions(reg, "")[1:]...))
}

// stopConveyors names single conveyors by their tags.
func (f *Form) stopConveyors(reg *assets.Register, conveyors []int64) *Field {
	return f.Text("conveyors", "Only these conveyors", strings.Join(stopTags(reg, conveyors), ", ")).Hinted("Tags such as Q3, Q4; empty: all of the line")
}

// answerFields ask what the plant said: nothing yet, yes or no, who and why.
func (f *Form) answerFields(fresh bool, a assets.StopAnswer, owner *Owner) []*Field {
	word := string(a.Given())
	if fresh {
		word = string(assets.AnswerAsked)
	}
	contacts := []Option{{Label: "whoever enters this here"}}
	for _, c := range owner.Contacts {
		contacts = append(contacts, Option{Value: plainInt(c.ID), Label: strings.TrimSuffix(owner.People[c.PersonID]+", "+c.Duty, ", ")})
	}
	contact := ""
	if a.ContactID != 0 {
		contact = plainInt(a.ContactID)
	}
	return []*Field{
		f.Radio("answer", "The plant", word, []Option{{Value: "asked", Label: "is asked"}, {Value: "agreed", Label: "has agreed"}, {Value: "refused", Label: "has refused"}}).OverBoth(),
		f.Select("answered_by", "Answered by", contact, contacts),
		f.Text("answer_why", "In their words", a.Why).Hinted("Why, or on which condition"),
	}
}

// stopAnswer reads what the plant said. Who answered and when is kept anew when the answer changes.
func (e *entry) stopAnswer(a *assets.StopAnswer) {
	word := oneOf(e, "answer", "say whether the stop is asked, agreed or refused", assets.Answers...)
	e.offered("answered_by", "choose who answered from the list")
	next := assets.StopAnswer{Word: word, ContactID: e.id("answered_by"), Why: e.text("answer_why")}
	if word == a.Given() && a.Word != "" && next.ContactID == a.ContactID && next.Why == a.Why {
		return
	}
	if word == assets.AnswerRefused && next.Why == "" {
		e.bad.Add("answer_why", "say why the plant refused: the next asker will want to know")
	}
	if word != assets.AnswerAsked {
		next.At = assets.InstantOf(e.r.Now)
		if next.ContactID == 0 {
			next.ByID = e.r.Who.Person.ID
		}
	}
	*a = next
}

// sameStop refuses a stop that is there already: the same line at the same hours.
func (s *Site) sameStop(r *Request, w assets.StopWindow) error {
	all, err := s.StopBook.Stops(r.Context(), r.Scope, r.PlantID(), w.Start.Time())
	if err != nil {
		return err
	}
	for _, o := range all.Windows {
		if o.ID != w.ID && o.LineID == w.LineID && o.Start == w.Start && o.End == w.End && slices.Equal(o.ConveyorIDs, w.ConveyorIDs) {
			return assets.Invalid{"start": "this stop is kept already, from " + r.F.Stamp(o.Start) + " to " + r.F.Stamp(o.End) + "; change that one instead"}
		}
	}
	return nil
}

// standstill reads what stands still: a line, the whole plant, or some conveyors of either.
func (e *entry) standstill(reg *assets.Register) (line int64, conveyors []int64) {
	line = e.id("line_id")
	if _, ok := reg.Line(line); !ok && line != 0 {
		e.bad.Add("line_id", "choose one of the plant's lines, or the whole plant")
	}
	return line, e.conveyorTags("conveyors", reg, line)
}

// conveyorTags reads tags of a plant's conveyors, of one line where line is not 0.
func (e *entry) conveyorTags(name string, reg *assets.Register, line int64) (conveyors []int64) {
	for _, tag := range strings.FieldsFunc(e.text(name), func(c rune) bool { return c == ',' || c == ';' }) {
		if strings.TrimSpace(tag) == "" {
			continue
		}
		i := slices.IndexFunc(reg.Conveyors, func(c assets.Conveyor) bool {
			return c.TagKey == assets.TagKey(tag) && c.Status != assets.ConveyorRetired
		})
		switch {
		case i < 0:
			e.bad.Add(name, fmt.Sprintf("the plant has no conveyor %q; write tags with commas between them", strings.TrimSpace(tag)))
		case line != 0 && reg.Conveyors[i].LineID != line:
			e.bad.Add(name, reg.Conveyors[i].Tag+" stands on another line; leave the line to the whole plant")
		case !slices.Contains(conveyors, reg.Conveyors[i].ID):
			conveyors = append(conveyors, reg.Conveyors[i].ID)
		}
	}
	slices.SortFunc(conveyors, cmp.Compare[int64])
	return conveyors
}

// stop reads the fields of a stop. Over a clock change its length is not what the clock times say: which of
// the two is meant is asked, never guessed.
func (e *entry) stop(w *assets.StopWindow, reg *assets.Register) {
	w.LineID, w.ConveyorIDs = e.standstill(reg)
	e.must("start", "the time at which the line stops")
	e.must("end", "the time at which it has to run again")
	w.Start, w.End, w.Note = e.moment("start"), e.moment("end"), e.text("note")
	switch {
	case w.Start == 0 || w.End == 0:
		return
	case w.End <= w.Start:
		e.bad.Add("end", "the stop ends after it begins")
		return
	case stopHours(*w) > 24*window.Longest:
		e.bad.Add("end", fmt.Sprintf("a stop of more than %d days is no stop; check the dates", window.Longest))
		return
	}
	if words := e.r.clockWords(*w); words != "" {
		switch e.text("keep") {
		case "clock":
		case "length":
			w.End = assets.InstantOf(w.Start.Time().Add(time.Duration(e.r.wallHours(*w) * float64(time.Hour))))
		default:
			e.bad.Add("keep", words+"; say whether the clock times or the length count")
		}
	}
	z := calendar.ZoneOf(e.r.F.zone())
	w.StartLocal, w.EndLocal = z.Local(w.Start.Time()).String(), z.Local(w.End.Time()).String()
}

// answerStop keeps what the plant answered to a stop.
func (s *Site) answerStop(r *Request) error {
	w, err := s.stopAsked(r)
	if err != nil {
		return err
	}
	owner, err := s.Owners.Owner(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Keep the answer", Leave: r.At("stops")}
		p.Sheet, p.Say = "Stop", "What did the plant answer to the stop of "+r.F.Stamp(w.Start)+"?"
		p.Facts, p.FactsOf = []fact{{"Stands still", stopWhere(reg, w)}, {"From", r.F.Stamp(w.Start)}, {"To", r.F.Stamp(w.End)}, {"Length", stopLength(w)}, {"Answer now", string(w.Answer.Given())}}, "The stop asked for"
		f.version(w.Version)
		p.section("", f.answerFields(false, w.Answer, owner)...)
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := w
		next.RowID = e.rowID()
		e.stopAnswer(&next.Answer)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.StopBook.SaveStop(r.Context(), r.Scope, r.act("answer to a stop: "+string(next.Answer.Given()), next.Answer.Why), &next)
		return r.At("stops"), "The stop of " + r.F.Stamp(w.Start) + " is " + string(next.Answer.Given()) + ".", err
	})
}

// withdrawStop withdraws a stop.
func (s *Site) withdrawStop(r *Request) error {
	w, err := s.stopAsked(r)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Withdraw it", Leave: r.At("stops")}
		p.Sheet, p.Say = "Stop", "Withdraw the stop of "+r.F.Stamp(w.Start)+"?"
		p.Says = []string{"Only a stop in which no work is placed can be withdrawn: take the work out first. It stays in the records."}
		if w.Source.RecurrenceID != 0 {
			p.Says = append(p.Says, "Only this one goes; the others of the recurring stop stay.")
		}
		f.version(w.Version)
		p.reason(true, "Who needs the line, and since when that is known")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		why := e.must("reason", "the reason: it is kept with the stop")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.StopBook.WithdrawStop(r.Context(), r.Scope, r.act("withdraw a stop", why), r.PlantID(), w.ID, e.rowID(), why)
		return r.At("stops"), "The stop of " + r.F.Stamp(w.Start) + " is withdrawn.", err
	})
}
