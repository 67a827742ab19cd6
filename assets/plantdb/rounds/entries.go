package rounds

import (
	"context"
	"errors"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
)

// mostIDLetters bounds a number made on a phone.
const mostIDLetters = 64

// Take keeps what came in from a phone: e says how it came, f what was found. What is there already, in this revision or a
// later one, is not taken again: e then holds how it came first, f what is kept, and again is true. A later revision corrects
// the finding. ErrEnded when the phone was ended.
func Take(c *plantdb.Change, e *assets.RoundEntry, f *assets.Finding) (again bool, err error) {
	if e.ClientID == "" || len(e.ClientID) > mostIDLetters || e.Revision < 1 {
		return false, assets.Invalid{"": "this entry has lost its number; open the round again and enter it once more"}
	}
	e.PersonID, e.ArrivedAt = c.Act.PersonID, c.Now()
	device, err := deviceOf(c, e.DeviceID)
	if err != nil {
		return false, err
	}
	if device.EndedAt != nil {
		return false, ErrEnded
	}
	held, err := plantdb.Rows[assets.RoundEntry](c.Tx().Where("plant_id = ? AND client_id = ?", e.PlantID, e.ClientID).Order("revision DESC"))
	if err != nil {
		return false, err
	}
	if len(held) > 0 && held[0].PersonID != e.PersonID {
		return false, assets.Invalid{"": "this entry came from somebody else first; it is kept as they entered it"}
	}
	if len(held) > 0 && held[0].Revision >= e.Revision {
		*e = held[0]
		*f, err = plantdb.ReadRow[assets.Finding](c, e.FindingID)
		return true, err
	}
	if len(held) > 0 {
		err = revise(c, held[0], e, f)
	} else {
		f.ClientID, f.FoundByID = e.ClientID, e.PersonID
		_, err = registry.AddFinding(c, f)
	}
	if err != nil {
		return false, err
	}
	e.FindingID = f.ID
	return false, insert(c, e)
}

// revise corrects the finding of an entry that was altered on the phone after it had arrived; what the office has done about
// it since stands.
func revise(c *plantdb.Change, held assets.RoundEntry, e *assets.RoundEntry, f *assets.Finding) error {
	kept, err := plantdb.ReadRow[assets.Finding](c, held.FindingID)
	if err != nil {
		return err
	}
	if atLeast(kept.Grade, 3) && !atLeast(f.Grade, 3) {
		return assets.Invalid{"": fmt.Sprintf("grade %d of this entry is known already and ends in an order or in a signed refusal; record what is so now as a new finding, or ask a planner to correct it", *kept.Grade)}
	}
	if c.Act.Reason == "" {
		c.Act.Reason = "altered on the phone after it was sent"
	}
	next := kept
	next.BeltID, next.SpliceID, next.Target, next.ConveyorID = f.BeltID, f.SpliceID, f.Target, f.ConveyorID
	next.Category, next.Grade, next.Text, next.Running = f.Category, f.Grade, f.Text, f.Running
	next.Quantity, next.Measurement, next.MeasurementUnit = f.Quantity, f.Measurement, f.MeasurementUnit
	e.AnsweredBy, e.AnsweredAt = held.AnsweredBy, held.AnsweredAt
	e.Clock, e.ClockBy, e.DeviceAt = held.Clock, held.ClockBy, held.DeviceAt
	e.OffsetUS = held.OffsetUS
	*f = next
	return registry.CorrectFinding(c, f)
}

// atLeast tells whether a grade was given and is no lower.
func atLeast(grade *int, least int) bool { return grade != nil && *grade >= least }

func insert(c *plantdb.Change, e *assets.RoundEntry) error {
	ch, err := c.PlantChain(e.PlantID)
	if err != nil {
		return err
	}
	if e.ID, err = c.NewIDs(ch, "round_entries", 1); err != nil {
		return err
	}
	e.KnownFrom = ch.Position
	return plantdb.Insert(c, ch, e.ID, e)
}

// Entry returns an entry of a plant.
func Entry(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID, id int64) (assets.RoundEntry, error) {
	rows, err := plantdb.Rows[assets.RoundEntry](db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("plant_id = ? AND id = ?", plantID, id))
	if err == nil && len(rows) == 0 {
		err = fmt.Errorf("entry %d: %w", id, assets.ErrNotFound)
	}
	if err != nil {
		return assets.RoundEntry{}, err
	}
	return rows[0], nil
}

// newest keeps the newest revision of each entry.
const newest = "NOT EXISTS (SELECT 1 FROM round_entries n WHERE n.plant_id = round_entries.plant_id AND n.client_id = round_entries.client_id AND n.revision > round_entries.revision)"

// Asked lists the entries of a plant of which somebody has to say which clock was right.
func Asked(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) ([]assets.RoundEntry, error) {
	return plantdb.Rows[assets.RoundEntry](db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("plant_id = ? AND clock = ?", plantID, assets.ClocksAsked).Where(newest).Order("id"))
}

// Unanswered lists the entries of grade 4 of a plant that nobody has answered yet.
func Unanswered(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) ([]assets.RoundEntry, error) {
	return plantdb.Rows[assets.RoundEntry](db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("plant_id = ? AND answered_by = 0", plantID).Where(newest).
		Where("finding_id IN (SELECT id FROM findings WHERE plant_id = ? AND grade = 4 AND known_to IS NULL AND valid_to IS NULL)", plantID).Order("id"))
}

// SetClock says which clock an entry's time is taken from, and the finding's with it.
func SetClock(c *plantdb.Change, e assets.RoundEntry, clock string, at assets.Instant, day assets.Day) error {
	if clock != assets.ClockPhone && clock != assets.ClockProgram {
		return assets.Invalid{"clock": "say which time is right"}
	}
	f, err := plantdb.ReadRow[assets.Finding](c, e.FindingID)
	if err != nil {
		return err
	}
	if f.FoundAt != at {
		f.FoundAt, f.FoundDay = at, day
		if err := registry.CorrectFinding(c, &f); err != nil {
			var bad assets.Invalid
			if errors.As(err, &bad) && bad["found_at"] != "" {
				return assets.Invalid{"clock": bad["found_at"]}
			}
			return err
		}
	}
	return alter(c, e, "clock = ?, clock_by = ?", map[string]any{"clock": clock, "clock_by": c.Act.PersonID}, clock, c.Act.PersonID)
}

// Answer says that a named person has taken on an entry of grade 4.
func Answer(c *plantdb.Change, e assets.RoundEntry) error {
	if c.Act.PersonID == 0 {
		return assets.Invalid{"": "a person answers this by name"}
	}
	if e.AnsweredBy != 0 {
		return nil
	}
	return alter(c, e, "answered_by = ?, answered_at = ?", map[string]any{"answered_by": c.Act.PersonID, "answered_at": c.Now()}, c.Act.PersonID, c.Now())
}

func alter(c *plantdb.Change, e assets.RoundEntry, set string, after map[string]any, values ...any) error {
	ch, err := c.PlantChain(e.PlantID)
	if err != nil {
		return err
	}
	res := c.Tx().Exec("UPDATE round_entries SET "+set+" WHERE id = ? AND plant_id = ?", append(values, e.ID, e.PlantID)...)
	if res.Error == nil && res.RowsAffected == 0 {
		return assets.ErrNotFound
	}
	if res.Error != nil {
		return res.Error
	}
	c.Wrote(ch, "round_entries", e.ID)
	c.Note(ch, plantdb.Written{Table: "round_entries", ID: e.ID, After: after})
	return nil
}
