package samplefleet

import (
	"math"
	"time"

	"carryside/assets"
	"carryside/assets/loop"
)

// hangM is how far a gravity take-up hangs below the return side.
func (c siteConveyor) hangM() float64 { return math.Max(2.5, c.travelM*0.9) }

// loopM is the loop length of a new belt, from the pulleys it runs round.
func (c siteConveyor) loopM() float64 {
	of, placed := loop.Of(c.pulleys(), c.thicknessM)
	if !placed {
		panic("samplefleet: " + c.tag + " has a pulley without a place")
	}
	path, err := of.Measure()
	if err != nil {
		panic("samplefleet: " + c.tag + ": " + err.Error())
	}
	return round(path.LengthMM/1000, 2)
}

// pulleys lays the loop out: tail at 0,0; the return side from the head over snub, bends and take-up.
func (c siteConveyor) pulleys() []assets.Pulley {
	run := math.Sqrt(math.Max(0, c.centresM*c.centresM-c.riseM*c.riseM))
	d := c.pulleyM
	// at gives a point on the return side, s metres from the tail, lift metres above it.
	at := func(s, lift float64) (float64, float64) {
		k := s / c.centresM
		return k * run, k*c.riseM - d/2 + lift
	}
	p := []assets.Pulley{{Role: assets.PulleyTail, DiameterM: d * 0.8, Placed: true},
		{Role: assets.PulleyHead, DiameterM: d, XM: run, YM: c.riseM, Placed: true, Drive: true, Lagged: true}}
	if c.takeUp != "gravity" {
		return rounded(p)
	}
	snubX, snubY := at(c.centresM-1.6*d, -0.30*d)
	bendX, bendY := at(c.centresM*0.47+0.9*d, -0.30*d)
	bend2X, bend2Y := at(c.centresM*0.47-0.9*d, -0.30*d)
	p = append(p, assets.Pulley{Role: assets.PulleySnub, DiameterM: d * 0.63, OuterFace: true, XM: snubX, YM: snubY, Placed: true},
		assets.Pulley{Role: assets.PulleyBend, DiameterM: d * 0.63, OuterFace: true, XM: bendX, YM: bendY, Placed: true},
		assets.Pulley{Role: assets.PulleyTakeUp, DiameterM: d * 0.8, XM: (bendX + bend2X) / 2, YM: bendY - c.hangM(), Placed: true},
		assets.Pulley{Role: assets.PulleyBend, DiameterM: d * 0.63, OuterFace: true, XM: bend2X, YM: bend2Y, Placed: true})
	return rounded(p)
}

// rounded gives pulleys the figures somebody would have measured: to the millimetre.
func rounded(p []assets.Pulley) []assets.Pulley {
	for i := range p {
		p[i].DiameterM, p[i].XM, p[i].YM = round(p[i].DiameterM, 3), round(p[i].XM, 3), round(p[i].YM, 3)
	}
	return p
}

// conveyor adds the conveyor of a site's table.
func (b *builder) conveyor(p assets.Plant, l assets.Line, c siteConveyor, nth int, from time.Time) assets.Conveyor {
	v := assets.Conveyor{Version: b.version("conveyors", from), PlantID: p.ID, LineID: l.ID, Tag: c.tag, TagKey: assets.TagKey(c.tag), Name: c.name, Position: nth + 1,
		SpeedMPS: c.speedMPS, Product: c.product, WashDown: c.washDown, Abrasive: c.dusty, Outdoor: c.outdoor, CentreDistanceM: c.centresM,
		InclineDeg: round(math.Asin(c.riseM/c.centresM)*180/math.Pi, 2), TakeUpTravelM: c.travelM, TakeUpKind: c.takeUp, Pulleys: c.pulleys(),
		StopCostPerHour: c.costPerHour, IsolationGroup: c.isolation, AccessNote: c.access, Status: assets.ConveyorInUse}
	if c.other != "" {
		v.OtherNames = []string{c.other}
	}
	b.fleet.Conveyors = append(b.fleet.Conveyors, v)
	return v
}
