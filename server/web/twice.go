package web

import (
	"fmt"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// This file asks which of two is meant where a time of the plant comes twice: in the hour that the clock shows again
// when it goes back. Readings an hour apart look the same on the clock, and guessing makes one of them contradict.

// The two answers.
const (
	firstShowing  = "first"
	secondShowing = "second"
)

// whichName is the field beside a moment that asks which of the two is meant.
func whichName(name string) string { return name + "_which" }

// localTyped reads a date with a time as a form carries it.
func localTyped(text string) (calendar.Local, error) {
	return calendar.ParseLocal(strings.Replace(text, " ", "T", 1))
}

// bothShowings returns the two instants of a plant time that comes twice; twice is false for any other.
func (f Format) bothShowings(text string) (first, second time.Time, twice bool) {
	l, err := localTyped(text)
	if err != nil {
		return first, second, false
	}
	first, showing := calendar.ZoneOf(f.zone()).Resolve(l)
	if showing != calendar.Twice {
		return first, second, false
	}
	_, before := first.In(f.zone()).Zone()
	_, back := first.In(f.zone()).ZoneBounds()
	_, after := back.Zone()
	return first, first.Add(time.Duration(before-after) * time.Second), true
}

// askWhich adds the question to a moment that holds a time which comes twice.
func (f *Form) askWhich(fd *Field, at assets.Instant) {
	first, second, twice := f.Plain.bothShowings(fd.Value)
	if !twice {
		return
	}
	which := ""
	if fd.Value == f.Plain.shownAt(at) {
		which = pick(at.Time().Before(second), firstShowing, secondShowing)
	}
	offset := func(t time.Time) string { return "UTC" + t.In(f.Plain.zone()).Format("-07:00") }
	fd.Which = f.Radio(whichName(fd.Name), fmt.Sprintf("%s comes twice that night: which one is meant?", clockTime(first.In(f.Plain.zone()))), which, []Option{
		{Value: firstShowing, Label: "the first, before the clock goes back (" + offset(first) + ")"},
		{Value: secondShowing, Label: "the second, after the clock has gone back (" + offset(second) + ")"}}).OverBoth()
}

func clockTime(t time.Time) string { return t.Format("15:04") }

// whichMoment picks one of two instants as the person said; without an answer it asks.
func (e *entry) whichMoment(name string, first, second time.Time) assets.Instant {
	switch e.text(whichName(name)) {
	case firstShowing:
		return assets.InstantOf(first)
	case secondShowing:
		return assets.InstantOf(second)
	}
	at := first.In(e.r.F.zone())
	e.bad.Add(whichName(name), fmt.Sprintf("the clock shows %s twice on %s, because it goes back that night; say which of the two is meant", clockTime(at), e.r.F.PlainDay(assets.DayOf(at))))
	return 0
}
