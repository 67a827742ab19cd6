package assets

import "slices"

// FindingKind is a kind of finding with what each grade of it means. A company's list; a kind it does not name stands as the trade
// has it (TradeKinds).
type FindingKind struct {
	Version
	Name       string
	NameKey    string
	GradeWords []string `gorm:"serializer:json"` // of grades 0 to 4
	Quantity   string   // what is usually measured at it; "": nothing
	LeftOut    bool     // no longer offered; findings that name it keep it
}

// Words says what a grade of the kind means.
func (k FindingKind) Words(grade int) string {
	switch {
	case grade < 0 || grade >= len(GradeWords):
		return ""
	case grade < len(k.GradeWords) && k.GradeWords[grade] != "":
		return k.GradeWords[grade]
	}
	return GradeWords[grade]
}

// FindingKinds are the kinds a company's people choose from.
type FindingKinds []FindingKind

// Offered lists the kinds to choose from.
func (ks FindingKinds) Offered() FindingKinds {
	return slices.DeleteFunc(slices.Clone(ks), func(k FindingKind) bool { return k.LeftOut })
}

// Of returns the kind of a finding; one that nobody keeps has the words that hold for all.
func (ks FindingKinds) Of(name string) FindingKind {
	key := NameKey(name)
	if i := slices.IndexFunc(ks, func(k FindingKind) bool { return k.NameKey == key }); i >= 0 {
		return ks[i]
	}
	return FindingKind{Name: name, NameKey: key}
}

// With puts what a company says of its kinds in place of what the trade says, and its own behind.
func (ks FindingKinds) With(own []FindingKind) FindingKinds {
	out := slices.Clone(ks)
	for _, k := range own {
		if i := slices.IndexFunc(out, func(t FindingKind) bool { return t.NameKey == k.NameKey }); i >= 0 {
			out[i] = k
		} else {
			out = append(out, k)
		}
	}
	return out
}

// TradeKinds are kinds of finding in the words of the trade, with what each grade means (common practice; class D until a lead
// says otherwise). 'Other' asks for words.
func TradeKinds() FindingKinds {
	kinds := []struct {
		name, quantity string
		words          [5]string
	}{
		{"opening along the seam", "splice gap", [5]string{"closed all along", "hairline, does not grow", "open, grows from round to round", "open through the cover: plan the remake", "carcass seen or gap through the belt: stop"}},
		{"finger tip lift", "splice gap", [5]string{"all tips flat", "single tips lift a little", "tips lift over a hand's width", "tips catch at scraper or pulley", "fingers tear open: stop"}},
		{"step edge lift", "splice gap", [5]string{"edges flat", "edge lifts by a cover's thickness", "lift runs on along the step", "step open, dirt inside", "step comes apart: stop"}},
		{"edge damage", "", [5]string{"whole", "frayed", "notched, carcass not reached", "carcass seen", "tears on into the belt: stop"}},
		{"cover wear", "cover thickness", [5]string{"as new", "even, well above the limit", "uneven or near the limit", "at the limit", "carcass worn: stop"}},
		{"cut or gouge", "", [5]string{"none", "in the cover only", "to the carcass", "carcass cut over less than a tenth of the width", "longer cut or one that runs on: stop"}},
		{"burn or glazing", "hardness", [5]string{"none", "shine", "hard skin, hairline cracks", "cracks to the carcass", "burnt through: stop"}},
		{"fasteners loose or worn", "", [5]string{"all tight", "worn, tight", "single ones loose", "some missing", "row opens: stop"}},
		{"guide profile loose", "", [5]string{"bonded all along", "ends lift", "lifts over a hand's width", "lifts over a pulley", "off the belt: stop"}},
		{"mistracking", "", [5]string{"runs true", "wanders inside the edge of the pulleys", "touches the frame at times", "rubs at the frame", "runs off: stop"}},
		{"take-up position", "take-up travel", [5]string{"in the middle", "off the middle", "last quarter of the travel", "at its end", "belt slips or hangs: stop"}},
	}
	out := make(FindingKinds, 0, len(kinds)+1)
	for _, k := range kinds {
		out = append(out, FindingKind{Name: k.name, NameKey: NameKey(k.name), Quantity: k.quantity, GradeWords: k.words[:]})
	}
	return append(out, FindingKind{Name: OtherKind, NameKey: NameKey(OtherKind)})
}

// OtherKind is the kind of a finding that no other fits; it asks for words.
const OtherKind = "other"
