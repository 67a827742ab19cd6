package press

import (
	"slices"

	"carryside/assets"
)

// Splicing is the splice that a recipe is looked for, and the belt it is made in. 0: not known.
type Splicing struct {
	Form            assets.Form
	Bond            assets.Bond
	SpecificationID int64
	ThicknessM      float64
}

// Fit is the recipes in use for a kind of splice, by whether they are for the belt at hand. It chooses among what people wrote down and never
// beyond it: where it is not one, a person has to say which.
type Fit struct {
	Fits    []assets.Recipe
	Unsure  []assets.Recipe // what they ask of the belt is not known of it
	Another []assets.Recipe // for other belts, or other thicknesses
}

// Fitting sorts recipes by whether they are for a splice. Recipes withdrawn, and those for other kinds of splice, are left out. Where a recipe that
// fits names the belt, those for any belt give way to it.
func Fitting(all []assets.Recipe, at Splicing) Fit {
	var f Fit
	named := false
	for _, rc := range all {
		if rc.Withdrawn || rc.Form != at.Form || rc.Bond != at.Bond {
			continue
		}
		switch at.asks(rc) {
		case fits:
			f.Fits = append(f.Fits, rc)
			named = named || len(rc.Specifications) > 0
		case unsure:
			f.Unsure = append(f.Unsure, rc)
		default:
			f.Another = append(f.Another, rc)
		}
	}
	if named {
		forAny := func(rc assets.Recipe) bool { return len(rc.Specifications) == 0 }
		f.Fits, f.Unsure = slices.DeleteFunc(f.Fits, forAny), slices.DeleteFunc(f.Unsure, forAny)
	}
	return f
}

// One is the only recipe that fits; false where none does, several do, or one more might.
func (f Fit) One() (assets.Recipe, bool) {
	if len(f.Fits) != 1 || len(f.Unsure) > 0 {
		return assets.Recipe{}, false
	}
	return f.Fits[0], true
}

type answer int

const (
	fits answer = iota
	unsure
	another
)

// asks tells whether the belt is one that a recipe of its kind of splice is for.
func (at Splicing) asks(rc assets.Recipe) answer {
	beltKnown, thickKnown := at.SpecificationID != 0, at.ThicknessM > 0
	bounded := rc.ThinnestM != nil || rc.ThickestM != nil
	switch {
	case len(rc.Specifications) > 0 && beltKnown && !slices.Contains(rc.Specifications, at.SpecificationID),
		rc.ThinnestM != nil && thickKnown && at.ThicknessM < *rc.ThinnestM,
		rc.ThickestM != nil && thickKnown && at.ThicknessM > *rc.ThickestM:
		return another
	case len(rc.Specifications) > 0 && !beltKnown, bounded && !thickKnown:
		return unsure
	}
	return fits
}
