package clocks

import (
	"context"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Calendars lists the production calendars of a plant: its own (LineID 0) and those of its lines.
func Calendars(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) ([]assets.ProductionCalendar, error) {
	return plantdb.Rows[assets.ProductionCalendar](db.SQL(ctx).Scopes(asOf.Rows, plantdb.InScope(scope, "plant_id")).Where("plant_id = ?", plantID).Order("line_id, id"))
}

// SaveCalendar adds a production calendar (ID 0), or changes it from an instant on (from 0: corrects it).
func SaveCalendar(c *plantdb.Change, next *assets.ProductionCalendar, from assets.Instant) error {
	bad := assets.Invalid{}
	checkShifts(bad, "shifts", next.Shifts)
	for _, e := range next.Exceptions {
		if _, err := time.Parse(time.DateOnly, string(e.Day)); err != nil {
			bad.Add("exceptions", fmt.Sprintf("%q is no date; write it as YYYY-MM-DD", string(e.Day)))
		}
		checkShifts(bad, "exceptions", e.Shifts)
	}
	var others int64
	err := c.Tx().Raw("SELECT count(*) FROM production_calendars WHERE plant_id = ? AND line_id = ? AND id <> ? AND known_to IS NULL AND valid_to IS NULL",
		next.PlantID, next.LineID, next.ID).Scan(&others).Error
	if err != nil {
		return err
	}
	if others > 0 {
		bad.Add("line_id", "this line has a production calendar already; change that one")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(next.PlantID)
	if err != nil {
		return err
	}
	switch {
	case next.ID == 0:
		return plantdb.Create(c, ch, next)
	case from == 0:
		return plantdb.Correct(c, ch, next)
	}
	return plantdb.Amend(c, ch, next, from)
}

// EndCalendar lets a line have no calendar of its own any more from an instant on (0: it never had).
func EndCalendar(c *plantdb.Change, id int64, from assets.Instant) error {
	row, err := plantdb.ReadRow[assets.ProductionCalendar](c, id)
	if err != nil {
		return err
	}
	ch, err := c.PlantChain(row.PlantID)
	if err != nil {
		return err
	}
	return plantdb.End(c, ch, &row, from)
}

func checkShifts(bad assets.Invalid, field string, shifts []assets.Shift) {
	for _, s := range shifts {
		if s.Weekday < 0 || s.Weekday > 6 {
			bad.Add(field, "the weekday is 0 (Sunday) to 6 (Saturday)")
		}
		for _, t := range []string{s.Start, s.End} {
			if _, err := time.Parse("15:04", t); err != nil && t != "24:00" {
				bad.Add(field, fmt.Sprintf("%q is no time of day; write it as HH:MM", t))
			}
		}
	}
}
