package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"

	"carryside/assets/plantdb"
)

// promises are what the program answered to have written: each must be there after any number of kills.
type promises struct {
	mu       sync.Mutex
	kept     map[string]bool // by kind and key: "reading 3 1764071000000000"
	orders   map[string]int  // edits of an order that were answered, the highest
	lists    [][]string      // tags of conveyors that came in one list, answered or not
	unsure   int             // asked, and killed before the answer
	failures []string        // answers that were no kill: "database is locked"
}

func newPromises() *promises { return &promises{kept: map[string]bool{}, orders: map[string]int{}} }

func (p *promises) keep(what string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.kept[what] = true
}

func (p *promises) order(id string, edit int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.orders[id] = max(p.orders[id], edit)
}

func (p *promises) list(tags []string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.lists = append(p.lists, tags)
}

func (p *promises) doubt() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.unsure++
}

func (p *promises) fail(format string, args ...any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.failures) < 3 { // more are the same
		p.failures = append(p.failures, fmt.Sprintf(format, args...))
	}
}

// count is how many writes were answered.
func (p *promises) count() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	n := len(p.kept)
	for _, edits := range p.orders {
		n += edits
	}
	return n
}

// present are the things that stand in a database, in the words of the promises.
const present = `SELECT 'reading ' || conveyor_id || ' ' || at FROM readings WHERE known_to IS NULL
	UNION SELECT 'reading ' || conveyor_id || ' ' || at FROM held_readings
	UNION SELECT 'finding ' || client_id FROM findings WHERE known_to IS NULL AND valid_to IS NULL AND client_id <> ''
	UNION SELECT 'conveyor ' || tag FROM conveyors WHERE known_to IS NULL AND valid_to IS NULL`

// lost returns the promises that a database does not hold, and lists that arrived in part.
func (p *promises) lost(ctx context.Context, db *plantdb.DB) (missing []string, err error) {
	var there []string
	if err := db.SQL(ctx).Raw(present).Scan(&there).Error; err != nil {
		return nil, err
	}
	is := make(map[string]bool, len(there))
	for _, what := range there {
		is[what] = true
	}
	for what := range p.kept {
		if !is[what] {
			missing = append(missing, what)
		}
	}
	for _, tags := range p.lists {
		n := 0
		for _, tag := range tags {
			if is["conveyor "+tag] {
				n++
			}
		}
		if n != 0 && n != len(tags) {
			missing = append(missing, fmt.Sprintf("%d of the %d conveyors of one list, %s", len(tags)-n, len(tags), strings.Join(tags, " ")))
		}
	}
	var rows []struct {
		ID          string
		EditVersion int
	}
	if err := db.SQL(ctx).Raw("SELECT id, edit_version FROM orders WHERE known_to IS NULL AND valid_to IS NULL").Scan(&rows).Error; err != nil {
		return nil, err
	}
	edits := map[string]int{}
	for _, r := range rows {
		edits[r.ID] = r.EditVersion
	}
	for id, edit := range p.orders {
		if edits[id] < edit {
			missing = append(missing, fmt.Sprintf("edit %d of order %s", edit, id))
		}
	}
	slices.Sort(missing)
	return missing, nil
}

// halves are the ways in which an order or an occurrence can be half there; each query counts them.
var halves = map[string]string{
	"orders without the event that raised them":     `SELECT count(*) FROM orders o WHERE o.known_to IS NULL AND o.valid_to IS NULL AND NOT EXISTS (SELECT 1 FROM order_events e WHERE e.order_id = o.id AND e."what" = 'raised')`,
	"orders whose edits and events do not fit":      `SELECT count(*) FROM orders o WHERE o.known_to IS NULL AND o.valid_to IS NULL AND o.raised_at > 0 AND o.edit_version > (SELECT count(*) FROM order_events e WHERE e.order_id = o.id)`,
	"events of no order":                            `SELECT count(*) FROM order_events e WHERE NOT EXISTS (SELECT 1 FROM orders o WHERE o.id = e.order_id)`,
	"occurrences whose order is not there":          `SELECT count(*) FROM occurrences c WHERE c.order_id <> 0 AND NOT EXISTS (SELECT 1 FROM orders o WHERE o.id = c.order_id)`,
	"occurrences that stand twice":                  `SELECT count(*) FROM (SELECT 1 FROM occurrences GROUP BY rule_id, target_kind, target_id, cycle, withdrawal_no HAVING count(*) > 1) t`,
	"orders of a rule that no occurrence raised":    `SELECT count(*) FROM orders o WHERE o.known_to IS NULL AND o.valid_to IS NULL AND o.rule_id <> 0 AND o.raised_by = 0 AND o.raised_at >= ? AND NOT EXISTS (SELECT 1 FROM occurrences c WHERE c.order_id = o.id)`,
	"order numbers of a plant that stand twice":     `SELECT count(*) FROM (SELECT 1 FROM orders WHERE known_to IS NULL AND valid_to IS NULL GROUP BY plant_id, number HAVING count(*) > 1) t`,
	"numbers of things that were given out twice":   `SELECT count(*) FROM (SELECT 1 FROM findings WHERE known_to IS NULL AND valid_to IS NULL GROUP BY id HAVING count(*) > 1) t`,
	"findings sent twice under one client number":   `SELECT count(*) FROM (SELECT 1 FROM findings WHERE known_to IS NULL AND valid_to IS NULL AND client_id <> '' GROUP BY client_id HAVING count(*) > 1) t`,
	"conveyors of a plant that stand under one tag": `SELECT count(*) FROM (SELECT 1 FROM conveyors WHERE known_to IS NULL AND valid_to IS NULL GROUP BY plant_id, tag_key HAVING count(*) > 1) t`,
}

// whole looks whether a database holds together: its journal, its orders.
func whole(ctx context.Context, db *plantdb.DB, since int64) error {
	verdict, err := db.Verify(ctx, nil)
	if err != nil {
		return err
	}
	if len(verdict.Breaks) > 0 {
		return fmt.Errorf("the journal is broken: %s", verdict.Breaks[0].Says)
	}
	var wrong []string
	for what, query := range halves {
		var args []any
		if strings.Contains(query, "?") {
			args = append(args, since)
		}
		var n int64
		if err := db.SQL(ctx).Raw(query, args...).Scan(&n).Error; err != nil {
			return fmt.Errorf("%s: %w", what, err)
		}
		if n > 0 {
			wrong = append(wrong, fmt.Sprintf("%d %s", n, what))
		}
	}
	if len(wrong) > 0 {
		slices.Sort(wrong)
		return errors.New(strings.Join(wrong, "; "))
	}
	return nil
}
