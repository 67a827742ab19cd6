package workorder

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

// Raise checks an order that a person raises and returns it raised, with its event. An order of a rule is
// made by schedule/rules, not here. today is the plant's date.
func Raise(o Order, by Actor, at, now time.Time, today assets.Day) (Order, Event, error) {
	if !by.may(people.PlanOrders) && !(o.FindingID != 0 && by.may(people.RecordFinding)) {
		return o, Event{}, fmt.Errorf("raise an order: %w: this takes a role that may %s", assets.ErrForbidden, people.PlanOrders)
	}
	wrong := describe(o)
	if by.PersonID == 0 {
		wrong.Add("name", "say who raises this order")
	}
	if at.IsZero() || at.After(now) {
		wrong.Add("at", "give the time at which this was raised; it cannot lie in the future")
	}
	if o.LatestDay != "" && o.LatestDay < today {
		wrong.Add("latest_day", "the latest date has passed already; give "+string(today)+" or a later one")
	}
	if err := wrong.Err(); err != nil {
		return o, Event{}, err
	}
	o.State, o.RaisedAt, o.RaisedBy, o.Title = Raised, assets.InstantOf(at), by.PersonID, strings.TrimSpace(o.Title)
	return o, NewEvent("raised", Order{}, o, by.PersonID, at, now), nil
}

// Change corrects what an open order says of its work: kind, title, expected hours, crew. Its state and its
// latest date have steps of their own.
func Change(before, wanted Order, by Actor, now time.Time) (Order, Event, error) {
	if !by.may(people.PlanOrders) {
		return before, Event{}, fmt.Errorf("change order %d: %w: this takes a role that may %s", before.Number, assets.ErrForbidden, people.PlanOrders)
	}
	if !before.State.Open() {
		return before, Event{}, assets.Invalid{"": fmt.Sprintf("order %d is %s and no longer changed", before.Number, before.State)}
	}
	after := before
	after.Kind, after.Title, after.WorkHours, after.Crew = wanted.Kind, strings.TrimSpace(wanted.Title), wanted.WorkHours, wanted.Crew
	if err := describe(after).Err(); err != nil {
		return before, Event{}, err
	}
	return after, NewEvent("changed", before, after, by.PersonID, now, now), nil
}

// describe checks what an order says of itself.
func describe(o Order) assets.Invalid {
	wrong := assets.Invalid{}
	if o.PlantID == 0 {
		wrong.Add("plant", "say at which plant")
	}
	if !slices.Contains(Kinds, o.Kind) {
		wrong.Add("kind", "choose what the order is for: "+kindsInWords())
	}
	if strings.TrimSpace(o.Title) == "" {
		wrong.Add("title", "say in a few words what is to be done")
	}
	if !(o.WorkHours >= 0) || o.WorkHours > 24*60 {
		wrong.Add("work_hours", "give the expected hours of work as a number from 0 to 1440")
	}
	if o.Crew < 0 || o.Crew > 100 {
		wrong.Add("crew", "give the number of people as a whole number from 0 to 100")
	}
	if o.LatestDay != "" {
		checkDay(wrong, "latest_day", o.LatestDay)
	}
	return wrong
}

func kindsInWords() string {
	words := make([]string, len(Kinds))
	for i, k := range Kinds {
		words[i] = string(k)
	}
	return strings.Join(words, ", ")
}
