package assets

// Company is the service company whose installation this is. There is one.
type Company struct {
	Version
	Name       string
	Zone       string // IANA name, for instants over several plants
	Currency   string // ISO 4217
	UnitSystem UnitSystem
}

// UnitSystem is what a plant's people read and type; inside everything is SI.
type UnitSystem string

// Unit systems.
const (
	UnitsSI UnitSystem = "si"
	UnitsUS UnitSystem = "us"
)

// Customer owns plants. Each has a journal chain of its own.
type Customer struct {
	Version
	Name    string
	NameKey string // NameKey(Name): how a typed name is found again
	Remark  string
}

// Contract ties plants of a customer to what was agreed.
type Contract struct {
	Version
	CustomerID       int64
	Number           string
	FromDay          Day
	UntilDay         Day     // "" when open
	PlantIDs         []int64 `gorm:"serializer:json"`
	InspectionRounds string  // what was agreed, in words
	ResponseHours    float64 // hours from call to crew at the conveyor; 0 when not agreed
	Remark           string
}
