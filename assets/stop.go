package assets

import (
	"slices"
	"time"
)

// Shift is a weekly stretch of planned running of a line, wall-clock time of the plant. It ends on the next
// day when its end is not after its start.
type Shift struct {
	Weekday int    // 0 Sunday to 6 Saturday
	Start   string // HH:MM
	End     string // HH:MM
}

// Hours is how long the shift lasts by the clock; one that ends before it starts ends on the day after.
func (s Shift) Hours() float64 {
	from, err := time.Parse("15:04", s.Start)
	end := s.End
	if end == "24:00" {
		end = "00:00"
	}
	until, bad := time.Parse("15:04", end)
	if err != nil || bad != nil {
		return 0
	}
	if !until.After(from) {
		until = until.Add(24 * time.Hour)
	}
	return until.Sub(from).Hours()
}

// ExceptionDay replaces the shifts that start on its date.
type ExceptionDay struct {
	Day    Day
	Shifts []Shift // empty: no planned running; Weekday is ignored
	Note   string
}

// ProductionCalendar is the planned running of a line (LineID 0: of the whole plant).
type ProductionCalendar struct {
	Version
	PlantID    int64
	LineID     int64
	Shifts     []Shift        `gorm:"serializer:json"`
	Exceptions []ExceptionDay `gorm:"serializer:json"`
}

// Answer is where a stop stands between those who ask for it and the plant that has to give it.
type Answer string

// Answers of a plant. Work is placed only in agreed stops.
const (
	AnswerAsked   Answer = "asked"
	AnswerAgreed  Answer = "agreed"
	AnswerRefused Answer = "refused"
)

// Answers lists the answers in the order forms offer them.
var Answers = []Answer{AnswerAsked, AnswerAgreed, AnswerRefused}

// StopAnswer is what the plant said to a stop: the answer, who gave it, when, and why.
type StopAnswer struct {
	Word      Answer  `json:"word,omitempty"`       // "": agreed, as every stop was before answers were kept
	ByID      int64   `json:"by_id,omitempty"`      // person of the table of people who gave it; 0: not told
	ContactID int64   `json:"contact_id,omitempty"` // the plant's contact who gave it; 0: none
	At        Instant `json:"at,omitempty"`
	Why       string  `json:"why,omitempty"`
}

// Given returns the answer; a stop entered before answers were kept is an agreed one.
func (a StopAnswer) Given() Answer {
	if a.Word == "" {
		return AnswerAgreed
	}
	return a.Word
}

// StopSource is where a stop comes from: nothing for one entered by itself.
type StopSource struct {
	RecurrenceID int64  `json:"recurrence_id,omitempty"` // the recurring stop of which it is one
	PlannedLocal string `json:"planned_local,omitempty"` // the start its recurrence plans, YYYY-MM-DDTHH:MM: its key within it
	CalendarUID  string `json:"calendar_uid,omitempty"`  // UID of the event in the calendar file it was read from
	CalendarID   string `json:"calendar_id,omitempty"`   // RECURRENCE-ID in that file, when it is one of a series
}

// StopWindow is a stretch of time in which a line, or some conveyors, stand still and work may be placed once the
// plant has agreed. One of a recurring stop that nobody changed has no row: its ID is negative (see
// schedule/calendar and plantdb/stops) until something is said of it or placed in it.
type StopWindow struct {
	Version
	PlantID     int64
	LineID      int64   // 0: the whole plant, or the conveyors listed
	ConveyorIDs []int64 `gorm:"serializer:json"` // empty: the whole line or plant
	Start       Instant
	End         Instant // exclusive
	StartLocal  string  // YYYY-MM-DDTHH:MM as agreed, plant time
	EndLocal    string
	Note        string
	Withdrawn   bool
	Answer      StopAnswer `gorm:"serializer:json"`
	Source      StopSource `gorm:"serializer:json"`
}

// Agreed tells whether work may be placed in the stop.
func (w StopWindow) Agreed() bool { return !w.Withdrawn && w.Answer.Given() == AnswerAgreed }

// Stops tells whether a conveyor stands still in the stop.
func (w StopWindow) Stops(c Conveyor) bool { return w.StopsConveyor(c.ID, c.LineID) }

// StopsConveyor is Stops by numbers. Conveyor 0 is the line as a whole, which a stop of single conveyors does not stop.
func (w StopWindow) StopsConveyor(conveyorID, lineID int64) bool {
	if len(w.ConveyorIDs) == 0 {
		return w.LineID == 0 || w.LineID == lineID
	}
	return slices.Contains(w.ConveyorIDs, conveyorID)
}

// Kept says which of the two a recurring stop keeps where the clocks change inside it.
type Kept string

// What a recurring stop keeps.
const (
	KeepsClock  Kept = "clock"  // both clock times
	KeepsLength Kept = "length" // its length
)

// StopRecurrence is a stop that comes again by a rule of RFC 5545. Its occurrences are worked out when asked for.
type StopRecurrence struct {
	Version
	PlantID     int64
	LineID      int64
	ConveyorIDs []int64 `gorm:"serializer:json"`
	Rule        string  // RRULE, such as FREQ=WEEKLY;BYDAY=SU
	StartLocal  string  // first start on the plant's clock, YYYY-MM-DDTHH:MM
	EndLocal    string  // end of the first one on the plant's clock
	Keeps       Kept
	UntilDay    Day   // last day on which one begins; "": until further notice
	Exceptions  []Day `gorm:"serializer:json"` // days on which none begins
	Note        string
	Withdrawn   bool
	Answer      StopAnswer `gorm:"serializer:json"` // holds for every occurrence of which nothing else is said
	CalendarUID string     // UID of the series in the calendar file it was read from
}

// IsolationGroup is a set of conveyors that are isolated together before work and restarted together after it. A
// conveyor is in one at most; one that is in none is isolated by itself, in no time that anybody has given.
type IsolationGroup struct {
	Version
	PlantID     int64
	Name        string
	NameKey     string
	Point       string  // where it is isolated, in the plant's words
	IsolateMin  int     // minutes from the stop's beginning until work may begin
	RestartMin  int     // minutes before the stop's end at which work is over
	SetupCost   float64 // of one isolation, in the plant's currency
	ConveyorIDs []int64 `gorm:"serializer:json"`
}
