package orders

import (
	"cmp"
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"

	"gorm.io/gorm/clause"
)

// Raised counts what an evaluation wrote.
type Raised struct {
	Orders    int // new orders
	Joined    int // occurrences that point to an order open already
	Reminders int // occurrences without an order
	Known     int // proposals that had been raised before
}

// Raise writes the proposals of one plant and moves the progress of the rules evaluated to through. Each
// proposal goes in under its unique key; one that is there already is passed over. A new one joins the open
// order of its target and kind, or raises an order, or (by a rule of thumb) stays a reminder. Doing it twice, or
// on two servers, leaves one of each. Rows go in by batches: a plant's first evaluation raises hundreds.
func Raise(c *plantdb.Change, plantID int64, proposals []rules.Proposal, evaluated []int64, through assets.Instant) (Raised, error) {
	for _, rule := range evaluated {
		if err := moveProgress(c, rule, plantID, through); err != nil {
			return Raised{}, err
		}
	}
	if len(proposals) == 0 {
		return Raised{}, nil
	}
	ch, err := c.PlantChain(plantID)
	if err != nil {
		return Raised{}, err
	}
	r := raising{c: c, ch: ch, plantID: plantID}
	err = c.Tx().Where("plant_id = ? AND state IN ('raised','accepted','placed','started') AND known_to IS NULL AND valid_to IS NULL", plantID).Find(&r.open).Error
	if err != nil {
		return Raised{}, err
	}
	if r.first, err = firstAt(c, plantID); err != nil {
		return Raised{}, err
	}
	if err := r.decide(proposals); err != nil {
		return Raised{}, err
	}
	if err := r.write(); err != nil {
		return Raised{}, fmt.Errorf("raise at plant %d: %w", plantID, err)
	}
	return r.n, nil
}

// moveProgress never moves a mark back: of two servers the later one counts.
func moveProgress(c *plantdb.Change, rule, plant int64, through assets.Instant) error {
	return c.Tx().Exec(`INSERT INTO rule_progress (rule_id, plant_id, through) VALUES (?, ?, ?)
		ON CONFLICT (rule_id, plant_id) DO UPDATE SET through = excluded.through WHERE rule_progress.through < excluded.through`, rule, plant, through).Error
}

// raising is one plant's proposals being written.
type raising struct {
	c       *plantdb.Change
	ch      *plantdb.Chain
	plantID int64
	open    []workorder.Order // open already
	made    []workorder.Order // to be raised
	rows    []rules.Occurrence
	of      []int          // of each row: the place of its order in made; -1: it has its order's number, or none
	pulled  map[int64]pull // open orders whose latest date an occurrence brings forward, by number of the order
	first   bool           // nothing was ever raised at the plant
	n       Raised
}

// pull is an earlier latest date that an occurrence demands of the open order it joins.
type pull struct {
	latest assets.Day
	why    string
}

// pullForward notes that a proposal wants its order done earlier than the order says. A rule of thumb demands nothing.
func (r *raising) pullForward(o workorder.Order, p rules.Proposal) {
	latest := o.LatestDay
	if held, ok := r.pulled[o.ID]; ok {
		latest = held.latest
	}
	if p.Reminder() || p.LatestDay == "" || latest != "" && p.LatestDay >= latest {
		return
	}
	if r.pulled == nil {
		r.pulled = map[int64]pull{}
	}
	r.pulled[o.ID] = pull{p.LatestDay, p.Why}
}

// bringForward writes the earlier latest dates with their reasons.
func (r *raising) bringForward() error {
	for _, o := range r.open {
		p, ok := r.pulled[o.ID]
		if !ok {
			continue
		}
		after := o
		after.LatestDay = p.latest
		e := workorder.NewEvent("changed", o, after, 0, r.c.Act.Now, r.c.Act.Now)
		e.Why = "joined by an occurrence that falls due earlier: " + p.why
		if err := Step(r.c, &after, e); err != nil {
			return err
		}
	}
	return nil
}

// decide sorts proposals into those that are there, join, raise or remind.
func (r *raising) decide(proposals []rules.Proposal) error {
	rows := make([]rules.Occurrence, len(proposals))
	for i, p := range proposals {
		rows[i] = p.Occurrence(r.c.Act.Now)
	}
	there, err := r.there(rows)
	if err != nil {
		return err
	}
	for i, p := range proposals {
		if there[keyOf(rows[i])] {
			r.n.Known++
			continue
		}
		r.place(p, rows[i])
	}
	return nil
}

// place gives an occurrence its order: an open one, one that this evaluation raises already, or a new one. A rule
// of thumb joins as well, but raises none.
func (r *raising) place(p rules.Proposal, row rules.Occurrence) {
	made := -1
	for i := range r.made {
		if p.Joins(r.made[i]) {
			made = i
			break
		}
	}
	for i := range r.open {
		if p.Joins(r.open[i]) {
			row.OrderID = r.open[i].ID
			r.pullForward(r.open[i], p)
			break
		}
	}
	switch {
	case row.OrderID != 0 || made >= 0:
		row.Joined = true
		if made >= 0 && row.OrderID == 0 && !p.Reminder() && p.LatestDay != "" && (r.made[made].LatestDay == "" || p.LatestDay < r.made[made].LatestDay) {
			r.made[made].LatestDay = p.LatestDay
		}
		r.n.Joined++
	case p.Reminder():
		r.n.Reminders++
	default:
		o := p.Order(r.c.Act.Now)
		o.PlantID, made = r.plantID, len(r.made)
		r.made = append(r.made, o)
		r.n.Orders++
	}
	r.rows, r.of = append(r.rows, row), append(r.of, made)
}

// firstAt tells whether nothing was raised at a plant yet: then no key of the hundreds its first evaluation proposes
// need be looked up.
func firstAt(c *plantdb.Change, plantID int64) (bool, error) {
	var ids []int64
	err := c.Tx().Raw("SELECT id FROM occurrences WHERE plant_id = ? LIMIT 1", plantID).Scan(&ids).Error
	return len(ids) == 0, err
}

// key is what an occurrence is unique by.
type key struct {
	RuleID       int64
	TargetKind   rules.TargetKind
	TargetID     int64
	Cycle        string
	WithdrawalNo int
}

func keyOf(o rules.Occurrence) key {
	return key{o.RuleID, o.TargetKind, o.TargetID, o.Cycle, o.WithdrawalNo}
}

// there returns which keys of some occurrences stand already, asked for by rule and kind of target, some hundred at once.
func (r *raising) there(rows []rules.Occurrence) (map[key]bool, error) {
	found := map[key]bool{}
	if r.first {
		return found, nil
	}
	type asked struct {
		rule int64
		kind rules.TargetKind
	}
	of := map[asked][]rules.Occurrence{}
	for _, o := range rows {
		a := asked{o.RuleID, o.TargetKind}
		of[a] = append(of[a], o)
	}
	for a, all := range of {
		for some := range slices.Chunk(all, 200) {
			targets, cycles := make([]int64, len(some)), make([]string, len(some))
			for i, o := range some {
				targets[i], cycles[i] = o.TargetID, o.Cycle
			}
			var keys []key
			err := r.c.Tx().Raw(`SELECT rule_id, target_kind, target_id, cycle, withdrawal_no FROM occurrences
				WHERE rule_id = ? AND target_kind = ? AND target_id IN ? AND cycle IN ?`, a.rule, a.kind, distinct(targets), distinct(cycles)).Scan(&keys).Error
			if err != nil {
				return nil, err
			}
			for _, k := range keys { // of all pairs of a target and a cycle: those asked for are among them
				found[k] = true
			}
		}
	}
	return found, nil
}

// distinct sorts values and leaves out what is there twice. It works in place.
func distinct[T cmp.Ordered](list []T) []T {
	slices.Sort(list)
	return slices.Compact(list)
}

// write writes the orders with their first events, then the rows that point to them.
func (r *raising) write() error {
	if len(r.rows) == 0 {
		return nil
	}
	if err := createOrders(r.c, r.ch, r.made); err != nil {
		return err
	}
	if err := r.bringForward(); err != nil {
		return err
	}
	next, err := r.c.NewIDs(r.ch, "occurrences", len(r.rows))
	if err != nil {
		return err
	}
	for i := range r.rows {
		row := &r.rows[i]
		row.ID, row.KnownFrom = next+int64(i), r.ch.Position
		if row.OrderID == 0 && r.of[i] >= 0 {
			row.OrderID = r.made[r.of[i]].ID
		}
		r.c.Wrote(r.ch, "occurrences", row.ID)
		r.c.Note(r.ch, plantdb.Written{Table: "occurrences", ID: row.ID, After: map[string]any{"rule_id": row.RuleID, "target_kind": string(row.TargetKind),
			"target_id": row.TargetID, "cycle": row.Cycle, "withdrawal_no": row.WithdrawalNo, "order_id": row.OrderID, "why": row.Why}})
	}
	res := r.c.Tx().Clauses(clause.OnConflict{DoNothing: true}).CreateInBatches(r.rows, 200)
	if res.Error == nil && res.RowsAffected != int64(len(r.rows)) {
		// The unique key decides, also against a program that did not take the chain first.
		return fmt.Errorf("another server raised the same in this instant: %w", assets.ErrConflict)
	}
	return res.Error
}

// createOrders gives orders of one plant that a rule raises the next numbers and writes them with their first events.
func createOrders(c *plantdb.Change, ch *plantdb.Chain, list []workorder.Order) error {
	if len(list) == 0 {
		return nil
	}
	// The chain is held, so no other change gives out a number of this plant in between.
	var number int64
	err := c.Tx().Raw("SELECT coalesce(max(number), 0) FROM orders WHERE plant_id = ? AND known_to IS NULL AND valid_to IS NULL", list[0].PlantID).Scan(&number).Error
	if err != nil {
		return err
	}
	for i := range list {
		o := &list[i]
		o.Number, o.ValidFrom, o.EditVersion = number+1+int64(i), o.RaisedAt, 1
	}
	if err := plantdb.CreateMany(c, ch, list); err != nil {
		return err
	}
	next, err := c.NewIDs(ch, "order_events", len(list))
	if err != nil {
		return err
	}
	events := make([]workorder.Event, len(list))
	for i, o := range list {
		e := workorder.NewEvent("raised", workorder.Order{}, o, 0, o.RaisedAt.Time(), c.Act.Now)
		e.ID, e.Why, e.EnteredAt, e.KnownFrom = next+int64(i), o.Reason, c.Now(), ch.Position
		events[i] = e
	}
	return plantdb.InsertMany(c, ch, events, func(e *workorder.Event) int64 { return e.ID })
}
