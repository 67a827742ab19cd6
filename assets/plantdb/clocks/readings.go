package clocks

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/migrations"
)

// Span is a stretch of time [From, To); zero ends are open.
type Span struct{ From, To assets.Instant }

const lastInstant = assets.Instant(1<<63 - 1)

func (s Span) to() assets.Instant {
	if s.To == 0 {
		return lastInstant
	}
	return s.To
}

// known is the condition of readings held to be right; readings have no second time.
func known(asOf plantdb.AsOf, alias string) (string, []any) {
	if asOf.Known == 0 {
		return alias + ".known_to IS NULL", nil
	}
	return alias + ".known_from <= ? AND (" + alias + ".known_to IS NULL OR " + alias + ".known_to > ?)", []any{asOf.Known, asOf.Known}
}

const readingColumns = "r.conveyor_id, r.at, r.known_from, r.shown_h, r.approximate, r.remark"

// scanReadings reads rows of readingColumns: by hand, because there are many.
func scanReadings(rows *sql.Rows, err error) (readings []assets.Reading, _ error) {
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var r assets.Reading
		if err := rows.Scan(&r.ConveyorID, &r.At, &r.KnownFrom, &r.ShownH, &r.Approximate, &r.Remark); err != nil {
			return nil, err
		}
		readings = append(readings, r)
	}
	return readings, rows.Err()
}

// Readings returns the accepted readings of a conveyor in a span, in order of time.
func Readings(ctx context.Context, db *plantdb.DB, scope assets.Scope, conveyorID int64, in Span, asOf plantdb.AsOf) ([]assets.Reading, error) {
	if _, err := plantOf(ctx, db, scope, conveyorID); err != nil {
		return nil, err
	}
	where, args := known(asOf, "r")
	query := "SELECT " + readingColumns + " FROM readings r WHERE r.conveyor_id = ? AND r.at >= ? AND r.at < ? AND " + where + " ORDER BY r.at"
	return scanReadings(db.SQL(ctx).Raw(query, append([]any{conveyorID, in.From, in.to()}, args...)...).Rows())
}

// LastReadings returns a conveyor's newest accepted readings, newest first.
func LastReadings(ctx context.Context, db *plantdb.DB, scope assets.Scope, conveyorID int64, limit int) ([]assets.Reading, error) {
	if _, err := plantOf(ctx, db, scope, conveyorID); err != nil {
		return nil, err
	}
	return scanReadings(db.SQL(ctx).Raw("SELECT "+readingColumns+" FROM readings r WHERE r.conveyor_id = ? AND r.known_to IS NULL ORDER BY r.at DESC LIMIT ?", conveyorID, limit).Rows())
}

// plantOf returns the plant of a conveyor within the scope.
func plantOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, conveyorID int64) (int64, error) {
	where, args := plantdb.ScopeSQL(scope, "plant_id")
	var plants []int64
	err := db.SQL(ctx).Raw("SELECT plant_id FROM conveyors WHERE id = ? AND known_to IS NULL AND valid_to IS NULL AND "+where, append([]any{conveyorID}, args...)...).Scan(&plants).Error
	if err == nil && len(plants) == 0 {
		err = fmt.Errorf("conveyor %d: %w", conveyorID, assets.ErrNotFound)
	}
	if err != nil {
		return 0, err
	}
	return plants[0], nil
}

// neighbour returns the accepted reading next to an instant: at or before it, or after it.
func neighbour(ctx context.Context, db *plantdb.DB, conveyorID int64, at assets.Instant, before bool, asOf plantdb.AsOf) (assets.Reading, error) {
	side, order := "r.at > ?", "r.at"
	if before {
		side, order = "r.at <= ?", "r.at DESC"
	}
	where, args := known(asOf, "r")
	found, err := scanReadings(db.SQL(ctx).Raw("SELECT "+readingColumns+" FROM readings r WHERE r.conveyor_id = ? AND "+side+" AND "+where+" ORDER BY "+order+" LIMIT 1",
		append([]any{conveyorID, at}, args...)...).Rows())
	if err == nil && len(found) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return assets.Reading{}, err
	}
	return found[0], nil
}

// Asked is an instant at which the hours of a conveyor are wanted.
type Asked struct {
	ConveyorID int64
	At         assets.Instant
}

// Wanted says which readings of a plant are needed beside the first and the last of each conveyor: those
// around the instants asked about, and those of the stretch of time before each conveyor's last one.
type Wanted struct {
	Asked     []Asked
	TrailingH float64 // length of that stretch, hours, with the reading before it; 0: none
}

// PlantReadings returns the accepted readings that tell a plant's hours exactly at the instants asked about,
// by conveyor, in order of time. Its cost follows what is asked, not the length of the histories.
func PlantReadings(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, w Wanted, asOf plantdb.AsOf) (map[int64][]assets.Reading, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	around, err := ends(ctx, db, plantID, asOf)
	if err != nil {
		return nil, err
	}
	for some := range slices.Chunk(w.Asked, 2000) {
		more, err := aroundInstants(ctx, db, plantID, some, asOf)
		if err != nil {
			return nil, err
		}
		around = append(around, more...)
	}
	if w.TrailingH > 0 {
		more, err := trailing(ctx, db, plantID, w.TrailingH, asOf)
		if err != nil {
			return nil, err
		}
		around = append(around, more...)
	}
	return byConveyor(around), nil
}

func byConveyor(readings []assets.Reading) map[int64][]assets.Reading {
	of := map[int64][]assets.Reading{}
	for _, r := range readings {
		of[r.ConveyorID] = append(of[r.ConveyorID], r)
	}
	for id, list := range of {
		slices.SortFunc(list, func(a, b assets.Reading) int { return compareInstants(a.At, b.At) })
		of[id] = slices.CompactFunc(list, func(a, b assets.Reading) bool { return a.At == b.At })
	}
	return of
}

func compareInstants(a, b assets.Instant) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// limitOne is the statement's core: one step down the index for each instant. A join to max(at) or a
// row_number reads whole histories instead.
func limitOne(conveyor, condition, order string, asOf plantdb.AsOf) (string, []any) {
	where, args := known(asOf, "x")
	return "(SELECT x.at FROM readings x WHERE x.conveyor_id = " + conveyor + condition + " AND " + where + " ORDER BY x.at" + order + " LIMIT 1)", args
}

// pick fetches readings by key. CROSS JOIN keeps SQLite to the order written: left to itself it walks through
// all ten million readings of a fleet to find the few hundred asked for.
func pick(ctx context.Context, db *plantdb.DB, with, from string, args []any, asOf plantdb.AsOf) ([]assets.Reading, error) {
	where, more := known(asOf, "r")
	query := with + " SELECT " + readingColumns + " FROM (" + from + ") n CROSS JOIN readings r WHERE r.conveyor_id = n.c AND r.at = n.at AND " + where
	return scanReadings(db.SQL(ctx).Raw(query, append(args, more...)...).Rows())
}

// ends fetches the first and the last reading of each conveyor of a plant.
func ends(ctx context.Context, db *plantdb.DB, plantID int64, asOf plantdb.AsOf) ([]assets.Reading, error) {
	first, args := limitOne("v.id", "", "", asOf)
	last, _ := limitOne("v.id", "", " DESC", asOf)
	const of = " AS at FROM conveyors v WHERE v.plant_id = ? AND v.known_to IS NULL AND v.valid_to IS NULL"
	args = append(slices.Clone(args), plantID)
	return pick(ctx, db, "", "SELECT v.id AS c, "+first+of+" UNION SELECT v.id, "+last+of, append(args, args...), asOf)
}

// aroundInstants fetches the readings next to instants. Conveyors of other plants fall away.
func aroundInstants(ctx context.Context, db *plantdb.DB, plantID int64, asked []Asked, asOf plantdb.AsOf) ([]assets.Reading, error) {
	// The numbers are written out: they are integers of ours, and a list of parameters would be four times as slow.
	var list strings.Builder
	list.WriteString("WITH given (c, t) AS (VALUES ")
	for i, a := range asked {
		if i > 0 {
			list.WriteByte(',')
		}
		list.WriteString("(" + strconv.FormatInt(a.ConveyorID, 10) + "," + strconv.FormatInt(int64(a.At), 10) + ")")
	}
	list.WriteString("), asked AS (SELECT g.c, g.t FROM given g CROSS JOIN conveyors v WHERE v.id = g.c AND v.plant_id = ? AND v.known_to IS NULL AND v.valid_to IS NULL)")
	before, args := limitOne("a.c", " AND x.at <= a.t", " DESC", asOf)
	after, _ := limitOne("a.c", " AND x.at >= a.t", "", asOf)
	all := append([]any{plantID}, args...)
	return pick(ctx, db, list.String(), "SELECT a.c, "+before+" AS at FROM asked a UNION SELECT a.c, "+after+" FROM asked a", append(all, args...), asOf)
}

// trailing fetches each conveyor's readings of the time before its last one, and the reading before that.
func trailing(ctx context.Context, db *plantdb.DB, plantID int64, lengthH float64, asOf plantdb.AsOf) ([]assets.Reading, error) {
	last, args := limitOne("v.id", "", " DESC", asOf)
	from := "SELECT v.id AS c, " + last + " - ? AS t FROM conveyors v WHERE v.plant_id = ? AND v.known_to IS NULL AND v.valid_to IS NULL"
	before, beforeArgs := limitOne("w.c", " AND x.at <= w.t", " DESC", asOf)
	where, whereArgs := known(asOf, "r")
	query := "WITH w AS (" + from + ") SELECT " + readingColumns + " FROM w CROSS JOIN readings r WHERE r.conveyor_id = w.c AND r.at >= coalesce(" + before + ", w.t) AND " + where
	args = append(slices.Clone(args), int64(lengthH*3600e6), plantID)
	args = append(append(args, beforeArgs...), whereArgs...)
	return scanReadings(db.SQL(ctx).Raw(query, args...).Rows())
}

// ReadThrough returns the instant of a plant's newest accepted reading; 0 when it has none.
func ReadThrough(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64) (assets.Instant, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return 0, err
	}
	last, _ := limitOne("v.id", "", " DESC", plantdb.AsOf{})
	var at assets.Instant
	err := db.SQL(ctx).Raw("SELECT coalesce(max(n.at), 0) FROM (SELECT "+last+" AS at FROM conveyors v WHERE v.plant_id = ? AND v.known_to IS NULL AND v.valid_to IS NULL) n", plantID).Scan(&at).Error
	return at, err
}

// WriteReadings writes accepted readings in bulk and counts them into the entry. They must have been judged.
func WriteReadings(c *plantdb.Change, ch *plantdb.Chain, readings []assets.Reading) error {
	for some := range slices.Chunk(readings, 1000) {
		for i := range some {
			some[i].KnownFrom, some[i].KnownTo = ch.Position, nil
		}
		if err := insert(c, some); err != nil {
			if plantdb.IsDuplicate(err) {
				return errors.New("two accepted readings of one conveyor at one instant")
			}
			return fmt.Errorf("write readings: %w", err)
		}
	}
	c.NoteRows(ch, len(readings))
	return nil
}

// insert writes some readings in one statement. PostgreSQL keeps a plan for each text of a statement, so it gets
// the same one with parameters each time; SQLite is faster with the numbers written out.
func insert(c *plantdb.Change, readings []assets.Reading) error {
	if c.Engine() == migrations.PostgreSQL {
		return c.Tx().Create(readings).Error
	}
	statement, remarks := insertReadings(readings)
	return c.Tx().Exec(statement, remarks...).Error
}

// insertReadings makes one statement of many rows. Numbers are written out, which costs a third of what passing
// each as a parameter does; only remarks, which are text from outside, are passed.
func insertReadings(readings []assets.Reading) (statement string, remarks []any) {
	sql := make([]byte, 0, 64*len(readings)+128)
	sql = append(sql, "INSERT INTO readings (conveyor_id, at, known_from, known_to, shown_h, approximate, remark) VALUES "...)
	for i, r := range readings {
		if i > 0 {
			sql = append(sql, ',')
		}
		sql = strconv.AppendInt(append(sql, '('), r.ConveyorID, 10)
		sql = strconv.AppendInt(append(sql, ','), int64(r.At), 10)
		sql = strconv.AppendInt(append(sql, ','), r.KnownFrom, 10)
		sql = strconv.AppendFloat(append(sql, ",NULL,"...), r.ShownH, 'e', -1, 64)
		sql = strconv.AppendBool(append(sql, ','), r.Approximate)
		if r.Remark == nil {
			sql = append(sql, ",NULL)"...)
			continue
		}
		sql = append(sql, ",?)"...)
		remarks = append(remarks, *r.Remark)
	}
	return string(sql), remarks
}

// AllReadings returns every accepted reading of a plant by conveyor, in order of time: for the importer, which
// judges new ones beside all of them.
func AllReadings(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf) (map[int64][]assets.Reading, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	where, args := known(asOf, "r")
	query := "SELECT " + readingColumns + " FROM conveyors v CROSS JOIN readings r WHERE r.conveyor_id = v.id AND " + where +
		" AND v.plant_id = ? AND v.known_to IS NULL AND v.valid_to IS NULL ORDER BY r.conveyor_id, r.at"
	readings, err := scanReadings(db.SQL(ctx).Raw(query, append(args, plantID)...).Rows())
	return byConveyor(readings), err
}
