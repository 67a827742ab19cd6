package web

import (
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/schedule/press"
	"carryside/schedule/workorder"
)

// sheetRecipe is the recipe a job is pressed by, or in one sentence why none is named and what to do.
type sheetRecipe struct {
	One  *assets.Recipe
	Says string
}

// splicedIn is the splice of a job and the belt it is made in, as recipes ask for it.
func splicedIn(v fleetView, o workorder.Order, sp assets.Splice) press.Splicing {
	b := workedBelt(v, o)
	return press.Splicing{Form: sp.Form, Bond: sp.Bond, SpecificationID: b.SpecificationID, ThicknessM: thickness(v.Register, b)}
}

// workedBelt is the belt an order is about, else the one on its conveyor.
func workedBelt(v fleetView, o workorder.Order) assets.Belt {
	b, ok := v.Register.Belt(o.BeltID)
	if !ok {
		b, _ = v.Register.BeltOn(o.ConveyorID, 0)
	}
	return b
}

// thickness is the belt's own, else that of its specification; 0: not known.
func thickness(reg *assets.Register, b assets.Belt) float64 {
	if b.ThicknessM > 0 {
		return b.ThicknessM
	}
	spec, _ := reg.Specification(b.SpecificationID)
	found, _ := assets.ValueOf(spec.Values, "thickness_m")
	return found.Value
}

// recipeOf finds the recipe of a job; zero where nothing is pressed.
func (s *Site) recipeOf(r *Request, v fleetView, o workorder.Order, pressed []pressedPart) (sheetRecipe, error) {
	if n := len(pressed); n > 0 {
		by := pressed[n-1].By
		return sheetRecipe{One: &by, Says: recipeName(by) + ", as it was pressed"}, nil
	}
	sp := splicedBy(v, o)
	if !opensBelt(o) || sp.Form.Mechanical() || sp.Bond != "" && !pressedHot(sp.Bond) {
		return sheetRecipe{}, nil
	}
	if sp.Form == "" || sp.Bond == "" {
		return sheetRecipe{Says: "none is named: form or bond of the splice is not known; note both at the splice first"}, nil
	}
	all, err := s.Pressing.Recipes(r.Context())
	if err != nil {
		return sheetRecipe{}, err
	}
	return r.recipeFitting(all, splicedIn(v, o, sp)), nil
}

func opensBelt(o workorder.Order) bool {
	return slices.Contains([]workorder.Kind{workorder.KindResplice, workorder.KindBeltChange, workorder.KindInsertPiece}, o.Kind)
}

func pressedHot(b assets.Bond) bool {
	return b == assets.BondHotPressed || b == assets.BondHotVulcanised
}

// recipeFitting names the one recipe that fits, or says why it is not one and what to do.
func (r *Request) recipeFitting(all []assets.Recipe, at press.Splicing) sheetRecipe {
	fit := press.Fitting(all, at)
	if one, ok := fit.One(); ok {
		return sheetRecipe{One: &one, Says: recipeName(one) + ", " + r.beltsOf(one)}
	}
	kind := assets.KindWords(at.Form, at.Bond)
	switch {
	case len(fit.Unsure) > 0 && at.SpecificationID == 0:
		return sheetRecipe{Says: "none is named: which belt is on it is not known, and " + r.recipeNames(fit.Unsure) + " " + pick(len(fit.Unsure) == 1, "is", "are") + " for certain belts; note the belt's specification first"}
	case len(fit.Unsure) > 0:
		return sheetRecipe{Says: "none is named: how thick the belt is is not known, and it decides about " + r.recipeNames(fit.Unsure) + "; gauge the belt and note it first"}
	case len(fit.Fits) > 1:
		return sheetRecipe{Says: fmt.Sprintf("none is named: %s fit (%s); have the lead say by the maker's chart which one holds before the press is heated", Count(len(fit.Fits), "recipe", "recipes"), r.recipeNames(fit.Fits))}
	case len(fit.Another) > 0:
		return sheetRecipe{Says: "none is named: no recipe for " + kind + " is for this belt, " + r.F.Thickness(at.ThicknessM) + " thick (kept: " + r.recipeNames(fit.Another) + "); have the lead keep one by the maker's chart before the press is heated"}
	}
	return sheetRecipe{Says: "none is named: no recipe for " + kind + " is kept; have the lead keep one by the maker's chart before the press is heated"}
}

func recipeName(rc assets.Recipe) string { return fmt.Sprintf("%s, version %d", rc.Name, rc.Edition) }

// beltsOf says which belts a recipe is for.
func (r *Request) beltsOf(rc assets.Recipe) string {
	return "for " + pick(len(rc.Specifications) > 0, "this belt", "any belt") + ", " + r.thickWords(rc)
}

func (r *Request) recipeNames(all []assets.Recipe) string {
	var names []string
	for _, rc := range all {
		names = append(names, recipeName(rc)+", "+r.thickWords(rc))
	}
	return List(names)
}
