package web

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/unit"
	"carryside/schedule/workorder"
)

// stepWords is what each step's form says: the button, and what the step means.
var stepWords = map[workorder.Action][2]string{
	workorder.ToAccept:   {"Accept it", "Approved to be done; it still needs a stop."},
	workorder.ToPlace:    {"Place it in a stop", "In a stop of its line with people, or where no stop is needed."},
	workorder.ToTakeOut:  {"Take it out of its stop", "It stays accepted and has no stop any more."},
	workorder.ToStart:    {"Work has started", "When work began at the conveyor. Isolation is settled there, by the site's own rules."},
	workorder.ToFinish:   {"Work is done", "When it was finished, not when it is entered here."},
	workorder.ToSign:     {"Sign it", "Your name under the record of the work. It never says that a conveyor is safe to run."},
	workorder.ToWithdraw: {"Withdraw it", "No work is done. Say why, and until when that holds."},
	workorder.ToPutOff:   {"Move its latest date", "Past the latest date that stands, it needs your name and a reason; both stay with the order."},
	workorder.ToWait:     {"Let it wait for another order", "Its work begins after the work of that order has ended; a plan holds to it."},
}

// stepForms are the forms of the steps that whoever asks may take; the one of posted holds what was sent.
func (s *Site) stepForms(r *Request, file *OrderFile, v fleetView, posted workorder.Action, wrong error) ([]stepForm, error) {
	var forms []stepForm
	next := nextStep(file.Order.State)
	for _, a := range workorder.Possible(file.Order, r.actor()) {
		f := NewForm(nil)
		if a == posted {
			f = r.NewForm()
		}
		f.Plain = r.F
		step := stepForm{Action: a, Word: stepWords[a][0], Says: stepWords[a][1], Form: f, Main: a == next, Open: a == posted}
		if a == workorder.ToPlace && file.Order.State == workorder.Placed {
			step.Word = "Move it to another stop"
		}
		if err := s.stepFields(r, f, a, file, v); err != nil {
			return nil, err
		}
		if a == posted {
			f.Refused(wrong)
		}
		forms = append(forms, step)
	}
	return forms, nil
}

// nextStep is the step of the usual life of an order: its form stands open.
func nextStep(s workorder.State) workorder.Action {
	for _, step := range workorder.Steps {
		if len(step.From) > 0 && step.From[0] == s && step.To != "" && step.To != workorder.Withdrawn && step.Action != workorder.ToTakeOut {
			return step.Action
		}
	}
	return ""
}

// stepFields adds the fields a step asks for.
func (s *Site) stepFields(r *Request, f *Form, a workorder.Action, file *OrderFile, v fleetView) error {
	o := file.Order
	now := assets.InstantOf(r.Now)
	f.prefix = string(a) + "-"
	switch a {
	case workorder.ToPlace:
		return s.placeFields(r, f, o, v)
	case workorder.ToTakeOut:
		f.Area("why", "Reason", "").Must().OverBoth()
	case workorder.ToStart:
		f.At("at", "Started", now).Must()
	case workorder.ToFinish:
		f.At("at", "Finished", now).Must()
		f.Number("hours", "Hours of work in the stop", plainNumber(o.WorkHours), "h").Must()
		f.Area("note", "What was done", "").OverBoth()
		if old, ok := v.Register.Splice(o.SpliceID); ok && remakes(o) {
			return s.respliceFields(r, f, old)
		}
	case workorder.ToSign:
		f.At("at", "Looked at", now).Must()
		return s.signFields(r, f, o)
	case workorder.ToWithdraw:
		f.Area("why", "Reason", "").Must().OverBoth()
		f.Tick("in_error", "Raised in error: the rule may raise it again at once", false).OverBoth()
		f.Date("holds_until", "Else it holds until", "").Hinted("Until then the rule raises nothing for this")
	case workorder.ToPutOff:
		f.Date("latest_day", "New latest date", string(o.LatestDay)).Must()
		f.Area("why", "Reason", "").OverBoth()
	case workorder.ToWait:
		return s.waitFields(r, f, o, v)
	}
	return nil
}

// waitFields offer the plant's other open orders.
func (s *Site) waitFields(r *Request, f *Form, o workorder.Order, v fleetView) error {
	open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	after, wait := o.WaitsFor()
	options := []Option{{Label: "none: it waits for no other"}}
	for _, x := range open {
		if x.ID == o.ID {
			continue
		}
		c, _ := v.Register.Conveyor(x.ConveyorID)
		options = append(options, Option{Value: plainInt(x.ID), Label: orderShort(x) + pick(c.Tag == "", "", " on "+c.Tag)})
	}
	chosen, hours := "", ""
	if after != 0 {
		chosen, hours = plainInt(after), plainNumber(wait.Hours())
	}
	f.Select("after", "After the work of", chosen, options).OverBoth()
	f.Number("hours", "and so long after it", hours, "h").Hinted("Cooling, curing, a run-in; empty for none")
	return nil
}

// remakes tells whether reporting an order done ends a splice and makes its successor.
func remakes(o workorder.Order) bool { return o.Kind == workorder.KindResplice && o.SpliceID != 0 }

func (s *Site) placeFields(r *Request, f *Form, o workorder.Order, v fleetView) error {
	windows, err := s.Days.Windows(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	c, _ := v.Register.Conveyor(o.ConveyorID)
	options := []Option{{Label: "no stop needed: say where below"}}
	for _, w := range windows {
		if !w.Stops(c) {
			continue
		}
		options = append(options, Option{Value: plainInt(w.ID), Label: r.F.Stamp(w.Start) + ", " + Duration(w.End.Time().Sub(w.Start.Time()).Hours())})
	}
	chosen := ""
	if o.WindowID != 0 {
		chosen = plainInt(o.WindowID)
	}
	stop := f.Select("window", "Stop", chosen, options).OverBoth()
	if o.LatestDay != "" && o.LatestDay < r.F.Today() {
		stop.Hinted("Every stop lies after its latest date: move that first, with a reason")
	}
	f.Text("where", "Or done in", "").Hinted("Without a stop, e.g. the round of 8 Dec")
	f.Date("where_day", "on", "").Hinted("Only without a stop")
	crew, err := s.Orders.Crew(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	var people []Option
	for _, p := range crew {
		people = append(people, Option{Value: plainInt(p.ID), Label: p.Name, Chosen: slices.Contains(o.PlacedPeople, p.ID)})
	}
	f.Ticks("people", "People", people).OverBoth()
	f.Text("kit", "Kit", o.PlacedKit).Hinted("Press, templates, blades, in words").OverBoth()
	return nil
}

// respliceFields ask what closing a re-splice books: how the old splice ended, what the new one is, and by
// how much the loop is shorter.
func (s *Site) respliceFields(r *Request, f *Form, old assets.Splice) error {
	why := []assets.RetiredWhy{assets.RetiredPlanned, assets.RetiredFailed}
	f.Select("retired_why", "The old splice", string(assets.RetiredPlanned), choices("", why, assets.RetiredWhy.Words)).Must()
	f.Text("failure_mode", "How it failed", "").Hinted("Only where it failed, in the words of the trade")
	f.Select("form", "New splice: form", string(old.Form), choices("not known", assets.Forms, formWords))
	f.Select("bond", "New splice: bond", string(old.Bond), choices("not known", assets.Bonds, bondWords))
	f.Optional("position_m", "New splice: from the zero mark", unit.Distance, old.PositionM, old.AsTyped)
	f.Quantity("finger_length_m", "Finger length", unit.Finger, old.FingerLengthM, old.AsTyped)
	f.Quantity("finger_pitch_m", "Finger width at the root", unit.Finger, old.FingerPitchM, old.AsTyped)
	f.Quantity("step_length_m", "Length of one step", unit.Step, old.StepLengthM, old.AsTyped)
	f.Number("steps", "Steps", plainWhole(old.Steps), "")
	f.Number("bias_angle_deg", "Bias, from square across", plainNumber(old.BiasAngleDeg), "°")
	f.Quantity("shortening_m", "Loop shorter by", unit.Travel, 0, nil).Must().Hinted("What was cut out and taken by the overlap; 0 when nothing")
	f.Optional("take_up_m", "Take-up travel used now", unit.Travel, nil, nil).Hinted("From its new-belt end; empty when not measured")
	crew, err := s.Orders.Crew(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	options := []Option{{Label: "not named"}}
	for _, p := range crew {
		options = append(options, Option{Value: plainInt(p.ID), Label: p.Name})
	}
	f.Select("made_by", "Made by", "", options)
	f.Text("made_with", "Made with", "").Hinted("Press, recipe, number of the cycle record").OverBoth()
	return nil
}

// takeStep reads a step's form and takes it.
func (s *Site) takeStep(r *Request, file *OrderFile, a workorder.Action, f *Form) error {
	o, by, e := file.Order, r.actor(), r.entry(f)
	at := r.Now
	if f.Get("at") != nil {
		at = e.moment("at").Time()
	}
	step, err := s.stepOf(r, e, a, by, at)
	if err != nil {
		return err
	}
	act := r.act(fmt.Sprintf("%s order %d", a, o.Number), f.Value("why"))
	edit, err := strconv.ParseInt(r.C.Request.PostForm.Get("edit"), 10, 64)
	if err != nil {
		return assets.Invalid{"": "open the order again and take the step from its page"}
	}
	if edit != o.EditVersion {
		return assets.ErrConflict
	}
	remade := a == workorder.ToFinish && f.Get("shortening_m") != nil
	var made Resplice
	if remade {
		made = e.resplice(o)
		made.New.Made = assets.Exactly(at, r.F.zone())
	}
	e.alsoWrong(step, o)
	if !remade {
		var counted assets.JobCounted
		if a == workorder.ToSign {
			counted = e.counted()
		}
		if err := e.Err(); err != nil {
			return err
		}
		if a == workorder.ToSign {
			if err := s.ownPIN(r, f); err != nil {
				return err
			}
			return s.Orders.SignCounted(r.Context(), r.Scope, act, r.PlantID(), o.Number, edit, step, counted)
		}
		return s.Orders.Step(r.Context(), r.Scope, act, r.PlantID(), o.Number, edit, step)
	}
	if err := e.Err(); err != nil {
		return err
	}
	return s.Orders.CloseResplice(r.Context(), r.Scope, act, r.PlantID(), o.Number, edit, made, step)
}

// alsoWrong adds what the step itself refuses to what the form does, so that a person mends all of it in one go. A
// field that the form refused keeps its own message: the step saw it empty.
func (e *entry) alsoWrong(step OrderStep, o workorder.Order) {
	var bad assets.Invalid
	if _, _, err := step(o); !asInvalid(err, &bad) {
		return
	}
	for field, message := range bad {
		if e.bad[field] == "" && e.bad[whichName(field)] == "" {
			e.bad.Add(field, message)
		}
	}
}

// stepOf makes the step of an action out of its form.
func (s *Site) stepOf(r *Request, e *entry, a workorder.Action, by workorder.Actor, at time.Time) (OrderStep, error) {
	now, f := r.Now, e.f
	switch a {
	case workorder.ToAccept:
		return func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Accept(o, by, at, now)
		}, nil
	case workorder.ToPlace:
		p, stop, err := s.placement(r, e)
		return func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Place(o, by, at, now, keptPlacing(o, p, stop))
		}, err
	case workorder.ToTakeOut:
		return func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.TakeOut(o, by, at, now, f.Value("why"))
		}, nil
	case workorder.ToStart:
		return func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Start(o, by, at, now)
		}, nil
	case workorder.ToFinish:
		e.must("hours", "the hours of work in the stop; 0 when it took none of it")
		w := workorder.Work{Hours: e.number("hours"), Note: f.Value("note")}
		return func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Finish(o, by, at, now, w)
		}, nil
	case workorder.ToSign:
		return func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Sign(o, by, at, now)
		}, nil
	case workorder.ToWithdraw:
		w := workorder.Withdrawal{Why: f.Value("why"), InError: f.Ticked("in_error"), HoldsUntil: e.day("holds_until")}
		return func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Withdraw(o, by, at, now, r.F.Today(), w)
		}, nil
	case workorder.ToPutOff:
		day := e.day("latest_day")
		return func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.PutOff(o, by, at, now, day, f.Value("why"))
		}, nil
	case workorder.ToWait:
		open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
		e.offered("after", "choose an open order from the list")
		after, minutes := e.id("after"), int64(math.Round(e.number("hours")*60))
		return func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Wait(o, by, at, now, after, minutes, open)
		}, err
	}
	return nil, assets.Invalid{"": "choose one of the steps the order page offers"}
}

// placement reads where an order is placed, with its stop; one that is not the plant's, or has passed, is none.
func (s *Site) placement(r *Request, e *entry) (workorder.Placement, assets.StopWindow, error) {
	p := workorder.Placement{Where: e.text("where"), Kit: e.text("kit")}
	e.offered("people", "choose people from the list")
	for _, text := range e.f.Values("people") {
		if id := numberOf(text); id != 0 {
			p.People = append(p.People, id)
		}
	}
	id := e.id("window")
	if id == 0 {
		p.WindowDay = e.day("where_day")
		return p, assets.StopWindow{}, nil
	}
	windows, err := s.Days.Windows(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return p, assets.StopWindow{}, err
	}
	for _, w := range windows {
		if w.ID == id {
			p.WindowID, p.WindowDay = id, assets.DayOf(r.F.Local(w.End))
			return p, w, nil
		}
	}
	e.bad.Add("window", "that stop has passed, was withdrawn or is not agreed; choose one from the list")
	return p, assets.StopWindow{}, nil
}

// keptPlacing keeps of how a plan placed an order what its form does not ask and nobody changed: in the same stop its start, as long as the stop
// still holds it, who works as what where the people stay, and the pieces of kit where its words stay. Without their numbers a press would count as free.
func keptPlacing(o workorder.Order, p workorder.Placement, stop assets.StopWindow) workorder.Placement {
	if o.State != workorder.Placed || p.WindowID == 0 || p.WindowID != o.WindowID {
		return p
	}
	if at := o.PlacedStart; at != nil && *at >= stop.Start && *at < stop.End {
		p.Start = *at
	}
	if samePeople(p.People, o.PlacedCrew) {
		p.Crew = o.PlacedCrew
	}
	if p.Kit == o.PlacedKit {
		p.Tools = o.PlacedTools
	}
	return p
}

// mostShorterM is the most by which a re-splice may shorten a loop, m: far above any length that is cut out. Our own
// choice.
const mostShorterM = 100

// resplice reads what closing a re-splice books.
func (e *entry) resplice(o workorder.Order) Resplice {
	e.offered("made_by", "choose who made it from the list")
	made := Resplice{OldSpliceID: o.SpliceID, FailureMode: e.text("failure_mode"), MadeByID: e.id("made_by"), MadeWithWords: e.text("made_with")}
	made.RetiredWhy = oneOf(e, "retired_why", "say whether the old splice had failed or was replaced sound", assets.RetiredPlanned, assets.RetiredFailed)
	if made.RetiredWhy == assets.RetiredFailed && made.FailureMode == "" {
		e.bad.Add("failure_mode", "say how it failed; 'not seen' is an answer too")
	}
	made.New = assets.Splice{PlantID: o.PlantID, ConveyorID: o.ConveyorID, BeltID: o.BeltID, PositionM: e.optional("position_m", unit.Distance)}
	made.New.Form = oneOf(e, "form", "choose a form from the list", append([]assets.Form{""}, assets.Forms...)...)
	made.New.Bond = oneOf(e, "bond", "choose a bond from the list", append([]assets.Bond{""}, assets.Bonds...)...)
	made.New.FingerLengthM = e.notBelowNought("finger_length_m", "the length", unit.Finger)
	made.New.FingerPitchM = e.notBelowNought("finger_pitch_m", "the width", unit.Finger)
	made.New.StepLengthM = e.notBelowNought("step_length_m", "the length", unit.Step)
	made.New.Steps, made.New.BiasAngleDeg = e.whole("steps", 0, 20), e.number("bias_angle_deg")
	e.must("shortening_m", "by how much the loop is shorter; 0 when nothing was cut out")
	if made.LoopShorterM = e.notBelowNought("shortening_m", "the length", unit.Travel); made.LoopShorterM > mostShorterM {
		e.bad.Add("shortening_m", "no splice makes a loop so much shorter; check the number and its unit")
	}
	made.TakeUpNowM = e.optional("take_up_m", unit.Travel)
	made.New.AsTyped = e.typed
	return made
}

// fieldWords are the fields of an order whose change is told, in words; states, times and people have columns.
var fieldWords = map[string]string{
	"Title": "title", "Kind": "kind", "LatestDay": "latest date", "WorkHours": "hours expected", "Crew": "people needed",
	"PlacedKit": "kit", "DoneHours": "hours of work", "DoneNote": "note", "HoldsUntil": "holds until", "WindowID": "stop",
}

// changedWords tells what a step changed: "latest date 13 Dec 2026 to 20 Dec 2026".
func (r *Request) changedWords(e workorder.Event) string {
	var before, after map[string]any
	if json.Unmarshal([]byte(e.Before), &before) != nil && json.Unmarshal([]byte(e.After), &after) != nil {
		return ""
	}
	_ = json.Unmarshal([]byte(e.After), &after) // what cannot be read is not told; the journal keeps it
	names := make([]string, 0, len(after))
	for name := range after {
		if fieldWords[name] != "" && name != "WindowID" {
			names = append(names, name)
		}
	}
	sort.Strings(names)
	for i, name := range names {
		was, is := r.valueWords(before[name]), r.valueWords(after[name])
		names[i] = fieldWords[name] + " " + pick(was == "", is, was+" to "+is)
	}
	return strings.Join(names, "; ")
}

func (r *Request) valueWords(v any) string {
	switch x := v.(type) {
	case string:
		return r.F.PlainDay(assets.Day(x))
	case float64:
		if x == 0 {
			return ""
		}
		return Short(x, 2)
	}
	return ""
}
