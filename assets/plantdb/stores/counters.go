package stores

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/kit"
)

// Counters lists the counters of kit with where they stand, those of parts no longer fitted too, in the order they were
// fitted.
func Counters(ctx context.Context, db *plantdb.DB, asOf plantdb.AsOf, kitIDs []int64) ([]kit.Counter, error) {
	if len(kitIDs) == 0 {
		return nil, nil
	}
	counters, err := list[assets.KitCounter](db.SQL(ctx).Scopes(asOf.Rows).Where("kit_id IN ?", kitIDs).Order("kit_id, fitted_at, id"))
	if err != nil {
		return nil, err
	}
	sums, err := countSums(ctx, db, asOf, kitIDs)
	out := make([]kit.Counter, len(counters))
	for i, k := range counters {
		out[i] = kit.Counter{KitCounter: k, Count: sums[k.ID]}
	}
	return out, err
}

// countSums adds up the lines of counters, as known and up to the instant asked for.
func countSums(ctx context.Context, db *plantdb.DB, asOf plantdb.AsOf, kitIDs []int64) (map[int64]float64, error) {
	tx := db.SQL(ctx).Table("kit_counts").Select("counter_id, sum(quantity) AS quantity").Where("kit_id IN ?", kitIDs)
	if asOf.Valid != 0 {
		tx = tx.Where("at <= ?", asOf.Valid)
	}
	if asOf.Known != 0 {
		tx = tx.Where("known_from <= ?", asOf.Known)
	}
	var sums []struct {
		CounterID int64
		Quantity  float64
	}
	err := tx.Group("counter_id").Scan(&sums).Error
	of := map[int64]float64{}
	for _, s := range sums {
		of[s.CounterID] = s.Quantity
	}
	return of, err
}

// KitCounts lists most lines of what moved the counters of a piece of kit from one on, the latest first, and says how many there are.
func KitCounts(ctx context.Context, db *plantdb.DB, kitID int64, from, most int) (lines []assets.KitCount, all int, err error) {
	var n int64
	if err := db.SQL(ctx).Table("kit_counts").Where("kit_id = ?", kitID).Count(&n).Error; err != nil {
		return nil, 0, err
	}
	lines, err = list[assets.KitCount](db.SQL(ctx).Where("kit_id = ?", kitID).Order("at DESC, id DESC").Offset(from).Limit(most))
	return lines, int(n), err
}

// OrderCounts lists what a signed order moved on counters of kit.
func OrderCounts(ctx context.Context, db *plantdb.DB, orderID int64) ([]assets.KitCount, error) {
	return list[assets.KitCount](db.SQL(ctx).Where("order_id = ?", orderID).Order("kit_id, counter_id, id"))
}

// SaveCounter adds a counter to a piece of kit (ID 0) or changes its limit.
func SaveCounter(c *plantdb.Change, next *assets.KitCounter) error {
	k, ch, err := kitOf(c, next.KitID)
	if err != nil {
		return err
	}
	next.CustomerID = k.CustomerID
	if next.FittedAt == 0 {
		next.FittedAt = c.Now()
	}
	bad := assets.Invalid{}
	if !slices.Contains(assets.Wears, next.Counts) {
		bad.Add("counts", "choose what is counted from the list")
	}
	if !(next.Limit >= 0 && next.Limit <= 1e7) {
		bad.Add("limit", "the limit is a number from 0 (none known) to 10 000 000")
	}
	if next.Limit > 0 {
		classed(bad, next.Class, next.Source)
	}
	if !(next.PerJob >= 0 && next.PerJob <= 1e5) {
		bad.Add("per_job", "counts a job are a number from 0 to 100 000")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	return save(c, ch, next)
}

// EndCounter ends a counter because its part is taken out or thrown away.
func EndCounter(c *plantdb.Change, id, rowID int64, why string) error {
	k, err := plantdb.ReadRow[assets.KitCounter](c, id)
	if err == nil && rowID != 0 && rowID != k.RowID {
		err = assets.ErrConflict
	}
	if err != nil {
		return err
	}
	if strings.TrimSpace(why) == "" {
		return assets.Invalid{"why": "say why the part is taken out"}
	}
	ch, err := c.Chain(k.CustomerID)
	if err != nil {
		return err
	}
	k.EndedAt, k.EndedWhy, k.InUse = c.Now(), why, false
	return plantdb.Amend(c, ch, &k, c.Now())
}

// Count moves a counter. A line without an order needs a person's reason. An order moves a counter once for what it was
// signed with; counting it again is assets.ErrConflict.
func Count(c *plantdb.Change, line *assets.KitCount) error {
	k, err := plantdb.ReadRow[assets.KitCounter](c, line.CounterID)
	if err != nil {
		return err
	}
	ch, err := c.Chain(k.CustomerID)
	if err != nil {
		return err
	}
	if err := checkCount(c, k, line); err != nil {
		return err
	}
	line.CustomerID, line.KitID = k.CustomerID, k.KitID
	line.EnteredAt, line.PersonID, line.KnownFrom = c.Now(), c.Act.PersonID, ch.Position
	if line.At == 0 {
		line.At = c.Now()
	}
	if line.ID, err = c.NewIDs(ch, "kit_counts", 1); err != nil {
		return err
	}
	return plantdb.Insert(c, ch, line.ID, line)
}

func checkCount(c *plantdb.Change, k assets.KitCounter, line *assets.KitCount) error {
	bad := assets.Invalid{}
	if line.Quantity == 0 || math.IsNaN(line.Quantity) || math.Abs(line.Quantity) > 1e5 {
		bad.Add("quantity", "give a number of "+k.Counts.Unit()+" other than 0, at most 100 000")
	}
	if line.OrderID == 0 && strings.TrimSpace(line.Reason) == "" {
		bad.Add("reason", "a counter is moved by a signed job; by hand only with a reason")
	}
	if k.EndedAt != 0 && (line.At == 0 || line.At > k.EndedAt) {
		bad.Add("counter", "this part was taken out; count on the one that is fitted")
	}
	if err := bad.Err(); err != nil {
		return err
	}
	var sum float64
	if err := c.Tx().Raw("SELECT coalesce(sum(quantity), 0) FROM kit_counts WHERE counter_id = ?", k.ID).Scan(&sum).Error; err != nil {
		return err
	}
	if sum+line.Quantity < 0 {
		return assets.Invalid{"quantity": "the counter would fall below nothing; check the figure"}
	}
	if line.OrderID == 0 {
		return nil
	}
	var n int64
	err := c.Tx().Raw("SELECT count(*) FROM kit_counts WHERE counter_id = ? AND order_id = ?", k.ID, line.OrderID).Scan(&n).Error
	if n > 0 {
		err = errors.Join(err, assets.ErrConflict)
	}
	return err
}
