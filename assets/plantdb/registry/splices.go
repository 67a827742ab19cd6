package registry

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"

	"gorm.io/gorm"
)

// Target names what is asked about: a conveyor, one of its belts or one of its splices. The narrowest that
// is not 0 counts.
type Target struct{ ConveyorID, BeltID, SpliceID int64 }

// on narrows a query of rows that name all three; spliceColumn holds the splice.
func (t Target) on(tx *gorm.DB, spliceColumn string) *gorm.DB {
	switch {
	case t.SpliceID != 0:
		return tx.Where(spliceColumn+" = ?", t.SpliceID)
	case t.BeltID != 0:
		return tx.Where("belt_id = ?", t.BeltID)
	}
	return tx.Where("conveyor_id = ?", t.ConveyorID)
}

// Splice returns one splice.
func Splice(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64, asOf plantdb.AsOf) (assets.Splice, error) {
	splices, err := SpliceHistory(ctx, db, scope, Target{SpliceID: id}, asOf)
	if err == nil && len(splices) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return assets.Splice{}, err
	}
	return splices[0], nil
}

// SplicesOfOrder returns the splices that the work of an order made or ended, as they stand now.
func SplicesOfOrder(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID, orderID int64) ([]assets.Splice, error) {
	return plantdb.Rows[assets.Splice](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).
		Where("plant_id = ? AND (made_order_id = ? OR retired_order_id = ?)", plantID, orderID, orderID).Order("made_at, id"))
}

// SpliceHistory returns the splices of a conveyor or belt, running and ended, newest first.
func SpliceHistory(ctx context.Context, db *plantdb.DB, scope assets.Scope, of Target, asOf plantdb.AsOf) ([]assets.Splice, error) {
	splices, err := list[assets.Splice](of.on(ofPlants(ctx, db, scope, asOf), "id").Order("made_at DESC, id DESC"))
	if err != nil {
		return nil, err
	}
	return splices, nameSplices(ctx, db, splices)
}

// nameSplices fills in who made each.
func nameSplices(ctx context.Context, db *plantdb.DB, splices []assets.Splice) error {
	ids := make([]int64, len(splices))
	for i, s := range splices {
		ids[i] = s.MadeByID
	}
	names, err := Names(ctx, db, ids)
	for i := range splices {
		splices[i].MadeBy = names[splices[i].MadeByID]
	}
	return err
}

// Retirement says when and why a splice ended.
type Retirement struct {
	When        assets.When
	Why         assets.RetiredWhy
	FailureMode string // of one that failed
	OrderID     int64  // order whose closing ended it; 0: none
}

// MakeSplice records a splice in the belt that was on its conveyor when it was made. An empty mark gets the
// next number free in the belt.
func MakeSplice(c *plantdb.Change, s *assets.Splice) error {
	belt, err := current[assets.Belt](c, s.BeltID, 0)
	if err != nil {
		return err
	}
	s.PlantID, s.ConveyorID = belt.PlantID, belt.ConveyorID
	if err := numberSplice(c, s); err != nil {
		return err
	}
	bad := checkSplice(c, s, belt)
	if err := checkMark(c, bad, s); err != nil {
		return err
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(s.PlantID)
	if err != nil {
		return err
	}
	return plantdb.Create(c, ch, s)
}

// RetireSplice ends a splice: it failed, was replaced sound, or went with its belt.
func RetireSplice(c *plantdb.Change, id, rowID int64, r Retirement) error {
	s, err := current[assets.Splice](c, id, rowID)
	if err != nil {
		return err
	}
	bad := assets.Invalid{}
	if s.Ended != nil {
		bad.Add("", "this splice has ended already; correct its ending instead")
	}
	checkEnding(c, bad, s, r)
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(s.PlantID)
	if err != nil {
		return err
	}
	return endSplice(c, ch, &s, r)
}

// endSplice writes the ending. A life date is so from the splice's beginning.
func endSplice(c *plantdb.Change, ch *plantdb.Chain, s *assets.Splice, r Retirement) error {
	at := max(r.When.At, s.Made.At)
	s.Ended, s.Retired, s.RetiredWhy, s.FailureMode, s.RetiredOrderID = &at, r.When, r.Why, r.FailureMode, r.OrderID
	if err := plantdb.Correct(c, ch, s); err != nil {
		return fmt.Errorf("end splice %s: %w", s.Number, err)
	}
	return nil
}

// CorrectSplice corrects what is held of a splice, its ending included, from its beginning.
func CorrectSplice(c *plantdb.Change, next *assets.Splice) error {
	held, err := current[assets.Splice](c, next.ID, 0)
	if err != nil {
		return err
	}
	belt, err := current[assets.Belt](c, held.BeltID, 0)
	if err != nil {
		return err
	}
	next.PlantID, next.ConveyorID, next.BeltID = held.PlantID, held.ConveyorID, held.BeltID
	bad := checkSplice(c, next, belt)
	if next.Ended != nil {
		at := next.Retired.At
		next.Ended = &at
		checkEnding(c, bad, *next, Retirement{next.Retired, next.RetiredWhy, next.FailureMode, next.RetiredOrderID})
	}
	if err := checkMark(c, bad, next); err != nil {
		return err
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(next.PlantID)
	if err != nil {
		return err
	}
	return plantdb.Correct(c, ch, next)
}

// The greatest steps and fingers that can be meant, in metres: several times what handbooks show for the strongest belts. Our own choice, against a
// length typed in the wrong unit.
const (
	mostStepM  = 3
	mostPitchM = 0.5
)

func checkSplice(c *plantdb.Change, s *assets.Splice, belt assets.Belt) assets.Invalid {
	bad := assets.Invalid{}
	if s.Form != "" && !slices.Contains(assets.Forms, s.Form) {
		bad.Add("form", "choose a form from the list, or leave it as not known")
	}
	if s.Bond != "" && !slices.Contains(assets.Bonds, s.Bond) {
		bad.Add("bond", "choose a bond from the list, or leave it as not known")
	}
	if s.PositionM != nil && !(*s.PositionM >= 0 && (belt.LoopLengthM == 0 || *s.PositionM <= belt.LoopLengthM)) {
		bad.Add("position_m", fmt.Sprintf("the position must lie on the loop, between 0 and %g m", belt.LoopLengthM))
	}
	for _, of := range []struct {
		field, what string
		v, most     float64
	}{{"finger_pitch_m", "finger", s.FingerPitchM, mostPitchM}, {"finger_length_m", "finger", s.FingerLengthM, mostStepM}, {"step_length_m", "step", s.StepLengthM, mostStepM}} {
		atLeast(bad, of.field, of.v, 0, "the size of a "+of.what)
		if of.v > of.most {
			bad.Add(of.field, "no splice has a "+of.what+" of that size; check the number and its unit")
		}
	}
	atLeast(bad, "steps", float64(s.Steps), 0, "the number of steps")
	within(bad, "bias_angle_deg", s.BiasAngleDeg, -89, 89, "the bias angle in degrees")
	if s.Made.IsZero() {
		bad.Add("made", "give the day on which the splice was made, or say that it is not known")
	}
	couldBe(bad, "made", s.Made, c.Now())
	if surelyBefore(s.Made, belt.Fitted) {
		bad.Add("made", "the belt was fitted on "+day(belt.Fitted)+", after this splice was made; correct one of the dates")
	}
	if belt.Removed != nil && s.Ended == nil {
		bad.Add("", "this belt is off; a splice in it has ended")
	}
	return bad
}

func checkEnding(c *plantdb.Change, bad assets.Invalid, s assets.Splice, r Retirement) {
	switch r.Why {
	case assets.RetiredFailed, assets.RetiredPlanned, assets.RetiredBeltRemoved, assets.RetiredConveyorScrapped, assets.RetiredUnknown:
	default:
		bad.Add("retired_why", "say why the splice ended")
	}
	if r.When.IsZero() {
		bad.Add("retired", "give the day on which the splice ended")
	}
	if r.Why != assets.RetiredFailed && r.FailureMode != "" {
		bad.Add("failure_mode", "only a splice that failed has a failure mode")
	}
	couldBe(bad, "retired", r.When, c.Now())
	if surelyBefore(r.When, s.Made) {
		bad.Add("retired", "the splice was made on "+day(s.Made)+"; it cannot have ended before")
	}
}

// checkMark holds that a mark stands once on a belt among the splices that run.
func checkMark(c *plantdb.Change, bad assets.Invalid, s *assets.Splice) error {
	if s.Ended != nil || s.Number == "" {
		return nil
	}
	n, err := count(c, "SELECT count(*) FROM splices WHERE belt_id = ? AND number = ? AND id <> ? AND ended IS NULL AND"+isCurrent, s.BeltID, s.Number, s.ID)
	if n > 0 {
		bad.Add("number", "splice "+s.Number+" of this belt is running already; retire it first or give another mark")
	}
	return err
}

// numberSplice gives a splice without a mark the lowest number that no running splice of the belt bears.
func numberSplice(c *plantdb.Change, s *assets.Splice) error {
	s.Number = strings.TrimSpace(s.Number)
	if s.Number != "" || s.Ended != nil {
		return nil
	}
	var taken []string
	err := c.Tx().Raw("SELECT number FROM splices WHERE belt_id = ? AND ended IS NULL AND"+isCurrent, s.BeltID).Scan(&taken).Error
	for n := 1; s.Number == ""; n++ {
		if mark := strconv.Itoa(n); !slices.Contains(taken, mark) {
			s.Number = mark
		}
	}
	return err
}

// SpliceMark changes whenever any splice of a customer does: the newest row written and the newest one ended.
type SpliceMark struct{ Row, Ended int64 }

// SplicesMark returns a customer's mark.
func SplicesMark(ctx context.Context, db *plantdb.DB, customerID int64) (SpliceMark, error) {
	var m SpliceMark
	err := db.SQL(ctx).Raw(`SELECT coalesce(max(row_id), 0) AS "row", coalesce(max(known_to), 0) AS ended FROM splices
		WHERE plant_id IN (SELECT id FROM plants WHERE customer_id = ? AND known_to IS NULL AND valid_to IS NULL)`, customerID).Scan(&m).Error
	if err != nil {
		return m, fmt.Errorf("see whether splices of customer %d changed: %w", customerID, err)
	}
	return m, nil
}
