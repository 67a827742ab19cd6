package press

import (
	"slices"
	"testing"

	"carryside/assets"
)

// Recipes of a storeroom of light belts (invented): one for thin, one for thick belts, one for just belt 7, one of a press that is gone.
func TestTheRecipeOfASpliceIsTheOneForItsBelt(t *testing.T) {
	m := func(v float64) *float64 { return &v }
	recipe := func(name string, form assets.Form, thinnest, thickest *float64, belts ...int64) assets.Recipe {
		return assets.Recipe{Name: name, Form: form, Bond: assets.BondHotPressed, ThinnestM: thinnest, ThickestM: thickest, Specifications: belts}
	}
	thin, thick := recipe("thin", assets.FormFinger, nil, m(0.002)), recipe("thick", assets.FormFinger, m(0.0021), nil)
	every, seven := recipe("any", assets.FormFinger, nil, nil), recipe("seven", assets.FormFinger, nil, nil, 7)
	other, gone := recipe("other", assets.FormFingerOverFinger, nil, nil), recipe("gone", assets.FormFinger, nil, nil)
	gone.Withdrawn = true
	for name, c := range map[string]struct {
		all         []assets.Recipe
		belt        int64
		thick       float64
		one         string
		fit, unsure []string
	}{
		"a thin belt":          {[]assets.Recipe{other, thick, gone, thin}, 3, 0.0016, "thin", []string{"thin"}, nil},
		"a thick belt":         {[]assets.Recipe{thin, thick}, 3, 0.0023, "thick", []string{"thick"}, nil},
		"a belt between both":  {[]assets.Recipe{thin, thick}, 3, 0.00205, "", nil, nil},
		"a belt nobody gauged": {[]assets.Recipe{thin, thick}, 3, 0, "", nil, []string{"thin", "thick"}},
		"a belt nobody gauged, beside a recipe for any":   {[]assets.Recipe{every, thin}, 3, 0, "", []string{"any"}, []string{"thin"}},
		"the belt that a recipe names":                    {[]assets.Recipe{every, seven}, 7, 0.0016, "seven", []string{"seven"}, nil},
		"another belt than the one named":                 {[]assets.Recipe{every, seven}, 3, 0.0016, "any", []string{"any"}, nil},
		"a belt of which nobody said what it is":          {[]assets.Recipe{seven}, 0, 0.0016, "", nil, []string{"seven"}},
		"two recipes for the same belt":                   {[]assets.Recipe{every, thin}, 3, 0.0016, "", []string{"any", "thin"}, nil},
		"a belt named, its thickness at the edge of both": {[]assets.Recipe{seven, thin}, 7, 0.002, "seven", []string{"seven"}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			f := Fitting(c.all, Splicing{Form: assets.FormFinger, Bond: assets.BondHotPressed, SpecificationID: c.belt, ThicknessM: c.thick})
			if one, _ := f.One(); one.Name != c.one {
				t.Errorf("the recipe is %q, want %q", one.Name, c.one)
			}
			if got := names(f.Fits); !slices.Equal(got, c.fit) {
				t.Errorf("fit %q, want %q", got, c.fit)
			}
			if got := names(f.Unsure); !slices.Equal(got, c.unsure) {
				t.Errorf("in doubt %q, want %q", got, c.unsure)
			}
		})
	}
}

func names(all []assets.Recipe) (out []string) {
	for _, rc := range all {
		out = append(out, rc.Name)
	}
	return out
}
