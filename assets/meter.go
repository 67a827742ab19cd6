package assets

// Meter is a stretch of a conveyor's hour meter on which shown hours plus OffsetH are the conveyor's
// running hours: the first meter, a replacement, or the time after a rollover.
type Meter struct {
	Version
	PlantID        int64
	ConveyorID     int64
	FromAt         Instant  // the stretch begins; readings at or after it belong to it
	Why            MeterWhy // why a new stretch begins
	StartH         float64  // what the new meter showed when fitted
	PreviousFinalH *float64 // what the old one showed last; nil: not known, its last accepted reading counts
	RollsOverAtH   float64  // the counter's range, hours; 0: not known
	OffsetH        float64  // added to what the meter shows
	ResolutionH    float64  // one display step, hours (0.1 usual)
	SerialNumber   string
	Remark         string
}

// MeterWhy tells why a stretch of meter begins.
type MeterWhy string

// Reasons of a new stretch.
const (
	MeterFirst      MeterWhy = "first"
	MeterReplaced   MeterWhy = "replaced"
	MeterRolledOver MeterWhy = "rolled_over"
)

// Reading is an accepted reading of a conveyor's hour meter. Its key is conveyor, instant and KnownFrom;
// a corrected value ends by KnownTo. Hours are as shown: the meter stretch in force adds its offset.
type Reading struct {
	ConveyorID  int64   `gorm:"primaryKey;autoIncrement:false"`
	At          Instant `gorm:"primaryKey;autoIncrement:false"`
	KnownFrom   int64   `gorm:"primaryKey;autoIncrement:false"`
	KnownTo     *int64
	ShownH      float64
	Approximate bool // the instant is the end of an interval (a month heading)
	Remark      *string
}

// HeldReading is a reading that contradicts its neighbours and waits for a person's decision. It is never
// used and never dropped.
type HeldReading struct {
	ID              int64 `gorm:"primaryKey"`
	PlantID         int64
	ConveyorID      int64
	At              Instant
	ShownH          float64
	Class           string // backwards, more_than_24_h_a_day, same_instant
	Question        string // one sentence: what contradicts what
	Origin          string // where it came from: file and row, screen
	EnteredAt       Instant
	EnteredBy       int64
	KnownFrom       int64
	Decision        string // "" waiting; accepted, replaced, rolled_over, left_out
	DecidedAt       Instant
	DecidedBy       int64
	DecidedFor      string // the reason given
	DecidedPosition int64
}
