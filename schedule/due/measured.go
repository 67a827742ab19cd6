package due

import "carryside/assets"

// LimitFor is the limit that the catalogues give for a quantity measured on a splice, or, where s is nil, on a belt as a whole; false
// where they give none.
func LimitFor(quantity string, s *assets.Splice, b assets.Belt, reg *assets.Register, kinds []assets.SpliceKind) (assets.CatalogueValue, bool) {
	for _, g := range Gauges {
		if g.Quantity != quantity {
			continue
		}
		v := beltLimit(g, b, reg)
		if s != nil {
			v = limitOf(g, s, reg, kinds)
		}
		return v, v.Quantity != ""
	}
	return assets.CatalogueValue{}, false
}
