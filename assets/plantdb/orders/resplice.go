package orders

import (
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
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
		if next.LoopLengthM = belt.LoopLengthM - r.ShorteningM; next.LoopLengthM <= 0 {
			return assets.Invalid{"shortening_m": fmt.Sprintf("the loop is %g m long; %g m cannot be cut out of it", belt.LoopLengthM, r.ShorteningM)}
		}
	}
	if r.TakeUpUsedM != nil {
		next.TakeUpUsedM = r.TakeUpUsedM
	}
	ch, err := c.PlantChain(belt.PlantID)
	if err != nil {
		return err
	}
	return plantdb.Amend(c, ch, &next, max(r.New.Made.At, belt.ValidFrom))
}
