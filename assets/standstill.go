package assets

// Standstill is a stretch in which a conveyor was required and did not run because something failed: a down state by a fault in
// the sense of EN 13306. Planned stops are stop windows and stand elsewhere.
type Standstill struct {
	Version
	PlantID    int64
	ConveyorID int64
	FromAt     Instant
	UntilAt    *Instant // back in a state to run; nil: it still stands
	Cause      Cause
	SpliceID   int64    // the splice that let go; 0: none
	OrderID    int64    // the work that restored it; 0: none, or not told
	WorkedH    *float64 // hours of work of the restoration; nil: not told
	LeftOut    bool     // entered in error: it stood by no failure
	Text       string
	ClientID   string // made by whoever sends it, so that sending twice is one standstill
	EnteredBy  int64
}

// Cause is what made a conveyor stand.
type Cause string

// Causes, by the part of the conveyor that failed (common practice).
const (
	CauseSplice  Cause = "splice"
	CauseBelt    Cause = "belt"
	CauseDrive   Cause = "drive or gearbox"
	CausePulley  Cause = "pulley or bearing"
	CauseIdler   Cause = "idler or slider bed"
	CauseScraper Cause = "scraper or chute"
	CausePower   Cause = "power or control"
	CauseProduct Cause = "jam or spillage"
	CauseOther   Cause = "other"
	CauseUnknown Cause = "not known yet"
)

// Causes lists the causes in the order forms offer them.
var Causes = []Cause{CauseSplice, CauseBelt, CauseDrive, CausePulley, CauseIdler, CauseScraper, CausePower, CauseProduct, CauseOther, CauseUnknown}
