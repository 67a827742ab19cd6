package clocks

import (
	"errors"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/clock"
)

// Entered is a reading as somebody enters it.
type Entered struct {
	ConveyorID  int64
	At          assets.Instant
	ShownH      float64
	Approximate bool
	Remark      string
	Origin      string // where it came from, for the question when it is held: "screen", a file and row
}

// Outcome is what became of an entered reading.
type Outcome struct {
	Class   clock.Class
	Against clock.Point // the neighbour it contradicts or repeats
	HeldID  int64       // its number where it is held
}

// AddReading judges a reading beside its neighbours and accepts it, ignores it as said already, or holds it
// for a person's decision.
func AddReading(c *plantdb.Change, e Entered) (Outcome, error) {
	bad := assets.Invalid{}
	if !(e.ShownH >= 0) {
		bad.Add("shown_h", "give the hours as the meter shows them, 0 or more")
	}
	if e.At == 0 {
		bad.Add("at", "say when the meter was read")
	}
	if e.At > c.Now() {
		bad.Add("at", "this lies in the future; give the time at which the meter was read")
	}
	if err := bad.Err(); err != nil {
		return Outcome{}, err
	}
	conveyor, err := plantdb.ReadRow[assets.Conveyor](c, e.ConveyorID)
	if err != nil {
		return Outcome{}, fmt.Errorf("the reading's conveyor: %w", err)
	}
	ch, err := c.PlantChain(conveyor.PlantID)
	if err != nil {
		return Outcome{}, err
	}
	class, against, err := judge(c, conveyor.PlantID, e.ConveyorID, e.At, e.ShownH)
	if err != nil {
		return Outcome{}, err
	}
	o := Outcome{Class: class, Against: against}
	switch {
	case class == clock.Accepted:
		return o, accept(c, ch, e)
	case class.Held():
		o.HeldID, err = hold(c, ch, conveyor, e, o)
	}
	return o, err
}

// judge asks the clock about a reading beside its neighbours. The first reading at the instant of a
// replacement confirms it.
func judge(c *plantdb.Change, plantID, conveyorID int64, at assets.Instant, shownH float64) (clock.Class, clock.Point, error) {
	stretches, err := Meters(c.Context(), c.DB, assets.PlantScope(plantID), conveyorID, plantdb.AsOf{})
	if err != nil {
		return "", clock.Point{}, err
	}
	var near []assets.Reading
	for _, before := range []bool{true, false} {
		r, err := neighbour(c.Context(), c.DB, conveyorID, at, before, plantdb.AsOf{})
		switch {
		case err == nil:
			near = append(near, r)
		case !errors.Is(err, assets.ErrNotFound):
			return "", clock.Point{}, err
		}
	}
	class, against := judgeBeside(stretches, near, at, shownH)
	return class, against, nil
}

// judgeBeside judges a reading beside the accepted ones next to it, the earlier one first.
func judgeBeside(stretches []assets.Meter, near []assets.Reading, at assets.Instant, shownH float64) (clock.Class, clock.Point) {
	m := Meter(stretches)
	points := clock.NewLine(Points(stretches, near)).Points()
	reading := clock.Point{At: at.Time(), Hours: m.Running(at.Time(), shownH)}
	class, against := clock.Judge(points, reading, m.ResolutionH)
	if class == clock.Duplicate && (len(near) == 0 || near[0].At != at) {
		class = clock.Accepted
	}
	return class, against
}

func accept(c *plantdb.Change, ch *plantdb.Chain, e Entered) error {
	r := assets.Reading{ConveyorID: e.ConveyorID, At: e.At, KnownFrom: ch.Position, ShownH: e.ShownH, Approximate: e.Approximate}
	if e.Remark != "" {
		r.Remark = &e.Remark
	}
	if err := c.Tx().Create(&r).Error; err != nil {
		return fmt.Errorf("write the reading: %w", err)
	}
	c.Wrote(ch, "readings", r.ConveyorID, int64(r.At), r.KnownFrom)
	c.Note(ch, plantdb.Written{Table: "readings", ID: e.ConveyorID, After: map[string]any{"at": e.At, "shown_h": e.ShownH}})
	return nil
}

// hold keeps a reading for a person's decision; one that waits already, given again, waits once.
func hold(c *plantdb.Change, ch *plantdb.Chain, conveyor assets.Conveyor, e Entered, o Outcome) (int64, error) {
	var waiting []int64
	err := c.Tx().Raw("SELECT id FROM held_readings WHERE conveyor_id = ? AND at = ? AND shown_h = ? AND decision = ''", e.ConveyorID, e.At, e.ShownH).Scan(&waiting).Error
	if err != nil || len(waiting) > 0 {
		return append(waiting, 0)[0], err
	}
	h := assets.HeldReading{
		PlantID: conveyor.PlantID, ConveyorID: e.ConveyorID, At: e.At, ShownH: e.ShownH,
		Class: string(o.Class), Question: question(e, o), Origin: e.Origin,
		EnteredAt: c.Now(), EnteredBy: c.Act.PersonID,
	}
	rows := []assets.HeldReading{h}
	err = HoldReadings(c, ch, rows)
	return rows[0].ID, err
}

// question says in one sentence what contradicts what.
func question(e Entered, o Outcome) string {
	at, shown := o.Against.At.Format(time.RFC3339), hours(e.ShownH)
	switch o.Class {
	case clock.Backwards:
		return fmt.Sprintf("%s contradicts %s at %s: the hours would fall. Was the meter replaced, did it roll over, or is one of them wrong?", shown, hours(o.Against.Hours), at)
	case clock.MoreThanADay:
		return fmt.Sprintf("%s contradicts %s at %s: more hours than have passed between. Was the meter replaced, or is one of them wrong?", shown, hours(o.Against.Hours), at)
	}
	return fmt.Sprintf("%s contradicts %s at the same instant. Which one is right?", shown, hours(o.Against.Hours))
}

// CorrectReading gives an accepted reading another value, or leaves it out (shownH nil). The value held
// before stays in the history. assets.Invalid when the new value contradicts its neighbours.
func CorrectReading(c *plantdb.Change, conveyorID int64, at assets.Instant, shownH *float64) error {
	conveyor, err := plantdb.ReadRow[assets.Conveyor](c, conveyorID)
	if err != nil {
		return err
	}
	ch, err := c.PlantChain(conveyor.PlantID)
	if err != nil {
		return err
	}
	old, err := leaveOut(c, ch, conveyorID, at)
	if err != nil || shownH == nil {
		return err
	}
	class, against, err := judge(c, conveyor.PlantID, conveyorID, at, *shownH)
	if err != nil {
		return err
	}
	if class.Held() {
		return assets.Invalid{"shown_h": fmt.Sprintf("this contradicts %s at %s: %s", hours(against.Hours), against.At.Format(time.RFC3339), because(class))}
	}
	e := Entered{ConveyorID: conveyorID, At: at, ShownH: *shownH, Approximate: old.Approximate}
	if old.Remark != nil {
		e.Remark = *old.Remark
	}
	return accept(c, ch, e)
}

// leaveOut ends an accepted reading.
func leaveOut(c *plantdb.Change, ch *plantdb.Chain, conveyorID int64, at assets.Instant) (assets.Reading, error) {
	old, err := neighbour(c.Context(), c.DB, conveyorID, at, true, plantdb.AsOf{})
	if err != nil {
		return old, err
	}
	if old.At != at {
		return old, assets.ErrNotFound
	}
	err = c.Tx().Exec("UPDATE readings SET known_to = ? WHERE conveyor_id = ? AND at = ? AND known_to IS NULL", ch.Position, conveyorID, at).Error
	c.Ended(ch, "readings", conveyorID, int64(at), old.KnownFrom)
	c.Note(ch, plantdb.Written{Table: "readings", ID: conveyorID, Before: map[string]any{"at": at, "shown_h": old.ShownH}})
	return old, err
}
