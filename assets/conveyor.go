package assets

// Conveyor is one conveyor of a line. Its tag is unique in its plant.
type Conveyor struct {
	Version
	PlantID         int64
	LineID          int64 // 0: no line named
	Tag             string
	TagKey          string
	Name            string
	OtherNames      []string `gorm:"serializer:json"` // other names it goes by, searchable
	Position        int      // order along the line
	SpeedMPS        float64  // 0: not known
	SpeedMaxMPS     float64  // above SpeedMPS for a variable drive; 0: fixed
	Product         string
	ProductC        *float64 // temperature of the product, °C
	WashDown        bool
	Abrasive        bool
	Outdoor         bool
	CentreDistanceM float64 // head to tail; 0: not known
	InclineDeg      float64
	TakeUpTravelM   float64  // whole travel; 0: not known
	TakeUpKind      string   // "gravity", "screw", ""
	Pulleys         []Pulley `gorm:"serializer:json"`
	StopCostPerHour float64  // cost of an unplanned stop, plant currency per hour
	IsolationGroup  string
	AccessNote      string
	Status          ConveyorStatus
	Retired         When `gorm:"embedded;embeddedPrefix:retired_"`
	Remark          string
}

// ConveyorStatus tells whether a conveyor is in use.
type ConveyorStatus string

// States of a conveyor.
const (
	ConveyorInUse   ConveyorStatus = "in_use"
	ConveyorRetired ConveyorStatus = "retired"
)

// PulleyRole is the pulley's place in the loop.
type PulleyRole string

// Pulley roles.
const (
	PulleyHead   PulleyRole = "head"
	PulleyTail   PulleyRole = "tail"
	PulleySnub   PulleyRole = "snub"
	PulleyBend   PulleyRole = "bend"
	PulleyTakeUp PulleyRole = "take-up"
)

// Pulley is one pulley, in belt order along the loop starting at the tail and running along the carry side.
// XM and YM are the centre in metres, x in the direction of the material, y up, tail at 0,0; where the plant
// gave no coordinates Placed is false and the drawing places it by role.
type Pulley struct {
	Role      PulleyRole
	DiameterM float64
	WrapDeg   float64 // 0: from the geometry
	OuterFace bool    // touches the carrying face: a reverse bend
	XM, YM    float64
	Placed    bool
	Drive     bool
	Lagged    bool
}
