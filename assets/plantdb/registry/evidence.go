package registry

import (
	"context"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
)

// Evidence counts what is there of a splice.
type Evidence struct {
	SpliceID     int64
	Findings     int // recorded at it
	Attachments  int // of it, of findings at it and of the orders that made and ended it
	PressRecords int // of its making, those taken back left out
	Steps        int // noted on the job sheets of the orders that made and ended it
	Readings     int // accepted ones of its conveyor's meter while it lived
}

// EvidenceOf counts the evidence of some splices of a plant up to an instant, as known at asOf's position.
func EvidenceOf(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, splices []int64, until assets.Instant, asOf plantdb.AsOf) (map[int64]Evidence, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	out := make(map[int64]Evidence, len(splices))
	for some := range slices.Chunk(splices, 500) {
		query, args := evidenceQuery(plantID, some, until, plantdb.AsOf{Known: asOf.Known})
		var rows []Evidence
		if err := db.SQL(ctx).Raw(query, args...).Scan(&rows).Error; err != nil {
			return nil, err
		}
		for _, e := range rows {
			out[e.SpliceID] = e
		}
	}
	return out, nil
}

func evidenceQuery(plantID int64, splices []int64, until assets.Instant, asOf plantdb.AsOf) (query string, args []any) {
	held := func(alias string) string {
		where, more := asOf.On(alias)
		args = append(args, more...)
		return where
	}
	count := func(what string, conditions ...any) string {
		args = append(args, conditions...)
		return what
	}
	query = "SELECT s.id AS splice_id, (SELECT count(*) FROM findings f WHERE f.splice_id = s.id AND " + held("f") + count(" AND f.found_at < ?) AS findings,", until)
	query += " (SELECT count(*) FROM attachments a WHERE a.plant_id = s.plant_id AND " + held("a") + count(" AND a.added_at < ?", until) +
		` AND (a.of_kind = 'splice' AND a.of_id = s.id OR a.of_kind = 'order' AND a.of_id <> 0 AND a.of_id IN (s.made_order_id, s.retired_order_id)
		OR a.of_kind = 'finding' AND a.of_id IN (SELECT g.id FROM findings g WHERE g.splice_id = s.id))) AS attachments,`
	query += " (SELECT count(*) FROM press_records p WHERE p.splice_id = s.id AND NOT p.withdrawn AND " + held("p") + count(" AND p.recorded_at < ?) AS press_records,", until)
	query += " (SELECT count(*) FROM job_entries j WHERE j.order_id <> 0 AND j.order_id IN (s.made_order_id, s.retired_order_id)" + count(" AND j.at < ?", until)
	if asOf.Known != 0 {
		query += count(" AND j.known_from <= ?", asOf.Known)
	}
	query += ") AS steps,"
	known, more := "r.known_to IS NULL", []any(nil)
	if asOf.Known != 0 {
		known, more = "r.known_from <= ? AND (r.known_to IS NULL OR r.known_to > ?)", []any{asOf.Known, asOf.Known}
	}
	query += " (SELECT count(*) FROM readings r WHERE r.conveyor_id = s.conveyor_id AND r.at >= s.made_at AND (s.ended IS NULL OR r.at <= s.ended)" +
		count(" AND r.at < ? AND ", until) + count(known, more...) + ") AS readings"
	query += " FROM splices s WHERE " + held("s") + count(" AND s.plant_id = ? AND s.id IN ?", plantID, splices)
	return query, args
}

// Refusals lists the findings of a plant whose follow-up a person refused in a span of time, oldest first, as known at
// asOf's position; ValidFrom is when that was.
func Refusals(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, from, to assets.Instant, asOf plantdb.AsOf) ([]assets.Finding, error) {
	tx := db.SQL(ctx).Scopes(asOf.KnownRows, plantdb.InScope(scope, "plant_id")).
		Where("plant_id = ? AND refused_by <> 0 AND valid_from >= ? AND valid_from < ?", plantID, from, to)
	found, err := namedFindings(ctx, db, tx.Order("valid_from, id"))
	if err != nil {
		return nil, err
	}
	seen := map[int64]bool{}
	return slices.DeleteFunc(found, func(f assets.Finding) bool {
		again := seen[f.ID] // a later stretch of the same finding: it was refused before
		seen[f.ID] = true
		return again
	}), nil
}
