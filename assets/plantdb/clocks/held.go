package clocks

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sort"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/clock"

	"gorm.io/gorm"
)

// Decisions about a held reading.
const (
	DecideAccepted   = "accepted"    // it is right: what contradicts it is left out
	DecideReplaced   = "replaced"    // the meter was replaced between
	DecideRolledOver = "rolled_over" // the counter rolled over between
	DecideLeftOut    = "left_out"    // it is wrong
)

// Decision is a person's answer to a held reading. From, PreviousFinalH, StartH and RollsOverAtH describe the
// replacement or rollover; From 0 puts it just after the reading before.
type Decision struct {
	What           string
	Why            string
	From           assets.Instant
	PreviousFinalH *float64
	StartH         float64
	RollsOverAtH   float64
	SerialNumber   string
}

// Held lists the readings of a plant (0: of all in scope) that wait for a decision, oldest first.
func Held(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) ([]assets.HeldReading, error) {
	tx := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("decision = ''").Order("plant_id, at, id")
	if plantID != 0 {
		tx = tx.Where("plant_id = ?", plantID)
	}
	var held []assets.HeldReading
	return held, tx.Find(&held).Error
}

// HeldReading returns one held reading, decided or not.
func HeldReading(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.HeldReading, error) {
	var held []assets.HeldReading
	err := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("id = ?", id).Find(&held).Error
	if err == nil && len(held) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return assets.HeldReading{}, err
	}
	return held[0], nil
}

// HeldOf lists the held readings of a conveyor with the decisions taken, newest first.
func HeldOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, conveyorID int64) ([]assets.HeldReading, error) {
	var held []assets.HeldReading
	return held, db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("conveyor_id = ?", conveyorID).Order("at DESC, id DESC").Find(&held).Error
}

// HeldOfPlant returns the held readings of a plant by conveyor, decided or not, oldest first.
func HeldOfPlant(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) (map[int64][]assets.HeldReading, error) {
	var held []assets.HeldReading
	err := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("plant_id = ?", plantID).Order("at, id").Find(&held).Error
	of := map[int64][]assets.HeldReading{}
	for _, h := range held {
		of[h.ConveyorID] = append(of[h.ConveyorID], h)
	}
	return of, err
}

// HoldReadings keeps readings for a person's decision and numbers them.
func HoldReadings(c *plantdb.Change, ch *plantdb.Chain, held []assets.HeldReading) error {
	if len(held) == 0 {
		return nil
	}
	first, err := c.NewIDs(ch, "held_readings", len(held))
	if err != nil {
		return err
	}
	for i := range held {
		held[i].ID, held[i].KnownFrom = first+int64(i), ch.Position
	}
	if err := c.Tx().CreateInBatches(held, 500).Error; err != nil {
		return fmt.Errorf("hold readings: %w", err)
	}
	for _, h := range held {
		c.Wrote(ch, "held_readings", h.ID)
		c.Note(ch, plantdb.Written{Table: "held_readings", ID: h.ID, After: map[string]any{"conveyor_id": h.ConveyorID, "at": h.At, "shown_h": h.ShownH, "class": h.Class}})
	}
	return nil
}

// Decide carries out a person's decision. assets.ErrConflict when it has been taken already.
func Decide(c *plantdb.Change, id int64, d Decision) error {
	var rows []assets.HeldReading
	if err := c.Tx().Where("id = ?", id).Find(&rows).Error; err != nil {
		return err
	}
	if len(rows) == 0 {
		return fmt.Errorf("held reading %d: %w", id, assets.ErrNotFound)
	}
	h := rows[0]
	ch, err := c.PlantChain(h.PlantID)
	if err != nil {
		return err
	}
	if h.Decision != "" {
		return fmt.Errorf("this reading has been decided already: %w", assets.ErrConflict)
	}
	if d.Why == "" {
		return assets.Invalid{"why": "give the reason for the decision; it is kept with the reading"}
	}
	if err := carryOut(c, ch, h, d); err != nil {
		return err
	}
	return markDecided(c, ch, h, d)
}

func carryOut(c *plantdb.Change, ch *plantdb.Chain, h assets.HeldReading, d Decision) error {
	switch d.What {
	case DecideLeftOut:
		return nil
	case DecideAccepted:
		return acceptHeld(c, ch, h)
	case DecideReplaced, DecideRolledOver:
		if err := declareFor(c, h, d); err != nil {
			return err
		}
		return enterHeld(c, ch, h)
	}
	return assets.Invalid{"what": "choose what is so: the reading is right, the meter was replaced, it rolled over, or the reading is wrong"}
}

// acceptHeld leaves out every accepted reading that contradicts the held one, nearest first, and accepts it.
func acceptHeld(c *plantdb.Change, ch *plantdb.Chain, h assets.HeldReading) error {
	for {
		class, against, err := judge(c, h.PlantID, h.ConveyorID, h.At, h.ShownH)
		if err != nil {
			return err
		}
		if !class.Held() {
			return enterHeld(c, ch, h)
		}
		_, err = leaveOut(c, ch, h.ConveyorID, assets.InstantOf(against.At))
		if errors.Is(err, assets.ErrNotFound) {
			return assets.Invalid{"what": fmt.Sprintf("this contradicts the meter replacement of %s; correct that first", against.At.Format(time.RFC3339))}
		}
		if err != nil {
			return err
		}
	}
}

// LeftOutBy returns the accepted readings that would be left out if a held one was decided to be right, nearest first:
// what acceptHeld would do on what is known now.
func LeftOutBy(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) ([]assets.Reading, error) {
	h, err := HeldReading(ctx, db, scope, id)
	if err != nil {
		return nil, err
	}
	stretches, err := Meters(ctx, db, scope, h.ConveyorID, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	all, err := Readings(ctx, db, scope, h.ConveyorID, Span{From: math.MinInt64, To: math.MaxInt64}, plantdb.AsOf{})
	if err != nil {
		return nil, err
	}
	next := sort.Search(len(all), func(i int) bool { return all[i].At > h.At })
	before, after := all[:next], all[next:]
	var out []assets.Reading
	for {
		var near []assets.Reading
		if n := len(before); n > 0 {
			near = append(near, before[n-1])
		}
		if len(after) > 0 {
			near = append(near, after[0])
		}
		class, against := judgeBeside(stretches, near, h.At, h.ShownH)
		at := assets.InstantOf(against.At)
		switch n := len(before); {
		case !class.Held():
			return out, nil
		case n > 0 && before[n-1].At == at:
			out, before = append(out, before[n-1]), before[:n-1]
		case len(after) > 0 && after[0].At == at:
			out, after = append(out, after[0]), after[1:]
		default: // a change of meter contradicts it: nothing is left out, the decision is refused
			return nil, nil
		}
	}
}

// Decided returns a page of a plant's held readings that were decided, the newest decision first, and how many there
// are in all.
func Decided(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, offset, limit int) ([]assets.HeldReading, int, error) {
	tx := func() *gorm.DB {
		return db.SQL(ctx).Model(&assets.HeldReading{}).Scopes(plantdb.InScope(scope, "plant_id")).Where("plant_id = ? AND decision <> ''", plantID)
	}
	var all int64
	if err := tx().Count(&all).Error; err != nil {
		return nil, 0, err
	}
	var held []assets.HeldReading
	return held, int(all), tx().Order("decided_at DESC, id DESC").Offset(offset).Limit(limit).Find(&held).Error
}

// declareFor declares the replacement or rollover that explains a held reading.
func declareFor(c *plantdb.Change, h assets.HeldReading, d Decision) error {
	m := assets.Meter{ConveyorID: h.ConveyorID, FromAt: d.From, Why: assets.MeterReplaced, StartH: d.StartH, PreviousFinalH: d.PreviousFinalH,
		RollsOverAtH: d.RollsOverAtH, SerialNumber: d.SerialNumber, Remark: d.Why}
	if d.What == DecideRolledOver {
		m.Why, m.StartH, m.PreviousFinalH = assets.MeterRolledOver, 0, nil
	}
	if m.FromAt == 0 {
		before, err := neighbour(c.Context(), c.DB, h.ConveyorID, h.At, true, plantdb.AsOf{})
		if err != nil && !errors.Is(err, assets.ErrNotFound) {
			return err
		}
		m.FromAt = before.At + assets.Instant(time.Second/time.Microsecond)
	}
	if m.FromAt > h.At {
		return assets.Invalid{"from": "the change of meter must lie before the reading it explains"}
	}
	return DeclareStretch(c, &m)
}

// enterHeld accepts a held reading, unless it contradicts its neighbours still.
func enterHeld(c *plantdb.Change, ch *plantdb.Chain, h assets.HeldReading) error {
	class, against, err := judge(c, h.PlantID, h.ConveyorID, h.At, h.ShownH)
	switch {
	case err != nil:
		return err
	case class.Held():
		return assets.Invalid{"what": fmt.Sprintf("with this the reading still contradicts %s at %s: %s", hours(against.Hours), against.At.Format(time.RFC3339), because(class))}
	case class == clock.Duplicate:
		return nil
	}
	return accept(c, ch, Entered{ConveyorID: h.ConveyorID, At: h.At, ShownH: h.ShownH})
}

func markDecided(c *plantdb.Change, ch *plantdb.Chain, h assets.HeldReading, d Decision) error {
	res := c.Tx().Exec(`UPDATE held_readings SET decision = ?, decided_at = ?, decided_by = ?, decided_for = ?, decided_position = ? WHERE id = ? AND decision = ''`,
		d.What, c.Now(), c.Act.PersonID, d.Why, ch.Position, h.ID)
	if res.Error == nil && res.RowsAffected != 1 {
		return assets.ErrConflict
	}
	c.Wrote(ch, "held_readings", h.ID)
	c.Note(ch, plantdb.Written{Table: "held_readings", ID: h.ID, After: map[string]any{"decision": d.What, "decided_for": d.Why}})
	return res.Error
}
