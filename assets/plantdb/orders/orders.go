package orders

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/workorder"

	"gorm.io/gorm"
)

// Filter narrows a list of orders; its zero value means every order of the scope.
type Filter struct {
	PlantID    int64
	LineID     int64
	ConveyorID int64
	BeltID     int64
	SpliceID   int64
	WindowID   int64
	Kind       workorder.Kind
	States     []workorder.State
	Open       bool           // raised to started
	Closed     bool           // done, signed, withdrawn
	Since      assets.Instant // closed or changed at or after
	OverdueOn  assets.Day     // open with a latest date before this day
	Text       string         // number, or words of title and reason
	Conveyors  []int64        // any of these; nil: all
	IDs        []int64
	Limit      int
	Offset     int
	Newest     bool // newest first instead of by latest date
}

// List returns orders as they are now, by latest date (none last) and number, and how many there are in all.
func List(ctx context.Context, db *plantdb.DB, scope assets.Scope, f Filter) ([]workorder.Order, int, error) {
	return listAsOf(ctx, db, scope, f, plantdb.AsOf{})
}

func listAsOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, f Filter, asOf plantdb.AsOf) ([]workorder.Order, int, error) {
	query := func() *gorm.DB {
		return f.narrow(db.SQL(ctx).Model(&workorder.Order{}).Scopes(asOf.Rows, plantdb.InScope(scope, "plant_id")))
	}
	var total int64
	if f.Limit > 0 {
		if err := query().Count(&total).Error; err != nil {
			return nil, 0, err
		}
	}
	tx := query()
	if f.Newest {
		tx = tx.Order("number DESC")
	} else {
		tx = tx.Order("CASE latest_day WHEN '' THEN 1 ELSE 0 END, latest_day, plant_id, number")
	}
	if f.Limit > 0 {
		tx = tx.Limit(f.Limit).Offset(f.Offset)
	}
	rows, err := plantdb.Rows[workorder.Order](tx)
	if err != nil {
		return nil, 0, err
	}
	if f.Limit == 0 {
		total = int64(len(rows))
	}
	return rows, int(total), nil
}

// openStates are the states in which an order still joins occurrences.
var openStates = []workorder.State{workorder.Raised, workorder.Accepted, workorder.Placed, workorder.Started}

func (f Filter) narrow(tx *gorm.DB) *gorm.DB {
	for _, by := range []struct {
		column string
		id     int64
	}{{"plant_id", f.PlantID}, {"conveyor_id", f.ConveyorID}, {"belt_id", f.BeltID}, {"splice_id", f.SpliceID}, {"window_id", f.WindowID}} {
		if by.id != 0 {
			tx = tx.Where(by.column+" = ?", by.id)
		}
	}
	if f.LineID != 0 {
		tx = tx.Where("conveyor_id IN (SELECT c.id FROM conveyors c WHERE c.line_id = ? AND c.known_to IS NULL AND c.valid_to IS NULL)", f.LineID)
	}
	if f.Conveyors != nil {
		tx = tx.Where("conveyor_id IN ?", append([]int64{-1}, f.Conveyors...))
	}
	if f.Kind != "" {
		tx = tx.Where("kind = ?", f.Kind)
	}
	if len(f.States) > 0 {
		tx = tx.Where("state IN ?", f.States)
	}
	if f.Open {
		tx = tx.Where("state IN ?", openStates)
	}
	if f.Closed {
		tx = tx.Where("state IN ('done','signed','withdrawn')")
	}
	if f.Since != 0 {
		tx = tx.Where("(done_at >= ? OR signed_at >= ? OR withdrawn_at >= ?)", f.Since, f.Since, f.Since)
	}
	if f.OverdueOn != "" {
		tx = tx.Where("state IN ? AND latest_day <> '' AND latest_day < ?", openStates, f.OverdueOn)
	}
	if f.IDs != nil {
		tx = tx.Where("id IN ?", append([]int64{-1}, f.IDs...))
	}
	return f.words(tx)
}

// words narrows by number, or by words of title, reason and conveyor.
func (f Filter) words(tx *gorm.DB) *gorm.DB {
	text := strings.TrimSpace(f.Text)
	if text == "" {
		return tx
	}
	var number int64
	if _, err := fmt.Sscanf(strings.TrimPrefix(text, "#"), "%d", &number); err == nil && fmt.Sprint(number) == strings.TrimPrefix(text, "#") {
		return tx.Where("number = ?", number)
	}
	like := "%" + strings.NewReplacer(`\`, `\\`, "%", `\%`, "_", `\_`).Replace(strings.ToLower(text)) + "%"
	return tx.Where(`(lower(title) LIKE ? ESCAPE '\' OR lower(reason) LIKE ? ESCAPE '\' OR conveyor_id IN
		(SELECT c.id FROM conveyors c WHERE (c.tag_key LIKE ? ESCAPE '\' OR lower(c.name) LIKE ? ESCAPE '\') AND c.known_to IS NULL AND c.valid_to IS NULL))`,
		like, like, strings.ToUpper(assets.TagKey(text))+"%", like)
}

// Order returns one order, as it is now. assets.ErrNotFound outside the scope.
func Order(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (workorder.Order, error) {
	rows, _, err := List(ctx, db, scope, Filter{IDs: []int64{id}})
	return oneOf(rows, err, id)
}

// ByIDs returns several orders, by their ids; assets.ErrNotFound names one that is not there.
func ByIDs(ctx context.Context, db *plantdb.DB, scope assets.Scope, ids []int64) (map[int64]workorder.Order, error) {
	out := make(map[int64]workorder.Order, len(ids))
	if len(ids) == 0 {
		return out, nil
	}
	rows, _, err := List(ctx, db, scope, Filter{IDs: ids})
	if err != nil {
		return nil, err
	}
	for _, o := range rows {
		out[o.ID] = o
	}
	for _, id := range ids {
		if _, there := out[id]; !there {
			return nil, fmt.Errorf("order %d: %w", id, assets.ErrNotFound)
		}
	}
	return out, nil
}

// ByNumber returns a plant's order by the number people say.
func ByNumber(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID, number int64) (workorder.Order, error) {
	rows, _, err := List(ctx, db, scope, Filter{PlantID: plantID, Text: fmt.Sprint(number)})
	return oneOf(rows, err, number)
}

func oneOf(rows []workorder.Order, err error, id int64) (workorder.Order, error) {
	if err == nil && len(rows) == 0 {
		err = fmt.Errorf("order %d: %w", id, assets.ErrNotFound)
	}
	if err != nil {
		return workorder.Order{}, err
	}
	return rows[0], nil
}

// Counts are a plant's orders by how they stand.
type Counts struct{ Open, Overdue, Closed, Signed int }

// Count counts a plant's orders; today is the plant's date.
func Count(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, today assets.Day) (Counts, error) {
	var n Counts
	err := db.SQL(ctx).Model(&workorder.Order{}).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).Where("plant_id = ?", plantID).
		Select(`coalesce(sum(CASE WHEN state IN ('raised','accepted','placed','started') THEN 1 ELSE 0 END),0) AS open,
			coalesce(sum(CASE WHEN state IN ('raised','accepted','placed','started') AND latest_day <> '' AND latest_day < ? THEN 1 ELSE 0 END),0) AS overdue,
			coalesce(sum(CASE WHEN state IN ('done','signed','withdrawn') THEN 1 ELSE 0 END),0) AS closed,
			coalesce(sum(CASE WHEN state = 'signed' THEN 1 ELSE 0 END),0) AS signed`, today).Scan(&n).Error
	return n, err
}

// OverdueByPlant counts the open orders past their latest date at now, by plant. A date is over when it is over
// everywhere on earth, so that a list over many zones never calls one overdue too early.
func OverdueByPlant(ctx context.Context, db *plantdb.DB, scope assets.Scope, now time.Time) (map[int64]int, error) {
	var rows []struct {
		PlantID int64
		N       int
	}
	err := db.SQL(ctx).Model(&workorder.Order{}).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).
		Where("state IN ('raised','accepted','placed','started') AND latest_day <> '' AND latest_day < ?", assets.DayOf(now.UTC().Add(-12*time.Hour))).
		Select("plant_id, count(*) AS n").Group("plant_id").Scan(&rows).Error
	out := make(map[int64]int, len(rows))
	for _, r := range rows {
		out[r.PlantID] = r.N
	}
	return out, err
}

// Events returns the history of an order, oldest first.
func Events(ctx context.Context, db *plantdb.DB, scope assets.Scope, orderID int64) ([]workorder.Event, error) {
	var rows []workorder.Event
	err := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("order_id = ?", orderID).Order("entered_at, id").Find(&rows).Error
	return rows, err
}

// LastEvents returns the newest event of each of several orders, by order.
func LastEvents(ctx context.Context, db *plantdb.DB, scope assets.Scope, orderIDs []int64) (map[int64]workorder.Event, error) {
	out := map[int64]workorder.Event{}
	for some := range slices.Chunk(orderIDs, 10000) {
		var rows []workorder.Event
		err := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("id IN (SELECT max(id) FROM order_events WHERE order_id IN ? GROUP BY order_id)", some).Find(&rows).Error
		if err != nil {
			return nil, err
		}
		for _, e := range rows {
			out[e.OrderID] = e
		}
	}
	return out, nil
}

// RecentEvents returns what happened to a plant's orders since an instant, newest first.
func RecentEvents(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, since assets.Instant, limit int) ([]workorder.Event, error) {
	var rows []workorder.Event
	err := db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("plant_id = ? AND entered_at >= ?", plantID, since).Order("entered_at DESC, id DESC").Limit(limit).Find(&rows).Error
	return rows, err
}

// sentTwice is how long the same order of the same person is one sent twice: a double click, a page sent again.
const sentTwice = 10 * time.Second

// JustRaised returns the number of the order that the same person raised about the same thing, with the same words, a moment
// ago and that still stands as it was; 0 when there is none. Asked inside the change that would raise it, so that of several sent at
// once the first one wins.
func JustRaised(c *plantdb.Change, o *workorder.Order) (number int64, err error) {
	if _, err := c.PlantChain(o.PlantID); err != nil { // held: others wait here
		return 0, err
	}
	err = c.Tx().Raw(`SELECT coalesce(max(number), 0) FROM orders WHERE plant_id = ? AND known_to IS NULL AND valid_to IS NULL AND state = ? AND raised_by = ? AND raised_at >= ?
		AND kind = ? AND conveyor_id = ? AND belt_id = ? AND splice_id = ? AND finding_id = ? AND title = ? AND reason = ? AND latest_day = ?`,
		o.PlantID, workorder.Raised, c.Act.PersonID, c.Now()-assets.Instant(sentTwice.Microseconds()), o.Kind, o.ConveyorID, o.BeltID, o.SpliceID, o.FindingID, o.Title, o.Reason, o.LatestDay).Scan(&number).Error
	return number, err
}

// RaiseByHand writes an order that a person raises, without a rule.
func RaiseByHand(c *plantdb.Change, o *workorder.Order) error {
	ch, err := c.PlantChain(o.PlantID)
	if err != nil {
		return err
	}
	o.State, o.RaisedBy = workorder.Raised, c.Act.PersonID
	if o.RaisedAt == 0 {
		o.RaisedAt = c.Now()
	}
	return create(c, ch, o, c.Act.PersonID, c.Act.Reason)
}

// create gives an order the next number of its plant and writes it with its first event.
func create(c *plantdb.Change, ch *plantdb.Chain, o *workorder.Order, by int64, why string) error {
	// The chain is held, so no other change gives out a number of this plant in between.
	if err := c.Tx().Raw("SELECT coalesce(max(number), 0) + 1 FROM orders WHERE plant_id = ? AND known_to IS NULL AND valid_to IS NULL", o.PlantID).Scan(&o.Number).Error; err != nil {
		return err
	}
	o.ValidFrom, o.EditVersion = o.RaisedAt, 1
	if err := plantdb.Create(c, ch, o); err != nil {
		return err
	}
	e := workorder.NewEvent("raised", workorder.Order{}, *o, by, o.RaisedAt.Time(), c.Act.Now)
	e.Why = why
	return addEvent(c, ch, e)
}

// Step writes a step that workorder decided: the order as it is after it, carrying the row and edit version that
// were read, and its event. assets.ErrConflict when somebody changed the order since.
func Step(c *plantdb.Change, after *workorder.Order, e workorder.Event) error {
	held, err := plantdb.ReadRow[workorder.Order](c, after.ID)
	if err != nil {
		return fmt.Errorf("order %d: %w", after.Number, err)
	}
	if held.EditVersion != after.EditVersion {
		return fmt.Errorf("order %d: %w", after.Number, assets.ErrConflict)
	}
	ch, err := c.PlantChain(held.PlantID)
	if err != nil {
		return err
	}
	after.Version = held.Version
	after.EditVersion++
	// A step is so from when it was taken, but never before the one it follows: they are entered in order.
	from := min(max(e.At, held.ValidFrom), c.Now())
	if err := plantdb.Amend(c, ch, after, from); err != nil {
		return err
	}
	return addEvent(c, ch, e)
}

func addEvent(c *plantdb.Change, ch *plantdb.Chain, e workorder.Event) (err error) {
	if e.ID, err = c.NewIDs(ch, "order_events", 1); err != nil {
		return err
	}
	e.EnteredAt, e.KnownFrom = c.Now(), ch.Position
	return plantdb.Insert(c, ch, e.ID, &e)
}
