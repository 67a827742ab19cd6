package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/pressing"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/worksheets"
	"carryside/schedule/jobsheet"
	"carryside/schedule/press"
	"carryside/schedule/workorder"
)

// demoSheets is how many of a plant's last re-splices of the demonstration have their sheet filled in.
const demoSheets = 2

// fillSheets notes the steps of the last re-splices of each plant, as their crews would have at the conveyor.
func fillSheets(ctx context.Context, db *plantdb.DB, now time.Time) error {
	plants, err := registry.Plants(ctx, db, assets.JobScope())
	if err != nil {
		return err
	}
	for _, p := range plants {
		done, _, err := orders.List(ctx, db, assets.PlantScope(p.ID), orders.Filter{PlantID: p.ID, Kind: workorder.KindResplice, States: []workorder.State{workorder.Signed},
			Since: assets.InstantOf(now.AddDate(0, -9, 0)), Newest: true, Limit: demoSheets})
		if err != nil {
			return err
		}
		for _, o := range done {
			if err := fillSheet(ctx, db, o, now); err != nil {
				return fmt.Errorf("fill in the sheet of order %d at %s: %w", o.Number, p.Name, err)
			}
		}
	}
	return nil
}

func fillSheet(ctx context.Context, db *plantdb.DB, o workorder.Order, now time.Time) error {
	scope := assets.PlantScope(o.PlantID)
	sp, err := registry.Splice(ctx, db, scope, o.SpliceID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	b, err := registry.Belt(ctx, db, scope, sp.BeltID, plantdb.AsOf{})
	if err != nil {
		return err
	}
	pressed, err := pressing.Records(ctx, db, scope, pressing.Filter{PlantID: o.PlantID, OrderID: o.ID})
	if err != nil {
		return err
	}
	act := plantdb.Act{PersonID: o.DoneBy, Origin: plantdb.Demo, Action: "fill in a sample job sheet", Now: now, Plants: []int64{o.PlantID}}
	return db.Change(ctx, act, func(c *plantdb.Change) error {
		s, err := worksheets.Open(c, o, sp.Form, sp.Bond)
		if err != nil {
			return err
		}
		if err := worksheets.SetHead(c, s, "", fmt.Sprintf("P-%d", 2000+o.Number), nil); err != nil {
			return err
		}
		for i, step := range s.Steps {
			e := assets.JobEntry{StepKey: step.Key, State: jobsheet.Done, At: notedAt(o, i, len(s.Steps)), ClientID: fmt.Sprintf("demo-%d-%s", o.ID, step.Key)}
			if step.Measure != "" {
				if e.Value = measuredAt(step, sp, b, pressed); e.Value == nil {
					continue // nobody would have guessed it
				}
			}
			if _, err := worksheets.Note(c, s, &e); err != nil {
				return err
			}
		}
		return nil
	})
}

// notedAt spreads the steps of a sheet over its work, to the minute.
func notedAt(o workorder.Order, i, of int) assets.Instant {
	at := o.StartedAt.Time().Add(o.DoneAt.Time().Sub(o.StartedAt.Time()) * time.Duration(i+1) / time.Duration(of+1))
	return assets.InstantOf(at.Truncate(time.Minute))
}

// measuredAt is a believable value of a step: what the press told, the splice's own measures, else well inside the limits.
func measuredAt(step assets.JobStep, sp assets.Splice, b assets.Belt, pressed []assets.PressRecord) *float64 {
	told := func(figure string) *float64 {
		for _, rec := range pressed {
			if i := slices.IndexFunc(rec.Figures, func(f assets.PressFigure) bool { return f.Name == figure }); i >= 0 {
				return rec.Figures[i].Value
			}
		}
		return nil
	}
	value := 0.0
	switch {
	case step.Key == "dwell":
		return told(press.DwellTime)
	case step.Key == "release":
		return told(press.ReleaseTemp)
	case step.Key == "cut_out":
		value = sp.StepLengthM*float64(max(sp.Steps, 1)) + 0.4*b.WidthM + 0.05
	case step.Unit == "fingers" && sp.FingerPitchM > 0:
		value = float64(int(b.WidthM / sp.FingerPitchM))
	case step.Least != nil && step.Most != nil:
		value = (*step.Least + *step.Most) / 2
	case step.Most != nil && step.Unit == "m":
		value = *step.Most * 0.4
	case step.Least != nil && strings.HasPrefix(step.Unit, "h"):
		value = *step.Least * 1.5
	default:
		return nil
	}
	return &value
}
