package workorder

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
)

// Accept approves a raised order to be done.
func Accept(o Order, by Actor, at, now time.Time) (Order, Event, error) {
	s, wrong, err := begin(o, ToAccept, by, at, now)
	if err != nil {
		return o, Event{}, err
	}
	after := o
	after.AcceptedAt, after.AcceptedBy = assets.InstantOf(at), by.PersonID
	return finish(o, after, s, by, at, now, "", wrong)
}

// Placement is where an order is placed: in a stop window, or where no stop is needed in what is done
// anyway ("the round of 8 Dec").
type Placement struct {
	WindowID  int64
	WindowDay assets.Day // plant date on which the window ends, or the day of Where
	Where     string     // in words, when no window is needed
	People    []int64
	Kit       string
	Start     assets.Instant     // when its work begins; 0: not said
	Crew      []assets.CrewPlace // who works as what; empty: not said
	Tools     []int64            // kit by number
}

// Place puts an accepted order into a stop window with people and kit, or moves it to another one.
//
// A window after the latest date is refused: the order is put off first, with a name and a reason.
func Place(o Order, by Actor, at, now time.Time, p Placement) (Order, Event, error) {
	s, wrong, err := begin(o, ToPlace, by, at, now)
	if err != nil {
		return o, Event{}, err
	}
	where := strings.TrimSpace(p.Where)
	if p.WindowID == 0 && where == "" {
		wrong.Add("window", "choose a stop window, or say in what this is done when it needs no stop")
	}
	if p.WindowDay == "" {
		wrong.Add("window", "say on which day this is placed")
	}
	if o.LatestDay != "" && p.WindowDay > o.LatestDay {
		wrong.Add("window", "this stop ends on "+string(p.WindowDay)+", after the latest date "+string(o.LatestDay)+"; put the order off first, with a reason")
	}
	if len(p.People) == 0 {
		wrong.Add("people", "name at least one person who does the work")
	}
	after := o
	after.WindowID, after.PlacedPeople, after.PlacedKit = p.WindowID, slices.Clone(p.People), strings.TrimSpace(p.Kit)
	after.PlacedStart, after.PlacedCrew, after.PlacedTools = nil, slices.Clone(p.Crew), slices.Clone(p.Tools)
	if p.Start != 0 {
		after.PlacedStart = &p.Start
	}
	after.PlacedAt, after.PlacedBy = assets.InstantOf(at), by.PersonID
	return finish(o, after, s, by, at, now, where, wrong)
}

// TakeOut takes a placed order out of its stop window: it is accepted again and has no stop.
func TakeOut(o Order, by Actor, at, now time.Time, why string) (Order, Event, error) {
	s, wrong, err := begin(o, ToTakeOut, by, at, now)
	if err != nil {
		return o, Event{}, err
	}
	needReason(wrong, why, "say why the order leaves its stop")
	after := o
	after.WindowID, after.PlacedPeople, after.PlacedKit, after.PlacedAt, after.PlacedBy = 0, nil, "", 0, 0
	after.PlacedStart, after.PlacedCrew, after.PlacedTools, after.Locked = nil, nil, nil, nil
	return finish(o, after, s, by, at, now, why, wrong)
}

// Hold locks a placed order where it stands, so that a plan leaves it there, or lets it go again. It is no step of an order's
// life: its state stays.
func Hold(o Order, by Actor, at, now time.Time, locked bool) (Order, Event, error) {
	if !by.may(people.PlanOrders) {
		return o, Event{}, fmt.Errorf("lock order %d: %w: this takes a role that may %s", o.Number, assets.ErrForbidden, people.PlanOrders)
	}
	if o.State != Placed {
		return o, Event{}, assets.Invalid{"": "only an order that is placed in a stop can be locked there"}
	}
	after, what := o, "let go"
	if after.Locked = nil; locked {
		after.Locked, what = &locked, "locked"
	}
	return after, NewEvent(what, o, after, by.PersonID, at, now), nil
}

// mostWait is the longest an order may wait after another, in minutes: ninety days, our own choice against slips of typing.
const mostWait = 90 * 24 * 60

// Wait lets an order wait for the work of another one, so many minutes after that ends, or for none (0). open are the plant's open
// orders: an order cannot wait for itself, nor in a ring.
func Wait(o Order, by Actor, at, now time.Time, after, minutes int64, open []Order) (Order, Event, error) {
	s, wrong, err := begin(o, ToWait, by, at, now)
	if err != nil {
		return o, Event{}, err
	}
	if minutes < 0 || minutes > mostWait {
		wrong.Add("hours", "give the hours between the two as a number from 0 to 2160")
	}
	next, why := o, "waits for no other order"
	if next.AfterID, next.AfterMin = nil, nil; after != 0 {
		next.AfterID, next.AfterMin = &after, &minutes
		why = waitWords(after, minutes, open)
		if why := ring(o, after, open); why != "" {
			wrong.Add("after", why)
		}
	}
	return finish(o, next, s, by, at, now, why, wrong)
}

// waitWords say what an order waits for: "waits for order 412, then 4 h".
func waitWords(after, minutes int64, open []Order) string {
	words := "waits for another order"
	if i := slices.IndexFunc(open, func(x Order) bool { return x.ID == after }); i >= 0 {
		words = fmt.Sprintf("waits for order %d", open[i].Number)
	}
	if minutes > 0 {
		words += ", then " + strconv.FormatFloat(float64(minutes)/60, 'f', -1, 64) + " h"
	}
	return words
}

// ring says why an order cannot wait for another; "" when it can.
func ring(o Order, after int64, open []Order) string {
	for seen := map[int64]bool{}; after != 0 && !seen[after]; {
		if after == o.ID {
			return fmt.Sprintf("order %d would wait for itself; choose another order", o.Number)
		}
		seen[after] = true
		i := slices.IndexFunc(open, func(x Order) bool { return x.ID == after })
		if i < 0 {
			if len(seen) == 1 {
				return "choose an open order of this plant from the list"
			}
			return ""
		}
		after, _ = open[i].WaitsFor()
	}
	return ""
}

// Start notes that work on a placed order began at the conveyor. It says nothing about whether the conveyor
// is isolated: that is settled at the conveyor, by the site's own rules.
func Start(o Order, by Actor, at, now time.Time) (Order, Event, error) {
	s, wrong, err := begin(o, ToStart, by, at, now)
	if err != nil {
		return o, Event{}, err
	}
	after := o
	after.StartedAt, after.StartedBy = assets.InstantOf(at), by.PersonID
	return finish(o, after, s, by, at, now, "", wrong)
}

// Work is what was done, as reported.
type Work struct {
	Hours float64 // hours of work in the stop
	Note  string
}

// Finish notes when the work was finished, not when that is entered.
func Finish(o Order, by Actor, at, now time.Time, w Work) (Order, Event, error) {
	s, wrong, err := begin(o, ToFinish, by, at, now)
	if err != nil {
		return o, Event{}, err
	}
	if assets.InstantOf(at) < o.StartedAt && !at.IsZero() {
		wrong.Add("at", "work cannot be done before it was started")
	}
	if !(w.Hours >= 0) || w.Hours > 24*60 {
		wrong.Add("hours", "give the hours of work as a number from 0 to 1440")
	}
	after := o
	after.DoneAt, after.DoneBy, after.DoneHours, after.DoneNote = assets.InstantOf(at), by.PersonID, w.Hours, strings.TrimSpace(w.Note)
	return finish(o, after, s, by, at, now, "", wrong)
}

// Sign puts a person's name to work that is done. A signature says who looked at the record, never that a
// conveyor is safe to run.
func Sign(o Order, by Actor, at, now time.Time) (Order, Event, error) {
	s, wrong, err := begin(o, ToSign, by, at, now)
	if err != nil {
		return o, Event{}, err
	}
	if assets.InstantOf(at) < o.DoneAt && !at.IsZero() {
		wrong.Add("at", "an order cannot be signed before its work was done")
	}
	after := o
	after.SignedAt, after.SignedBy = assets.InstantOf(at), by.PersonID
	return finish(o, after, s, by, at, now, "", wrong)
}

// Withdrawal says why an order is withdrawn and for how long that holds.
type Withdrawal struct {
	Why        string
	InError    bool       // raised in error: its cycle is free at once, the rule may raise it again
	HoldsUntil assets.Day // else: the rule raises nothing for this cycle until this plant date
}

// Withdraw ends an open order without work. An order of a rule or a finding names the date until which the
// withdrawal holds, unless it was raised in error; today is the plant's date.
func Withdraw(o Order, by Actor, at, now time.Time, today assets.Day, w Withdrawal) (Order, Event, error) {
	s, wrong, err := begin(o, ToWithdraw, by, at, now)
	if err != nil {
		return o, Event{}, err
	}
	needReason(wrong, w.Why, "say why the order is withdrawn")
	byRule := o.RuleID != 0 || o.FindingID != 0
	switch {
	case w.InError && w.HoldsUntil != "":
		wrong.Add("holds_until", "an order raised in error frees its cycle at once: leave the date empty, or do not call it an error")
	case w.HoldsUntil != "":
		checkDay(wrong, "holds_until", w.HoldsUntil)
		if w.HoldsUntil < today {
			wrong.Add("holds_until", "the date until which this holds has passed; give "+string(today)+" or a later one")
		}
	case !w.InError && byRule:
		wrong.Add("holds_until", "give the date until which this holds, or say that the order was raised in error")
	}
	after := o
	after.WithdrawnAt, after.WithdrawnBy, after.WithdrawnWhy = assets.InstantOf(at), by.PersonID, strings.TrimSpace(w.Why)
	after.InError, after.HoldsUntil = w.InError, w.HoldsUntil
	return finish(o, after, s, by, at, now, w.Why, wrong)
}

// PutOff moves the latest date of an open order. Past the latest date that stood, it needs a person's name
// and a reason, and both stay with the order; an earlier date needs neither.
func PutOff(o Order, by Actor, at, now time.Time, latest assets.Day, why string) (Order, Event, error) {
	s, wrong, err := begin(o, ToPutOff, by, at, now)
	if err != nil {
		return o, Event{}, err
	}
	checkDay(wrong, "latest_day", latest)
	if raised := assets.DayOf(o.RaisedAt.Time()); o.RaisedAt != 0 && latest < raised {
		wrong.Add("latest_day", "the order was raised on "+string(raised)+"; give that day or a later one")
	}
	if latest == o.LatestDay {
		wrong.Add("latest_day", "the latest date is "+string(latest)+" already; give another")
	}
	after := o
	after.LatestDay = latest
	if later := o.LatestDay != "" && latest > o.LatestDay; later {
		needReason(wrong, why, "say why the order is put off past its latest date "+string(o.LatestDay))
		after.PutOffBy, after.PutOffWhy = by.PersonID, strings.TrimSpace(why)
	} else {
		s.What = "changed"
	}
	return finish(o, after, s, by, at, now, why, wrong)
}

// finish refuses, or moves the order to the step's state and writes its event.
func finish(before, after Order, s Step, by Actor, at, now time.Time, why string, wrong assets.Invalid) (Order, Event, error) {
	if err := wrong.Err(); err != nil {
		return before, Event{}, err
	}
	if s.To != "" {
		after.State = s.To
	}
	e := NewEvent(s.What, before, after, by.PersonID, at, now)
	e.Why = strings.TrimSpace(why)
	return after, e, nil
}

func needReason(wrong assets.Invalid, why, message string) {
	if strings.TrimSpace(why) == "" {
		wrong.Add("why", message)
	}
}

func checkDay(wrong assets.Invalid, field string, d assets.Day) {
	if _, err := time.Parse(time.DateOnly, string(d)); err != nil {
		wrong.Add(field, "write the date as YYYY-MM-DD")
	}
}
