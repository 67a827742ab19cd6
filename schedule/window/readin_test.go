package window

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

var now = at("2026-11-25T05:40:00Z")

// ics makes a calendar file of events.
func ics(events ...string) string {
	text := "BEGIN:VCALENDAR\nVERSION:2.0\nPRODID:-//plant outages//EN\n"
	for _, e := range events {
		text += "BEGIN:VEVENT\n" + e + "\nEND:VEVENT\n"
	}
	return text + "END:VCALENDAR\n"
}

// kept does what the changes say, as the database would: rows get numbers.
func kept(h Held, changes []Change) Held {
	ids := map[string]int64{}
	for _, c := range changes {
		if c.Series == nil || c.Do != Add && c.Do != Alter && c.Do != TakeAway {
			continue
		}
		s := *c.Series
		if c.Do == Add {
			s.ID = int64(100 + len(h.Series))
			h.Series = append(h.Series, s)
		}
		for i := range h.Series {
			if h.Series[i].ID == s.ID {
				h.Series[i] = s
			}
		}
		ids[s.CalendarUID] = s.ID
	}
	for _, c := range changes {
		if c.Window == nil || c.Do != Add && c.Do != Alter && c.Do != TakeAway {
			continue
		}
		w := *c.Window
		if w.Source.PlannedLocal != "" && w.Source.RecurrenceID == 0 {
			w.Source.RecurrenceID = ids[w.Source.CalendarUID]
		}
		if w.ID == 0 {
			w.ID = int64(1 + len(h.Windows))
			h.Windows = append(h.Windows, w)
			continue
		}
		for i := range h.Windows {
			if h.Windows[i].ID == w.ID {
				h.Windows[i] = w
			}
		}
	}
	return h
}

func counted(changes []Change) string {
	n := map[Doing]int{}
	for _, c := range changes {
		n[c.Do]++
	}
	var words []string
	for _, d := range Doings {
		if n[d] > 0 {
			words = append(words, fmt.Sprintf("%d %s", n[d], d))
		}
	}
	return strings.Join(words, ", ")
}

func read(t *testing.T, text string, h Held, whole bool) []Change {
	t.Helper()
	z := berlin(t)
	events, err := calendar.ReadEvents([]byte(text), z)
	if err != nil {
		t.Fatal(err)
	}
	as := assets.StopWindow{PlantID: 3, LineID: 2, Answer: assets.StopAnswer{Word: assets.AnswerAgreed}}
	return ReadIn(events, h, as, z, now, whole)
}

const (
	december  = "UID:1@plant\nSUMMARY:Winter stop\nDTSTART;TZID=Europe/Berlin:20261212T060000\nDTEND;TZID=Europe/Berlin:20261212T200000"
	series    = "UID:2@plant\nSUMMARY:Night\nDTSTART;TZID=Europe/Berlin:20261205T200000\nDTEND;TZID=Europe/Berlin:20261206T060000\nRRULE:FREQ=MONTHLY;BYDAY=1SA"
	moved     = "UID:2@plant\nSUMMARY:Night\nRECURRENCE-ID;TZID=Europe/Berlin:20270102T200000\nDTSTART;TZID=Europe/Berlin:20270103T200000\nDTEND;TZID=Europe/Berlin:20270104T060000"
	elsewhere = "UID:3@plant\nSUMMARY:Head office drill\nDTSTART;TZID=America/New_York:20261207T060000\nDTEND;TZID=America/New_York:20261207T080000\nRRULE:FREQ=MONTHLY;COUNT=2"
	past      = "UID:4@plant\nSUMMARY:Over\nDTSTART:20261001T060000\nDTEND:20261001T080000"
)

func TestTheSameFileAgainChangesNothing(t *testing.T) {
	text := ics(december, series, moved, elsewhere, past)
	first := read(t, text, Held{}, true)
	if got := counted(first); got != "5 added, 1 left out" {
		t.Fatalf("the file does: %s", got)
	}
	h := kept(Held{}, first)
	if got := counted(read(t, text, h, true)); got != "1 left out, 5 as it was" {
		t.Errorf("again it does: %s", got)
	}
}

func TestWhatChangedInTheFileChangesHere(t *testing.T) {
	h := kept(Held{}, read(t, ics(december, series), Held{}, false))
	for i := range h.Windows {
		h.Windows[i].Answer = assets.StopAnswer{Word: assets.AnswerAsked}
	}
	for name, tt := range map[string]struct {
		text  string
		whole bool
		want  string
		check func([]Change) bool
	}{
		"moved by an hour: what was said of the other hour holds no more": {ics(strings.ReplaceAll(december, "T060000", "T070000"), series), false, "1 changed, 1 as it was",
			func(c []Change) bool {
				return c[0].Window.Answer.Word == assets.AnswerAgreed && c[0].Window.StartLocal == "2026-12-12T07:00"
			}},
		"another name only: the answer stays": {ics(strings.ReplaceAll(december, "Winter", "Long"), series), false, "1 changed, 1 as it was",
			func(c []Change) bool { return c[0].Window.Answer.Word == assets.AnswerAsked }},
		"cancelled":                           {ics(december+"\nSTATUS:CANCELLED", series), false, "1 withdrawn, 1 as it was", nil},
		"a night left out of the series":      {ics(december, series+"\nEXDATE;TZID=Europe/Berlin:20270206T200000"), false, "1 changed, 1 as it was", nil},
		"missing in a file that is not all":   {ics(series), false, "1 as it was", nil},
		"missing in a file that is all":       {ics(series), true, "1 withdrawn, 1 as it was", nil},
		"the series missing, the file is all": {ics(december), true, "1 withdrawn, 1 as it was", nil},
		"twice in the file":                   {ics(december, december, series), false, "1 left out, 2 as it was", nil},
	} {
		t.Run(name, func(t *testing.T) {
			changes := read(t, tt.text, h, tt.whole)
			if got := counted(changes); got != tt.want {
				t.Errorf("it does: %s, want %s", got, tt.want)
			}
			if tt.check != nil && !tt.check(changes) {
				t.Errorf("changed to %+v", changes[0].Window)
			}
		})
	}
}

func TestAStopWithWorkInItIsNotTakenAway(t *testing.T) {
	h := kept(Held{}, read(t, ics(december), Held{}, false))
	h.Placed = map[int64]bool{h.Windows[0].ID: true}
	changes := read(t, ics(december+"\nSTATUS:CANCELLED"), h, false)
	if got := counted(changes); got != "1 left out" || !strings.Contains(changes[0].Why, "work is placed") {
		t.Errorf("it does: %s (%s)", got, changes[0].Why)
	}
	moved := read(t, ics(strings.ReplaceAll(december, "T060000", "T070000")), h, false)
	if got := counted(moved); got != "1 changed" || !strings.Contains(moved[0].Why, "set those again") {
		t.Errorf("a stop that stays agreed is moved with its work: %s (%s)", got, moved[0].Why)
	}
	h.Windows[0].LineID = 9 // the file is read for line 2 now
	if changes := read(t, ics(december), h, false); counted(changes) != "1 left out" {
		t.Errorf("a stop with work in it goes to another line: %s", counted(changes))
	}
}

// TestASeriesOnAnotherClockFollowsThatClock: New York changes its clocks on 14 March 2027 (second Sunday, US Energy Policy Act of
// 2005), Germany on 28 March, so that in between the stop is an hour earlier at the plant.
func TestASeriesOnAnotherClockFollowsThatClock(t *testing.T) {
	drill := "UID:5@plant\nSUMMARY:Drill\nDTSTART;TZID=America/New_York:20270312T060000\nDTEND;TZID=America/New_York:20270312T080000\nRRULE:FREQ=WEEKLY;COUNT=4"
	var starts []string
	for _, c := range read(t, ics(drill), Held{}, false) {
		starts = append(starts, c.Window.StartLocal)
	}
	want := "[2027-03-12T12:00 2027-03-19T11:00 2027-03-26T11:00 2027-04-02T12:00]"
	if got := fmt.Sprint(starts); got != want {
		t.Errorf("stops begin at %s, want %s", got, want)
	}
}

// TestASeriesOnAnotherClockIsBounded holds that a few bytes of a file do not become millions of stops: a series that comes more
// than once a day is left out, and one file brings in so many stops and no more, withdrawing nothing for the rest.
func TestASeriesOnAnotherClockIsBounded(t *testing.T) {
	event := func(uid int, rule string) string {
		return fmt.Sprintf("UID:%d@plant\nDTSTART:20261201T060000Z\nDTEND:20261201T070000Z\nRRULE:%s", uid, rule)
	}
	for _, rule := range []string{"FREQ=SECONDLY", "FREQ=MINUTELY", "FREQ=DAILY;BYHOUR=1,2;BYMINUTE=0,30"} {
		if changes := read(t, ics(event(1, rule)), Held{}, false); len(changes) != 1 || changes[0].Do != LeaveOut {
			t.Errorf("%s: %s", rule, counted(changes))
		}
	}
	h := kept(Held{}, read(t, ics(event(900, "FREQ=DAILY")), Held{}, true))
	var many []string
	for i := range 40 {
		many = append(many, event(i, "FREQ=DAILY"))
	}
	changes := read(t, ics(many...), h, true)
	if last := changes[len(changes)-1]; len(changes) > mostStops+400 || last.Do != LeaveOut || !strings.Contains(last.Why, "5000") {
		t.Errorf("%d changes, the last %+v", len(changes), last)
	}
	if got := counted(changes); strings.Contains(got, string(TakeAway)) {
		t.Errorf("stops are withdrawn that the rest of the file may hold: %s", got)
	}
}

func TestTheStopEnteredByHandIsNotDoubled(t *testing.T) {
	first := read(t, ics(december), Held{}, false)
	byHand := *first[0].Window
	byHand.ID, byHand.Source = 9, assets.StopSource{}
	if got := counted(read(t, ics(december), Held{Windows: []assets.StopWindow{byHand}}, false)); got != "1 left out" {
		t.Errorf("it does: %s", got)
	}
	if byHand.End.Time().Sub(byHand.Start.Time()) != 14*time.Hour {
		t.Errorf("the stop is %s long", byHand.End.Time().Sub(byHand.Start.Time()))
	}
}

// starts lists what the plant would have in some months after the changes, as its planner reads it.
func starts(t *testing.T, h Held, from, until string) string {
	t.Helper()
	var series []assets.StopRecurrence
	for _, s := range h.Series {
		if !s.Withdrawn {
			series = append(series, s)
		}
	}
	all, err := All(h.Windows, series, berlin(t), at(from), at(until))
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, w := range all {
		out = append(out, w.StartLocal[5:])
	}
	return strings.Join(out, " ")
}

// TestAFileThatChangedLeavesThePlantWithWhatItSays reads a first file, does what it says, reads a second one and does that: what the plant
// then has is what the second file says alone, and reading it once more changes nothing.
func TestAFileThatChangedLeavesThePlantWithWhatItSays(t *testing.T) {
	const (
		weekly   = "UID:w@plant\nSUMMARY:Early\nDTSTART;TZID=Europe/Berlin:20261207T060000\nDTEND;TZID=Europe/Berlin:20261207T160000\nRRULE:FREQ=WEEKLY;COUNT=4"
		oneMoved = "UID:w@plant\nSUMMARY:Early\nRECURRENCE-ID:20261214T050000Z\nDTSTART:20261215T050000Z\nDTEND:20261215T150000Z"
		oneGone  = "UID:w@plant\nSUMMARY:Early\nSTATUS:CANCELLED\nRECURRENCE-ID;TZID=Europe/Berlin:20261214T060000\nDTSTART;TZID=Europe/Berlin:20261214T060000\nDTEND;TZID=Europe/Berlin:20261214T160000"
		once     = "UID:w@plant\nSUMMARY:Early\nDTSTART;TZID=Europe/Berlin:20261207T060000\nDTEND;TZID=Europe/Berlin:20261207T160000"
	)
	tokyo := strings.ReplaceAll(weekly, "Europe/Berlin:", "Asia/Tokyo:") // 06:00 there is 22:00 the day before here
	tokyoMoved := "UID:w@plant\nSUMMARY:Early\nRECURRENCE-ID;TZID=Asia/Tokyo:20261214T060000\nDTSTART;TZID=Asia/Tokyo:20261215T060000\nDTEND;TZID=Asia/Tokyo:20261215T160000"
	all := "12-07T06:00 12-14T06:00 12-21T06:00 12-28T06:00"
	for name, tt := range map[string]struct{ first, second, want string }{
		"one moved, written in UTC":                         {ics(weekly), ics(weekly, oneMoved), "12-07T06:00 12-15T06:00 12-21T06:00 12-28T06:00"},
		"one moved, and moved back":                         {ics(weekly, oneMoved), ics(weekly), all},
		"one moved, then cancelled":                         {ics(weekly, oneMoved), ics(weekly, oneGone), "12-07T06:00 12-21T06:00 12-28T06:00"},
		"one moved, then left out":                          {ics(weekly, oneMoved), ics(weekly + "\nEXDATE:20261214T050000Z"), "12-07T06:00 12-21T06:00 12-28T06:00"},
		"one moved, sent alone":                             {ics(weekly), ics(oneMoved), "12-07T06:00 12-15T06:00 12-21T06:00 12-28T06:00"},
		"one moved, and the series an hour later":           {ics(weekly, oneMoved), ics(strings.NewReplacer("T060000", "T070000").Replace(weekly)), "12-07T07:00 12-14T07:00 12-21T07:00 12-28T07:00"},
		"the series cancelled with one moved":               {ics(weekly, oneMoved), ics(weekly+"\nSTATUS:CANCELLED", oneMoved), ""},
		"once, then every week":                             {ics(once), ics(weekly), all},
		"every week, then once":                             {ics(weekly, oneMoved), ics(once), "12-07T06:00"},
		"on another clock, one moved":                       {ics(tokyo), ics(tokyo, tokyoMoved), "12-06T22:00 12-14T22:00 12-20T22:00 12-27T22:00"},
		"on another clock, shorter":                         {ics(tokyo), ics(strings.ReplaceAll(tokyo, "COUNT=4", "COUNT=2")), "12-06T22:00 12-13T22:00"},
		"on another clock, then on the plant's":             {ics(tokyo, tokyoMoved), ics(weekly), all},
		"on the plant's clock, then on another":             {ics(weekly, oneMoved), ics(tokyo), "12-06T22:00 12-13T22:00 12-20T22:00 12-27T22:00"},
		"what cannot be read of it leaves it as it was":     {ics(weekly, oneMoved), ics(strings.ReplaceAll(weekly, "FREQ=WEEKLY", "FREQ=OFTEN")), "12-07T06:00 12-15T06:00 12-21T06:00 12-28T06:00"},
		"one of it that cannot be read leaves the series":   {ics(weekly), ics(weekly, oneMoved+"\nRDATE:20261216T050000Z"), all},
		"one of it twice in the file: the first is the one": {ics(weekly), ics(weekly, oneMoved, strings.ReplaceAll(oneMoved, "20261215", "20261216")), "12-07T06:00 12-15T06:00 12-21T06:00 12-28T06:00"},
	} {
		t.Run(name, func(t *testing.T) {
			h := kept(Held{}, read(t, tt.first, Held{}, false))
			h = kept(h, read(t, tt.second, h, false))
			if got := starts(t, h, "2026-12-01T00:00:00Z", "2027-01-20T00:00:00Z"); got != tt.want {
				t.Errorf("stops begin at\n%s, want\n%s", got, tt.want)
			}
			again := read(t, tt.second, h, false)
			for _, c := range again {
				if c.Do == Add || c.Do == Alter || c.Do == TakeAway {
					t.Errorf("read again: %s %s, %s", c.Summary, c.Do, c.Why)
				}
			}
		})
	}
}

// TestStopsOfASeriesWithWorkInThemAreNamed holds that of a series that moves or ends, the stop in which work is placed is not taken away in
// silence, and that one which a person moved stays where they put it.
func TestStopsOfASeriesWithWorkInThemAreNamed(t *testing.T) {
	const weekly = "UID:w@plant\nSUMMARY:Early\nDTSTART;TZID=Europe/Berlin:20261207T060000\nDTEND;TZID=Europe/Berlin:20261207T160000\nRRULE:FREQ=WEEKLY"
	h := kept(Held{}, read(t, ics(weekly), Held{}, false))
	for i, day := range []string{"07", "14"} {
		some, err := Occurrences(h.Series[0], berlin(t), at("2026-12-"+day+"T00:00:00Z"), at("2026-12-"+day+"T23:00:00Z"))
		if err != nil || len(some) != 1 {
			t.Fatal(some, err)
		}
		w := some[0]
		w.ID = int64(i + 1)
		if day == "14" {
			w.Start, w.End = assets.InstantOf(at("2026-12-15T05:00:00Z")), assets.InstantOf(at("2026-12-15T15:00:00Z"))
		}
		h.Windows = append(h.Windows, w)
	}
	h.Placed = map[int64]bool{1: true}
	gone := read(t, ics(weekly+"\nSTATUS:CANCELLED"), h, false)
	if got := counted(gone); got != "2 withdrawn, 1 left out" {
		t.Errorf("the series cancelled: %s", got)
	}
	if c := gone[1]; c.Do != LeaveOut || !strings.Contains(c.Why, "work is placed") || c.Was.ID != 1 {
		t.Errorf("the stop with work in it: %+v", c)
	}
	later := read(t, ics(strings.ReplaceAll(weekly, "T060000", "T070000")), h, false)
	if got := counted(later); got != "2 changed" || later[1].Was.ID != 1 || later[1].Window.StartLocal != "2026-12-07T07:00" {
		t.Errorf("an hour later: %s, %+v", got, later[len(later)-1])
	}
}
