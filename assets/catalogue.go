package assets

// Specification is a belt specification of the company's catalogue. Its quantities are catalogue values,
// each with unit, evidence class and source.
type Specification struct {
	Version
	Name         string
	NameKey      string
	Family       string // RB-EP, LT-PVC, LT-PU ... (families of the trade, see the catalogue page)
	Carcass      string
	Plies        int
	GuideProfile string
	SpliceKinds  []KindPair       `gorm:"serializer:json"` // splice kinds allowed
	Values       []CatalogueValue `gorm:"serializer:json"`
	Remark       string
}

// SpliceKind is form and bond together, with its defaults.
type SpliceKind struct {
	Version
	Form   Form
	Bond   Bond
	Values []CatalogueValue `gorm:"serializer:json"`
	Remark string
}

// KindPair names a splice kind.
type KindPair struct {
	Form Form
	Bond Bond
}

// CatalogueValue is one default: a quantity with its unit, class and source.
type CatalogueValue struct {
	Quantity string // e.g. thickness_m, mass_kg_per_m2, min_pulley_m, working_tension_n_per_m, life_days, life_passes, run_in_h
	Value    float64
	Unit     string
	Class    Class
	Source   string
}

// ValueOf returns the value of a quantity and whether the catalogue has it.
func ValueOf(values []CatalogueValue, quantity string) (CatalogueValue, bool) {
	for _, v := range values {
		if v.Quantity == quantity {
			return v, true
		}
	}
	return CatalogueValue{}, false
}
