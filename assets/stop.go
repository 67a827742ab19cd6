package assets

// Shift is a weekly stretch of planned running of a line, wall-clock time of the plant. It ends on the next
// day when its end is not after its start.
type Shift struct {
	Weekday int    // 0 Sunday to 6 Saturday
	Start   string // HH:MM
	End     string // HH:MM
}

// ExceptionDay replaces the shifts that start on its date.
type ExceptionDay struct {
	Day    Day
	Shifts []Shift // empty: no planned running; Weekday is ignored
	Note   string
}

// ProductionCalendar is the planned running of a line (LineID 0: of the whole plant).
type ProductionCalendar struct {
	Version
	PlantID    int64
	LineID     int64
	Shifts     []Shift        `gorm:"serializer:json"`
	Exceptions []ExceptionDay `gorm:"serializer:json"`
}

// StopWindow is a stretch of time in which a line stands still and work may be placed. One-off for now.
type StopWindow struct {
	Version
	PlantID    int64
	LineID     int64 // 0: the whole plant
	Start      Instant
	End        Instant // exclusive
	StartLocal string  // YYYY-MM-DDTHH:MM as agreed, plant time
	EndLocal   string
	Note       string
	Withdrawn  bool
}
