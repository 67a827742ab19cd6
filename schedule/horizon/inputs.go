package horizon

import (
	"time"

	"carryside/assets"
)

// Inputs are everything a sheet is laid of, for one plant or many.
type Inputs struct {
	Title  string
	From   time.Time // the sheet begins
	Until  time.Time // and ends
	Plants []Plant
	People []Person
	Kit    []Kit
	Stock  []Item
	Ways   []Way
	// Money says that costs are in one currency for all plants; else they are in hundredths of an hour of stop.
	Money    bool
	Currency string // of the costs, where Money holds
}

// Plant is one plant of a sheet.
type Plant struct {
	ID        int64
	Customer  int64
	Name      string
	Zone      *time.Location
	Groups    []Group
	Conveyors []Conveyor
	Stops     []Stop
	Orders    []Order
}

// Group is an isolation group; its set-up cost is in the units of Inputs.Money.
type Group struct {
	ID                     int64
	Name                   string
	IsolateMin, RestartMin int
	SetupCost              float64
}

// Conveyor is a conveyor in use. Without a group it is isolated by itself in no time.
type Conveyor struct {
	ID, LineID, GroupID int64
	Tag                 string
}

// Stop is an agreed stop.
type Stop struct {
	ID         int64
	Alias      int64   // another number it goes by: that of an occurrence before it had a row; 0: none
	LineID     int64   // 0: the whole plant, or the conveyors listed
	Conveyors  []int64 // empty: the whole line or plant
	Start, End time.Time
	Name       string // as sentences call it: "of 12 Dec, Ship intake"
}

// Scope tells whether a conveyor stands still in the stop.
func (s *Stop) Scope(c Conveyor) bool {
	if len(s.Conveyors) == 0 {
		return s.LineID == 0 || s.LineID == c.LineID
	}
	for _, id := range s.Conveyors {
		if id == c.ID {
			return true
		}
	}
	return false
}

// Order is an order that is accepted or placed, or begun.
type Order struct {
	ID, Number  int64
	Kind        string
	ConveyorID  int64
	DurationMin int
	Crew        []CrewNeed
	Kit         []KitNeed
	Stock       []StockNeed
	Isolation   bool
	NotBefore   time.Time  // zero: at any time
	LatestDay   assets.Day // "": none
	Date        Date       // what leaving its best date costs
	Begun       bool       // its people and kit are held until its stop ends; it is not planned
	Locked      bool
	After       int64         // the order it waits for; 0: none that is open
	Wait        time.Duration // from the end of that order's work
	At          *Placement    // where it stands now; nil: nowhere
	Lacks       string        // why it cannot be planned: a sentence; "": it can
}

// CrewNeed asks for so many people with a ticket; ticket 0 is anybody of the crew.
type CrewNeed struct {
	Ticket int64
	Number int
}

// KitNeed asks for one piece of kit of a class, at least so wide, that reaches a temperature.
type KitNeed struct {
	Class   string
	WidthMM int
	HeatC   int // 0: any
}

// StockNeed takes a quantity of an item, in thousandths of its unit.
type StockNeed struct {
	Item     int64
	Quantity int64
}

// Person is somebody of the crews. Available are sorted and disjoint.
type Person struct {
	ID        int64
	Customer  int64 // whose own: sent to that customer's plants alone; 0: the service company's
	Name      string
	Home      int64 // plant; 0: the depot
	Tickets   []Ticket
	Available []Span
	Callout   float64 // of a stop away from home, or that begins outside the working week
	Week      []Span  // the working week over the sheet; empty: any time
}

// Ticket is what a person may work as, and from when to when.
type Ticket struct {
	ID       int64
	Name     string
	From, To time.Time // zero: since ever, until further notice
}

// Kit is a piece of kit. It is in one place at a time.
type Kit struct {
	ID        int64
	Customer  int64 // whose own: used at that customer's plants alone; 0: the service company's
	Name      string
	Class     string
	WidthMM   int // widest belt; 0: no limit
	HeatC     int // highest temperature; 0: not heated, or nobody has entered it
	Home      int64
	Mobile    bool
	Available []Span
	Barred    string // in words, why it is not available for longer: its calibration; "": nothing to say
}

// Item is stock that jobs of the sheet take, in thousandths of its unit.
type Item struct {
	ID       int64
	Name     string
	Unit     assets.StockUnit
	OnHand   int64
	Arrivals []Arrival
	Late     string    // in words, what of it was to have come and has not, and so is not counted on; "": nothing
	Expire   []Arrival // what of the quantity on hand is good until then
}

// Arrival adds to an item.
type Arrival struct {
	At       time.Time
	Quantity int64
}

// Way is the way between two plants, 0 for the depot. A way that is not given is not known: nobody is sent on it.
type Way struct {
	From, To int64
	Minutes  int
}

// Span is a stretch of time, From inclusive, To exclusive.
type Span struct{ From, To time.Time }

// Placement is where an order stands. Start is zero, crew and kit empty where a hand left them open.
type Placement struct {
	StopID int64
	Start  time.Time
	Crew   []assets.CrewPlace
	Kit    []int64
}

// Placements are where orders stand, by order.
type Placements map[int64]Placement
