package workorder

import (
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

// Action is what a person does to an order.
type Action string

// Actions. Each is a row of Steps.
const (
	ToAccept   Action = "accept"
	ToPlace    Action = "place"
	ToTakeOut  Action = "take out" // out of its stop window again, still accepted
	ToStart    Action = "start"
	ToFinish   Action = "done"
	ToSign     Action = "sign"
	ToWithdraw Action = "withdraw"
	ToPutOff   Action = "put off" // moves the latest date, not the state
	ToWait     Action = "wait"    // says which order it waits for; its state stays
)

// Step is one row of the transition table.
type Step struct {
	Action Action
	From   []State
	To     State       // "": the state stays
	Deed   people.Deed // what the person must be allowed to do
	Needs  []string    // values the step demands, by field name
	What   string      // what the event is called
}

// Steps is the transition table; the drawing stands in the package's comment.
var Steps = []Step{
	{ToAccept, []State{Raised}, Accepted, people.PlanOrders, nil, "accepted"},
	{ToPlace, []State{Accepted, Placed}, Placed, people.PlanOrders, []string{"window or where", "people"}, "placed"},
	{ToTakeOut, []State{Placed}, Accepted, people.PlanOrders, []string{"why"}, "taken out"},
	{ToStart, []State{Placed}, Started, people.DoJob, []string{"at"}, "started"},
	{ToFinish, []State{Started}, Done, people.DoJob, []string{"at", "hours"}, "done"},
	{ToSign, []State{Done}, Signed, people.SignJob, []string{"name", "at"}, "signed"},
	{ToWithdraw, []State{Raised, Accepted, Placed, Started}, Withdrawn, people.PlanOrders, []string{"why", "in error or holds until"}, "withdrawn"},
	{ToPutOff, []State{Raised, Accepted, Placed, Started}, "", people.PlanOrders, []string{"name", "why", "latest day"}, "put off"},
	{ToWait, []State{Raised, Accepted, Placed}, "", people.PlanOrders, nil, "changed"},
}

// StepOf returns the row of an action.
func StepOf(a Action) (Step, bool) {
	for _, s := range Steps {
		if s.Action == a {
			return s, true
		}
	}
	return Step{}, false
}

// Actor is who takes a step, with the roles their grants give at the order's plant.
type Actor struct {
	PersonID int64
	Roles    []assets.Role
}

// may tells whether any role allows a deed.
func (a Actor) may(d people.Deed) bool {
	return slices.ContainsFunc(a.Roles, func(r assets.Role) bool { return people.May(r, d) })
}

// Possible lists the steps an actor may take with an order as it stands, in the order of the table: what
// the order page offers as buttons.
func Possible(o Order, by Actor) []Action {
	var out []Action
	for _, s := range Steps {
		if slices.Contains(s.From, o.State) && by.may(s.Deed) {
			out = append(out, s.Action)
		}
	}
	return out
}

// begin checks that the step exists from the order's state, that the actor may take it and that it is not
// said to have been in the future.
func begin(o Order, a Action, by Actor, at, now time.Time) (Step, assets.Invalid, error) {
	s, ok := StepOf(a)
	if !ok {
		return s, nil, assets.Invalid{"": fmt.Sprintf("there is no step %q of a work order", a)}
	}
	if !by.may(s.Deed) {
		return s, nil, fmt.Errorf("%s order %d: %w: this takes a role that may %s", a, o.Number, assets.ErrForbidden, s.Deed)
	}
	if !slices.Contains(s.From, o.State) {
		return s, nil, assets.Invalid{"": refusal(o, s)}
	}
	wrong := assets.Invalid{}
	if by.PersonID == 0 {
		wrong.Add("name", "say who does this: a step of a work order needs a person's name")
	}
	if at.IsZero() {
		wrong.Add("at", "say when this was")
	}
	if at.After(now) {
		wrong.Add("at", "this lies in the future; give the time at which it was done")
	}
	if o.RaisedAt != 0 && !at.IsZero() && at.Before(o.RaisedAt.Time().AddDate(-1, 0, 0)) {
		wrong.Add("at", "this lies more than a year before the order was raised; check the year")
	}
	return s, wrong, nil
}

// refusal says why a step cannot be taken from the state the order is in.
func refusal(o Order, s Step) string {
	verb := map[Action]string{
		ToAccept: "accepted", ToPlace: "placed in a stop", ToTakeOut: "taken out of a stop", ToStart: "started",
		ToFinish: "reported done", ToSign: "signed", ToWithdraw: "withdrawn", ToPutOff: "put off", ToWait: "made to wait for another",
	}[s.Action]
	return fmt.Sprintf("order %d is %s; only an order that is %s can be %s", o.Number, o.State, anyOf(s.From), verb)
}

// anyOf joins states as one reads them: "raised, accepted or placed".
func anyOf(states []State) string {
	out := ""
	for i, s := range states {
		switch {
		case i == 0:
		case i == len(states)-1:
			out += " or "
		default:
			out += ", "
		}
		out += string(s)
	}
	return out
}

// Overdue tells whether an open order's latest date has passed on a plant date. It is computed, not kept.
func Overdue(o Order, today assets.Day) bool {
	return o.State.Open() && o.LatestDay != "" && today > o.LatestDay
}

// OverdueDays returns by how many days an open order is past its latest date; 0 when it is not.
func OverdueDays(o Order, today assets.Day) int {
	if !Overdue(o, today) {
		return 0
	}
	latest, err := time.Parse(time.DateOnly, string(o.LatestDay))
	if err != nil {
		return 0
	}
	day, err := time.Parse(time.DateOnly, string(today))
	if err != nil {
		return 0
	}
	return int(day.Sub(latest) / (24 * time.Hour))
}

// Missing lists in words what an open order still lacks before it can be started; nil: nothing.
func Missing(o Order) []string {
	if !o.State.Open() || o.State == Started {
		return nil
	}
	var out []string
	if o.State == Raised {
		out = append(out, "not accepted")
	}
	if o.State != Placed {
		out = append(out, "no stop")
	}
	if o.State == Placed && len(o.PlacedPeople) < o.Crew {
		out = append(out, fmt.Sprintf("%d of %d people", len(o.PlacedPeople), o.Crew))
	}
	return out
}
