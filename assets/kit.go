package assets

import "slices"

// Kit is a piece of what crews work with and bring back: a press, a cutter, a template, a thermometer. It is in one
// place at a time.
type Kit struct {
	Version
	CustomerID      int64 // whose it is; 0: the service company's, shared by its plants
	HomePlantID     int64 // where it stands when nobody has it; 0: the service company's depot
	Name            string
	NameKey         string
	Class           KitClass
	GoesWithID      int64 // the kit it is fitted to (a gauge to its press); 0: none
	Serial          string
	WorkingWidthM   float64 // widest belt it takes, m; 0: no limit applies
	MaxTemperatureC float64 // 0: not heated
	Mobile          bool    // leaves its home with a crew
	HiredFrom       string  // who lends it; "": one's own
	InUseFromDay    Day     // "" since ever
	InUseUntilDay   Day     // the last day; "" open
	Remark          string
}

// TableName is "kit".
func (Kit) TableName() string { return "kit" }

// InUse tells whether the kit is in use on a day.
func (k Kit) InUse(on Day) bool {
	return (k.InUseFromDay == "" || on >= k.InUseFromDay) && (k.InUseUntilDay == "" || on <= k.InUseUntilDay)
}

// Takes tells whether a belt of a width goes into the kit.
func (k Kit) Takes(widthM float64) bool { return k.WorkingWidthM == 0 || widthM <= k.WorkingWidthM }

// KitClass is what a piece of kit is.
type KitClass string

// Classes of kit.
const (
	KitPress       KitClass = "press"
	KitCutter      KitClass = "cutter"
	KitVulcaniser  KitClass = "vulcaniser"
	KitTemplate    KitClass = "template"
	KitThermometer KitClass = "thermometer"
	KitGauge       KitClass = "gauge"
	KitOther       KitClass = "other"
)

// KitClasses lists the classes in the order forms offer them.
var KitClasses = []KitClass{KitPress, KitCutter, KitVulcaniser, KitTemplate, KitThermometer, KitGauge, KitOther}

// KitAway is a stretch of time in which kit is not to be had.
type KitAway struct {
	Version
	CustomerID int64 // as the kit's
	KitID      int64
	FromAt     Instant
	ToAt       Instant // exclusive; 0: until further notice
	Why        AwayWhy
	Where      string `gorm:"column:where_words"` // in words: the workshop that calibrates it
	Cancelled  bool
}

// Holds tells whether the kit is away at an instant.
func (a KitAway) Holds(at Instant) bool {
	return !a.Cancelled && at >= a.FromAt && (a.ToAt == 0 || at < a.ToAt)
}

// AwayWhy is why kit is away.
type AwayWhy string

// Reasons to be away.
const (
	AwayService     AwayWhy = "service"
	AwayCalibration AwayWhy = "calibration"
	AwayRepair      AwayWhy = "repair"
	AwayLoan        AwayWhy = "on loan"
	AwayOwner       AwayWhy = "with its owner"
	AwayOther       AwayWhy = "other"
)

// AwayWhys lists the reasons in the order forms offer them.
var AwayWhys = []AwayWhy{AwayService, AwayCalibration, AwayRepair, AwayLoan, AwayOwner, AwayOther}

// KitCounter counts one kind of wear of a piece of kit, or of a part fitted to it, against a limit. A new part gets
// new counters; those of the old one end.
type KitCounter struct {
	Version
	CustomerID int64 // as the kit's
	KitID      int64
	Counts     Wear
	Part       string  // the part that wears ("pad 6"); "": the kit itself
	InUse      bool    // of a pad: this side is up, jobs count here
	Limit      float64 `gorm:"column:wear_limit"` // 0: none known
	PerJob     float64 // counts a job of the kind that uses it makes; 0: as counted on the job
	Class      Class   // of the limit
	Source     string
	FittedAt   Instant // counting begins
	EndedAt    Instant // 0: still fitted
	EndedWhy   string
}

// Wear is what a counter counts.
type Wear string

// What counters count.
const (
	WearPressCycles    Wear = "press cycles"
	WearPadCycles      Wear = "pad cycles"
	WearTemplateCycles Wear = "template cycles"
	WearPadCutsA       Wear = "cuts on pad side A"
	WearPadCutsB       Wear = "cuts on pad side B"
	WearBladeCuts      Wear = "blade cuts"
)

// Wears lists what counters count in the order forms offer it.
var Wears = []Wear{WearPressCycles, WearPadCycles, WearTemplateCycles, WearPadCutsA, WearPadCutsB, WearBladeCuts}

// PadSide returns "A" or "B" for cuts on a side of a cutter's pad, "" for the rest.
func (w Wear) PadSide() string {
	switch w {
	case WearPadCutsA:
		return "A"
	case WearPadCutsB:
		return "B"
	}
	return ""
}

// Unit is what one count is called.
func (w Wear) Unit() string {
	if slices.Contains([]Wear{WearPadCutsA, WearPadCutsB, WearBladeCuts}, w) {
		return "cuts"
	}
	return "cycles"
}

// KitCount moves a counter: by a signed job, or by a person with a reason. Counts are never changed, only moved back
// by another.
type KitCount struct {
	ID         int64 `gorm:"primaryKey"`
	CustomerID int64 // as the kit's
	KitID      int64
	CounterID  int64
	Quantity   float64 // may be negative
	At         Instant // when the work was done
	EnteredAt  Instant
	OrderID    int64 // the signed job; 0: by hand
	PersonID   int64
	Reason     string // must stand where no order does
	KnownFrom  int64
}

// Calibration is one calibration of a piece of kit.
type Calibration struct {
	Version
	CustomerID    int64 // as the kit's
	KitID         int64
	OnDay         Day
	DueDay        Day // next due; "" when none is
	Certificate   string
	AttachmentID  int64 // the certificate; 0: not seen
	Class         Class // of the interval
	Source        string
	Withdrawn     bool
	WithdrawnWhy  string
	CalibratedFor string // what was compared, in words: "at 150 and 180 °C"
}
