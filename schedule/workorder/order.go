package workorder

import (
	"time"

	"carryside/assets"
)

// Kind is what an order is for.
type Kind string

// Kinds of order.
const (
	KindInspection  Kind = "inspection"
	KindResplice    Kind = "re-splice"
	KindBeltChange  Kind = "belt change"
	KindRunIn       Kind = "run-in check"
	KindRetension   Kind = "re-tension"
	KindInsertPiece Kind = "insert piece"
	KindKitService  Kind = "kit service"
	KindOther       Kind = "other"
)

// Kinds lists the kinds in the order forms offer them.
var Kinds = []Kind{KindInspection, KindResplice, KindBeltChange, KindRunIn, KindRetension, KindInsertPiece, KindKitService, KindOther}

// State is where an order stands. Overdue is computed, not a state.
type State string

// States, in the order of an order's life.
const (
	Raised    State = "raised"
	Accepted  State = "accepted" // approved to be done
	Placed    State = "placed"   // in a stop window, with people
	Started   State = "started"
	Done      State = "done"
	Signed    State = "signed"
	Withdrawn State = "withdrawn"
)

// States lists the six states of the usual life.
var States = []State{Raised, Accepted, Placed, Started, Done, Signed}

// Open tells whether an order still joins later occurrences of the same target and kind: raised to started.
func (s State) Open() bool { return s == Raised || s == Accepted || s == Placed || s == Started }

// Order is a work order. Every change of it is a new row of the same ID, so that it can be shown as known then.
type Order struct {
	assets.Version
	PlantID      int64
	Number       int64 // per plant, as people say it: order 412
	Kind         Kind
	State        State
	ConveyorID   int64
	BeltID       int64  // 0: none
	SpliceID     int64  // 0: none
	Title        string // "remake splice 2"
	Reason       string // why it was raised, with its numbers
	RuleID       int64  // 0: raised by a person or a finding
	FindingID    int64
	LatestDay    assets.Day // plant date; "" when none
	PutOffBy     int64      // person who put it off past its latest date
	PutOffWhy    string
	WorkHours    float64            // expected work in the stop, hours
	Crew         int                // people needed
	WindowID     int64              // stop window it is placed in; 0: none
	PlacedPeople []int64            `gorm:"serializer:json"`
	PlacedKit    string             // kit in words
	PlacedStart  *assets.Instant    // when its work begins in the stop; nil: not said
	PlacedCrew   []assets.CrewPlace `gorm:"serializer:json"` // who works as what, where a plan said it
	PlacedTools  []int64            `gorm:"serializer:json"` // kit by number
	Locked       *bool              // true: a plan leaves it where it stands
	AfterID      *int64             // the order of the same plant whose work must be over first; nil: none
	AfterMin     *int64             // and so many minutes more
	RaisedAt     assets.Instant
	RaisedBy     int64 // 0: by rule
	AcceptedAt   assets.Instant
	AcceptedBy   int64
	PlacedAt     assets.Instant
	PlacedBy     int64
	StartedAt    assets.Instant
	StartedBy    int64
	DoneAt       assets.Instant // when the work was done, not when it was entered
	DoneBy       int64
	DoneHours    float64
	DoneNote     string
	SignedAt     assets.Instant
	SignedBy     int64
	WithdrawnAt  assets.Instant
	WithdrawnBy  int64
	WithdrawnWhy string
	InError      bool       // withdrawn as raised in error: frees its cycle
	HoldsUntil   assets.Day // any other withdrawal holds until this date
	EditVersion  int64      // counts edits: an edit carries the number it read
}

// Event is one step or change in the history of an order: who, when it was so, when it was entered, values
// before and after.
type Event struct {
	ID        int64 `gorm:"primaryKey"`
	PlantID   int64
	OrderID   int64
	What      string         // raised, accepted, placed, started, done, signed, withdrawn, put off, changed, joined
	At        assets.Instant // when it was so
	EnteredAt assets.Instant
	PersonID  int64  // 0: a rule
	Before    string // JSON object of the fields that changed
	After     string
	Why       string
	KnownFrom int64
}

// TableName is "order_events".
func (Event) TableName() string { return "order_events" }

// WaitsFor is the order whose work must be over first, and how long after that; 0 when it waits for none.
func (o Order) WaitsFor() (id int64, wait time.Duration) {
	if o.AfterID == nil {
		return 0, 0
	}
	if o.AfterMin != nil {
		wait = time.Duration(*o.AfterMin) * time.Minute
	}
	return *o.AfterID, wait
}

// Held tells whether a plan has to leave the order where it stands.
func (o Order) Held() bool { return o.Locked != nil && *o.Locked }
