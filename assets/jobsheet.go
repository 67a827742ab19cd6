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
}
