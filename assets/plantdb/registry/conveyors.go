package registry

import (
	"context"
	"fmt"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Conveyor returns one conveyor.
func Conveyor(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64, asOf plantdb.AsOf) (assets.Conveyor, error) {
	return one[assets.Conveyor](ofPlants(ctx, db, scope, asOf).Where("id = ?", id))
}

// ConveyorByTag finds a conveyor of a plant by a typed tag.
func ConveyorByTag(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, tag string) (assets.Conveyor, error) {
	return one[assets.Conveyor](ofPlants(ctx, db, scope, plantdb.AsOf{}).Where("plant_id = ? AND tag_key = ?", plantID, assets.TagKey(tag)))
}

// RetiredConveyors returns the conveyors of a plant that are out of use, the newest retired first.
func RetiredConveyors(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) ([]assets.Conveyor, error) {
	return list[assets.Conveyor](ofPlants(ctx, db, scope, plantdb.AsOf{}).Where("plant_id = ? AND status = 'retired'", plantID).Order("retired_at DESC, id"))
}

// ConveyorHistory returns every row of a conveyor that is known now, from old to new: how its speed, line,
// name and duty changed.
func ConveyorHistory(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) ([]assets.Conveyor, error) {
	return list[assets.Conveyor](db.SQL(ctx).Scopes(plantdb.InScope(scope, "plant_id")).Where("id = ? AND known_to IS NULL", id).Order("valid_from"))
}

// AddConveyor adds a conveyor to a plant.
func AddConveyor(c *plantdb.Change, next *assets.Conveyor) error {
	if next.Status == "" {
		next.Status = assets.ConveyorInUse
	}
	if err := checkConveyor(c, next); err != nil {
		return err
	}
	ch, err := c.PlantChain(next.PlantID)
	if err != nil {
		return err
	}
	return plantdb.Create(c, ch, next)
}

// AlterConveyor changes a conveyor from an instant on (0: corrects it from its beginning). It stays in its
// plant; RetireConveyor ends its use.
func AlterConveyor(c *plantdb.Change, next *assets.Conveyor, from assets.Instant) error {
	if err := checkConveyor(c, next); err != nil {
		return err
	}
	ch, err := c.PlantChain(next.PlantID)
	if err != nil {
		return err
	}
	return save(c, ch, next, from)
}

// RetireConveyor ends the use of a conveyor: its belt comes off, its splices end with it.
func RetireConveyor(c *plantdb.Change, id, rowID int64, when assets.When) error {
	row, err := current[assets.Conveyor](c, id, rowID)
	if err != nil {
		return err
	}
	bad := assets.Invalid{}
	if row.Status == assets.ConveyorRetired {
		bad.Add("", "this conveyor is retired already")
	}
	couldBe(bad, "retired", when, c.Now())
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.PlantChain(row.PlantID)
	if err != nil {
		return err
	}
	if belt, on, err := beltOn(c, id); err != nil {
		return err
	} else if on {
		if err := takeOff(c, ch, &belt, Removal{When: when, Why: "conveyor scrapped", Splices: assets.RetiredConveyorScrapped}, "retired"); err != nil {
			return err
		}
	}
	row.Status, row.Retired = assets.ConveyorRetired, when
	return plantdb.Amend(c, ch, &row, when.At)
}

func checkConveyor(c *plantdb.Change, next *assets.Conveyor) error {
	bad := assets.Invalid{}
	next.Tag = strings.TrimSpace(next.Tag)
	next.TagKey = assets.TagKey(next.Tag)
	if next.TagKey == "" {
		bad.Add("tag", "give the tag that stands on the conveyor, with letters or digits")
	}
	atLeast(bad, "speed_mps", next.SpeedMPS, 0, "the belt speed")
	if next.SpeedMaxMPS != 0 && next.SpeedMaxMPS < next.SpeedMPS {
		bad.Add("speed_max_mps", "the highest speed is below the speed; leave it empty for a fixed drive")
	}
	atLeast(bad, "centre_distance_m", next.CentreDistanceM, 0, "the centre distance")
	atLeast(bad, "take_up_travel_m", next.TakeUpTravelM, 0, "the take-up travel")
	atLeast(bad, "stop_cost_per_hour", next.StopCostPerHour, 0, "the cost of a stop")
	within(bad, "incline_deg", next.InclineDeg, -90, 90, "the incline in degrees")
	checkPulleys(bad, next.Pulleys)
	if err := checkPlaceOfConveyor(c, bad, next); err != nil {
		return err
	}
	return bad.Err()
}

func checkPulleys(bad assets.Invalid, pulleys []assets.Pulley) {
	for i, p := range pulleys {
		if !(p.DiameterM > 0) {
			bad.Add("pulleys", fmt.Sprintf("pulley %d: give its diameter", i+1))
		}
		if !(p.WrapDeg >= 0 && p.WrapDeg <= 360) {
			bad.Add("pulleys", fmt.Sprintf("pulley %d: the wrap must be between 0 and 360 degrees", i+1))
		}
	}
}

// checkPlaceOfConveyor asks the database whether the tag is free and the line is the plant's own.
func checkPlaceOfConveyor(c *plantdb.Change, bad assets.Invalid, next *assets.Conveyor) error {
	n, err := count(c, "SELECT count(*) FROM conveyors WHERE plant_id = ? AND tag_key = ? AND id <> ? AND"+isCurrent, next.PlantID, next.TagKey, next.ID)
	if err != nil {
		return err
	}
	if n > 0 {
		bad.Add("tag", "this plant has a conveyor with this tag already (case, blanks, dashes and leading zeros do not count)")
	}
	if next.LineID == 0 {
		return nil
	}
	if n, err = count(c, "SELECT count(*) FROM lines WHERE id = ? AND plant_id = ? AND"+isCurrent, next.LineID, next.PlantID); err != nil {
		return err
	}
	if n == 0 {
		bad.Add("line_id", "this line is not one of the plant's; choose one of its lines or none")
	}
	return nil
}
