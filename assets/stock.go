package assets

import (
	"fmt"
	"math"
	"strconv"
)

// Quantity is an amount of stock in thousandths of its item's own unit: millimetres of a cloth kept by the metre,
// grams of an adhesive kept by the kilogram, 1000 for a piece. Whole numbers, so that a ledger balances to nothing.
type Quantity int64

// QuantityOf returns an amount in the item's unit as a Quantity, to the nearest thousandth. ok is false for what is no
// number or does not fit.
func QuantityOf(amount float64) (q Quantity, ok bool) {
	t := math.Round(amount * 1000)
	if !(math.Abs(t) <= 1e12) {
		return 0, false
	}
	return Quantity(t), true
}

// Float returns the amount in the item's unit.
func (q Quantity) Float() float64 { return float64(q) / 1000 }

// String writes the amount without unit, as short as it is exact.
func (q Quantity) String() string { return strconv.FormatFloat(q.Float(), 'f', -1, 64) }

// StockItem is a thing kept in stock: a consumable, a spare, a belt by specification and width.
type StockItem struct {
	Version
	CustomerID      int64 // whose list it is on; 0: the service company's, for all plants
	Name            string
	NameKey         string
	Kind            StockKind
	Unit            StockUnit
	Critical        bool     // one spare stays on hand
	ShelfLifeDays   int      // from made or received; 0: does not age
	LeadTimeDays    int      // from order to shelf
	ServiceLevel    float64  // chance of not running out while waiting, in (0, 1); 0: as the company's default
	PackQuantity    Quantity // supplied in multiples of this; 0: any
	SpecificationID int64    // of belt; 0: none
	WidthM          float64  // of belt and cloth; 0: none
	MassKGPerUnit   float64  // 0: not known
	CostPerUnit     float64  // in the company's currency; 0: not known
	Class           Class    // of lead time and service level
	Source          string
	Remark          string
	Ended           bool // no longer kept
}

// Whole tells whether the item goes out in whole units only.
func (i StockItem) Whole() bool { return i.Unit == UnitPiece || i.Unit == UnitSet }

// IsBelt tells whether the item is belt by specification and width, cut from rolls.
func (i StockItem) IsBelt() bool { return i.Kind == StockBelt }

// InCuts tells whether the item is cut from rolls and leaves offcuts.
func (i StockItem) InCuts() bool { return i.Unit == UnitMetre }

// StockKind is what an item is for.
type StockKind string

// Kinds of stock.
const (
	StockCloth    StockKind = "release cloth"
	StockPressPad StockKind = "press pad"
	StockCutPad   StockKind = "cutter pad"
	StockBlade    StockKind = "blade"
	StockTemplate StockKind = "template"
	StockAdhesive StockKind = "adhesive"
	StockFilm     StockKind = "film and rubber"
	StockFastener StockKind = "fasteners"
	StockCleaner  StockKind = "cleaner"
	StockBelt     StockKind = "belt"
	StockOther    StockKind = "other"
)

// StockKinds lists the kinds in the order forms offer them.
var StockKinds = []StockKind{StockCloth, StockPressPad, StockCutPad, StockBlade, StockTemplate, StockAdhesive, StockFilm, StockFastener, StockCleaner, StockBelt, StockOther}

// StockUnit is an item's natural unit.
type StockUnit string

// Units of stock.
const (
	UnitMetre    StockUnit = "m"
	UnitSquareM  StockUnit = "m²"
	UnitPiece    StockUnit = "piece"
	UnitSet      StockUnit = "set"
	UnitKilogram StockUnit = "kg"
	UnitLitre    StockUnit = "l"
)

// StockUnits lists the units in the order forms offer them.
var StockUnits = []StockUnit{UnitMetre, UnitSquareM, UnitPiece, UnitSet, UnitKilogram, UnitLitre}

// Of writes a quantity with its unit: "4 m", "1 piece", "3 sets".
func (u StockUnit) Of(q Quantity) string {
	if (u == UnitPiece || u == UnitSet) && q != 1000 {
		return fmt.Sprintf("%s %ss", q, u)
	}
	return fmt.Sprintf("%s %s", q, u)
}

// StockLot is what came together and ages together: a tin, a roll, an offcut. It lies in one place.
type StockLot struct {
	Version
	CustomerID  int64 // whose depot; 0: the service company's, and at a plant
	PlantID     int64 // where it lies; 0: the depot
	ItemID      int64
	Lot         string // the maker's lot or roll number, or our own
	GoodUntil   Day    // the last day it may be used; "" does not age
	OpenedDay   Day
	Shelf       string  // where in the place, in words
	WidthM      float64 // of a roll or offcut narrower than its item; 0: as the item
	CutFromID   int64   // the lot an offcut was cut from
	Quarantined string  // why it must not be used; "" usable
}

// OutOfDate tells whether the lot may no longer be used on a day.
func (l StockLot) OutOfDate(on Day) bool { return l.GoodUntil != "" && on > l.GoodUntil }

// StockMovement is a line of the ledger: what a lot gained or lost. Lines are never changed. Every posting balances: what
// the lots of its lines gain, what lies behind Why gives.
type StockMovement struct {
	ID         int64 `gorm:"primaryKey"`
	CustomerID int64 // as the lot's
	PlantID    int64 // as the lot's
	ItemID     int64
	LotID      int64
	Quantity   Quantity // gained; negative: lost
	Why        MovementWhy
	PostingID  int64 // lines of one act: those of a move and of a cut sum to nothing
	At         Instant
	EnteredAt  Instant
	OrderID    int64 // issued to, returned from; 0: none
	SupplyID   int64 // the supply order it came with; 0: none
	PersonID   int64
	Reason     string
	KnownFrom  int64
}

// MovementWhy is what lies on the other side of a movement.
type MovementWhy string

// What lies on the other side.
const (
	MoveReceived MovementWhy = "received" // from a supplier
	MoveIssued   MovementWhy = "issued"   // to an order
	MoveReturned MovementWhy = "returned" // from an order
	MoveCounted  MovementWhy = "counted"  // found or missed when counted
	MoveScrapped MovementWhy = "scrapped"
	MoveMoved    MovementWhy = "moved" // to or from another place
	MoveCut      MovementWhy = "cut"   // to or from an offcut
)

// MovementWhys lists the other sides.
var MovementWhys = []MovementWhy{MoveReceived, MoveIssued, MoveReturned, MoveCounted, MoveScrapped, MoveMoved, MoveCut}

// StockPolicy is how an item is kept at a place, where it differs from the item's own figures.
type StockPolicy struct {
	Version
	CustomerID   int64
	PlantID      int64 // 0: the depot
	ItemID       int64
	LeadTimeDays int      // 0: as the item
	ServiceLevel float64  // 0: as the item
	FixedPoint   Quantity // reorder point a person set; 0: computed
	Spare        Quantity // stays on hand; 0: one unit where the item is critical
	Class        Class
	Source       string
	Ended        bool
}

// SupplyOrder is an order to a supplier for one place.
type SupplyOrder struct {
	Version
	CustomerID  int64
	PlantID     int64 // where it goes; 0: the depot
	ItemID      int64
	Number      int64 // of supply orders, over all places
	Quantity    Quantity
	Received    Quantity
	State       SupplyState
	OrderedDay  Day
	ExpectedDay Day
	Supplier    string
	Reference   string // the supplier's
	Remark      string
	AskedBy     int64
}

// Outstanding is what is still to come.
func (s SupplyOrder) Outstanding() Quantity {
	if s.State != SupplyOrdered {
		return 0
	}
	return max(0, s.Quantity-s.Received)
}

// SupplyState is where a supply order stands.
type SupplyState string

// States of a supply order.
const (
	SupplyAsked     SupplyState = "asked" // to be ordered
	SupplyOrdered   SupplyState = "ordered"
	SupplyReceived  SupplyState = "received"
	SupplyCancelled SupplyState = "cancelled"
)

// SupplyStates lists the states.
var SupplyStates = []SupplyState{SupplyAsked, SupplyOrdered, SupplyReceived, SupplyCancelled}
