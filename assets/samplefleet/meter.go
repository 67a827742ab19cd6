package samplefleet

import (
	"math"
	"time"

	"carryside/assets"
)

// hourMeter writes what a conveyor's hour meter shows, with a replacement or a rollover where the conveyor has one.
type hourMeter struct {
	b          *builder
	plantID    int64
	conveyorID int64
	offsetH    float64 // what is added to the shown hours
	rollsAtH   float64
	replaceAt  time.Time // zero: never
	lastH      float64
}

func (b *builder) meterOf(c assets.Conveyor, spec siteConveyor, start time.Time, nth int) *hourMeter {
	m := &hourMeter{b: b, plantID: c.PlantID, conveyorID: c.ID, rollsAtH: 100_000}
	if spec.meterRange > 0 {
		m.rollsAtH = spec.meterRange
	}
	if nth%9 == 4 {
		m.replaceAt = start.Add(b.today.Sub(start) * 6 / 10)
	}
	if nth%11 == 2 {
		m.rollsAtH = 10_000
	}
	m.add(assets.MeterFirst, start, nil, 0)
	return m
}

func (m *hourMeter) add(why assets.MeterWhy, at time.Time, final *float64, start float64) {
	m.b.fleet.Meters = append(m.b.fleet.Meters, assets.Meter{Version: m.b.version("meters", at), PlantID: m.plantID, ConveyorID: m.conveyorID,
		FromAt: assets.InstantOf(at), Why: why, StartH: start, PreviousFinalH: final, RollsOverAtH: m.rollsAtH, OffsetH: round(m.offsetH, 1), ResolutionH: 0.1})
}

// read takes a reading of total running hours h at t.
func (m *hourMeter) read(t time.Time, h float64) {
	h = math.Floor(h*10+1e-9) / 10
	if !m.replaceAt.IsZero() && t.After(m.replaceAt) {
		final := round(m.lastH-m.offsetH, 1)
		m.offsetH = m.lastH
		m.add(assets.MeterReplaced, m.replaceAt, &final, 0)
		m.replaceAt = time.Time{}
	}
	shown := round(h-m.offsetH, 1)
	if shown >= m.rollsAtH {
		m.offsetH += m.rollsAtH
		m.add(assets.MeterRolledOver, t, nil, 0)
		shown = round(h-m.offsetH, 1)
	}
	m.lastH = h
	m.b.fleet.Readings = append(m.b.fleet.Readings, assets.Reading{ConveyorID: m.conveyorID, At: assets.InstantOf(t), KnownFrom: seedPosition, ShownH: shown})
}

// hold adds a reading that contradicts its neighbours and waits for a person.
func (b *builder) hold(c assets.Conveyor, at time.Time, shown float64, class, question string) {
	b.fleet.Held = append(b.fleet.Held, assets.HeldReading{ID: b.id("held_readings"), PlantID: c.PlantID, ConveyorID: c.ID, At: assets.InstantOf(at),
		ShownH: shown, Class: class, Question: question, Origin: "hand-held list of the week", EnteredAt: assets.InstantOf(at.Add(2 * time.Hour)), KnownFrom: seedPosition})
}
