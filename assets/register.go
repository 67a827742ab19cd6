package assets

import (
	"cmp"
	"slices"
	"strings"
)

// Register is one plant's register as of one moment: what its screens, rules and reports work on. Fill the
// lists and call Arrange; the methods answer from its indexes.
type Register struct {
	Company        Company
	Customer       Customer
	Plant          Plant
	At             Instant // the moment it shows; 0: now, everything that has not ended
	Lines          []Line
	Conveyors      []Conveyor
	Belts          []Belt
	Splices        []Splice
	Specifications []Specification
	SpliceKinds    []SpliceKind
	People         map[int64]string // names by number, of everybody the rows name

	line, conveyor, belt, splice, specification map[int64]int
	beltsOf, splicesOf, splicesOn               map[int64][]int
	tag                                         map[string]int
}

// Arrange sorts the lists (lines and conveyors as material flows, belts and splices from old to new) and
// builds the indexes. It must be called again after a list has changed.
func (r *Register) Arrange() {
	r.Lines = sorted(r.Lines, func(a, b *Line) int {
		return cmp.Or(cmp.Compare(a.Position, b.Position), cmp.Compare(a.Name, b.Name), cmp.Compare(a.ID, b.ID))
	})
	r.line = indexOf(r.Lines, func(l *Line) int64 { return l.ID })
	r.Conveyors = sorted(r.Conveyors, func(a, b *Conveyor) int {
		if c := cmp.Or(cmp.Compare(r.lineRank(a), r.lineRank(b)), cmp.Compare(a.Position, b.Position)); c != 0 {
			return c
		}
		return cmp.Or(CompareTags(a.Tag, b.Tag), cmp.Compare(a.ID, b.ID))
	})
	r.Belts = sorted(r.Belts, func(a, b *Belt) int {
		return cmp.Or(cmp.Compare(a.Fitted.At, b.Fitted.At), cmp.Compare(a.ID, b.ID))
	})
	r.Splices = sorted(r.Splices, func(a, b *Splice) int {
		if a.Made.At != b.Made.At {
			return cmp.Compare(a.Made.At, b.Made.At)
		}
		return cmp.Or(CompareTags(a.Number, b.Number), cmp.Compare(a.ID, b.ID))
	})
	r.index()
}

// sorted returns the list in order. It sorts pointers: the rows are half a kilobyte each, and sorting them in
// place would move every one a dozen times.
func sorted[T any](list []T, compare func(a, b *T) int) []T {
	order := make([]*T, len(list))
	for i := range list {
		order[i] = &list[i]
	}
	slices.SortFunc(order, compare)
	out := make([]T, len(list))
	for i, p := range order {
		out[i] = *p
	}
	return out
}

func (r *Register) index() {
	r.conveyor = indexOf(r.Conveyors, func(c *Conveyor) int64 { return c.ID })
	r.belt = indexOf(r.Belts, func(b *Belt) int64 { return b.ID })
	r.splice = indexOf(r.Splices, func(s *Splice) int64 { return s.ID })
	r.specification = indexOf(r.Specifications, func(s *Specification) int64 { return s.ID })
	r.beltsOf = groupsOf(r.Belts, func(b *Belt) int64 { return b.ConveyorID })
	r.splicesOf = groupsOf(r.Splices, func(s *Splice) int64 { return s.BeltID })
	r.splicesOn = groupsOf(r.Splices, func(s *Splice) int64 { return s.ConveyorID })
	r.tag = make(map[string]int, len(r.Conveyors))
	for i := range r.Conveyors {
		r.tag[r.Conveyors[i].TagKey] = i
	}
}

// lineRank puts conveyors without a line last.
func (r *Register) lineRank(c *Conveyor) int {
	if i, ok := r.line[c.LineID]; ok {
		return i
	}
	return len(r.Lines)
}

func indexOf[T any](list []T, id func(*T) int64) map[int64]int {
	m := make(map[int64]int, len(list))
	for i := range list {
		m[id(&list[i])] = i
	}
	return m
}

func groupsOf[T any](list []T, id func(*T) int64) map[int64][]int {
	m := make(map[int64][]int, len(list))
	for i := range list {
		of := id(&list[i])
		m[of] = append(m[of], i)
	}
	return m
}

func find[T any](list []T, index map[int64]int, id int64) (T, bool) {
	if i, ok := index[id]; ok {
		return list[i], true
	}
	return *new(T), false
}

func pick[T any](list []T, at []int) []T {
	out := make([]T, len(at))
	for i, k := range at {
		out[i] = list[k]
	}
	return out
}

// Line returns a line by number.
func (r *Register) Line(id int64) (Line, bool) { return find(r.Lines, r.line, id) }

// Conveyor returns a conveyor by number.
func (r *Register) Conveyor(id int64) (Conveyor, bool) { return find(r.Conveyors, r.conveyor, id) }

// Belt returns a belt by number.
func (r *Register) Belt(id int64) (Belt, bool) { return find(r.Belts, r.belt, id) }

// Splice returns a splice by number.
func (r *Register) Splice(id int64) (Splice, bool) { return find(r.Splices, r.splice, id) }

// Specification returns a belt specification of the catalogue by number.
func (r *Register) Specification(id int64) (Specification, bool) {
	return find(r.Specifications, r.specification, id)
}

// Kind returns the catalogue's splice kind of form and bond.
func (r *Register) Kind(f Form, b Bond) (SpliceKind, bool) {
	for _, k := range r.SpliceKinds {
		if k.Form == f && k.Bond == b {
			return k, true
		}
	}
	return SpliceKind{}, false
}

// ConveyorByTag returns the conveyor a typed tag means.
func (r *Register) ConveyorByTag(tag string) (Conveyor, bool) {
	if i, ok := r.tag[TagKey(tag)]; ok {
		return r.Conveyors[i], true
	}
	return Conveyor{}, false
}

// LineName returns the name of a conveyor's line, "" when none is named.
func (r *Register) LineName(c Conveyor) string {
	l, _ := r.Line(c.LineID)
	return l.Name
}

// BeltOn returns the belt on a conveyor at an instant; at 0 the one that is on now.
func (r *Register) BeltOn(conveyorID int64, at Instant) (Belt, bool) {
	of := r.beltsOf[conveyorID]
	for k := len(of) - 1; k >= 0; k-- {
		b := r.Belts[of[k]]
		if at == 0 && b.Removed == nil || at != 0 && b.On(at) {
			return b, true
		}
	}
	return Belt{}, false
}

// On tells whether the belt was on its conveyor at t.
func (b Belt) On(t Instant) bool { return b.Fitted.At <= t && (b.Removed == nil || *b.Removed > t) }

// BeltsOf returns the belts of a conveyor that the register holds, from old to new.
func (r *Register) BeltsOf(conveyorID int64) []Belt { return pick(r.Belts, r.beltsOf[conveyorID]) }

// SplicesOf returns the splices of a belt that the register holds, from old to new.
func (r *Register) SplicesOf(beltID int64) []Splice { return pick(r.Splices, r.splicesOf[beltID]) }

// SplicesOn returns the splices of all belts of a conveyor that the register holds, from old to new.
func (r *Register) SplicesOn(conveyorID int64) []Splice {
	return pick(r.Splices, r.splicesOn[conveyorID])
}

// Family returns the belt family of a belt by its catalogue specification, "" when it is not in the catalogue.
func (r *Register) Family(b Belt) string {
	s, _ := r.Specification(b.SpecificationID)
	return s.Family
}

// CompareTags orders tags and marks as people do: CV-2 before CV-10.
func CompareTags(a, b string) int {
	ka, kb := strings.Split(TagKey(a), "-"), strings.Split(TagKey(b), "-")
	for i := range min(len(ka), len(kb)) {
		if c := compareGroups(ka[i], kb[i]); c != 0 {
			return c
		}
	}
	return cmp.Or(cmp.Compare(len(ka), len(kb)), cmp.Compare(a, b))
}

// compareGroups orders two groups of a tag key; groups of digits have no leading zeros, so that the longer
// number is the greater.
func compareGroups(a, b string) int {
	if isDigits(a) && isDigits(b) && len(a) != len(b) {
		return cmp.Compare(len(a), len(b))
	}
	return cmp.Compare(a, b)
}

func isDigits(s string) bool {
	return s != "" && strings.Trim(s, "0123456789") == ""
}
