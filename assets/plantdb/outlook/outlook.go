// Package outlook reads one plant as its rules see it: the register as of now, the usage clocks, the findings a
// rule may still answer, and what its rules raised before. A handful of statements, whatever the plant's size.
// It decides nothing (schedule/rules) and raises nothing (plantdb/orders).
//
//	plant, err := outlook.Load(ctx, db, scope, plantID, now)
//	look := rules.NewOutlook(plant.Inputs)
package outlook

import (
	"context"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/due"
	"carryside/schedule/rules"
)

// Plant is a plant as its rules see it.
type Plant struct {
	Register *assets.Register
	Clocks   due.Clocks
	Inputs   rules.Inputs
	Through  map[int64]time.Time // through when each rule was evaluated
	Before   []rules.Rule        // versions of rules that ended after they were evaluated last
}

// Load reads a plant as of now, all of it of one moment.
func Load(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, now time.Time) (*Plant, error) {
	return load(ctx, db, scope, plantID, now, 0, func(tx *plantdb.DB) (*assets.Register, error) {
		return registry.PlantAsOf(ctx, tx, scope, plantID, plantdb.AsOf{})
	})
}

// LoadYear reads the same with what ended in the last year and all its graded findings: for the preview of a rule.
func LoadYear(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, now time.Time) (*Plant, error) {
	p, err := load(ctx, db, scope, plantID, now, 366*24*time.Hour, func(tx *plantdb.DB) (*assets.Register, error) {
		return registry.PlantHistoryAsOf(ctx, tx, scope, plantID, plantdb.AsOf{}, assets.InstantOf(now.AddDate(-1, 0, 0)))
	})
	if err != nil {
		return nil, err
	}
	p.Inputs.Findings, err = registry.FindingsOfPlant(ctx, db, scope, plantID, assets.InstantOf(now.AddDate(-1, 0, 0)), plantdb.AsOf{}, 0)
	if err != nil {
		return nil, err
	}
	return p, nil
}

func load(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, now time.Time, whole time.Duration, register func(*plantdb.DB) (*assets.Register, error)) (*Plant, error) {
	p := &Plant{}
	err := db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		reg, err := register(tx)
		if err != nil {
			return err
		}
		p.Register = reg
		l := loader{db: tx, scope: scope, plant: plantID, now: now, whole: whole, p: p}
		return l.load(ctx)
	})
	if err != nil {
		return nil, fmt.Errorf("read plant %d for its rules: %w", plantID, err)
	}
	return p, nil
}

// loader reads one plant inside one snapshot.
type loader struct {
	db    *plantdb.DB
	scope assets.Scope
	plant int64
	now   time.Time
	whole time.Duration // before the last reading: all readings of it are read
	p     *Plant
}

func (l loader) load(ctx context.Context) error {
	all, err := orders.RulesOf(ctx, l.db, l.scope, l.plant, plantdb.AsOf{})
	if err != nil {
		return err
	}
	reg, in := l.p.Register, &l.p.Inputs
	*in = rules.Inputs{Now: l.now, Plant: reg.Plant, Lines: reg.Lines, Conveyors: reg.Conveyors, Belts: reg.Belts, Splices: reg.Splices,
		Families: make(map[int64]string, len(reg.Specifications))}
	for _, s := range reg.Specifications {
		in.Families[s.ID] = s.Family
	}
	for _, r := range all {
		if r.AppliesTo(reg.Plant) {
			in.Rules = append(in.Rules, r)
		}
	}
	if err := l.progress(ctx); err != nil {
		return err
	}
	if err := l.superseded(ctx, all); err != nil {
		return err
	}
	for _, step := range []func(context.Context) error{l.raised, l.findings, l.clocks, l.stores, l.tickets} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	return nil
}

// progress reads through when each rule was evaluated.
func (l loader) progress(ctx context.Context) error {
	marks, err := orders.Progress(ctx, l.db, l.plant)
	l.p.Through = make(map[int64]time.Time, len(marks))
	for rule, at := range marks {
		l.p.Through[rule] = at.Time()
	}
	return err
}

// superseded reads the versions of rules that were in force after they were evaluated last and ended since, by an
// edit or by being switched off: what they planned until then is still raised.
func (l loader) superseded(ctx context.Context, all []rules.Rule) error {
	for _, r := range all {
		mark, evaluated := l.p.Through[r.ID]
		if !evaluated || !r.StartsAt.Time().After(mark) {
			continue
		}
		var old []rules.Rule
		err := l.db.SQL(ctx).Where("id = ? AND known_to IS NULL AND valid_to > ?", r.ID, assets.InstantOf(mark)).Order("valid_from").Find(&old).Error
		if err != nil {
			return err
		}
		l.p.Before = append(l.p.Before, old...)
	}
	return nil
}

// raised reads what the rules raised: of those that plan dates what was raised since shortly before their mark,
// of the others all, because they are asked from their start.
func (l loader) raised(ctx context.Context) error {
	in := &l.p.Inputs
	var planned, others []int64
	since := l.now
	for _, r := range slices.Concat(in.Rules, l.p.Before) {
		if !r.PlansDates() {
			others = append(others, r.ID)
			continue
		}
		planned = append(planned, r.ID)
		mark, evaluated := l.p.Through[r.ID]
		if !evaluated {
			mark = r.StartsAt.Time()
		}
		// What is asked about again was raised at most the lead before it fell due; two days for zones and clocks.
		if from := mark.AddDate(0, 0, -r.Template.LeadDays-3); from.Before(since) {
			since = from
		}
	}
	const columns = "id, plant_id, rule_id, target_kind, target_id, cycle, withdrawal_no, order_id, joined"
	err := l.db.SQL(ctx).Select(columns).Where("plant_id = ? AND (rule_id IN ? OR (rule_id IN ? AND raised_at >= ?))", l.plant, others, planned, assets.InstantOf(since)).
		Order("id").Find(&in.Occurrences).Error
	if err != nil {
		return err
	}
	const orderColumns = "id, number, state, done_at, withdrawn_at, in_error, holds_until"
	return l.db.SQL(ctx).Select(orderColumns).
		Where("plant_id = ? AND known_to IS NULL AND valid_to IS NULL AND id IN (SELECT o.order_id FROM occurrences o WHERE o.plant_id = ? AND o.order_id <> 0)", l.plant, l.plant).
		Find(&in.Orders).Error
}

// findings reads what finding and take-up rules rest on; nothing where the plant has no such rule.
func (l loader) findings(ctx context.Context) error {
	grade, takeUp := 5, false
	for _, r := range l.p.Inputs.Rules {
		switch r.Trigger.Kind {
		case rules.TriggerGrade:
			grade = min(grade, r.Trigger.Grade)
		case rules.TriggerTakeUp:
			takeUp = true
		}
	}
	if err := l.openGrades(ctx, grade); err != nil || !takeUp {
		return err
	}
	return l.takeUps(ctx)
}

// openGrades reads the unanswered findings of a grade or worse, what was found since on the same conveyors, and
// those whose order may still be doubted or raised anew; each once.
func (l loader) openGrades(ctx context.Context, grade int) error {
	if grade > 4 {
		return nil
	}
	open, err := registry.OpenGrades(ctx, l.db, l.scope, l.plant, grade)
	if err != nil {
		return err
	}
	var since, followed []assets.Finding
	if len(open) > 0 {
		conveyors := make([]int64, len(open))
		for i, f := range open { // oldest first
			conveyors[i] = f.ConveyorID
		}
		err = l.db.SQL(ctx).Where("plant_id = ? AND known_to IS NULL AND valid_to IS NULL AND conveyor_id IN ? AND grade < ? AND found_at > ?",
			l.plant, conveyors, 4, open[0].FoundAt).Find(&since).Error
		if err != nil {
			return err
		}
	}
	err = l.db.SQL(ctx).Where(`plant_id = ? AND known_to IS NULL AND valid_to IS NULL AND refused_by = 0 AND follow_up_order_id <> 0 AND follow_up_order_id IN (SELECT o.id FROM orders o
		WHERE o.plant_id = ? AND o.state IN ('raised', 'accepted', 'placed', 'withdrawn') AND o.finding_id <> 0 AND o.known_to IS NULL AND o.valid_to IS NULL)`,
		l.plant, l.plant).Find(&followed).Error
	have := map[int64]bool{}
	for _, f := range slices.Concat(open, since, followed) {
		if !have[f.ID] {
			have[f.ID] = true
			l.p.Inputs.Findings = append(l.p.Inputs.Findings, f)
		}
	}
	return err
}

// takeUps counts the re-splices that each belt's take-up leaves.
func (l loader) takeUps(ctx context.Context) error {
	var measured []assets.Finding
	err := l.db.SQL(ctx).Where("plant_id = ? AND known_to IS NULL AND valid_to IS NULL AND quantity <> '' AND quantity = ?", l.plant, rules.TakeUpTravel).Find(&measured).Error
	l.p.Inputs.Resplices = map[int64]int{}
	for _, b := range l.p.Register.Belts {
		c, _ := l.p.Register.Conveyor(b.ConveyorID)
		if left, known := rules.ResplicesLeft(c, b, l.p.Register.SplicesOf(b.ID), measured); known {
			l.p.Inputs.Resplices[b.ID] = left
		}
	}
	return err
}
