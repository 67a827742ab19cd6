package samplefleet

import "carryside/assets"

// site is one invented plant as it is laid out.
type site struct {
	customer, plant, zone, currency string
	units                           assets.UnitSystem
	years                           int
	siteRules, access, needs        string
	lines                           []siteLine
	crews                           []string
	visitEveryDays                  int // days between inspection rounds
}

type siteLine struct {
	name      string
	shifts    []assets.Shift
	ratio     float64 // running hours per planned hour
	conveyors []siteConveyor
}

// siteConveyor is one conveyor as built. Lengths in metres, speed in m/s.
type siteConveyor struct {
	tag, name, other string
	centresM, riseM  float64
	widthM           float64
	specification    string
	thicknessM       float64
	speedMPS         float64
	product          string
	takeUp           string // gravity, screw
	travelM          float64
	pulleyM          float64 // head pulley
	splices          int
	form             assets.Form
	bond             assets.Bond
	cohort           string
	costPerHour      float64
	isolation        string
	access           string
	washDown, dusty  bool
	outdoor          bool
	beltYears        float64 // a belt is changed for cover wear after so many years
	meterRange       float64 // hours at which the meter rolls over; 0: 99 999.9
}

// week returns shifts of the same hours on the weekdays given.
func week(start, end string, days ...int) []assets.Shift {
	out := make([]assets.Shift, len(days))
	for i, d := range days {
		out[i] = assets.Shift{Weekday: d, Start: start, End: end}
	}
	return out
}

// skarrow is the grain terminal: long heavy rubber belts, stepped splices, ten years.
func skarrow() site {
	allWeek := week("06:00", "22:00", 1, 2, 3, 4, 5, 6)
	heavy := func(tag, name string, c, rise, w float64, spec string, v float64, tu string, travel float64, n int) siteConveyor {
		return siteConveyor{tag: tag, name: name, centresM: c, riseM: rise, widthM: w, specification: spec, thicknessM: 0.014, speedMPS: v,
			product: "grain", takeUp: tu, travelM: travel, pulleyM: 0.8, splices: n, form: assets.FormStepped, bond: assets.BondHotVulcanised,
			cohort: "heavy hot", costPerHour: 4200, isolation: "MCC-1", dusty: true, beltYears: 7}
	}
	cold := func(c siteConveyor) siteConveyor { c.bond, c.cohort = assets.BondColdBonded, "heavy cold"; return c }
	clips := func(c siteConveyor) siteConveyor {
		c.form, c.bond, c.cohort = assets.FormBoltedPlate, assets.BondNone, "heavy clips"
		return c
	}
	in := func(group string, cs ...siteConveyor) []siteConveyor {
		for i := range cs {
			cs[i].isolation = group
			cs[i].outdoor = group == "MCC-1"
		}
		return cs
	}
	q3 := heavy("Q3", "Rise to weigh tower", 118, 27.3, 1.4, "EP 1000/4 6+3", 2.6, "gravity", 3.4, 3)
	q3.other = "tower belt"
	return site{customer: "Skarrow Harbour Grain", plant: "Skarrow Grain Terminal", zone: "Europe/Oslo", currency: "NOK", units: assets.UnitsSI, years: 10,
		siteRules: "Permit office before every isolation. Grain dust: no hot work or grinding without a gas-free and dust-free certificate.",
		access:    "Mon to Sat 06:00 to 22:00; other times through the shift lead", needs: "Site induction (1 h), safety shoes, hi-vis, own lock and tag",
		crews: []string{"M. Okkerdal", "S. Ilveth", "Crew North"}, visitEveryDays: 28,
		lines: []siteLine{
			{"Ship intake", allWeek, 0.66, in("MCC-1", heavy("Q1", "Quay conveyor", 286, 1.5, 1.4, "EP 1000/4 6+3", 2.6, "gravity", 6, 4),
				heavy("Q2", "Quay transfer", 64, 4, 1.4, "EP 800/4 6+3", 2.6, "gravity", 3.0, 2), q3)},
			{"Silo gallery", allWeek, 0.58, in("MCC-2", heavy("G1", "North gallery", 174, 0, 1.2, "EP 800/4 4+2", 2.5, "gravity", 4.4, 3),
				cold(heavy("G2", "South gallery", 174, 0, 1.2, "EP 800/4 4+2", 2.5, "gravity", 4.4, 3)), cold(heavy("G3", "Gallery cross", 38, 0, 1.2, "EP 630/4 4+2", 2.0, "screw", 2.0, 1)))},
			{"Reclaim tunnel", allWeek, 0.62, in("MCC-3", heavy("T1", "North tunnel", 162, 0, 1.2, "EP 800/4 4+2", 2.5, "gravity", 4, 2),
				heavy("T2", "South tunnel", 162, 0, 1.2, "EP 800/4 4+2", 2.5, "gravity", 4, 2), heavy("T3", "Tunnel incline", 88, 15, 1.2, "EP 1000/4 6+3", 2.5, "gravity", 3.6, 2))},
			{"Ship outload", allWeek, 0.60, in("MCC-1", heavy("L1", "Jetty conveyor", 224, 0, 1.4, "EP 1000/4 6+3", 3.1, "gravity", 5.2, 3),
				heavy("L2", "Shiploader boom", 52, 9, 1.4, "EP 800/4 6+3", 3.1, "screw", 2.6, 1))},
			{"Rail intake", week("06:00", "18:00", 1, 2, 3, 4, 5), 0.74, in("MCC-4", clips(heavy("R1", "Rail pit", 42, 0, 1.0, "EP 630/4 5+2", 1.6, "screw", 1.1, 1)),
				cold(heavy("R2", "Rail incline", 96, 21, 1.0, "EP 630/4 5+2", 1.6, "gravity", 2.6, 2)))},
			{"Dryer", week("00:00", "00:00", 0, 1, 2, 3, 4, 5, 6), 0.46, in("MCC-5", clips(heavy("D1", "Dryer feed", 54, 11, 0.8, "EP 400/3 4+2", 1.3, "screw", 1.2, 1)),
				clips(heavy("D2", "Dryer take-away", 61, 0, 0.8, "EP 400/3 4+2", 1.3, "screw", 1.2, 2)))},
		}}
}

// ferrant is the parcel hub: light thermoplastic belts with guide profile, finger splices, US customary units, five years.
func ferrant() site {
	night := append(week("18:00", "04:30", 0, 1, 2, 3, 4, 5), week("06:00", "10:00", 1, 2, 3, 4, 5)...)
	var sort, feed, out []siteConveyor
	light := func(tag, name string, c, v, w float64, cohort string) siteConveyor {
		return siteConveyor{tag: tag, name: name, centresM: c, widthM: w, specification: "PVC 2-ply ribbed, guide 13 x 8", thicknessM: 0.0023, speedMPS: v,
			product: "parcels", takeUp: "screw", travelM: 0.55, pulleyM: 0.12, splices: 1, form: assets.FormFinger, bond: assets.BondHotPressed,
			cohort: cohort, costPerHour: 5600, isolation: "PANEL-2", beltYears: 6}
	}
	for i := 1; i <= 14; i++ {
		c := light("IN-"+two(i), "Dock feed "+two(i), 7.3+0.6*float64(i%4), 0.9, 0.9144, "hub guided")
		c.isolation, c.outdoor = "PANEL-1", true // under the dock doors, in all weathers
		feed = append(feed, c)
	}
	for i := 1; i <= 22; i++ {
		sort = append(sort, light("ML-"+two(i), "Main line section "+two(i), 11.9+1.5*float64(i%5), 1.9, 1.0668, "hub finger"))
	}
	for i := 1; i <= 18; i++ {
		c := light("OB-"+two(i), "Outbound "+two(i), 9.1+0.9*float64(i%3), 1.4, 0.9144, "hub finger")
		c.isolation = "PANEL-3"
		out = append(out, c)
	}
	return site{customer: "Ferrant Freight", plant: "Ferrant Parcel Hub", zone: "America/Chicago", currency: "USD", units: assets.UnitsUS, years: 5,
		siteRules: "Lockout at the panel of the section, one lock a person. Restart only by the control room after the section is walked.",
		access:    "Any day 10:30 to 17:30 between sorts", needs: "Badge at gate 3, bump cap, safety shoes",
		crews: []string{"R. Asquenne", "Crew South"}, visitEveryDays: 14,
		lines: []siteLine{{"Dock feeds", night, 0.80, feed}, {"Main sorter", night, 0.92, sort}, {"Outbound", night, 0.88, out}}}
}

// dunmarrow is the bakery: wash-down, short fast belts, five years.
func dunmarrow() site {
	days := week("05:00", "23:00", 1, 2, 3, 4, 5, 6)
	belt := func(tag, name string, c, v, w float64, cohort string) siteConveyor {
		return siteConveyor{tag: tag, name: name, centresM: c, widthM: w, specification: "PU 2-ply white, smooth", thicknessM: 0.0016, speedMPS: v,
			product: "dough and loaves", takeUp: "screw", travelM: 0.30, pulleyM: 0.06, splices: 1, form: assets.FormFinger, bond: assets.BondHotPressed,
			cohort: cohort, costPerHour: 1900, isolation: "ISO-" + tag[:2], washDown: true, beltYears: 3}
	}
	edge := func(tag, name string, c, v, w float64) siteConveyor { // round a knife edge: a thin belt of its own family
		one := belt(tag, name, c, v, w, "bakery edge")
		one.specification, one.thicknessM = "TPE 1-ply blue, knife edge", 0.0009
		return one
	}
	seal := belt("PK-04", "Bagger infeed", 1.6, 0.6, 0.35, "bakery new")
	seal.form = assets.FormFingerOverFinger
	// two reject chutes that are opened for cleaning: hinged fasteners, too few of them to tell how they wear
	chute := func(tag, name string) siteConveyor {
		one := belt(tag, name, 1.9, 0.45, 0.4, "bakery hinged")
		one.form, one.bond = assets.FormHinged, assets.BondNone
		return one
	}
	return site{customer: "Dunmarrow Foods", plant: "Dunmarrow Bakery", zone: "Europe/Lisbon", currency: "EUR", units: assets.UnitsSI, years: 5,
		siteRules: "Hygiene zone: coats, hair nets, no loose blades; count tools in and out. Wash-down ends before any cutting starts.",
		access:    "Sun all day; other days 23:00 to 05:00", needs: "Health declaration, hygiene induction",
		crews: []string{"P. Quillane", "Crew South"}, visitEveryDays: 7,
		lines: []siteLine{
			{"Make-up", days, 0.82, []siteConveyor{belt("MU-01", "Divider outfeed", 2.4, 0.5, 0.5, "bakery finger"), belt("MU-02", "Rounder belt", 3.1, 0.7, 0.6, "bakery finger"),
				belt("MU-03", "Prover infeed", 4.2, 0.5, 0.8, "bakery finger"), edge("MU-04", "Knife-edge transfer", 0.9, 0.8, 0.6)}},
			{"Cooling", days, 0.86, []siteConveyor{belt("CO-01", "Oven outfeed", 3.4, 0.4, 1.0, "bakery finger"), belt("CO-02", "Cooler feed", 5.2, 0.4, 1.0, "bakery finger"),
				edge("CO-03", "Depanner transfer", 1.1, 0.7, 0.6)}},
			{"Packing", days, 0.78, []siteConveyor{edge("PK-01", "Slicer infeed", 1.4, 0.9, 0.45), belt("PK-02", "Slicer outfeed", 1.8, 0.9, 0.45, "bakery finger"),
				belt("PK-03", "Reject belt", 1.2, 0.5, 0.35, "bakery finger"), seal,
				chute("PK-05", "Reject chute east"), chute("PK-06", "Reject chute west")}},
		}}
}

func two(i int) string { return string(rune('0'+i/10)) + string(rune('0'+i%10)) }
