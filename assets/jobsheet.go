package assets

// JobTemplate is the steps and checks of a kind of work, for a splice kind or for any. A change makes a new edition; a job
// sheet keeps the steps it was opened with.
type JobTemplate struct {
	Version
	OrderKind string
	Form      Form // "": any
	Bond      Bond
	Steps     []JobStep `gorm:"serializer:json"`
	Edition   int64
	Changed   string // what this edition changes, and why
	SavedBy   int64
	SavedAt   Instant
}

// JobStep is one step of the work, or one check after it.
type JobStep struct {
	Key     string   `json:"key"` // the same in all editions as long as it means the same
	Check   bool     `json:"check,omitempty"`
	Words   string   `json:"words"`
	Measure string   `json:"measure,omitempty"` // what is measured; "": nothing
	Unit    string   `json:"unit,omitempty"`    // as stored and shown
	Least   *float64 `json:"least,omitempty"`
	Most    *float64 `json:"most,omitempty"`
	Photo   bool     `json:"photo,omitempty"` // a photo belongs to it
}

// JobSheet is the sheet of one order: its steps as they were when the work was taken up, isolation and permit.
type JobSheet struct {
	Version
	PlantID    int64
	OrderID    int64
	TemplateID int64 // 0: the steps the program knows
	Edition    int64
	Isolation  string // point at which it is isolated
	Permit     string
	Steps      []JobStep `gorm:"serializer:json"`

	HeadDeviceID     *int64   // the device isolation point and permit were noted on without a network; nil: on a screen
	HeadDeviceAt     *Instant // by that device's clock
	HeadOffsetUS     *int64   // device's clock less the program's at the last contact before; nil: there was none
	HeadSentOffsetUS *int64   // the same when they were sent
	HeadArrivedAt    *Instant
}

// JobEntry is what somebody noted at a step: done, not done or not applicable, perhaps with a measured value. Entries are added,
// never changed; the newest of a step holds.
type JobEntry struct {
	ID        int64 `gorm:"primaryKey"`
	PlantID   int64
	OrderID   int64
	StepKey   string
	State     string // done, failed, not applicable
	Value     *float64
	Note      string
	PersonID  int64
	At        Instant // when it was done, by who noted it
	EnteredAt Instant
	ClientID  string // made where it was noted, so that sending twice is one entry
	KnownFrom int64

	DeviceID     *int64   // the device it was noted on without a network; nil: on a screen
	DeviceAt     *Instant // by that device's clock
	OffsetUS     *int64   // device's clock less the program's at the last contact before it was noted; nil: there was none
	SentOffsetUS *int64   // the same when it was sent
}

// HeadStep is the step key of what was noted of isolation point and permit on a device and arrived only after something newer: it is kept, and
// replaces nothing.
const HeadStep = "isolation and permit"

// NotedAt is when an entry was noted, by the program's clock: of one from a device before it arrived.
func (e JobEntry) NotedAt() Instant {
	if e.DeviceID == nil {
		return e.EnteredAt
	}
	return min(e.At, e.EnteredAt)
}

// JobSignature is a signature under a job sheet as it came in from a device that several may use. The order is signed when the number of
// whoever signs and their ticket on that day were right; else it waits for the lead, with all that was sent.
type JobSignature struct {
	ID           int64 `gorm:"primaryKey;autoIncrement:false"`
	PlantID      int64
	OrderID      int64
	ClientID     string // made on the device
	PersonID     int64  // whose name it is
	SentBy       int64  // who was signed in on the device
	DeviceID     int64
	DeviceAt     Instant // by the device's clock
	OffsetUS     *int64  // device's clock less the program's at the last contact before; nil: there was none
	SentOffsetUS int64
	ArrivedAt    Instant
	BeganAt      Instant // the work, by the program's clock
	DoneAt       Instant
	Hours        float64 // of work in the stop
	Note         string
	Made         *JobMade   `gorm:"serializer:json"` // nil: no splice was remade
	Counted      JobCounted `gorm:"serializer:json"`
	NumberRight  bool       // the number was the person's; false: wrong, none set, or not to be read
	State        string     // see the words below
	Why          string     // why it waits
	DecidedBy    int64      // 0: nobody had to
	DecidedAt    *Instant
	DecidedWhy   string
	KnownFrom    int64
}

// States of a signature.
const (
	SignatureTaken   = "taken"   // the order is signed by it
	SignatureWaits   = "waits"   // the lead decides
	SignatureRefused = "refused" // the lead refused it
)

// JobMade is what a sheet tells of a splice that was remade.
type JobMade struct {
	Retired     RetiredWhy `json:"retired"` // how the old one ended
	FailureMode string     `json:"failure_mode,omitempty"`
	ShorterM    float64    `json:"shorter_m"` // by how much the loop is shorter
}

// JobCounted is what was counted on a job: wear of the kit it was placed with, and what it took from stock. What is not in it was not
// counted: what a job usually counts and takes stands for it.
type JobCounted struct {
	Counters map[int64]float64  `json:"counters,omitempty"` // by counter, so that of two presses each gets its own
	Wear     map[Wear]float64   `json:"wear,omitempty"`     // by what is counted, of whatever counts it; a counter's own goes before
	Taken    map[int64]Quantity `json:"taken,omitempty"`    // by item
}

// PersonPIN is the number by which a person signs on a device that several use.
type PersonPIN struct {
	ID        int64 `gorm:"primaryKey;autoIncrement:false"`
	PersonID  int64
	PINHash   string `gorm:"column:pin_hash" json:"-"` // argon2id with salt and cost
	MadeAt    Instant
	KnownFrom int64
	KnownTo   *int64
}

// TableName is "person_pins".
func (PersonPIN) TableName() string { return "person_pins" }
