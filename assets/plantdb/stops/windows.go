package stops

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/calendar"
	"carryside/schedule/window"
	"carryside/schedule/workorder"

	"gorm.io/gorm"
)

// Ahead is how far recurring stops are worked out where no end is asked for.
const Ahead = 400 * 24 * time.Hour

// Windows lists the stops of a plant that overlap [from, to) and are not withdrawn, asked, agreed and refused ones, in order of
// time; to 0: recurring ones as far as Ahead. Work is placed in agreed ones only.
func Windows(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, from, to assets.Instant) ([]assets.StopWindow, error) {
	zone, err := zoneOf(db.SQL(ctx), plantID)
	if err != nil {
		return nil, err
	}
	open := to == 0
	if open {
		to = max(from, assets.InstantOf(time.Unix(0, 0))) + assets.Instant(Ahead.Microseconds())
	}
	recurrences, err := Recurrences(ctx, db, scope, plantID)
	if err != nil {
		return nil, err
	}
	tx := db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).Where("plant_id = ?", plantID)
	tx = tx.Where(`("end" > ? OR source LIKE '%recurrence_id%')`, from) // moved or withdrawn ones keep their occurrence away
	rows, err := plantdb.Rows[assets.StopWindow](tx.Order(`"start", id`))
	if err != nil {
		return nil, err
	}
	all, err := window.All(rows, recurrences, zone, from.Time(), to.Time())
	if !open || err != nil {
		return all, err
	}
	for _, w := range rows {
		if !w.Withdrawn && w.Start >= to {
			all = append(all, w)
		}
	}
	return all, nil
}

// Agreed lists those of Windows in which work may be placed.
func Agreed(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, from, to assets.Instant) ([]assets.StopWindow, error) {
	all, err := Windows(ctx, db, scope, plantID, from, to)
	return slices.DeleteFunc(all, func(w assets.StopWindow) bool { return !w.Agreed() }), err
}

// Window returns one stop, withdrawn or not; that of an occurrence is its row where it has one.
func Window(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.StopWindow, error) {
	if id >= 0 {
		return oneOf(plantdb.Rows[assets.StopWindow](ofScope(ctx, db, scope).Where("id = ?", id)))
	}
	recurrence, planned, _ := window.Planned(id)
	r, err := Recurrence(ctx, db, scope, recurrence)
	if err != nil {
		return assets.StopWindow{}, err
	}
	rows, err := plantdb.Rows[assets.StopWindow](ofScope(ctx, db, scope).Where("plant_id = ? AND source LIKE '%recurrence_id%'", r.PlantID))
	if err != nil {
		return assets.StopWindow{}, err
	}
	for _, w := range rows {
		if w.Source.RecurrenceID == recurrence && w.Source.PlannedLocal[:10] == planned.Date.String() {
			return w, nil
		}
	}
	zone, err := zoneOf(db.SQL(ctx), r.PlantID)
	if err != nil {
		return assets.StopWindow{}, err
	}
	return window.One(r, zone, id)
}

func ofScope(ctx context.Context, db *plantdb.DB, scope assets.Scope) *gorm.DB {
	return db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id"))
}

// oneOf takes the first row; none is assets.ErrNotFound.
func oneOf[T any](rows []T, err error) (T, error) {
	if err == nil && len(rows) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return *new(T), err
	}
	return rows[0], nil
}

// zoneOf reads a plant's zone; where there is no such plant there are no stops either, and any zone will do.
func zoneOf(tx *gorm.DB, plantID int64) (calendar.Zone, error) {
	var names []string
	err := tx.Raw("SELECT zone FROM plants WHERE id = ? AND known_to IS NULL AND valid_to IS NULL", plantID).Scan(&names).Error
	if err != nil || len(names) == 0 {
		return calendar.Zone{}, err
	}
	return calendar.ZoneOf(assets.Plant{Zone: names[0]}.Location()), nil
}

// Save adds a stop (ID 0), or changes one. A recurring stop's occurrence becomes a row of its own. What is placed in a
// stop stays in it when it is moved; a stop with work in it is not refused, nor changed so that a conveyor worked at runs or that it is over.
func Save(c *plantdb.Change, next *assets.StopWindow) error {
	if err := check(c, *next); err != nil {
		return err
	}
	ch, err := c.PlantChain(next.PlantID)
	if err != nil {
		return err
	}
	if next.ID > 0 {
		if !next.Agreed() {
			if err := empty(c, *next); err != nil {
				return err
			}
		}
		if err := holdsWork(c, *next); err != nil {
			return err
		}
		return plantdb.Amend(c, ch, next, c.Now())
	}
	if next.ID < 0 {
		held, err := Window(c.Context(), c.DB, assets.PlantScope(next.PlantID), next.ID)
		if err != nil {
			return err
		}
		if held.ID > 0 {
			return assets.ErrConflict // somebody said something of it since it was read
		}
		next.Source = held.Source
	}
	next.Version = assets.Version{}
	return plantdb.Create(c, ch, next)
}

// check refuses a stop that is none, and conveyors that are not the plant's.
func check(c *plantdb.Change, w assets.StopWindow) error {
	bad := assets.Invalid{}
	if w.Start == 0 {
		bad.Add("start", "say when the stop begins")
	}
	if w.End <= w.Start {
		bad.Add("end", "the stop must end after it begins")
	}
	if !slices.Contains(assets.Answers, w.Answer.Given()) {
		bad.Add("answer", "say whether the stop is asked, agreed or refused")
	}
	if err := areOf(c, bad, w.PlantID, w.LineID, w.ConveyorIDs); err != nil {
		return err
	}
	return bad.Err()
}

// areOf holds that a line and conveyors are the plant's, and the conveyors on the line where one is named.
func areOf(c *plantdb.Change, bad assets.Invalid, plantID, lineID int64, conveyors []int64) error {
	for _, id := range conveyors {
		var n int64
		err := c.Tx().Raw("SELECT count(*) FROM conveyors WHERE id = ? AND plant_id = ? AND known_to IS NULL AND valid_to IS NULL AND (line_id = ? OR ?)", id, plantID, lineID, lineID == 0).Scan(&n).Error
		if err != nil {
			return err
		}
		if n == 0 {
			bad.Add("conveyors", "choose conveyors of the line, or let the line open")
		}
	}
	if lineID == 0 {
		return nil
	}
	var n int64
	err := c.Tx().Raw("SELECT count(*) FROM lines WHERE id = ? AND plant_id = ? AND known_to IS NULL AND valid_to IS NULL", lineID, plantID).Scan(&n).Error
	if n == 0 {
		bad.Add("line_id", "choose one of the plant's lines, or the whole plant")
	}
	return err
}

// empty refuses to take a stop away in which work is placed.
func empty(c *plantdb.Change, w assets.StopWindow) error {
	var placed []struct {
		Number int64
		State  workorder.State
	}
	err := c.Tx().Raw("SELECT number, state FROM orders WHERE window_id = ? AND plant_id = ? AND known_to IS NULL AND valid_to IS NULL AND state IN ('placed', 'started') ORDER BY number", w.ID, w.PlantID).Scan(&placed).Error
	if err != nil || len(placed) == 0 {
		return err
	}
	numbers := make([]string, len(placed))
	for i, o := range placed {
		numbers[i] = fmt.Sprint(o.Number)
		if o.State == workorder.Started {
			return assets.Invalid{"": fmt.Sprintf("order %d has begun in this stop; report it done first", o.Number)}
		}
	}
	if n := len(numbers); n > 1 {
		return assets.Invalid{"": "orders " + strings.Join(numbers[:n-1], ", ") + " and " + numbers[n-1] + " are placed in this stop; on the horizon move them to others, or take them out, first"}
	}
	return assets.Invalid{"": "order " + numbers[0] + " is placed in this stop; on the horizon move it to another, or take it out, first"}
}

// holdsWork refuses a stop that leaves no room at all for the work placed in it: its conveyor would run, or the stop be over.
func holdsWork(c *plantdb.Change, w assets.StopWindow) error {
	var placed []struct {
		Number, ConveyorID, LineID int64
		Tag                        string
		State                      workorder.State
	}
	err := c.Tx().Raw(`SELECT o.number, o.conveyor_id, o.state, k.line_id, k.tag FROM orders o JOIN conveyors k ON k.id = o.conveyor_id AND k.known_to IS NULL AND k.valid_to IS NULL
		WHERE o.window_id = ? AND o.plant_id = ? AND o.known_to IS NULL AND o.valid_to IS NULL AND o.state IN ('placed', 'started') ORDER BY o.number`, w.ID, w.PlantID).Scan(&placed).Error
	if err != nil || len(placed) == 0 || !w.Agreed() {
		return err
	}
	for _, o := range placed {
		switch runs := !w.StopsConveyor(o.ConveyorID, o.LineID); {
		case runs && o.State == workorder.Started:
			return assets.Invalid{"conveyors": fmt.Sprintf("order %d has begun in this stop and %s would run; let %s stand still until it is done", o.Number, o.Tag, o.Tag)}
		case runs:
			return assets.Invalid{"conveyors": fmt.Sprintf("order %d is placed in this stop and %s would run; take the order out first, or let %s stand still too", o.Number, o.Tag, o.Tag)}
		}
	}
	was, err := Window(c.Context(), c.DB, assets.PlantScope(w.PlantID), w.ID)
	if err != nil || w.End == was.End || w.End > c.Now() {
		return err
	}
	for _, o := range placed {
		if o.State == workorder.Placed { // of what has begun the stop may have been over earlier than was planned
			return assets.Invalid{"end": fmt.Sprintf("order %d is placed in this stop, which would be over; take the order out first, or correct the times", o.Number)}
		}
	}
	return nil
}

// Reply keeps what the plant answered to a stop.
func Reply(c *plantdb.Change, id, rowID int64, answer assets.StopAnswer) error {
	w, err := asRead(c, id, rowID)
	if err != nil {
		return err
	}
	if answer.At == 0 {
		answer.At = c.Now()
	}
	w.Answer = answer
	return Save(c, &w)
}

// Withdraw withdraws a stop in which no open order is placed. Of a recurring stop only the one occurrence goes.
func Withdraw(c *plantdb.Change, id, rowID int64, why string) error {
	w, err := asRead(c, id, rowID)
	if err != nil {
		return err
	}
	w.Withdrawn = true
	if why != "" {
		w.Note = why
	}
	return Save(c, &w)
}

// asRead returns a stop inside a change; assets.ErrConflict when another row stands than was read (0: whatever stands).
func asRead(c *plantdb.Change, id, rowID int64) (assets.StopWindow, error) {
	w, err := Window(c.Context(), c.DB, assets.JobScope(), id)
	if err == nil && rowID != 0 && rowID != w.RowID {
		err = assets.ErrConflict
	}
	return w, err
}

// ForWork returns the number under which work is placed in a stop: an occurrence of a recurring stop gets its row. A stop that
// the plant has not agreed to is refused.
func ForWork(c *plantdb.Change, plantID, id int64) (int64, error) {
	w, err := asRead(c, id, 0)
	switch {
	case errors.Is(err, assets.ErrNotFound) || err == nil && (w.PlantID != plantID || w.Withdrawn):
		return 0, assets.Invalid{"window": "that stop has passed or was withdrawn; choose one from the list"}
	case err != nil:
		return 0, err
	case !w.Agreed():
		return 0, assets.Invalid{"window": fmt.Sprintf("that stop is %s; work is placed only in stops that the plant has agreed", w.Answer.Given())}
	case w.ID > 0:
		return w.ID, nil
	}
	err = Save(c, &w)
	return w.ID, err
}
