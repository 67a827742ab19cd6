package orders

import (
	"context"
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
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

// Reminders returns the occurrences of a plant that have no order, are not put off past today and are about a splice,
// belt or conveyor that is still in use.
func Reminders(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, today assets.Day) ([]rules.Occurrence, error) {
	var rows []rules.Occurrence
	err := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).
		Where("plant_id = ? AND order_id = 0 AND not_before <= ?", plantID, today).
		Where(`NOT EXISTS (SELECT 1 FROM splices s WHERE occurrences.target_kind = 'splice' AND s.id = occurrences.target_id AND s.known_to IS NULL AND s.valid_to IS NULL AND s.ended IS NOT NULL)`).
		Where(`NOT EXISTS (SELECT 1 FROM belts b WHERE occurrences.target_kind = 'belt' AND b.id = occurrences.target_id AND b.known_to IS NULL AND b.valid_to IS NULL AND b.removed IS NOT NULL)`).
		Where(`NOT EXISTS (SELECT 1 FROM conveyors v WHERE occurrences.target_kind = 'conveyor' AND v.id = occurrences.target_id AND v.known_to IS NULL AND v.valid_to IS NULL AND v.status = 'retired')`).
		Order("due_at, id").Find(&rows).Error
	return rows, err
}

// Answered is an order that an occurrence points to, with the occurrence's cycle.
type Answered struct {
	Cycle string
	Order workorder.Order
}

// AnswersTo returns the orders that occurrences about targets point to, those withdrawn left out, by target from old to new.
func AnswersTo(ctx context.Context, db *plantdb.DB, scope assets.Scope, kind rules.TargetKind, ids []int64) (map[int64][]Answered, error) {
	out := map[int64][]Answered{}
	if len(ids) == 0 {
		return out, nil
	}
	var of []rules.Occurrence
	if err := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("target_kind = ? AND target_id IN ? AND order_id <> 0", kind, ids).Order("id").Find(&of).Error; err != nil || len(of) == 0 {
		return out, err
	}
	var orderIDs []int64
	for _, o := range of {
		orderIDs = append(orderIDs, o.OrderID)
	}
	all, err := plantdb.Rows[workorder.Order](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).Where("id IN ? AND state <> ?", orderIDs, workorder.Withdrawn))
	byID := map[int64]workorder.Order{}
	for _, o := range all {
		byID[o.ID] = o
	}
	for _, o := range of {
		if order, is := byID[o.OrderID]; is {
			out[o.TargetID] = append(out[o.TargetID], Answered{o.Cycle, order})
		}
	}
	return out, err
}

// About returns which targets of a kind some orders were raised for, by order.
func About(ctx context.Context, db *plantdb.DB, scope assets.Scope, kind rules.TargetKind, orderIDs []int64) (map[int64][]int64, error) {
	out := map[int64][]int64{}
	for some := range slices.Chunk(orderIDs, 10000) {
		var list []rules.Occurrence
		err := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Select("order_id", "target_id").Where("order_id IN ? AND target_kind = ?", some, kind).Find(&list).Error
		if err != nil {
			return nil, err
		}
		for _, o := range list {
			out[o.OrderID] = append(out[o.OrderID], o.TargetID)
		}
	}
	return out, nil
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

// MakeOrder gives a reminder its order: a person decided. Where an order of the same target and kind is open
// already, the reminder points to that one, and order becomes it.
func MakeOrder(c *plantdb.Change, occurrenceID int64, order *workorder.Order) error {
	oc, ch, err := reminder(c, occurrenceID)
	if err != nil {
		return err
	}
	order.PlantID = oc.PlantID
	joined, err := joinOpen(c, order)
	if err != nil {
		return err
	}
	if !joined {
		if err := create(c, ch, order, c.Act.PersonID, c.Act.Reason); err != nil {
			return err
		}
	}
	c.Wrote(ch, "occurrences", oc.ID)
	c.Note(ch, plantdb.Written{Table: "occurrences", ID: oc.ID, Before: map[string]any{"order_id": 0}, After: map[string]any{"order_id": order.ID, "joined": joined}})
	return c.Tx().Exec("UPDATE occurrences SET order_id = ?, joined = ? WHERE id = ? AND order_id = 0", order.ID, joined, oc.ID).Error
}

// joinOpen finds the open order that is about the same thing; the title parts what is about a whole plant.
func joinOpen(c *plantdb.Change, order *workorder.Order) (bool, error) {
	var open []workorder.Order
	err := c.Tx().Where(`plant_id = ? AND kind = ? AND conveyor_id = ? AND belt_id = ? AND splice_id = ? AND state IN ? AND known_to IS NULL AND valid_to IS NULL`,
		order.PlantID, order.Kind, order.ConveyorID, order.BeltID, order.SpliceID, openStates).Order("number").Find(&open).Error
	for _, o := range open {
		if order.ConveyorID != 0 || o.Title == order.Title {
			*order = o
			return true, err
		}
	}
	return false, err
}

// PutOffReminder keeps a reminder from Today until a day.
func PutOffReminder(c *plantdb.Change, occurrenceID int64, until assets.Day) error {
	oc, ch, err := reminder(c, occurrenceID)
	if err != nil {
		return err
	}
	c.Wrote(ch, "occurrences", oc.ID)
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
