package workorder

import (
	"fmt"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

// Emergency is an order for a splice that had failed and was remade at once, recorded after the work: it stands as done and waits for its
// signature. Nobody accepted it and no stop was planned for it; its events say so. now is the time of entry.
func Emergency(o Order, by Actor, at, now time.Time, hours float64) (raised, done Order, event Event, err error) {
	if !by.may(people.EmergencySplice) {
		return o, o, Event{}, fmt.Errorf("record an emergency splice: %w: this takes a role that may %s", assets.ErrForbidden, people.EmergencySplice)
	}
	wrong := describe(o)
	if at.IsZero() || at.After(now) {
		wrong.Add("at", "give the time at which it was done; it cannot lie in the future")
	}
	if !(hours >= 0) || hours > 1000 {
		wrong.Add("hours", "give the hours of work as a number from 0 on")
	}
	if err := wrong.Err(); err != nil {
		return o, o, Event{}, err
	}
	raised = o
	raised.State, raised.RaisedAt, raised.RaisedBy, raised.Title = Raised, assets.InstantOf(at), by.PersonID, strings.TrimSpace(o.Title)
	done = raised
	done.State, done.StartedAt, done.StartedBy, done.DoneAt, done.DoneBy, done.DoneHours = Done, assets.InstantOf(at), by.PersonID, assets.InstantOf(at), by.PersonID, hours
	event = NewEvent("done", raised, done, by.PersonID, at, now)
	event.Why = "recorded as an emergency splice, without a stop planned for it"
	return raised, done, event, nil
}
