package assets

// Version is what every row of a registry fact carries beside the fact: the row's own number, the thing's
// number, and its two times. ValidTo and KnownTo nil mean "until further notice". Intervals are half-open;
// per thing and journal position they neither overlap nor leave a gap.
type Version struct {
	RowID     int64    `gorm:"primaryKey;autoIncrement" json:"-"`
	ID        int64    // the thing: the same in all its rows
	ValidFrom Instant  // from when it was so at the plant
	ValidTo   *Instant // until when; nil: still so
	KnownFrom int64    `json:"-"` // position in the chain of the journal entry that wrote the row
	KnownTo   *int64   `json:"-"` // position of the entry that ended it; nil: still held to be so
}

// Versioned returns the row's version. It lets the storage set times without knowing the fact.
func (v *Version) Versioned() *Version { return v }

// Class is the evidence class of a figure.
type Class string

// Evidence classes. A class D figure alone raises a reminder, never an order.
const (
	ClassA Class = "A" // a maker's instruction or a standard for this belt
	ClassB Class = "B" // handbook
	ClassC Class = "C" // this plant's own history, at least five lives ended by failure
	ClassD Class = "D" // rule of thumb
	ClassP Class = "P" // this plant's own decision: who, when, why
)

// Classes lists the evidence classes in the order of their standing.
var Classes = []Class{ClassA, ClassB, ClassC, ClassP, ClassD}

// Words says in words what a class means.
func (c Class) Words() string {
	switch c {
	case ClassA:
		return "maker's instruction or standard for this belt"
	case ClassB:
		return "handbook"
	case ClassC:
		return "this plant's own history"
	case ClassP:
		return "this plant's own decision"
	case ClassD:
		return "rule of thumb"
	}
	return "no class given"
}

// RaisesOrders tells whether a figure of this class may raise an order by itself.
func (c Class) RaisesOrders() bool { return c == ClassA || c == ClassB || c == ClassC || c == ClassP }
