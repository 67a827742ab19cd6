package desk

import (
	"context"
	"errors"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/rounds"
	"carryside/assets/plantdb/worksheets"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// TakeSheet keeps what came in from a device for a sheet, once however often it is sent.
func (d *Desk) TakeSheet(ctx context.Context, scope assets.Scope, a web.Act, sent *web.SheetSent) (again bool, err error) {
	if err := d.db.Reach(ctx, scope, sent.Order.PlantID); err != nil {
		return false, err
	}
	acts := act(a, sent.Order.PlantID)
	acts.Company = true // the device is in the company's chain
	var device assets.Device
	err = d.db.Change(ctx, acts, func(c *plantdb.Change) error {
		if device, err = rounds.Know(c, sent.Device, sent.DeviceName); err != nil {
			return err
		}
		if device.EndedAt != nil {
			return rounds.ErrEnded
		}
		again, err = takeSheet(c, sent, device.ID)
		return err
	})
	if errors.Is(err, rounds.ErrEnded) {
		return false, web.ErrDeviceEnded
	}
	if err == nil {
		err = rounds.NoteContact(ctx, d.db, device.ID, assets.InstantOf(a.Now), sent.Offset)
	}
	return again, err
}

func takeSheet(c *plantdb.Change, sent *web.SheetSent, deviceID int64) (again bool, err error) {
	s, err := worksheets.Open(c, sent.Order, sent.Form, sent.Bond)
	if err != nil {
		return false, err
	}
	switch {
	case sent.Head != nil:
		if s.Isolation == sent.Head.Isolation && s.Permit == sent.Head.Permit {
			return true, nil
		}
		return worksheets.TakeHead(c, s, sent.Head.Isolation, sent.Head.Permit, worksheets.HeadClock{ClientID: sent.ClientID, DeviceID: deviceID, DeviceAt: sent.DeviceAt, OffsetUS: sent.OffsetUS, SentOffsetUS: sent.Offset.Microseconds()})
	case sent.Signature != nil:
		next := *sent.Signature // a change may run twice
		next.DeviceID = deviceID
		if again, err = worksheets.KeepSignature(c, &next); err == nil {
			*sent.Signature = next
		}
		return again, err
	}
	e := *sent.Entry
	e.DeviceID = &deviceID
	return worksheets.Note(c, s, &e)
}

// SignSheet signs an order by a signature that came in and waits, or leaves it waiting and says why. by is the lead who lets it stand after
// all, 0 when it has just come in.
func (d *Desk) SignSheet(ctx context.Context, scope assets.Scope, a web.Act, g assets.JobSignature, by int64, said string) (why string, err error) {
	o, err := orders.Order(ctx, d.db, scope, g.OrderID)
	if err != nil {
		return "", err
	}
	err = d.signBy(ctx, scope, a, o, g, by, said)
	var bad assets.Invalid
	switch {
	case errors.As(err, &bad):
		why = bad.Error()
	case errors.Is(err, assets.ErrForbidden):
		why = "whoever signed holds no grant at this plant any more by which they may do it"
	case errors.Is(err, assets.ErrConflict):
		why = "the order was changed at the same moment"
	default:
		return "", err
	}
	if by != 0 {
		return why, nil
	}
	return why, d.write(ctx, scope, a, g.PlantID, func(c *plantdb.Change) error {
		return worksheets.SettleSignature(c, g, assets.SignatureWaits, why, 0, "")
	})
}

// RefuseSignature refuses a signature that waits; what was noted on the sheet stays.
func (d *Desk) RefuseSignature(ctx context.Context, scope assets.Scope, a web.Act, g assets.JobSignature, why string) error {
	return d.write(ctx, scope, a, g.PlantID, func(c *plantdb.Change) error {
		return worksheets.SettleSignature(c, g, assets.SignatureRefused, g.Why, c.Act.PersonID, why)
	})
}

// signBy takes an order through the steps a signature stands for, in one change: started, done, signed by a person whose ticket held.
func (d *Desk) signBy(ctx context.Context, scope assets.Scope, a web.Act, o workorder.Order, g assets.JobSignature, by int64, said string) error {
	plant, err := registry.Plant(ctx, d.db, scope, g.PlantID)
	if err != nil {
		return err
	}
	grants, err := d.signerGrants(ctx, g, by != 0, a.Now)
	if err != nil {
		return err
	}
	who := workorder.Actor{PersonID: g.PersonID, Roles: people.RolesAt(grants, plant.CustomerID, plant.ID)}
	acts := act(a, g.PlantID)
	used, err := d.usedBy(ctx, scope, &acts, o, a.Now)
	if err != nil {
		return err
	}
	used.counted = g.Counted
	return d.db.Change(ctx, acts, func(c *plantdb.Change) error {
		now, err := orders.Order(ctx, c.DB, scope, o.ID)
		if err != nil {
			return err
		}
		signed, event, err := d.throughSteps(c, scope, plant, now, g, who)
		if err != nil {
			return err
		}
		if err := d.qualified(c, scope, signed, event); err != nil {
			return err
		}
		if err := orders.Step(c, &signed, event); err != nil {
			return err
		}
		if err := used.book(c, signed); err != nil {
			return err
		}
		return worksheets.SettleSignature(c, g, assets.SignatureTaken, g.Why, by, said)
	})
}

// signerGrants are the grants by which a signature is judged: those in force now that it has arrived. Where a lead answers for it, those of
// when it was signed count too, so that work is not unsigned because whoever did it has left since.
func (d *Desk) signerGrants(ctx context.Context, g assets.JobSignature, answered bool, now time.Time) ([]assets.Grant, error) {
	grants, err := registry.GrantsOf(ctx, d.db, g.PersonID, assets.InstantOf(now))
	if err != nil || !answered {
		return grants, err
	}
	then, err := registry.GrantsHeldAt(ctx, d.db, g.PersonID, min(g.DoneAt, g.ArrivedAt))
	return append(grants, then...), err
}

// MayHaveSigned tells whether a person was ever given a role that may do jobs at a plant. Whether they held it when they signed is
// looked at with the signature.
func (d *Desk) MayHaveSigned(ctx context.Context, scope assets.Scope, plantID, personID int64) (bool, error) {
	plant, err := registry.Plant(ctx, d.db, scope, plantID)
	if err != nil {
		return false, err
	}
	grants, err := registry.GrantsEver(ctx, d.db, personID)
	return people.MayAt(grants, plant.CustomerID, plant.ID, people.DoJob), err
}

// throughSteps starts and finishes an order as far as that was not entered yet, and decides its signature.
func (d *Desk) throughSteps(c *plantdb.Change, scope assets.Scope, plant assets.Plant, o workorder.Order, g assets.JobSignature, who workorder.Actor) (workorder.Order, workorder.Event, error) {
	now := c.Now().Time()
	if o.State == workorder.Placed {
		next, event, err := workorder.Start(o, who, g.BeganAt.Time(), now)
		if err == nil {
			err = orders.Step(c, &next, event)
		}
		if err != nil {
			return o, event, err
		}
		o = next
	}
	if o.State == workorder.Started {
		next, event, err := workorder.Finish(o, who, g.DoneAt.Time(), now, workorder.Work{Hours: g.Hours, Note: g.Note})
		if err == nil {
			err = d.finish(c, scope, plant, &next, event, g)
		}
		if err != nil {
			return o, event, err
		}
		o = next
	}
	return workorder.Sign(o, who, max(g.DoneAt, o.DoneAt).Time(), now)
}

// finish writes that the work is done, with the splice that was remade by it.
func (d *Desk) finish(c *plantdb.Change, scope assets.Scope, plant assets.Plant, next *workorder.Order, event workorder.Event, g assets.JobSignature) error {
	if next.Kind != workorder.KindResplice || next.SpliceID == 0 {
		return orders.Step(c, next, event)
	}
	if g.Made == nil {
		return assets.Invalid{"": "the sheet does not say how the old splice ended; report the work done on the order's page"}
	}
	old, err := registry.Splice(c.Context(), c.DB, scope, next.SpliceID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	zone, err := time.LoadLocation(plant.Zone)
	if err != nil {
		return fmt.Errorf("zone of %s: %w", plant.Name, err)
	}
	made := assets.Splice{PlantID: old.PlantID, ConveyorID: old.ConveyorID, BeltID: old.BeltID, PositionM: old.PositionM, Form: old.Form, Bond: old.Bond, FingerLengthM: old.FingerLengthM,
		FingerPitchM: old.FingerPitchM, StepLengthM: old.StepLengthM, Steps: old.Steps, BiasAngleDeg: old.BiasAngleDeg, MadeByID: g.PersonID, Made: assets.Exactly(g.DoneAt.Time(), zone)}
	r := orders.Resplice{OldSpliceID: old.ID, Why: g.Made.Retired, FailureMode: g.Made.FailureMode, New: made, ShorteningM: g.Made.ShorterM}
	return orders.CloseResplice(c, &r, next, event)
}

// SignaturesWaiting lists the signatures of a plant that a lead must decide on.
func (d *Desk) SignaturesWaiting(ctx context.Context, scope assets.Scope, plantID int64) ([]web.SignatureFile, error) {
	all, err := worksheets.Waiting(ctx, d.db, scope, plantID)
	return d.signatureFiles(ctx, scope, all, err)
}

// Signature returns a signature that came in from a device.
func (d *Desk) Signature(ctx context.Context, scope assets.Scope, plantID, id int64) (web.SignatureFile, error) {
	g, err := worksheets.Signature(ctx, d.db, scope, plantID, id)
	files, err := d.signatureFiles(ctx, scope, []assets.JobSignature{g}, err)
	if err != nil {
		return web.SignatureFile{}, err
	}
	return files[0], nil
}

func (d *Desk) signatureFiles(ctx context.Context, scope assets.Scope, all []assets.JobSignature, err error) ([]web.SignatureFile, error) {
	if err != nil {
		return nil, err
	}
	var ids, ofOrders []int64
	for _, g := range all {
		ids, ofOrders = append(ids, g.PersonID, g.SentBy), append(ofOrders, g.OrderID)
	}
	names, err := registry.Names(ctx, d.db, ids)
	if err != nil {
		return nil, err
	}
	of, err := orders.ByIDs(ctx, d.db, scope, ofOrders)
	if err != nil {
		return nil, err
	}
	out := make([]web.SignatureFile, len(all))
	for i, g := range all {
		out[i] = web.SignatureFile{Signature: g, Order: of[g.OrderID], By: names[g.PersonID], SentBy: names[g.SentBy]}
	}
	return out, nil
}

// SignCounted signs an order and books what was counted on its job.
func (d *Desk) SignCounted(ctx context.Context, scope assets.Scope, a web.Act, plantID, number, edit int64, next web.OrderStep, counted assets.JobCounted) error {
	return d.step(ctx, scope, a, plantID, number, edit, next, counted)
}
