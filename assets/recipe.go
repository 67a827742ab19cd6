package assets

// Recipe is how a splice is pressed: set figures and what may differ from them, for a splice kind and perhaps for some
// belts only. A change makes a new edition; a press record keeps the edition it was made with.
type Recipe struct {
	Version
	Name           string
	NameKey        string
	Form           Form
	Bond           Bond
	Specifications []int64 `gorm:"serializer:json"` // belts it is for; empty: any
	ThinnestM      *float64
	ThickestM      *float64
	Values         []CatalogueValue `gorm:"serializer:json"` // quantities of schedule/press, each with class and source
	Edition        int64            // 1 and up
	Changed        string           // what this edition changes, and why
	SavedBy        int64
	SavedAt        Instant
	Withdrawn      bool // not offered any more
}

// PressRecord is one press cycle of a splice as it was judged: the proof of how it was pressed.
type PressRecord struct {
	Version
	PlantID      int64
	SpliceID     int64
	OrderID      int64 // 0: none
	RecipeID     int64
	Edition      int64  // of the recipe
	Press        string // as it is called
	PressedAt    Instant
	AttachmentID int64         // the recorded trace, kept with the splice; 0: figures read off the press
	Cycle        int64         // which cycle of the trace, from 1; 0: read off
	Figures      []PressFigure `gorm:"serializer:json"`
	Notices      []string      `gorm:"serializer:json"` // what a person should know of the trace
	Verdict      string        // within, outside, cannot judge
	Reason       string        // for what is outside
	ReasonBy     int64
	FollowUpID   int64 // order of the early inspection
	RecordedBy   int64
	RecordedAt   Instant
	Withdrawn    bool
}

// PressFigure is one figure of a press cycle with its verdict.
type PressFigure struct {
	Name    string   `json:"name"` // of schedule/press, ends in its unit
	Value   *float64 `json:"value,omitempty"`
	Verdict string   `json:"verdict"`
	Why     string   `json:"why,omitempty"`
}
