package assets

// Finding is what somebody saw at a conveyor: category, grade, perhaps a measurement.
type Finding struct {
	Version
	PlantID         int64
	ConveyorID      int64
	BeltID          int64  // 0: none
	SpliceID        int64  // 0: none
	Target          string // as written: "S2", "belt", "take-up"
	FoundAt         Instant
	FoundDay        Day
	Category        string
	Grade           *int // 0 to 4; nil: not graded
	Text            string
	Quantity        string   // what was measured: splice gap, cover thickness, take-up travel, hardness
	Measurement     *float64 // in MeasurementUnit; lengths in m
	MeasurementUnit string
	Running         *bool
	FoundByID       int64
	FoundBy         string `gorm:"-"`
	ClientID        string // made on the device, so that sending twice is one finding; "" for others
	FollowUpOrderID int64
	RefusedBy       int64 // person who signed the refusal of a follow-up; 0: none
	RefusedWhy      string
	Remark          string
}

// GradeWords says in words what a grade means when a category gives no words of its own. Class D, editable later.
var GradeWords = [5]string{"as new", "worn, no action", "watch", "act by the date given", "stop and act now"}

// GradeShort says what a grade asks for in one word, for where there is room for no more.
var GradeShort = [5]string{"none", "note", "watch", "plan", "stop"}
