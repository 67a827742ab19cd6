package orders

import (
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// Resplice is what closing a re-splice books.
type Resplice struct {
	OldSpliceID int64 // 0: none was there (an insert piece, a first splice)
	OldRowID    int64
	Why         assets.RetiredWhy // failed or planned
	FailureMode string
	New         assets.Splice // form, bond, geometry, made, maker; belt and mark as the old one's where empty
	ShorteningM float64       // belt cut out plus overlap of the new splice, m; 0: the loop keeps its length
	TakeUpUsedM *float64      // take-up travel used afterwards, as read; nil: not read
}

// CloseResplice books a re-splice with its order in one change: the old splice is retired, the new one made (its
// clocks begin), the loop shortened from that moment, the order done. The caller's change has room for stock and
// kit beside it. after and e are what workorder.Finish decided; after may be nil for a splice made without an order.
func CloseResplice(c *plantdb.Change, r *Resplice, after *workorder.Order, e workorder.Event) error {
	if !(r.ShorteningM >= 0) || r.ShorteningM > 100 {
		return assets.Invalid{"shortening_m": "give the length the loop lost as a number of metres from 0 to 100"}
	}
	orderID := int64(0)
	if after != nil {
		orderID = after.ID
	}
	if r.OldSpliceID != 0 {
		if err := retireOld(c, r, orderID); err != nil {
			return err
		}
	}
	r.New.MadeOrderID = orderID
	if err := registry.MakeSplice(c, &r.New); err != nil {
		return err
	}
	if err := shorten(c, r); err != nil {
		return err
	}
	if after == nil {
		return nil
	}
	after.SpliceID, after.BeltID, after.ConveyorID = r.New.ID, r.New.BeltID, r.New.ConveyorID
	return Step(c, after, e)
}

// retireOld ends the old splice at the moment the new one was made, and gives the new one its place.
func retireOld(c *plantdb.Change, r *Resplice, orderID int64) error {
	old, err := plantdb.ReadRow[assets.Splice](c, r.OldSpliceID)
	if err != nil {
		return fmt.Errorf("the splice to be remade: %w", err)
	}
	if r.New.BeltID == 0 {
		r.New.BeltID = old.BeltID
	}
	if r.New.Number == "" {
		r.New.Number = old.Number
	}
	if r.New.PositionM == nil {
		r.New.PositionM = old.PositionM
	}
	return registry.RetireSplice(c, old.ID, r.OldRowID, registry.Retirement{When: r.New.Made, Why: r.Why, FailureMode: r.FailureMode, OrderID: orderID})
}

// shorten takes the belt's loop length down from the moment the splice was made.
func shorten(c *plantdb.Change, r *Resplice) error {
	belt, err := plantdb.ReadRow[assets.Belt](c, r.New.BeltID)
	if err != nil {
		return fmt.Errorf("the belt of the splice: %w", err)
	}
	next := belt
	if belt.LoopLengthM > 0 && r.ShorteningM > 0 {
		if r.ShorteningM > mostCut*belt.LoopLengthM {
			return assets.Invalid{"shortening_m": fmt.Sprintf("the loop is %g m long; %g m is more than a fifth of it, which no re-splice cuts out: check the figure, or fit the belt anew", belt.LoopLengthM, r.ShorteningM)}
		}
		next.LoopLengthM = belt.LoopLengthM - r.ShorteningM
	}
	if next.TakeUpUsedM, err = travelAfter(c, r, belt); err != nil {
		return err
	}
	ch, err := c.PlantChain(belt.PlantID)
	if err != nil {
		return err
	}
	from := max(r.New.Made.At, belt.ValidFrom)
	if err := moveSplices(c, ch, r, next.LoopLengthM, from); err != nil {
		return err
	}
	return plantdb.Amend(c, ch, &next, from)
}

// travelAfter is the take-up travel used after the work: as read, else half of the shortening less than before, because
// a shorter loop brings the take-up back towards its new-belt end. nil where nothing is known.
func travelAfter(c *plantdb.Change, r *Resplice, belt assets.Belt) (*float64, error) {
	if r.TakeUpUsedM != nil {
		return r.TakeUpUsedM, nil
	}
	var measured []assets.Finding
	err := c.Tx().Where("conveyor_id = ? AND quantity = ? AND known_to IS NULL AND valid_to IS NULL", belt.ConveyorID, rules.TakeUpTravel).Find(&measured).Error
	if err != nil {
		return nil, err
	}
	used, known := rules.TravelUsedM(belt, measured)
	if !known {
		return nil, nil
	}
	used = max(0, used-r.ShorteningM/2)
	return &used, nil
}

// moveSplices brings the places of the splices behind the cut nearer to the zero mark by what was cut out, and refuses a
// cut that leaves one of them without a place.
func moveSplices(c *plantdb.Change, ch *plantdb.Chain, r *Resplice, loopM float64, from assets.Instant) error {
	if r.ShorteningM == 0 || loopM <= 0 {
		return nil
	}
	var live []assets.Splice
	err := c.Tx().Where("belt_id = ? AND id <> ? AND ended IS NULL AND position_m IS NOT NULL AND known_to IS NULL AND valid_to IS NULL", r.New.BeltID, r.New.ID).Find(&live).Error
	if err != nil {
		return err
	}
	for i := range live {
		s := &live[i]
		behind := r.New.PositionM != nil && *s.PositionM > *r.New.PositionM
		if !behind && *s.PositionM <= loopM {
			continue
		}
		at := *s.PositionM - r.ShorteningM
		if at < 0 || at > loopM {
			return assets.Invalid{"shortening_m": fmt.Sprintf("with %g m cut out, splice %s at %g m from the zero mark has no place left on the loop; check the length cut out", r.ShorteningM, s.Number, *s.PositionM)}
		}
		s.PositionM = &at
		if err := plantdb.Amend(c, ch, s, max(from, s.ValidFrom)); err != nil {
			return err
		}
	}
	return nil
}

// mostCut is the share of a loop that a re-splice may cut out; more is a mistyped figure or a new belt. Our own choice.
const mostCut = 0.2
