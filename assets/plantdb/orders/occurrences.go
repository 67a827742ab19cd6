package orders

import (
	"context"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"

	"gorm.io/gorm/clause"
)

// Occurrences returns what rules raised at a plant for targets that may still be asked about: all rows of the
// rules given, oldest first. A plant's rules look at them to leave out what was raised before.
func Occurrences(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, since assets.Instant) ([]rules.Occurrence, error) {
	return plantdb.Rows[rules.Occurrence](db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).
		Where("plant_id = ? AND raised_at >= ?", plantID, since).Order("raised_at, id"))
}

// OccurrencesOf returns the occurrences that point to an order: the one that raised it and those that joined.
func OccurrencesOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, orderID int64) ([]rules.Occurrence, error) {
	var rows []rules.Occurrence
	err := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("order_id = ?", orderID).Order("raised_at, id").Find(&rows).Error
	return rows, err
}

// Reminders returns the occurrences of a plant that have no order and are not put off past today.
func Reminders(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, today assets.Day) ([]rules.Occurrence, error) {
	var rows []rules.Occurrence
	err := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).
		Where("plant_id = ? AND order_id = 0 AND not_before <= ?", plantID, today).Order("due_at, id").Find(&rows).Error
	return rows, err
}

// Progress returns through when each rule was evaluated at a plant, by rule.
func Progress(ctx context.Context, db *plantdb.DB, plantID int64) (map[int64]assets.Instant, error) {
	var rows []struct {
		RuleID  int64
		Through assets.Instant
	}
	err := db.SQL(ctx).Raw("SELECT rule_id, through FROM rule_progress WHERE plant_id = ?", plantID).Scan(&rows).Error
	out := make(map[int64]assets.Instant, len(rows))
	for _, r := range rows {
		out[r.RuleID] = r.Through
	}
	return out, err
}

// Raised counts what an evaluation wrote.
type Raised struct {
	Orders    int // new orders
	Joined    int // occurrences that point to an order open already
	Reminders int // occurrences without an order
	Known     int // proposals that had been raised before
}

// Raise writes the proposals of one plant and moves the progress of the rules evaluated to through. Each
// proposal goes in under its unique key; one that is there already is passed over. A new one joins the open
// order of its target and kind, or raises an order, or (by a rule of thumb) stays a reminder. Doing it twice, or
// on two servers, leaves one of each.
func Raise(c *plantdb.Change, plantID int64, proposals []rules.Proposal, evaluated []int64, through assets.Instant) (Raised, error) {
	var n Raised
	for _, rule := range evaluated {
		if err := moveProgress(c, rule, plantID, through); err != nil {
			return n, err
		}
	}
	if len(proposals) == 0 {
		return n, nil
	}
	ch, err := c.PlantChain(plantID)
	if err != nil {
		return n, err
	}
	r := raising{c: c, ch: ch, plantID: plantID, n: &n}
	if err := c.Tx().Where("plant_id = ? AND state IN ('raised','accepted','placed','started') AND known_to IS NULL AND valid_to IS NULL", plantID).Find(&r.open).Error; err != nil {
		return n, err
	}
	for _, p := range proposals {
		if err := r.raise(p); err != nil {
			return n, fmt.Errorf("raise %s: %w", p.Rule.Name, err)
		}
	}
	return n, nil
}

// moveProgress never moves a mark back: of two servers the later one counts.
func moveProgress(c *plantdb.Change, rule, plant int64, through assets.Instant) error {
	return c.Tx().Exec(`INSERT INTO rule_progress (rule_id, plant_id, through) VALUES (?, ?, ?)
		ON CONFLICT (rule_id, plant_id) DO UPDATE SET through = excluded.through WHERE rule_progress.through < excluded.through`, rule, plant, through).Error
}

// raising is one plant's proposals being written.
type raising struct {
	c       *plantdb.Change
	ch      *plantdb.Chain
	plantID int64
	open    []workorder.Order
	n       *Raised
}

func (r *raising) raise(p rules.Proposal) error {
	row := p.Occurrence(r.c.Act.Now)
	there, err := r.there(row)
	if err != nil || there {
		r.n.Known++
		return err
	}
	var order *workorder.Order
	if !p.Reminder() {
		if order, row.Joined, err = r.orderFor(p); err != nil {
			return err
		}
		row.OrderID = order.ID
	}
	if row.ID, err = r.c.NewIDs("occurrences", 1); err != nil {
		return err
	}
	row.KnownFrom = r.ch.Position
	res := r.c.Tx().Clauses(clause.OnConflict{DoNothing: true}).Create(&row)
	if res.Error == nil && res.RowsAffected == 0 {
		// The unique key decides, also against a program that did not take the chain first.
		return fmt.Errorf("occurrence %s was raised by another server in this instant: %w", row.Cycle, assets.ErrConflict)
	}
	if res.Error != nil {
		return res.Error
	}
	r.c.Note(r.ch, plantdb.Written{Table: "occurrences", ID: row.ID, After: map[string]any{"rule_id": row.RuleID, "target_kind": string(row.TargetKind),
		"target_id": row.TargetID, "cycle": row.Cycle, "withdrawal_no": row.WithdrawalNo, "order_id": row.OrderID, "why": row.Why}})
	switch {
	case row.OrderID == 0:
		r.n.Reminders++
	case row.Joined:
		r.n.Joined++
	default:
		r.n.Orders++
	}
	return nil
}

// there tells whether an occurrence stands under its key.
func (r *raising) there(o rules.Occurrence) (bool, error) {
	var n int64
	err := r.c.Tx().Raw(`SELECT count(*) FROM occurrences WHERE rule_id = ? AND target_kind = ? AND target_id = ? AND cycle = ? AND withdrawal_no = ?`,
		o.RuleID, o.TargetKind, o.TargetID, o.Cycle, o.WithdrawalNo).Scan(&n).Error
	return n > 0, err
}

// orderFor returns the open order a proposal joins, or a new one.
func (r *raising) orderFor(p rules.Proposal) (order *workorder.Order, joined bool, err error) {
	for i := range r.open {
		if p.Joins(r.open[i]) {
			return &r.open[i], true, nil
		}
	}
	o := p.Order(r.c.Act.Now)
	o.PlantID = r.plantID
	if err := create(r.c, r.ch, &o, 0, p.Why); err != nil {
		return nil, false, err
	}
	r.open = append(r.open, o)
	return &r.open[len(r.open)-1], false, nil
}

// MakeOrder gives a reminder its order: a person decided.
func MakeOrder(c *plantdb.Change, occurrenceID int64, order *workorder.Order) error {
	oc, ch, err := reminder(c, occurrenceID)
	if err != nil {
		return err
	}
	order.PlantID = oc.PlantID
	if err := create(c, ch, order, c.Act.PersonID, c.Act.Reason); err != nil {
		return err
	}
	c.Note(ch, plantdb.Written{Table: "occurrences", ID: oc.ID, Before: map[string]any{"order_id": 0}, After: map[string]any{"order_id": order.ID}})
	return c.Tx().Exec("UPDATE occurrences SET order_id = ? WHERE id = ? AND order_id = 0", order.ID, oc.ID).Error
}

// PutOffReminder keeps a reminder from Today until a day.
func PutOffReminder(c *plantdb.Change, occurrenceID int64, until assets.Day) error {
	oc, ch, err := reminder(c, occurrenceID)
	if err != nil {
		return err
	}
	c.Note(ch, plantdb.Written{Table: "occurrences", ID: oc.ID, Before: map[string]any{"not_before": oc.NotBefore}, After: map[string]any{"not_before": until}})
	return c.Tx().Exec("UPDATE occurrences SET not_before = ? WHERE id = ?", until, oc.ID).Error
}

// Reminder returns a plant's reminder for a form.
func Reminder(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID, id int64) (rules.Occurrence, error) {
	var rows []rules.Occurrence
	err := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("plant_id = ? AND id = ?", plantID, id).Find(&rows).Error
	if err == nil && len(rows) == 0 {
		err = fmt.Errorf("reminder %d: %w", id, assets.ErrNotFound)
	}
	if err != nil {
		return rules.Occurrence{}, err
	}
	return rows[0], nil
}

func reminder(c *plantdb.Change, id int64) (rules.Occurrence, *plantdb.Chain, error) {
	var rows []rules.Occurrence
	if err := c.Tx().Where("id = ?", id).Find(&rows).Error; err != nil {
		return rules.Occurrence{}, nil, err
	}
	if len(rows) == 0 {
		return rules.Occurrence{}, nil, fmt.Errorf("reminder %d: %w", id, assets.ErrNotFound)
	}
	if rows[0].OrderID != 0 {
		return rows[0], nil, assets.Invalid{"": "this reminder has its order already"}
	}
	ch, err := c.PlantChain(rows[0].PlantID)
	return rows[0], ch, err
}
