package plantdb_test

import (
	"fmt"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"

	"pgregory.net/rapid"
)

// moments is how many instants the naive history tells apart: 1 to moments.
const moments = 8

// naive is what is held of a thing at each moment, as anybody would write it down; nil: it is no more.
type naive [moments + 1]*assets.Specification

// set puts the fields that changed into a stretch of moments [from, to).
func (n naive) set(from, to int, change func(*assets.Specification)) naive {
	for m := from; m < to; m++ {
		if n[m] != nil {
			copied := *n[m]
			change(&copied)
			n[m] = &copied
		}
	}
	return n
}

// TestHistoryAgainstANaiveList amends, corrects and ends a specification at random and compares every moment,
// as known after every entry, with a list that keeps everything whole.
func TestHistoryAgainstANaiveList(t *testing.T) {
	db := plantdbtest.Open(t)
	things := 0
	rapid.Check(t, func(rt *rapid.T) {
		things++
		name := fmt.Sprint("specification ", things)
		spec := assets.Specification{Name: name, NameKey: name}
		var known []naive
		var positions []int64
		do := func(after naive, fn func(c *plantdb.Change, ch *plantdb.Chain) error) {
			change(t, db, noon, func(c *plantdb.Change, ch *plantdb.Chain) error {
				if n := len(positions); n > 0 && positions[n-1] == ch.Position {
					known, positions = known[:n-1], positions[:n-1] // the step before changed nothing and left no entry
				}
				positions = append(positions, ch.Position)
				return fn(c, ch)
			})
			known = append(known, after)
		}
		begins := rapid.IntRange(0, moments).Draw(rt, "begins")
		spec.ValidFrom = assets.Instant(begins)
		var now naive
		for m := max(begins, 1); m <= moments; m++ {
			now[m] = &spec
		}
		now = now.set(1, moments+1, func(*assets.Specification) {})
		do(now, func(c *plantdb.Change, ch *plantdb.Chain) error { return plantdb.Create(c, ch, &spec) })
		for range rapid.IntRange(1, 6).Draw(rt, "steps") {
			current := held(t, db, plantdb.AsOf{}, spec.ID)
			if len(current) != 1 {
				break // it has ended
			}
			next := current[0]
			now = step(rt, do, now, next)
		}
		for k, then := range known {
			for m := 1; m <= moments; m++ {
				rows := held(t, db, plantdb.AsOf{Valid: assets.Instant(m), Known: positions[k]}, spec.ID)
				compare(rt, then[m], rows, m, k)
			}
		}
		if rows := held(t, db, plantdb.AsOf{Valid: 1, Known: positions[0] - 1}, spec.ID); positions[0] > 1 && len(rows) != 0 {
			rt.Fatalf("known before it was entered: %+v", rows)
		}
	})
}

// step draws one change, writes it and returns the naive history after it.
func step(rt *rapid.T, do func(naive, func(*plantdb.Change, *plantdb.Chain) error), now naive, next assets.Specification) naive {
	plies, remark := rapid.IntRange(0, 3).Draw(rt, "plies"), rapid.SampledFrom([]string{"", "a", "b"}).Draw(rt, "remark")
	was := next
	next.Plies, next.Remark = plies, remark
	change := func(s *assets.Specification) {
		if was.Plies != plies {
			s.Plies = plies
		}
		if was.Remark != remark {
			s.Remark = remark
		}
	}
	from := rapid.IntRange(1, moments).Draw(rt, "from")
	to := rapid.IntRange(from, moments+1).Draw(rt, "to")
	switch rapid.SampledFrom([]string{"amend", "amend", "correct", "between", "named", "end"}).Draw(rt, "kind") {
	case "amend":
		after := now.set(from, moments+1, change)
		do(after, func(c *plantdb.Change, ch *plantdb.Chain) error {
			return plantdb.Amend(c, ch, &next, assets.Instant(from))
		})
		return after
	case "correct":
		after := now.set(1, moments+1, change)
		do(after, func(c *plantdb.Change, ch *plantdb.Chain) error { return plantdb.Correct(c, ch, &next) })
		return after
	case "between":
		after, until := now.set(from, to, change), assets.Instant(to)
		do(after, func(c *plantdb.Change, ch *plantdb.Chain) error {
			return plantdb.CorrectBetween(c, ch, &next, assets.Instant(from), &until)
		})
		return after
	case "named":
		after, until := now.set(from, to, func(s *assets.Specification) { s.Plies = plies }), assets.Instant(to)
		do(after, func(c *plantdb.Change, ch *plantdb.Chain) error {
			return plantdb.CorrectBetween(c, ch, &next, assets.Instant(from), &until, "plies")
		})
		return after
	}
	after := now
	for m := from; m <= moments; m++ {
		after[m] = nil
	}
	do(after, func(c *plantdb.Change, ch *plantdb.Chain) error {
		return plantdb.End(c, ch, &next, assets.Instant(from))
	})
	return after
}

func compare(rt *rapid.T, want *assets.Specification, rows []assets.Specification, moment, entry int) {
	switch {
	case want == nil && len(rows) == 0:
	case want == nil || len(rows) != 1:
		rt.Fatalf("moment %d as known after entry %d: %d rows, want %+v", moment, entry+1, len(rows), want)
	case rows[0].Plies != want.Plies || rows[0].Remark != want.Remark:
		rt.Fatalf("moment %d as known after entry %d: %d plies %q, want %d plies %q", moment, entry+1, rows[0].Plies, rows[0].Remark, want.Plies, want.Remark)
	}
}
