package assets

// Form is how the two belt ends are shaped.
type Form string

// Forms of a splice; "" when not known.
const (
	FormFinger           Form = "finger"
	FormFingerOverFinger Form = "finger-over-finger"
	FormStepped          Form = "stepped"
	FormSkivedOverlap    Form = "skived-overlap"
	FormButt             Form = "butt"
	FormMechanical       Form = "mechanical" // kind of fastener not known
	FormHinged           Form = "mechanical-hinged"
	FormHook             Form = "mechanical-hook"
	FormBoltedPlate      Form = "mechanical-bolted-plate"
)

// Bond is what holds the ends together.
type Bond string

// Bonds of a splice; "" when not known.
const (
	BondHotPressed    Bond = "hot-pressed"
	BondHotVulcanised Bond = "hot-vulcanised"
	BondColdBonded    Bond = "cold-bonded"
	BondNone          Bond = "none"
)

// Forms and Bonds list the values in the order forms offer them.
var (
	Forms = []Form{FormFinger, FormFingerOverFinger, FormStepped, FormSkivedOverlap, FormButt, FormMechanical, FormHinged, FormHook, FormBoltedPlate}
	Bonds = []Bond{BondHotPressed, BondHotVulcanised, BondColdBonded, BondNone}
)

// Mechanical tells whether the form is held by fasteners.
func (f Form) Mechanical() bool {
	return f == FormMechanical || f == FormHinged || f == FormHook || f == FormBoltedPlate
}

// Words returns the form in the trade's words, "form not known" when not known.
func (f Form) Words() string {
	switch f {
	case FormFinger:
		return "finger"
	case FormFingerOverFinger:
		return "finger-over-finger"
	case FormStepped:
		return "stepped"
	case FormSkivedOverlap:
		return "skived overlap"
	case FormButt:
		return "butt"
	case FormMechanical:
		return "mechanical fasteners"
	case FormHinged:
		return "hinged fasteners"
	case FormHook:
		return "hook fasteners"
	case FormBoltedPlate:
		return "bolted plate fasteners"
	}
	return "form not known"
}

// Words returns the bond in the trade's words, "" for none and "bond not known" when not known.
func (b Bond) Words() string {
	switch b {
	case BondHotPressed:
		return "hot pressed"
	case BondHotVulcanised:
		return "hot vulcanised"
	case BondColdBonded:
		return "cold bonded"
	case BondNone:
		return ""
	}
	return "bond not known"
}

// KindWords returns form and bond together as one reads them: "hot vulcanised, stepped", "finger",
// "mechanical fasteners", "kind not known".
func KindWords(f Form, b Bond) string {
	switch {
	case f == "" && b == "":
		return "kind not known"
	case f == "":
		return b.Words()
	case b == "" || b == BondNone:
		return f.Words()
	}
	return b.Words() + ", " + f.Words()
}

// RetiredWhy tells why a splice ended.
type RetiredWhy string

// Reasons of an ending. Unknown is set by the program only and stays a question until a person answers.
const (
	RetiredFailed           RetiredWhy = "failed"
	RetiredPlanned          RetiredWhy = "planned"
	RetiredBeltRemoved      RetiredWhy = "belt-removed"
	RetiredConveyorScrapped RetiredWhy = "conveyor-scrapped"
	RetiredUnknown          RetiredWhy = "unknown"
)

// Words returns the reason in words.
func (w RetiredWhy) Words() string {
	switch w {
	case RetiredFailed:
		return "failed"
	case RetiredPlanned:
		return "replaced sound"
	case RetiredBeltRemoved:
		return "belt removed"
	case RetiredConveyorScrapped:
		return "conveyor scrapped"
	case RetiredUnknown:
		return "ended, why not known"
	}
	return ""
}

// Splice is one joint in a belt, from its making to its end.
type Splice struct {
	Version
	PlantID        int64
	ConveyorID     int64
	BeltID         int64
	Number         string   // mark on the belt: S2 is "2"
	PositionM      *float64 // distance from the belt's zero mark along the loop
	Form           Form
	Bond           Bond
	KindWritten    string // the word of the list it came from
	FingerPitchM   float64
	FingerLengthM  float64
	StepLengthM    float64
	Steps          int // number of steps (plies less one) of a stepped splice; 0: not known
	BiasAngleDeg   float64
	Made           When `gorm:"embedded;embeddedPrefix:made_"`
	MadeByID       int64
	MadeBy         string   `gorm:"-"` // filled by the storage from the table of people
	MadeOrderID    int64    // order whose closing made it; 0: none
	MadeWith       string   // kit, recipe and cycle record, in words
	Ended          *Instant // nil: still running. The instant Retired counts from
	Retired        When     `gorm:"embedded;embeddedPrefix:retired_"`
	RetiredWhy     RetiredWhy
	FailureMode    string
	RetiredOrderID int64
	Remark         string
	AsTyped        AsTyped `gorm:"serializer:json"`
}

// Live tells whether the splice was made by t and had not ended by then.
func (s Splice) Live(t Instant) bool { return s.Made.At <= t && (s.Ended == nil || *s.Ended > t) }
