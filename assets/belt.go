package assets

// Belt is a belt fitted on a conveyor; one at a time, with history.
type Belt struct {
	Version
	PlantID             int64
	ConveyorID          int64
	SpecificationID     int64  // 0: not in the catalogue
	Specification       string // as written
	WidthM              float64
	LoopLengthM         float64 // valid-time fact: a re-splice shortens it
	ThicknessM          float64
	WorkingTensionNPerM float64
	RollNumber          string
	Fitted              When `gorm:"embedded;embeddedPrefix:fitted_"`
	FittedByID          int64
	FittedBy            string `gorm:"-"` // filled by the storage from the table of people
	Removed             *Instant
	RemovedWhen         When `gorm:"embedded;embeddedPrefix:removed_"`
	RemovedWhy          string
	TakeUpUsedM         *float64 // take-up travel used when fitted, from the new-belt end
	Remark              string
	AsTyped             AsTyped `gorm:"serializer:json"`
}

// AsTyped keeps what a person typed for a quantity by field name ("width": "5'-3 1/2\""), so that it comes back exactly.
type AsTyped map[string]string
