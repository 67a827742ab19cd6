package samplefleet

import (
	"time"

	"carryside/assets"
)

// commonPractice is the source of a figure the trade uses without a published reference.
const commonPractice = "common practice"

// catalogues adds the belt specifications and splice kinds of the demo, each default with class and source.
func (b *builder) catalogues(from time.Time) {
	hot := []assets.KindPair{{Form: assets.FormStepped, Bond: assets.BondHotVulcanised}, {Form: assets.FormStepped, Bond: assets.BondColdBonded}, {Form: assets.FormBoltedPlate, Bond: assets.BondNone}}
	light := []assets.KindPair{{Form: assets.FormFinger, Bond: assets.BondHotPressed}, {Form: assets.FormFingerOverFinger, Bond: assets.BondHotPressed}, {Form: assets.FormHinged, Bond: assets.BondNone}}
	add := func(name, family, carcass string, plies int, guide string, kinds []assets.KindPair, values ...assets.CatalogueValue) {
		b.fleet.Specifications = append(b.fleet.Specifications, assets.Specification{Version: b.version("specifications", from), Name: name, NameKey: assets.NameKey(name),
			Family: family, Carcass: carcass, Plies: plies, GuideProfile: guide, SpliceKinds: kinds, Values: values})
	}
	for _, s := range []struct {
		name                string
		plies               int
		thick, mass, rating float64
	}{{"EP 1000/4 6+3", 4, 0.0142, 17.2, 100_000}, {"EP 800/4 6+3", 4, 0.0136, 16.6, 80_000}, {"EP 800/4 4+2", 4, 0.0106, 13.0, 80_000},
		{"EP 630/4 4+2", 4, 0.0102, 12.4, 63_000}, {"EP 630/4 5+2", 4, 0.0112, 13.6, 63_000}, {"EP 400/3 4+2", 3, 0.0093, 11.3, 40_000}} {
		add(s.name, "RB-EP", "polyester-polyamide fabric", s.plies, "", hot, value("thickness_m", s.thick, "m"), value("mass_kg_per_m2", s.mass, "kg/m2"),
			value("working_tension_n_per_m", s.rating, "N/m"), value("min_pulley_m", 0.63, "m"), value("min_back_bend_m", 0.5, "m"), value("step_length_m", 0.25, "m"))
	}
	add("PVC 2-ply ribbed, guide 13 x 8", "LT-PVC", "polyester fabric", 2, "13 x 8 mm, notched", light, value("thickness_m", 0.0023, "m"), value("mass_kg_per_m2", 2.8, "kg/m2"),
		value("working_tension_n_per_m", 10_000, "N/m"), value("min_pulley_m", 0.12, "m"), value("finger_pitch_m", 0.015, "m"), value("finger_length_m", 0.07, "m"))
	add("PU 2-ply white, smooth", "LT-PU", "polyester fabric", 2, "", light, value("thickness_m", 0.0016, "m"), value("mass_kg_per_m2", 1.9, "kg/m2"),
		value("working_tension_n_per_m", 8_000, "N/m"), value("min_pulley_m", 0.04, "m"), value("finger_pitch_m", 0.015, "m"), value("finger_length_m", 0.07, "m"))
	add("TPE 1-ply blue, knife edge", "LT-TPE", "polyester fabric", 1, "", light, value("thickness_m", 0.0009, "m"), value("mass_kg_per_m2", 1.0, "kg/m2"),
		value("working_tension_n_per_m", 5_000, "N/m"), value("min_pulley_m", 0.006, "m"), value("finger_pitch_m", 0.01, "m"), value("finger_length_m", 0.05, "m"))
	for _, k := range []struct {
		f     assets.Form
		b     assets.Bond
		days  float64
		hours float64
	}{{assets.FormStepped, assets.BondHotVulcanised, 1460, 8}, {assets.FormStepped, assets.BondColdBonded, 450, 6}, {assets.FormFinger, assets.BondHotPressed, 730, 1.5},
		{assets.FormFingerOverFinger, assets.BondHotPressed, 900, 2.5}, {assets.FormHinged, assets.BondNone, 180, 1}, {assets.FormBoltedPlate, assets.BondNone, 365, 2}} {
		values := []assets.CatalogueValue{value("life_days", k.days, "days"), value("work_h", k.hours, "h"), value("run_in_h", 24, "h")}
		if k.f == assets.FormStepped {
			values = append(values, assets.CatalogueValue{Quantity: "max_splice_gap_m", Value: 0.004, Unit: "m", Class: assets.ClassB, Source: "invented handbook of the demo: seams of stepped splices"})
		}
		b.fleet.SpliceKinds = append(b.fleet.SpliceKinds, assets.SpliceKind{Version: b.version("splice_kinds", from), Form: k.f, Bond: k.b, Values: values})
	}
}

// value is a default of class D with its source: a rule of thumb that a plant overrules.
func value(quantity string, v float64, unit string) assets.CatalogueValue {
	return assets.CatalogueValue{Quantity: quantity, Value: v, Unit: unit, Class: assets.ClassD, Source: commonPractice}
}

// specification returns the catalogue number of a specification's name.
func (b *builder) specification(name string) int64 {
	for _, s := range b.fleet.Specifications {
		if s.Name == name {
			return s.ID
		}
	}
	return 0
}
