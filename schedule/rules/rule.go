package rules

import (
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// Rule is a rule as a person saved it. Editing keeps its ID; each edit is a new version.
type Rule struct {
	assets.Version
	CustomerID  int64 // 0 with PlantID 0: for every plant of the company
	PlantID     int64
	Name        string
	Scope       Scope    `gorm:"serializer:json"`
	Trigger     Trigger  `gorm:"serializer:json"`
	Template    Template `gorm:"serializer:json"`
	Class       assets.Class
	Source      string
	SavedBy     int64
	StartsAt    assets.Instant // raises nothing planned before this (its start, or its last edit)
	Off         bool
	EditVersion int64 // counts edits: a save carries the number it read
}

// Scope is a filter over the register; its zero value is every splice.
type Scope struct {
	Target     TargetKind    `json:"target"` // what the rule looks at
	Lines      []int64       `json:"lines,omitempty"`
	Conveyors  []int64       `json:"conveyors,omitempty"`
	Forms      []assets.Form `json:"forms,omitempty"`
	Bonds      []assets.Bond `json:"bonds,omitempty"`
	Families   []string      `json:"families,omitempty"`    // belt families
	UsedFrom   float64       `json:"used_from,omitempty"`   // life used at or above this share (0.8 = 80 %)
	AgeUnknown bool          `json:"age_unknown,omitempty"` // only splices whose date is not known
	WashDown   *bool         `json:"wash_down,omitempty"`
	Outdoor    *bool         `json:"outdoor,omitempty"`
}

// TargetKind is what an occurrence is about.
type TargetKind string

// Targets.
const (
	TargetSplice   TargetKind = "splice"
	TargetBelt     TargetKind = "belt"
	TargetConveyor TargetKind = "conveyor"
	TargetLine     TargetKind = "line"
	TargetPlant    TargetKind = "plant"
	TargetFinding  TargetKind = "finding"
)

// TriggerKind is what makes a rule fire.
type TriggerKind string

// Triggers that are built.
const (
	TriggerCron     TriggerKind = "cron"     // cron expression in the plant's zone
	TriggerInterval TriggerKind = "interval" // every n days, weeks, months, from the plan or the last completion
	TriggerHours    TriggerKind = "hours"    // running hours since the event counted from
	TriggerPasses   TriggerKind = "passes"   // splice passes since the event counted from
	TriggerEvent    TriggerKind = "event"    // n hours after a splice or belt was fitted
	TriggerGrade    TriggerKind = "grade"    // a finding of at least this grade
	TriggerTakeUp   TriggerKind = "take-up"  // take-up travel left for fewer re-splices than this
	TriggerLife     TriggerKind = "life"     // chance of failing before the stop after next, or the best age
)

// Trigger says when. Only the fields of its kind are set.
type Trigger struct {
	Kind          TriggerKind `json:"kind"`
	Cron          string      `json:"cron,omitempty"`
	Every         int         `json:"every,omitempty"`
	Unit          string      `json:"unit,omitempty"`         // day, week, month, year
	CountedFrom   string      `json:"counted_from,omitempty"` // plan, completion, made (the splice's or belt's own date)
	AnchorDay     assets.Day  `json:"anchor_day,omitempty"`
	TimeOfDay     string      `json:"time_of_day,omitempty"` // HH:MM plant time
	Hours         float64     `json:"hours,omitempty"`
	Passes        float64     `json:"passes,omitempty"`
	Repeats       bool        `json:"repeats,omitempty"` // hours, passes: again after every further Hours/Passes
	Event         string      `json:"event,omitempty"`   // splice made, belt fitted
	AfterHours    float64     `json:"after_hours,omitempty"`
	RunningHours  bool        `json:"running_hours,omitempty"` // AfterHours are running hours, not elapsed
	Grade         int         `json:"grade,omitempty"`
	Categories    []string    `json:"categories,omitempty"`
	ResplicesLeft int         `json:"resplices_left,omitempty"`
	Chance        float64     `json:"chance,omitempty"`   // of failing before the stop after next, in (0, 1)
	BestAge       bool        `json:"best_age,omitempty"` // in its place: the age at which replacing costs least
	Quantity      string      `json:"quantity,omitempty"` // trend: what is measured; "": whatever is
	Watches       string      `json:"watches,omitempty"`  // kit: counters at their limit, or calibration dates
}

// Between is how long a rule of intervals leaves between two orders, a month taken as 30 days and a year as 365; 0 for other rules.
func (t Trigger) Between() time.Duration {
	days := map[string]int{"day": 1, "week": 7, "month": 30, "year": 365}[t.Unit]
	if t.Kind != TriggerInterval {
		return 0
	}
	return time.Duration(t.Every*days) * 24 * time.Hour
}

// Template is the order a rule raises.
type Template struct {
	Kind       workorder.Kind `json:"kind"`
	Title      string         `json:"title"`       // "remake {target}"
	LeadDays   int            `json:"lead_days"`   // raised so many days before it falls due (clocks, intervals)
	LatestDays int            `json:"latest_days"` // latest date: so many days after it falls due
	WorkHours  float64        `json:"work_hours"`
	Crew       int            `json:"crew"`
	BeltStands bool           `json:"belt_stands"` // the work needs the belt stopped
}

// Occurrence is one firing of a rule on one target, kept under its key.
type Occurrence struct {
	ID           int64 `gorm:"primaryKey"`
	PlantID      int64
	RuleID       int64
	TargetKind   TargetKind
	TargetID     int64
	Cycle        string         // see the product's words for each trigger
	WithdrawalNo int            // 0, or the number of the withdrawal that freed the cycle before it
	DueAt        assets.Instant // when it falls due
	DueDay       assets.Day     // plant date of DueAt
	PlannedLocal string         // planned local date and time of a calendar occurrence
	RaisedAt     assets.Instant
	OrderID      int64      // 0: a reminder without an order
	Joined       bool       // the order was open already: this row points to it
	Why          string     // rule, clock, values, date, in one sentence
	Values       string     // JSON object of the figures behind Why
	NotBefore    assets.Day // a reminder put off until
	KnownFrom    int64
}
