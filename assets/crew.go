package assets

// Qualification is a ticket of the company's catalogue: what whoever holds it may do.
type Qualification struct {
	Version
	Name        string
	NameKey     string
	OrderKinds  []string   `gorm:"serializer:json"` // kinds of order it lets one work at; empty: it is asked for by name only
	SpliceKinds []KindPair `gorm:"serializer:json"` // narrowed to these splices; empty: all
	ValidMonths int        // how long a fresh one holds; 0: until further notice
	Remark      string
}

// PersonQualification is a ticket somebody holds, or held. It stands in the chain of the person's customer.
type PersonQualification struct {
	Version
	CustomerID      int64 // of the person; 0: one of the service company
	PersonID        int64
	QualificationID int64
	FromDay         Day
	UntilDay        Day    // last day on which it holds; "": until further notice
	CertificateNo   string // as it stands on the certificate
	CertificateID   int64  // attachment; 0: none kept
}

// HoldsOn tells whether the ticket holds on a day.
func (q PersonQualification) HoldsOn(d Day) bool {
	return (q.FromDay == "" || q.FromDay <= d) && (q.UntilDay == "" || d <= q.UntilDay)
}

// CrewMember is a person who can be sent to work: from where, when in a week, and what calling them out costs.
type CrewMember struct {
	Version
	CustomerID  int64 // of the person; 0: shared crew of the service company
	PersonID    int64
	HomePlantID int64   // 0: the company's depot
	WorkingWeek []Shift `gorm:"serializer:json"` // in the zone of the home plant, of the company at the depot; empty: any time
	CalloutCost float64 // of a stop outside the working week or away from home, in the company's currency
}

// Absence is a stretch of whole days on which somebody is not there.
type Absence struct {
	Version
	CustomerID int64
	PersonID   int64
	FromDay    Day
	UntilDay   Day // last day away
	Why        string
}

// Covers tells whether the person is away on a day.
func (a Absence) Covers(d Day) bool { return a.FromDay <= d && d <= a.UntilDay }

// TravelTime is the way between two plants, 0 for the company's depot. It is the same there and back unless the way back is
// given too. Where none is given the way is not known, and a plan sends nobody on it.
type TravelTime struct {
	Version
	FromPlantID int64
	ToPlantID   int64
	Minutes     int
}

// CrewNeed asks for so many people with a ticket.
type CrewNeed struct {
	QualificationID int64 `json:"qualification_id"`
	Number          int   `json:"number"`
}

// KitNeed asks for one piece of kit of a class.
type KitNeed struct {
	Class     string  `json:"class"`                 // press, cutter, ...
	AsBelt    bool    `json:"as_belt,omitempty"`     // at least as wide as the belt
	MinWidthM float64 `json:"min_width_m,omitempty"` // at least so wide; 0: any
	// MinTemperatureC is what it must reach; 0: any.
	MinTemperatureC float64 `json:"min_temperature_c,omitempty"`
}

// StockNeed takes stock for a job: so much for each splice, and so much for each metre of belt width.
type StockNeed struct {
	ItemID    int64   `json:"item_id"`
	PerSplice float64 `json:"per_splice,omitempty"`
	PerMWidth float64 `json:"per_m_width,omitempty"`
}

// WorkTemplate says what a kind of work takes: time in the stop, people, kit and stock.
type WorkTemplate struct {
	Version
	CustomerID  int64  // 0: for every customer without one of its own
	OrderKind   string // a kind of order
	Form        Form   // with Bond the splice it is for; "": any
	Bond        Bond
	DurationMin int
	Crew        []CrewNeed  `gorm:"serializer:json"`
	Kit         []KitNeed   `gorm:"serializer:json"`
	Stock       []StockNeed `gorm:"serializer:json"`
	Isolation   bool        // the conveyor's group is isolated for it
	Class       Class
	Source      string
}

// TemplateFor picks the template of an order's kind for a splice of a customer: the customer's before the company's, the kind of
// splice before any.
func TemplateFor(all []WorkTemplate, customer int64, orderKind string, form Form, bond Bond) (WorkTemplate, bool) {
	best, rank := WorkTemplate{}, 0
	for _, t := range all {
		fits := t.OrderKind == orderKind && (t.CustomerID == 0 || t.CustomerID == customer) && (t.Form == "" || t.Form == form) && (t.Bond == "" || t.Bond == bond)
		if !fits {
			continue
		}
		r := 1
		for i, closer := range []bool{t.Form != "", t.Bond != "", t.CustomerID != 0} {
			if closer {
				r += 1 << i
			}
		}
		if r > rank {
			best, rank = t, r
		}
	}
	return best, rank > 0
}
