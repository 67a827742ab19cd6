package web

import (
	"context"
	"time"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// Sources is where the screens get what they show, one field per interface; the command that serves joins
// them to the database. A field that is missing fails at start.
type Sources struct {
	Plants Plants
	Fleets Fleets
	Orders Orders
	Days   Days
	Finds  Finds
	Owners Owners

	Registers  Registers
	Meters     Meters
	RuleBook   RuleBook
	StopBook   StopBook
	CrewBook   CrewBook
	WeekBook   WeekBook
	Reporting  Reporting
	Auditing   Auditing
	Catalogues Catalogues
	Calendars  Calendars
	Importing  Importing
	Lives      Lives

	Attachments Attachments
	Horizons    Horizons
	StoreBook   StoreBook
	Pressing    Pressing
	Worksheets  Worksheets
	RoundBook   Rounds
	Standing    Standstills
}

// Act says who changes something, as which deed, why and when: it becomes the journal's entry. The origin of
// all of them is a screen.
type Act struct {
	PersonID int64
	Action   string // "fit a belt", "accept order 412"
	Reason   string
	Now      time.Time
}

// act returns the act of whoever asks.
func (r *Request) act(action, reason string) Act {
	return Act{PersonID: r.Who.Person.ID, Action: action, Reason: reason, Now: r.Now}
}

// Plants is what the frame and the list of plants need.
type Plants interface {
	// PlantFrame returns a plant with its counts. assets.ErrNotFound outside the scope.
	PlantFrame(ctx context.Context, scope assets.Scope, plantID int64) (PlantFrame, error)
	// PlantList returns the plants of a scope by customer and name.
	PlantList(ctx context.Context, scope assets.Scope) ([]PlantSummary, error)
}

// PlantSummary is one line of the list of plants.
type PlantSummary struct {
	Plant     assets.Plant
	Customer  string
	Conveyors int // in use
	Splices   int // live
	Open      int // orders raised to started
	Overdue   int // of them past their latest date
	ReadTo    assets.Instant
	Held      int // readings waiting for a person
}

// Fleets is a plant's register with its clocks.
type Fleets interface {
	// Fleet returns a plant's register as it is and where every live splice stands at now. It may be shared:
	// screens do not change it.
	Fleet(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*Fleet, error)
	// Retired returns the conveyors of a plant that are out of use, newest first.
	Retired(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.Conveyor, error)
	// Past returns everything there has been on a conveyor. assets.ErrNotFound when it is not the plant's.
	Past(ctx context.Context, scope assets.Scope, plantID, conveyorID int64) (*Past, error)
}

// Fleet is a plant's register as it is, arranged, with the standing of every live splice in its order.
type Fleet struct {
	Register  *assets.Register
	Standings []due.Standing
	Forecasts []due.Forecast     // of the same splices
	Trends    []due.Trend        // what was measured again and again on them, and on the belts as a whole
	Belts     []due.BeltStanding // of the belts for which a trend or a finding sets a date
}

// Past is everything there has been on a conveyor, from old to new; findings from new to old.
type Past struct {
	Belts    []assets.Belt
	Splices  []assets.Splice
	Meters   []assets.Meter
	Findings []assets.Finding
	People   map[int64]string // names of everybody the findings name
}

// Orders is a plant's work orders.
type Orders interface {
	// OpenOrders returns the orders raised to started, by latest date.
	OpenOrders(ctx context.Context, scope assets.Scope, plantID int64) ([]workorder.Order, error)
	// OrderList returns a page of the orders that a filter lets through, and how many there are in all.
	OrderList(ctx context.Context, scope assets.Scope, plantID int64, filter OrderFilter) ([]workorder.Order, int, error)
	// Order returns an order by its number in the plant, with its history and the names in it.
	Order(ctx context.Context, scope assets.Scope, plantID, number int64) (*OrderFile, error)
	// Step takes one step of an order: it reads the order in the same change, refuses with assets.ErrConflict
	// when its EditVersion is not edit any more, and keeps what step returns.
	Step(ctx context.Context, scope assets.Scope, act Act, plantID, number, edit int64, step OrderStep) error
	// Steps takes several steps of an order one after the other, all or none, as Step takes one.
	Steps(ctx context.Context, scope assets.Scope, act Act, plantID, number, edit int64, steps []OrderStep) error
	// SignCounted signs an order as Step does, and books what was counted on its job.
	SignCounted(ctx context.Context, scope assets.Scope, act Act, plantID, number, edit int64, step OrderStep, counted assets.JobCounted) error
	// Raise keeps a new order and returns its number.
	Raise(ctx context.Context, scope assets.Scope, act Act, order workorder.Order, event workorder.Event) (int64, error)
	// Emergency keeps an order that was done before it was raised, with the re-splice it reports, and returns its number.
	Emergency(ctx context.Context, scope assets.Scope, act Act, raised, done workorder.Order, event workorder.Event, made Resplice, stood *assets.Standstill) (int64, error)
	// Changed returns what the work of an order that is done changed, as the records tell it.
	Changed(ctx context.Context, scope assets.Scope, o workorder.Order) (*OrderDone, error)
	// Crew returns the people who may be placed on an order at a plant, by name.
	Crew(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.Person, error)
	// CloseResplice takes the step that reports a re-splice done and books old splice, new splice and loop in
	// the same change.
	CloseResplice(ctx context.Context, scope assets.Scope, act Act, plantID, number, edit int64, made Resplice, step OrderStep) error
}

// OrderStep makes the next state of an order out of its present one.
type OrderStep func(workorder.Order) (workorder.Order, workorder.Event, error)

// OrderFilter selects orders; its zero value is every order.
type OrderFilter struct {
	Open       bool // raised to started
	Closed     bool // done, signed, withdrawn
	ConveyorID int64
	SpliceID   int64
	Kind       workorder.Kind
	Conveyors  []int64   // of a line; empty: every conveyor
	Since      time.Time // closed since then
	Newest     bool      // the newest first instead of by latest date
	Offset     int
	Limit      int // 0: all
}

// OrderFile is an order with everything that happened to it.
type OrderFile struct {
	Order  workorder.Order
	Events []workorder.Event // from old to new
	Window *assets.StopWindow
	People map[int64]string // names by number
	Rule   *rules.Rule      // the rule that raised it; nil: a person or a finding did
	After  *workorder.Order // the order it waits for; nil: none
}

// OrderDone is what the work of an order changed.
type OrderDone struct {
	Splices     []assets.Splice // ended or made by it
	Taken       []assets.StockMovement
	Lots        map[int64]assets.StockLot
	Items       map[int64]assets.StockItem
	Counts      []assets.KitCount // on counters of kit
	Raised      map[int64]int64   // numbers of the inspections that its press cycles raised, by their IDs
	Ticket      string            // of whoever signed, on the day the work was done; "": none is asked, or none on record
	TicketUntil assets.Day
}

// Resplice is what closing a re-splice tells of the new splice.
type Resplice struct {
	OldSpliceID   int64
	RetiredWhy    assets.RetiredWhy
	FailureMode   string
	New           assets.Splice // made when the work was done; its mark is the old one's
	LoopShorterM  float64       // by how much the loop is shorter now
	TakeUpNowM    *float64      // travel used after it; nil: not measured
	MadeByID      int64
	MadeWithWords string
}

// Days is what happens at a plant from day to day.
type Days interface {
	// Windows returns the agreed stop windows, in which work may be placed, that end after from, by their start.
	Windows(ctx context.Context, scope assets.Scope, plantID int64, from time.Time) ([]assets.StopWindow, error)
	// Reminders returns the occurrences without an order that nobody put off past today, by due date.
	Reminders(ctx context.Context, scope assets.Scope, plantID int64, today assets.Day) ([]rules.Occurrence, error)
	// MakeOrder raises the order of a reminder and returns its number.
	MakeOrder(ctx context.Context, scope assets.Scope, act Act, plantID, occurrenceID int64) (int64, error)
	// NotBefore puts a reminder off until a day.
	NotBefore(ctx context.Context, scope assets.Scope, act Act, plantID, occurrenceID int64, day assets.Day) error
	// News returns what was recorded since an instant.
	News(ctx context.Context, scope assets.Scope, plantID int64, since time.Time) (*News, error)
	// Held returns how many readings wait for a person.
	Held(ctx context.Context, scope assets.Scope, plantID int64) (int, error)
	// Doubts returns the open orders that rules raised and would not raise on what the register says now: a person
	// keeps or withdraws each.
	Doubts(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) ([]rules.Doubt, error)
	// OpenGrades returns the findings of grade 3 and more that have led to no order and no signed refusal.
	OpenGrades(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.Finding, error)
}

// News is what was recorded at a plant since an instant, from new to old.
type News struct {
	Findings []assets.Finding
	Steps    []OrderNews
	Read     int // conveyors with an accepted reading since
	People   map[int64]string
}

// OrderNews is a step of an order.
type OrderNews struct {
	Number     int64
	ConveyorID int64
	Title      string
	Event      workorder.Event
}

// Finds is the search of the head.
type Finds interface {
	// Find returns conveyors, splices and orders of a plant that a typed text means, best first.
	Find(ctx context.Context, scope assets.Scope, plantID int64, text string) ([]Hit, error)
}

// Hit is something found.
type Hit struct {
	ConveyorID int64
	SpliceID   int64 // 0: the conveyor itself
	OrderID    int64
	Order      int64 // number; 0: none
	Word       string
	Says       string
}
