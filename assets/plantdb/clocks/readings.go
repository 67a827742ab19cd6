package clocks

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"

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

const readingColumns = "r.conveyor_id, r.at, r.known_from, r.known_to, r.shown_h, r.approximate, r.remark"

// scanReadings reads rows of readingColumns: by hand, because there are many. Rows that are not held to be right
// at asOf fall away here where the query did not leave them out.
func scanReadings(asOf plantdb.AsOf, rows *plantdb.Found, err error) (readings []assets.Reading, _ error) {
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var r assets.Reading
		if err := rows.Scan(&r.ConveyorID, &r.At, &r.KnownFrom, &r.KnownTo, &r.ShownH, &r.Approximate, &r.Remark); err != nil {
			return nil, err
		}
		if heldAt(r, asOf.Known) {
			readings = append(readings, r)
		}
	}
	return readings, rows.Err()
}

// pointColumns are what of a reading makes a point of a line, all there is to a plant's clocks.
const pointColumns = "r.conveyor_id, r.at, r.known_from, r.known_to, r.shown_h"

// scanPoints reads rows of pointColumns as scanReadings does.
func scanPoints(asOf plantdb.AsOf, rows *plantdb.Found, err error) (readings []assets.Reading, _ error) {
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var r assets.Reading
		if err := rows.Scan((*int64)(&r.ConveyorID), (*int64)(&r.At), &r.KnownFrom, &r.KnownTo, &r.ShownH); err != nil {
			return nil, err
		}
		if heldAt(r, asOf.Known) {
			readings = append(readings, r)
		}
	}
	return readings, rows.Err()
}

// heldAt tells whether a reading was held to be right at a position; 0 is now.
func heldAt(r assets.Reading, position int64) bool {
	if position == 0 {
		return r.KnownTo == nil
	}
	return r.KnownFrom <= position && (r.KnownTo == nil || *r.KnownTo > position)
}

// Readings returns the accepted readings of a conveyor in a span, in order of time.
func Readings(ctx context.Context, db *plantdb.DB, scope assets.Scope, conveyorID int64, in Span, asOf plantdb.AsOf) ([]assets.Reading, error) {
	if _, err := plantOf(ctx, db, scope, conveyorID); err != nil {
		return nil, err
	}
	where, args := known(asOf, "r")
	query := "SELECT " + readingColumns + " FROM readings r WHERE r.conveyor_id = ? AND r.at >= ? AND r.at < ? AND " + where + " ORDER BY r.at"
	rows, err := db.Query(ctx, query, append([]any{conveyorID, in.From, in.to()}, args...)...)
	return scanReadings(asOf, rows, err)
}

// WholeReadings returns all accepted readings, without their remarks, of some conveyors of a plant, by conveyor, in order of time.
func WholeReadings(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, conveyors []int64, asOf plantdb.AsOf) (map[int64][]assets.Reading, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	var all []assets.Reading
	for some := range slices.Chunk(conveyors, 500) {
		// CROSS JOIN holds SQLite to a stretch of the key for each conveyor.
		rows, err := db.Query(ctx, "SELECT "+pointColumns+" FROM conveyors v CROSS JOIN readings r WHERE r.conveyor_id = v.id AND v.plant_id = ? AND v.known_to IS NULL AND v.valid_to IS NULL AND v.id IN ?",
			plantID, some)
		read, err := scanPoints(asOf, rows, err)
		if err != nil {
			return nil, err
		}
		all = append(all, read...)
	}
	return byConveyor(all), nil
}

// LastReadings returns a conveyor's newest accepted readings, newest first.
func LastReadings(ctx context.Context, db *plantdb.DB, scope assets.Scope, conveyorID int64, limit int) ([]assets.Reading, error) {
	if _, err := plantOf(ctx, db, scope, conveyorID); err != nil {
		return nil, err
	}
	rows, err := db.Query(ctx, "SELECT "+readingColumns+" FROM readings r WHERE r.conveyor_id = ? AND r.known_to IS NULL ORDER BY r.at DESC LIMIT ?", conveyorID, limit)
	return scanReadings(plantdb.AsOf{}, rows, err)
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
	rows, err := db.Query(ctx, "SELECT "+readingColumns+" FROM readings r WHERE r.conveyor_id = ? AND "+side+" AND "+where+" ORDER BY "+order+" LIMIT 1",
		append([]any{conveyorID, at}, args...)...)
	found, err := scanReadings(asOf, rows, err)
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

// Wanted says which readings of a plant are needed beside the first and the last of each conveyor.
type Wanted struct {
	Asked       []Asked // those around these instants
	BeforeLastH float64 // those around the instant so many hours before each conveyor's last one; 0: none
	TrailingH   float64 // all of so many hours before each conveyor's last one, with the reading before them; 0: none
}

// PlantReadings returns the accepted readings, without their remarks, that tell a plant's hours exactly at the instants asked about,
// by conveyor, in order of time. Its cost follows what is asked, not the length of the histories.
func PlantReadings(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, w Wanted, asOf plantdb.AsOf) (map[int64][]assets.Reading, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	all, err := endsQuery(plantID, w.BeforeLastH, asOf).read(ctx, db, asOf)
	if err != nil {
		return nil, err
	}
	some, err := readAround(ctx, db, withinEnds(w.Asked, all), asOf)
	if err != nil {
		return nil, err
	}
	all = append(all, some...)
	if w.TrailingH > 0 {
		if some, err = trailingQuery(plantID, w.TrailingH, asOf).read(ctx, db, asOf); err != nil {
			return nil, err
		}
		all = append(all, some...)
	}
	return byConveyor(all), nil
}

// ReadingsAround returns the accepted readings, without their remarks, next to instants, at most two each, by conveyor, in order of time. The
// conveyors must be the plant's, and the instants between the first and the last reading of theirs.
func ReadingsAround(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asked []Asked, asOf plantdb.AsOf) (map[int64][]assets.Reading, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	all, err := readAround(ctx, db, asked, asOf)
	return byConveyor(all), err
}

func readAround(ctx context.Context, db *plantdb.DB, asked []Asked, asOf plantdb.AsOf) (all []assets.Reading, _ error) {
	for some := range slices.Chunk(asked, 2000) {
		read, err := aroundQuery(db.Engine(), some, asOf).read(ctx, db, asOf)
		if err != nil {
			return nil, err
		}
		all = append(all, read...)
	}
	return all, nil
}

// withinEnds leaves out the instants that the first and the last reading of their conveyor answer: those not between
// them. A conveyor of another plant has no ends here.
func withinEnds(asked []Asked, ends []assets.Reading) []Asked {
	// An instant asked about twice, for two splices made at one visit, is looked up once.
	asked = slices.Clone(asked)
	slices.SortFunc(asked, func(a, b Asked) int {
		return cmp.Or(cmp.Compare(a.ConveyorID, b.ConveyorID), cmp.Compare(a.At, b.At))
	})
	asked = slices.Compact(asked)
	between := make(map[int64]Span, len(ends)/2)
	for _, r := range ends {
		s, known := between[r.ConveyorID]
		if !known {
			s = Span{r.At, r.At}
		}
		between[r.ConveyorID] = Span{min(s.From, r.At), max(s.To, r.At)}
	}
	return slices.DeleteFunc(asked, func(a Asked) bool {
		s := between[a.ConveyorID]
		return a.At <= s.From || a.At >= s.To
	})
}

func byConveyor(readings []assets.Reading) map[int64][]assets.Reading {
	of := map[int64][]assets.Reading{}
	for _, r := range readings {
		of[r.ConveyorID] = append(of[r.ConveyorID], r)
	}
	for id, list := range of {
		of[id] = InOrder(list)
	}
	return of
}

// InOrder puts readings of one conveyor in order of time; one that is there twice stays once. It works in place.
func InOrder(list []assets.Reading) []assets.Reading {
	slices.SortFunc(list, func(a, b assets.Reading) int { return compareInstants(a.At, b.At) })
	return slices.CompactFunc(list, func(a, b assets.Reading) bool { return a.At == b.At })
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

// limitOne is the core of the statements below: one step down the key for each instant. A join to max(at) or a
// row_number reads whole histories instead. Two things more keep SQLite from walking through the ten million readings
// of a fleet to find a few hundred: CROSS JOIN, which holds it to the order written, and no condition on the readings
// joined beside their key, which would make it build a filter of them all first. Corrected values at the same instant
// fall away in scanPoints.
func limitOne(conveyor, condition, order string, asOf plantdb.AsOf) (string, []any) {
	where, args := known(asOf, "x")
	return "(SELECT x.at FROM readings x WHERE x.conveyor_id = " + conveyor + condition + " AND " + where + " ORDER BY x.at" + order + " LIMIT 1)", args
}

// query is a statement with its parameters.
type query struct {
	sql  string
	args []any
}

func (q query) read(ctx context.Context, db *plantdb.DB, asOf plantdb.AsOf) ([]assets.Reading, error) {
	rows, err := db.Query(ctx, q.sql, q.args...)
	return scanPoints(asOf, rows, err)
}

// endsQuery fetches the first and the last reading of each conveyor of a plant, and those around the instant so many
// hours before the last one (0: none).
func endsQuery(plantID int64, beforeLastH float64, asOf plantdb.AsOf) query {
	first, args := limitOne("v.id", "", "", asOf)
	last, _ := limitOne("v.id", "", " DESC", asOf)
	with := "WITH ends (c, a, z) AS MATERIALIZED (SELECT v.id, " + first + ", " + last +
		" FROM conveyors v WHERE v.plant_id = ? AND v.known_to IS NULL AND v.valid_to IS NULL)"
	of := " SELECT " + pointColumns + " FROM ends e CROSS JOIN readings r WHERE r.conveyor_id = e.c AND "
	sql, params := with+of+"r.at = e.a UNION ALL"+of+"r.at = e.z", append(slices.Concat(args, args), plantID)
	if beforeLastH > 0 {
		before, _ := limitOne("e.c", " AND x.at <= e.z - ?", " DESC", asOf)
		after, _ := limitOne("e.c", " AND x.at >= e.z - ?", "", asOf)
		sql += " UNION ALL" + of + "r.at >= " + before + " AND r.at <= " + after
		back := append([]any{int64(beforeLastH * 3600e6)}, args...)
		params = slices.Concat(params, back, back)
	}
	return query{sql, params}
}

// aroundQuery fetches the readings next to instants that lie between the first and the last of their conveyor.
func aroundQuery(engine migrations.Engine, asked []Asked, asOf plantdb.AsOf) query {
	list, given := askedList(engine, asked)
	before, args := limitOne("a.c", " AND x.at <= a.t", " DESC", asOf)
	after, _ := limitOne("a.c", " AND x.at >= a.t", "", asOf)
	// From the one to the other there is nothing else but corrected values, which fall away in scanPoints.
	return query{list + " SELECT " + pointColumns + " FROM asked a CROSS JOIN readings r WHERE r.conveyor_id = a.c AND r.at >= " + before + " AND r.at <= " + after,
		slices.Concat(given, args, args)}
}

// askedList makes a table of what is asked. A list of parameters would be four times as slow as numbers written out;
// SQLite is given them as one JSON text, so that it prepares the statement once and does not keep each.
func askedList(engine migrations.Engine, asked []Asked) (with string, args []any) {
	between, open, end := "),(", "(", ")"
	if engine == migrations.SQLite {
		between, open, end = "],[", "[[", "]]"
	}
	list := []byte(open)
	for i, a := range asked {
		if i > 0 {
			list = append(list, between...)
		}
		list = append(strconv.AppendInt(list, a.ConveyorID, 10), ',')
		list = strconv.AppendInt(list, int64(a.At), 10)
	}
	list = append(list, end...)
	if engine == migrations.SQLite {
		return "WITH asked (c, t) AS MATERIALIZED (SELECT k.value->>0, k.value->>1 FROM json_each(?) k)", []any{string(list)}
	}
	return "WITH asked (c, t) AS (VALUES " + string(list) + ")", nil
}

// trailingQuery fetches each conveyor's readings of the time before its last one, and the reading before that.
func trailingQuery(plantID int64, lengthH float64, asOf plantdb.AsOf) query {
	last, args := limitOne("v.id", "", " DESC", asOf)
	ends := "SELECT v.id AS c, " + last + " - ? AS t FROM conveyors v WHERE v.plant_id = ? AND v.known_to IS NULL AND v.valid_to IS NULL"
	before, more := limitOne("w.c", " AND x.at <= w.t", " DESC", asOf)
	sql := "WITH w AS (" + ends + ") SELECT " + pointColumns + " FROM w CROSS JOIN readings r WHERE r.conveyor_id = w.c AND r.at >= coalesce(" + before + ", w.t)"
	return query{sql, slices.Concat(args, []any{int64(lengthH * 3600e6), plantID}, more)}
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
	for _, r := range readings {
		c.Wrote(ch, "readings", r.ConveyorID, int64(r.At), r.KnownFrom)
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
	rows, err := db.Query(ctx, query, append(args, plantID)...)
	readings, err := scanReadings(asOf, rows, err)
	return byConveyor(readings), err
}
