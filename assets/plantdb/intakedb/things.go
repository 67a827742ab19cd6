package intakedb

import (
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
)

func metersOf(c *plantdb.Change, plantID int64) (map[int64][]assets.Meter, error) {
	return clocks.MetersOfPlant(c.Context(), c.DB, assets.PlantScope(plantID), plantID, plantdb.AsOf{})
}

// whenColumns are the columns of a date under a prefix.
func whenColumns(prefix string, more ...string) []string {
	return append(more, prefix+"_at", prefix+"_earliest", prefix+"_latest", prefix+"_as_written", prefix+"_timed")
}

// columnsOf says which columns a field of a list changes; a field that is not named is its own column.
var columnsOf = map[intake.Kind]map[string][]string{
	intake.KindConveyor: {
		"line": {"line_id"}, "conveyor_name": {"name"}, "speed_m_per_s": {"speed_mps"}, "retired_on": whenColumns("retired"),
	},
	intake.KindBelt: {
		"specification": {"specification", "specification_id"}, "fitted_on": whenColumns("fitted"), "fitted_by": {"fitted_by_id"},
		"removed_on": whenColumns("removed", "removed"),
	},
	intake.KindSplice: {
		"splice_number": {"number"}, "splice_position_m": {"position_m"}, "splice_kind": {"form", "bond", "kind_written"},
		"made_on": whenColumns("made"), "made_by": {"made_by_id"},
		"retired_on": whenColumns("retired", "ended", "retired_why"),
	},
}

// columns sorts the fields that change into those that correct the past and those that hold from now on.
func columns(kind intake.Kind, changes []intake.FieldChange) (past, fromNow []string) {
	for _, f := range changes {
		of, ok := columnsOf[kind][f.Field]
		if !ok {
			of = []string{f.Field}
		}
		if f.FromNow {
			fromNow = append(fromNow, of...)
		} else {
			past = append(past, of...)
		}
	}
	if kind != intake.KindConveyor && len(past) > 0 {
		past = append(past, "as_typed")
	}
	return past, fromNow
}

// rewrite writes a thing that changes: corrections are so from its beginning, the rest from the import on.
func rewrite[T any, P plantdb.Fact[T]](w *plantWriter, kind intake.Kind, next P, changes []intake.FieldChange) error {
	past, fromNow := columns(kind, changes)
	if len(past) > 0 {
		if err := plantdb.CorrectBetween[T](w.c, w.ch, next, 0, nil, past...); err != nil {
			return err
		}
	}
	if len(fromNow) == 0 {
		return nil
	}
	return plantdb.CorrectBetween[T](w.c, w.ch, next, w.c.Now(), nil, fromNow...)
}

func (w *plantWriter) place(c *intake.ConveyorChange) {
	c.Record.PlantID, c.Record.TagKey = w.plant.ID, assets.TagKey(c.Record.Tag)
	if c.Line != "" {
		c.Record.LineID = w.lines[assets.NameKey(c.Line)]
	}
}

func (w *plantWriter) changeConveyors() error {
	for _, c := range w.change.Conveyors {
		if c.Created || len(c.Changes) == 0 {
			continue
		}
		w.place(c)
		if err := rewrite(w, intake.KindConveyor, &c.Record, c.Changes); err != nil {
			return fmt.Errorf("%s: %w", c.Record.Tag, err)
		}
	}
	return nil
}

func (w *plantWriter) createConveyors() error {
	var made []*intake.ConveyorChange
	position := map[int64]int{}
	for _, c := range w.change.Conveyors {
		if !c.Created {
			continue
		}
		w.place(c)
		position[c.Record.LineID]++
		c.Record.Position = position[c.Record.LineID]
		made = append(made, c)
	}
	return createAll(w, made, func(c *intake.ConveyorChange) *assets.Conveyor { return &c.Record })
}

// createAll writes the records of new things and gives each its number back.
func createAll[C, T any, P plantdb.Fact[T]](w *plantWriter, made []C, record func(C) P) error {
	rows := make([]T, len(made))
	for i, m := range made {
		rows[i] = *record(m)
	}
	if err := plantdb.CreateMany[T, P](w.c, w.ch, rows); err != nil {
		return err
	}
	for i, m := range made {
		*record(m) = rows[i]
	}
	return nil
}

// eachBelt visits the belts of the list with their conveyor.
func (w *plantWriter) eachBelt(visit func(*intake.ConveyorChange, *intake.BeltChange) error) error {
	for _, c := range w.change.Conveyors {
		for _, b := range c.Belts {
			if err := visit(c, b); err != nil {
				return fmt.Errorf("%s, belt: %w", c.Record.Tag, err)
			}
		}
	}
	return nil
}

func (w *plantWriter) completeBelt(c *intake.ConveyorChange, b *intake.BeltChange) (err error) {
	r := &b.Record
	r.PlantID, r.ConveyorID = w.plant.ID, c.Record.ID
	if r.Specification != "" {
		r.SpecificationID = w.specs[assets.NameKey(r.Specification)]
	}
	if r.Fitted.At == 0 {
		r.Fitted.At = w.c.Now() // a date open on both sides counts from its entry
	}
	if r.FittedBy != "" {
		r.FittedByID, err = w.person(r.FittedBy)
	}
	return err
}

func (w *plantWriter) changeBelts() error {
	return w.eachBelt(func(c *intake.ConveyorChange, b *intake.BeltChange) error {
		if b.Created || len(b.Changes) == 0 {
			return nil
		}
		if err := w.completeBelt(c, b); err != nil {
			return err
		}
		return rewrite(w, intake.KindBelt, &b.Record, b.Changes)
	})
}

func (w *plantWriter) createBelts() error {
	var made []*intake.BeltChange
	err := w.eachBelt(func(c *intake.ConveyorChange, b *intake.BeltChange) error {
		if !b.Created {
			return nil
		}
		made = append(made, b)
		return w.completeBelt(c, b)
	})
	if err != nil {
		return err
	}
	return createAll(w, made, func(b *intake.BeltChange) *assets.Belt { return &b.Record })
}

func (w *plantWriter) completeSplice(b *intake.BeltChange, s *intake.SpliceChange) (err error) {
	r := &s.Record
	r.PlantID, r.ConveyorID, r.BeltID = w.plant.ID, b.Record.ConveyorID, b.Record.ID
	if r.Made.At == 0 {
		r.Made.At = w.c.Now()
	}
	if r.MadeBy != "" {
		r.MadeByID, err = w.person(r.MadeBy)
	}
	return err
}

func (w *plantWriter) changeSplices() error {
	return w.eachBelt(func(_ *intake.ConveyorChange, b *intake.BeltChange) error {
		for _, s := range b.Splices {
			if s.Created || len(s.Changes) == 0 {
				continue
			}
			if err := w.completeSplice(b, s); err != nil {
				return err
			}
			if err := rewrite(w, intake.KindSplice, &s.Record, s.Changes); err != nil {
				return err
			}
		}
		return nil
	})
}

func (w *plantWriter) createSplices() error {
	var made []*intake.SpliceChange
	err := w.eachBelt(func(_ *intake.ConveyorChange, b *intake.BeltChange) error {
		for _, s := range b.Splices {
			if !s.Created {
				continue
			}
			made = append(made, s)
			if err := w.completeSplice(b, s); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return createAll(w, made, func(s *intake.SpliceChange) *assets.Splice { return &s.Record })
}

// writeFindings writes findings, pointing to the splice or belt that the list's word means.
func (w *plantWriter) writeFindings() error {
	var made []assets.Finding
	for _, c := range w.change.Conveyors {
		for _, f := range c.Findings {
			f.PlantID, f.ConveyorID = w.plant.ID, c.Record.ID
			var err error
			if f.FoundByID, err = w.person(f.FoundBy); err != nil {
				return err
			}
			if err := w.aim(&f); err != nil {
				return err
			}
			made = append(made, f)
		}
	}
	if err := plantdb.CreateMany(w.c, w.ch, made); err != nil {
		return err
	}
	return w.correctFindings()
}

// correctFindings corrects findings of which the list says otherwise, from their beginning.
func (w *plantWriter) correctFindings() error {
	for _, c := range w.change.Conveyors {
		for _, f := range c.Corrected {
			if err := plantdb.Correct(w.c, w.ch, &f); err != nil {
				return err
			}
		}
	}
	return nil
}

// aim finds the splice that a finding's word names ("S2", "splice 2", "2") among those of the day it was found.
func (w *plantWriter) aim(f *assets.Finding) error {
	mark, ok := spliceMark(f.Target)
	if !ok {
		return nil
	}
	if w.splices == nil {
		w.splices = map[int64][]assets.Splice{}
		var all []assets.Splice
		if err := w.c.Tx().Scopes(plantdb.AsOf{}.Rows).Where("plant_id = ?", w.plant.ID).Order("made_at").Find(&all).Error; err != nil {
			return err
		}
		for _, s := range all {
			w.splices[s.ConveyorID] = append(w.splices[s.ConveyorID], s)
		}
	}
	for _, s := range slices.Backward(w.splices[f.ConveyorID]) {
		if number, ok := spliceMark(s.Number); ok && number == mark && s.Live(f.FoundAt) {
			f.SpliceID, f.BeltID = s.ID, s.BeltID
			return nil
		}
	}
	return nil
}
