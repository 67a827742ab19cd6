package stores

import (
	"context"
	"fmt"
	"math"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Kit lists the kit a scope may know of, by class and name: that of its plants, that of a customer it reaches wholly, and
// the service company's shared kit, of which it must not tell where it is.
func Kit(ctx context.Context, db *plantdb.DB, scope assets.Scope, asOf plantdb.AsOf) ([]assets.Kit, error) {
	where, args := kitSQL(scope)
	return list[assets.Kit](db.SQL(ctx).Scopes(asOf.Rows).Where(where, args...).Order("class, name_key, id"))
}

// OneKit returns a piece of kit of the scope.
func OneKit(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.Kit, error) {
	where, args := kitSQL(scope)
	return one[assets.Kit](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows).Where("id = ?", id).Where(where, args...))
}

func kitSQL(scope assets.Scope) (where string, args []any) {
	all, customers, plants := scope.Reaches()
	if all {
		return "1 = 1", nil
	}
	if len(customers) == 0 && len(plants) == 0 {
		return "1 = 0", nil
	}
	where, args = plantdb.ScopeSQL(scope, "home_plant_id")
	where = "(home_plant_id <> 0 AND " + where + " OR home_plant_id = 0 AND customer_id = 0"
	if len(customers) > 0 {
		where += " OR customer_id IN ?"
		args = append(args, customers)
	}
	return where + ")", args
}

// SaveKit adds kit (ID 0) or changes it from now on.
func SaveKit(c *plantdb.Change, next *assets.Kit) error {
	bad := assets.Invalid{}
	needText(bad, "name", next.Name, "the kit's name as painted on it")
	next.NameKey = assets.NameKey(next.Name)
	if !slices.Contains(assets.KitClasses, next.Class) {
		bad.Add("class", "choose what it is from the list")
	}
	if !(next.WorkingWidthM >= 0 && next.WorkingWidthM <= 10) {
		bad.Add("working_width_m", "the working width is from 0 (no limit) to 10 m")
	}
	if !(next.MaxTemperatureC >= 0 && next.MaxTemperatureC <= 500) {
		bad.Add("max_temperature_c", "the highest temperature is from 0 (not heated) to 500 °C")
	}
	if next.InUseUntilDay != "" && next.InUseUntilDay < next.InUseFromDay {
		bad.Add("in_use_until_day", "the last day of use is before the first")
	}
	if err := kitNamedOnce(c, bad, next); err != nil {
		return err
	}
	if err := bad.Err(); err != nil {
		return err
	}
	ch, err := c.Chain(next.CustomerID)
	if err != nil {
		return err
	}
	return save(c, ch, next)
}

func kitNamedOnce(c *plantdb.Change, bad assets.Invalid, next *assets.Kit) error {
	var n int64
	err := c.Tx().Raw("SELECT count(*) FROM kit WHERE name_key = ? AND customer_id = ? AND id <> ? AND known_to IS NULL AND valid_to IS NULL",
		next.NameKey, next.CustomerID, next.ID).Scan(&n).Error
	if n > 0 {
		bad.Add("name", "there is kit of this name already; give each piece its own")
	}
	return err
}

// kitOf returns a piece of kit as it is now, with the chain its facts stand in.
func kitOf(c *plantdb.Change, kitID int64) (assets.Kit, *plantdb.Chain, error) {
	k, err := plantdb.ReadRow[assets.Kit](c, kitID)
	if err != nil {
		return k, nil, fmt.Errorf("kit %d: %w", kitID, err)
	}
	ch, err := c.Chain(k.CustomerID)
	return k, ch, err
}

// Aways lists when kit is away in a span (to 0: without end), in order of time.
func Aways(ctx context.Context, db *plantdb.DB, asOf plantdb.AsOf, kitIDs []int64, from, to assets.Instant) ([]assets.KitAway, error) {
	if len(kitIDs) == 0 {
		return nil, nil
	}
	tx := db.SQL(ctx).Scopes(asOf.Rows).Where("kit_id IN ? AND cancelled = ? AND (to_at = 0 OR to_at > ?)", kitIDs, false, from)
	if to != 0 {
		tx = tx.Where("from_at < ?", to)
	}
	return list[assets.KitAway](tx.Order("from_at, id"))
}

// SaveAway writes when kit is away (ID 0: a new stretch), or changes it.
func SaveAway(c *plantdb.Change, next *assets.KitAway) error {
	k, ch, err := kitOf(c, next.KitID)
	if err != nil {
		return err
	}
	next.CustomerID = k.CustomerID
	bad := assets.Invalid{}
	if next.FromAt == 0 {
		bad.Add("from", "say from when it is away")
	}
	if next.ToAt != 0 && next.ToAt <= next.FromAt {
		bad.Add("to", "it must be back after it leaves")
	}
	if !slices.Contains(assets.AwayWhys, next.Why) {
		bad.Add("why", "choose why it is away from the list")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	if !next.Cancelled {
		until := next.ToAt
		if until == 0 {
			until = math.MaxInt64
		}
		var same int64
		err := c.Tx().Raw(`SELECT count(*) FROM kit_aways WHERE kit_id = ? AND id <> ? AND NOT cancelled AND known_to IS NULL AND valid_to IS NULL
			AND (to_at = 0 OR to_at > ?) AND from_at < ?`, next.KitID, next.ID, next.FromAt, until).Scan(&same).Error
		if err == nil && same > 0 {
			err = assets.Invalid{"from": "it is away then already: change that entry, or give when it is back from there"}
		}
		if err != nil {
			return err
		}
	}
	return save(c, ch, next)
}

// Calibrations lists the calibrations of kit, the latest first.
func Calibrations(ctx context.Context, db *plantdb.DB, asOf plantdb.AsOf, kitIDs []int64) ([]assets.Calibration, error) {
	if len(kitIDs) == 0 {
		return nil, nil
	}
	return list[assets.Calibration](db.SQL(ctx).Scopes(asOf.Rows).Where("kit_id IN ? AND withdrawn = ?", kitIDs, false).Order("on_day DESC, id DESC"))
}

// mostCalibrationDays bounds how far off a calibration is due: ten years, our own choice against slips of the keys.
const mostCalibrationDays = 3653

// SaveCalibration writes a calibration (ID 0) or corrects one.
func SaveCalibration(c *plantdb.Change, next *assets.Calibration) error {
	k, ch, err := kitOf(c, next.KitID)
	if err != nil {
		return err
	}
	next.CustomerID = k.CustomerID
	bad := assets.Invalid{}
	if next.OnDay == "" || next.OnDay > assets.DayOf(c.Now().Time().AddDate(0, 0, 1)) {
		bad.Add("on_day", "give the day of the calibration, today or before")
	}
	if next.DueDay != "" && next.DueDay <= next.OnDay {
		bad.Add("due_day", "the next calibration is due after this one")
	}
	if next.DueDay != "" && next.OnDay != "" && next.DueDay > next.OnDay.AddDays(mostCalibrationDays) {
		bad.Add("due_day", "the next calibration is due within ten years; check the year")
	}
	if next.DueDay != "" {
		classed(bad, next.Class, next.Source)
	}
	if err := bad.Err(); err != nil {
		return err
	}
	return save(c, ch, next)
}
