package assets

// CrewPlace is a person of an order's crew and what the person works as.
type CrewPlace struct {
	PersonID        int64 `json:"person_id"`
	QualificationID int64 `json:"qualification_id,omitempty"` // 0: no ticket is asked for
}

// PublishedPlan is what a person published for one plant. A plan over many plants is a row for each, with the number of the
// first one.
type PublishedPlan struct {
	ID          int64 `gorm:"primaryKey"`
	PlantID     int64
	WithID      int64 // of the row of the first plant published together; its own ID when alone
	PublishedAt Instant
	PublishedBy int64
	Base        int64        // position of the plant's chain that the plan was made on
	Cost        int64        // of the whole plan, in the units of its case; 0: moved by hand, nothing was searched
	Bound       int64        // no plan of the case costs less
	Seed        int64        // with Steps and the case what makes the same plan again
	Steps       int64        // of the search
	CaseDigest  string       // SHA-256 of the case that was searched; "": moved by hand
	Changes     []PlanChange `gorm:"serializer:json"`
	KnownFrom   int64
}

// TableName is "plans".
func (PublishedPlan) TableName() string { return "plans" }

// PlanChange is one order that a published plan moved. A stop of 0 is none.
type PlanChange struct {
	OrderID  int64 `json:"order_id"`
	FromStop int64 `json:"from_stop,omitempty"`
	ToStop   int64 `json:"to_stop,omitempty"`
	// Cost is what the change costs; negative where the plan is cheaper with it.
	Cost int64 `json:"cost,omitempty"`
}

// PlanDraft is what a person has moved on the horizon of a plant and not published. It is no fact.
type PlanDraft struct {
	ID       int64 `gorm:"primaryKey"`
	PersonID int64
	PlantID  int64
	At       Instant     // of the last move
	Moves    []DraftMove `gorm:"serializer:json"`
}

// DraftMove is one order in a draft: where it would go, and how it stood when it was moved.
type DraftMove struct {
	OrderID     int64       `json:"order_id"`
	EditVersion int64       `json:"edit_version"` // of the order as it stood
	FromStop    int64       `json:"from_stop,omitempty"`
	ToStop      int64       `json:"to_stop,omitempty"` // 0: out of its stop
	Start       Instant     `json:"start,omitempty"`
	Crew        []CrewPlace `json:"crew,omitempty"`
	Tools       []int64     `json:"tools,omitempty"`
	Cost        int64       `json:"cost,omitempty"`
	Why         string      `json:"why,omitempty"`      // why it does not fit, in words; "": it fits
	Help        []string    `json:"help,omitempty"`     // what would make it fit
	Searched    bool        `json:"searched,omitempty"` // a re-plan made it, not a hand
	Hours       bool        `json:"hours,omitempty"`    // new hours in the stop it stands in, which was moved from under it
}

// Fits tells whether the move can be kept.
func (m DraftMove) Fits() bool { return m.Why == "" }
