package clocks

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/clock"
)

// usualResolutionH is the display step of a meter nobody described: a tenth of an hour, common practice.
const usualResolutionH = 0.1

// Meters returns the stretches of a conveyor's hour meter in order of time; none when nobody described it.
func Meters(ctx context.Context, db *plantdb.DB, scope assets.Scope, conveyorID int64, asOf plantdb.AsOf) ([]assets.Meter, error) {
	var meters []assets.Meter
	err := db.SQL(ctx).Scopes(asOf.Rows, plantdb.InScope(scope, "plant_id")).Where("conveyor_id = ?", conveyorID).Order("from_at, id").Find(&meters).Error
	return meters, err
}

// MetersOfPlant returns the stretches of all meters of a plant by conveyor, in order of time.
func MetersOfPlant(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) (map[int64][]assets.Meter, error) {
	meters, err := plantdb.Rows[assets.Meter](db.SQL(ctx).Scopes(asOf.Rows, plantdb.InScope(scope, "plant_id")).Where("plant_id = ?", plantID).Order("from_at, id"))
	of := map[int64][]assets.Meter{}
	for _, m := range meters {
		of[m.ConveyorID] = append(of[m.ConveyorID], m)
	}
	return of, err
}

// Meter returns stretches as the clock reckons with them.
func Meter(stretches []assets.Meter) clock.Meter {
	m := clock.Meter{ResolutionH: usualResolutionH}
	for _, s := range stretches {
		if s.ResolutionH > 0 {
			m.ResolutionH = s.ResolutionH
		}
		m.Stretches = append(m.Stretches, clock.Stretch{From: s.FromAt.Time(), OffsetH: s.OffsetH,
			Known: s.Why == assets.MeterReplaced, StartH: s.StartH + s.OffsetH})
	}
	return m
}

// Points returns the points of H(t) that accepted readings and replacements give. Of a reading and a
// replacement at one instant the reading stands first and counts: a list often says "new meter" beside the
// first hours read off it.
func Points(stretches []assets.Meter, readings []assets.Reading) []clock.Point {
	m := Meter(stretches)
	points := make([]clock.Point, 0, len(readings)+len(stretches))
	for _, r := range readings {
		at := r.At.Time()
		points = append(points, clock.Point{At: at, Hours: m.Running(at, r.ShownH)})
	}
	for _, s := range m.Stretches {
		if s.Known {
			points = append(points, clock.Point{At: s.From, Hours: s.StartH})
		}
	}
	return points
}

// SetMeter describes the meter a conveyor began with, or changes its description: resolution, counter range,
// serial number.
func SetMeter(c *plantdb.Change, m *assets.Meter) error {
	bad := checkMeter(c, m)
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := meterChain(c, m)
	if err != nil {
		return err
	}
	if m.ID != 0 {
		return plantdb.Correct(c, ch, m)
	}
	m.Why, m.FromAt, m.OffsetH = assets.MeterFirst, 0, 0
	held, err := Meters(c.Context(), c.DB, assets.PlantScope(m.PlantID), m.ConveyorID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	if slices.ContainsFunc(held, func(h assets.Meter) bool { return h.Why == assets.MeterFirst }) {
		return assets.Invalid{"": "this conveyor's first meter is described already; change that, or declare a replacement"}
	}
	return plantdb.Create(c, ch, m)
}

// DeclareStretch declares that a meter was replaced or its counter rolled over at m.FromAt. Without
// m.PreviousFinalH the last accepted reading before counts as what the old meter showed last. Offsets of later
// stretches follow. assets.Invalid when an accepted reading would contradict what is declared.
func DeclareStretch(c *plantdb.Change, m *assets.Meter) error {
	bad := checkMeter(c, m)
	if m.FromAt == 0 {
		bad.Add("from_at", "say when this was")
	}
	if m.FromAt > c.Now() {
		bad.Add("from_at", "this lies in the future; give the time at which it was done")
	}
	if m.Why == assets.MeterRolledOver && !(m.RollsOverAtH > 0) {
		bad.Add("rolls_over_at_h", "give the hours at which the counter starts again from zero, as in 10000")
	}
	if m.Why != assets.MeterRolledOver && m.Why != assets.MeterReplaced {
		bad.Add("why", "say whether the meter was replaced or its counter rolled over")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := meterChain(c, m)
	if err != nil {
		return err
	}
	if err := notTwice(c, m); err != nil {
		return err
	}
	if err := fillFinal(c, m); err != nil {
		return err
	}
	if err := plantdb.Create(c, ch, m); err != nil {
		return err
	}
	if err := settleOffsets(c, ch, m.PlantID, m.ConveyorID); err != nil {
		return err
	}
	return checkLine(c, m.PlantID, m.ConveyorID)
}

// notTwice refuses a second stretch that begins at the same instant: a form sent twice would count the hours twice.
func notTwice(c *plantdb.Change, m *assets.Meter) error {
	held, err := Meters(c.Context(), c.DB, assets.PlantScope(m.PlantID), m.ConveyorID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	if slices.ContainsFunc(held, func(h assets.Meter) bool { return h.FromAt == m.FromAt && h.Why != assets.MeterFirst }) {
		return assets.Invalid{"from_at": "a replacement or rollover at this very time is declared already; correct that one, or give another time"}
	}
	return nil
}

// CorrectStretch corrects a declared stretch; CancelStretch takes it back. Later offsets follow.
func CorrectStretch(c *plantdb.Change, m *assets.Meter) error {
	bad := checkMeter(c, m)
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := meterChain(c, m)
	if err != nil {
		return err
	}
	if err := plantdb.Correct(c, ch, m); err != nil {
		return err
	}
	if err := settleOffsets(c, ch, m.PlantID, m.ConveyorID); err != nil {
		return err
	}
	return checkLine(c, m.PlantID, m.ConveyorID)
}

// CancelStretch takes back a replacement or rollover that never was.
func CancelStretch(c *plantdb.Change, id, rowID int64) error {
	m, err := plantdb.ReadRow[assets.Meter](c, id)
	if err != nil {
		return err
	}
	if rowID != 0 && m.RowID != rowID {
		return assets.ErrConflict
	}
	ch, err := meterChain(c, &m)
	if err != nil {
		return err
	}
	if err := plantdb.End(c, ch, &m, 0); err != nil {
		return err
	}
	if err := settleOffsets(c, ch, m.PlantID, m.ConveyorID); err != nil {
		return err
	}
	return checkLine(c, m.PlantID, m.ConveyorID)
}

func checkMeter(_ *plantdb.Change, m *assets.Meter) assets.Invalid {
	bad := assets.Invalid{}
	for field, v := range map[string]float64{"start_h": m.StartH, "rolls_over_at_h": m.RollsOverAtH, "resolution_h": m.ResolutionH} {
		if !(v >= 0) {
			bad.Add(field, "give hours of 0 or more")
		}
	}
	if m.PreviousFinalH != nil && !(*m.PreviousFinalH >= 0) {
		bad.Add("previous_final_h", "give hours of 0 or more")
	}
	return bad
}

// meterChain fills in the plant and returns the chain the meter is journalled in.
func meterChain(c *plantdb.Change, m *assets.Meter) (*plantdb.Chain, error) {
	conveyor, err := plantdb.ReadRow[assets.Conveyor](c, m.ConveyorID)
	if err != nil {
		return nil, fmt.Errorf("the meter's conveyor: %w", err)
	}
	m.PlantID = conveyor.PlantID
	return c.PlantChain(m.PlantID)
}

// fillFinal takes the last accepted reading before a replacement as what the old meter showed last.
func fillFinal(c *plantdb.Change, m *assets.Meter) error {
	if m.Why != assets.MeterReplaced || m.PreviousFinalH != nil {
		return nil
	}
	before, err := neighbour(c.Context(), c.DB, m.ConveyorID, m.FromAt-1, true, plantdb.AsOf{})
	if errors.Is(err, assets.ErrNotFound) {
		return assets.Invalid{"previous_final_h": "give what the old meter showed last: no reading before this tells it"}
	}
	if err != nil {
		return err
	}
	m.PreviousFinalH = &before.ShownH
	return nil
}

// settleOffsets reckons the offsets of a conveyor's stretches anew: each adds to the one before what the old
// meter showed last less what the new one showed first, or the counter's range.
func settleOffsets(c *plantdb.Change, ch *plantdb.Chain, plantID, conveyorID int64) error {
	meters, err := Meters(c.Context(), c.DB, assets.PlantScope(plantID), conveyorID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	offset := 0.0
	for i := range meters {
		m := &meters[i]
		switch {
		case m.Why == assets.MeterRolledOver:
			offset += m.RollsOverAtH
		case m.Why == assets.MeterReplaced && m.PreviousFinalH != nil:
			offset += *m.PreviousFinalH - m.StartH
		default: // the first meter, or one of which only the offset is known
			offset = m.OffsetH
		}
		m.OffsetH = offset
		if err := plantdb.Correct(c, ch, m); err != nil {
			return err
		}
	}
	return nil
}

// checkLine refuses a change of meters that makes accepted readings contradict each other.
func checkLine(c *plantdb.Change, plantID, conveyorID int64) error {
	scope := assets.PlantScope(plantID)
	meters, err := Meters(c.Context(), c.DB, scope, conveyorID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	readings, err := Readings(c.Context(), c.DB, scope, conveyorID, Span{}, plantdb.AsOf{})
	if err != nil {
		return err
	}
	m := Meter(meters)
	points := clock.NewLine(Points(meters, readings)).Points()
	for i := 1; i < len(points); i++ {
		if class, against := clock.Judge(points[:i], points[i], m.ResolutionH); class.Held() {
			return assets.Invalid{"": fmt.Sprintf("with this, %s at %s would contradict %s at %s: %s; correct the hours or leave the wrong reading out first",
				hours(points[i].Hours), points[i].At.Format(time.RFC3339), hours(against.Hours), against.At.Format(time.RFC3339), because(class))}
		}
	}
	return nil
}

// because says what a class means in a sentence.
func because(class clock.Class) string {
	switch class {
	case clock.Backwards:
		return "the hours would fall"
	case clock.MoreThanADay:
		return "more hours than have passed between"
	}
	return "two values at one instant"
}

func hours(h float64) string { return fmt.Sprintf("%.1f h", h) }
