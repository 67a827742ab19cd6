package pressing

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/schedule/press"
	"carryside/schedule/workorder"
)

// FollowUpDays is by when a splice pressed outside its recipe is looked at again. Rule of thumb (class D), told on the order.
const FollowUpDays = 7

func asInvalid(err error, bad *assets.Invalid) bool { return errors.As(err, bad) }

// Filter narrows a list of press records; zero fields do not.
type Filter struct {
	PlantID, SpliceID, OrderID, RecipeID, ID int64
}

// Records lists press records of the scope, newest press first; withdrawn ones are left out.
func Records(ctx context.Context, db *plantdb.DB, scope assets.Scope, f Filter) ([]assets.PressRecord, error) {
	tx := db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).Where("NOT withdrawn")
	for column, id := range map[string]int64{"plant_id": f.PlantID, "splice_id": f.SpliceID, "order_id": f.OrderID, "recipe_id": f.RecipeID, "id": f.ID} {
		if id != 0 {
			tx = tx.Where(column+" = ?", id)
		}
	}
	return plantdb.Rows[assets.PressRecord](tx.Order("pressed_at DESC, id DESC"))
}

// Record returns one press record; assets.ErrNotFound outside the scope.
func Record(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.PressRecord, error) {
	rows, err := Records(ctx, db, scope, Filter{ID: id})
	if err == nil && len(rows) == 0 || id == 0 {
		err = fmt.Errorf("press record %d: %w", id, assets.ErrNotFound)
	}
	if err != nil {
		return assets.PressRecord{}, err
	}
	return rows[0], nil
}

// A place is where a splice sits and what it is called.
type place struct {
	PlantID, ConveyorID, BeltID int64
	Number, Tag                 string
	Ended                       *assets.Instant
	MadeEarliest, MadeLatest    assets.Day
}

// Keep writes a press record that was judged. Outside the recipe it needs a reason, and an inspection of a splice in service is raised in the same transaction, due
// FollowUpDays after the plant's today. assets.Invalid says what is missing or that the cycle is kept already, assets.ErrNotFound that the plant has no such splice.
func Keep(c *plantdb.Change, r *assets.PressRecord, today assets.Day) error {
	at, err := spliceOf(c, r)
	if err != nil {
		return err
	}
	if err := check(c, r); err != nil {
		return err
	}
	if err := at.madeBy(r); err != nil {
		return err
	}
	if at.Ended != nil && r.PressedAt > *at.Ended {
		return assets.Invalid{"pressed_at": "splice " + at.Number + " had ended by then; record it with the splice that is in the belt, or give the time at which this one was pressed"}
	}
	if err := keptAlready(c, r); err != nil {
		return err
	}
	ch, err := c.PlantChain(r.PlantID)
	if err != nil {
		return err
	}
	r.RecordedBy, r.RecordedAt, r.ValidFrom = c.Act.PersonID, c.Now(), 0
	r.ReasonBy, r.FollowUpID = 0, 0
	if r.Reason != "" {
		r.ReasonBy = c.Act.PersonID
	}
	if r.Verdict == string(press.Outside) && at.Ended == nil { // one that is gone cannot be looked at
		if r.FollowUpID, err = raiseInspection(c, *r, at, today); err != nil {
			return err
		}
	}
	return plantdb.Create(c, ch, r)
}

// Days between a splice's date and the opening of its press: one before for a night shift and the plant's zone, a week after for what is dated
// by the stop it was made in. Common practice; a splice pressed again later is a new one.
const (
	openedBefore = 1
	openedAfter  = 7
)

// madeBy says whether a cycle can have made the splice, by the days on which it was.
func (at place) madeBy(r *assets.PressRecord) error {
	opened := assets.DayOf(r.PressedAt.Time().UTC())
	switch {
	case at.MadeEarliest != "" && opened < at.MadeEarliest.AddDays(-openedBefore):
		return assets.Invalid{"pressed_at": fmt.Sprintf("splice %s was made on %s or later: a cycle opened before did not make it; give the time at which its press was opened, or correct the date of the splice", at.Number, at.MadeEarliest)}
	case at.MadeLatest != "" && opened > at.MadeLatest.AddDays(openedAfter):
		return assets.Invalid{"pressed_at": fmt.Sprintf("splice %s was made by %s: a cycle opened more than %d days later did not make it; give the time at which its press was opened, or enter the splice it made", at.Number, at.MadeLatest, openedAfter)}
	}
	return nil
}

func spliceOf(c *plantdb.Change, r *assets.PressRecord) (place, error) {
	var found []place
	err := c.Tx().Raw(`SELECT s.plant_id, s.conveyor_id, s.belt_id, s.number, s.ended, s.made_earliest, s.made_latest, v.tag FROM splices s
		JOIN conveyors v ON v.id = s.conveyor_id AND v.known_to IS NULL AND v.valid_to IS NULL
		WHERE s.id = ? AND s.plant_id = ? AND s.known_to IS NULL AND s.valid_to IS NULL`, r.SpliceID, r.PlantID).Scan(&found).Error
	if err == nil && len(found) == 0 {
		err = fmt.Errorf("splice %d: %w", r.SpliceID, assets.ErrNotFound)
	}
	if err != nil {
		return place{}, err
	}
	return found[0], nil
}

func check(c *plantdb.Change, r *assets.PressRecord) error {
	bad := assets.Invalid{}
	r.Reason = strings.TrimSpace(r.Reason)
	if r.Verdict == string(press.Outside) && r.Reason == "" {
		bad.Add("reason", "a figure is outside the recipe: say why")
	}
	if r.PressedAt > c.Now() {
		bad.Add("pressed_at", "this lies in the future; give when the press was opened")
	}
	if len(r.Figures) == 0 {
		bad.Add("figures", "there is no figure to keep")
	}
	for _, of := range []struct {
		field, query string
		args         []any
	}{
		{"recipe", "SELECT count(*) FROM recipes WHERE id = ? AND edition = ? AND known_to IS NULL", []any{r.RecipeID, r.Edition}},
		{"order", "SELECT count(*) FROM orders WHERE id = ? AND plant_id = ? AND" + isCurrent, []any{r.OrderID, r.PlantID}},
		{"trace", "SELECT count(*) FROM attachments WHERE id = ? AND plant_id = ? AND of_kind = 'splice' AND of_id = ? AND" + isCurrent, []any{r.AttachmentID, r.PlantID, r.SpliceID}},
	} {
		if of.args[0] == int64(0) && of.field != "recipe" {
			continue
		}
		var n int64
		if err := c.Tx().Raw(of.query, of.args...).Scan(&n).Error; err != nil {
			return err
		}
		if n == 0 {
			bad.Add(of.field, "choose the "+of.field+" from the list")
		}
	}
	return bad.Err()
}

// keptAlready refuses what is sent a second time, after a lost answer or by a second tap: it would raise a second inspection. A splice is pressed
// once at one instant, and a cycle of a trace makes it once.
func keptAlready(c *plantdb.Change, r *assets.PressRecord) error {
	var n int64
	err := c.Tx().Raw("SELECT count(*) FROM press_records WHERE splice_id = ? AND plant_id = ? AND NOT withdrawn AND (pressed_at = ? OR attachment_id = ? AND attachment_id <> 0 AND cycle = ?) AND"+isCurrent,
		r.SpliceID, r.PlantID, r.PressedAt, r.AttachmentID, r.Cycle).Scan(&n).Error
	if err == nil && n > 0 {
		err = assets.Invalid{"pressed_at": "this cycle of this splice is kept already; open its record from the splice, or give the time at which another cycle was opened"}
	}
	return err
}

// raiseInspection raises the early inspection of a splice pressed outside its recipe.
func raiseInspection(c *plantdb.Change, r assets.PressRecord, at place, today assets.Day) (int64, error) {
	var outside []string
	for _, f := range r.Figures {
		if f.Verdict == string(press.Outside) {
			outside = append(outside, press.Words(f.Name))
		}
	}
	o := workorder.Order{PlantID: at.PlantID, Kind: workorder.KindInspection, ConveyorID: at.ConveyorID, BeltID: at.BeltID, SpliceID: r.SpliceID,
		Title:     "look at splice " + at.Number + " early",
		Reason:    "pressed outside its recipe: " + strings.Join(outside, ", ") + ". Reason given: " + r.Reason + fmt.Sprintf(". To be looked at within %d days (class D, rule of thumb).", FollowUpDays),
		LatestDay: today.AddDays(FollowUpDays)}
	if err := orders.RaiseByHand(c, &o); err != nil {
		return 0, err
	}
	return o.ID, nil
}

// Withdraw takes a press record back: it was entered in error. Its order stays, to be withdrawn by who plans.
func Withdraw(c *plantdb.Change, plantID, id, rowID int64) error {
	held, err := plantdb.ReadRow[assets.PressRecord](c, id)
	if err == nil && held.PlantID != plantID {
		err = assets.ErrNotFound
	}
	if err == nil && held.RowID != rowID {
		err = assets.ErrConflict
	}
	if err != nil {
		return err
	}
	ch, err := c.PlantChain(plantID)
	if err != nil {
		return err
	}
	held.Withdrawn = true
	return plantdb.Correct(c, ch, &held)
}

// Made is a press record with the splice it made, as that stands now.
type Made struct {
	assets.PressRecord
	Tag    string // of its conveyor
	Splice assets.Splice
}

// MadeWith lists press records, newest first, each with its splice.
func MadeWith(ctx context.Context, db *plantdb.DB, scope assets.Scope, f Filter) ([]Made, error) {
	records, err := Records(ctx, db, scope, f)
	if err != nil || len(records) == 0 {
		return nil, err
	}
	ids := make([]int64, len(records))
	for i, r := range records {
		ids[i] = r.SpliceID
	}
	splices, err := plantdb.Rows[assets.Splice](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).Where("id IN ?", ids))
	if err != nil {
		return nil, err
	}
	of, conveyors := map[int64]assets.Splice{}, make([]int64, 0, len(splices))
	for _, s := range splices {
		of[s.ID], conveyors = s, append(conveyors, s.ConveyorID)
	}
	named, err := plantdb.Rows[assets.Conveyor](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).Where("id IN ?", conveyors))
	if err != nil {
		return nil, err
	}
	tags := map[int64]string{}
	for _, v := range named {
		tags[v.ID] = v.Tag
	}
	out := make([]Made, len(records))
	for i, r := range records {
		out[i] = Made{PressRecord: r, Splice: of[r.SpliceID], Tag: tags[of[r.SpliceID].ConveyorID]}
	}
	return out, nil
}
