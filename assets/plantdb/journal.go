package plantdb

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"carryside/assets"

	"gorm.io/gorm"
)

// Written is one row of a change as the journal keeps it: only the fields that changed, before and after.
type Written struct {
	Table     string         `json:"table"`
	ID        int64          `json:"id"`
	ValidFrom assets.Instant `json:"valid_from,omitempty"`
	ValidTo   assets.Instant `json:"valid_to,omitempty"`
	Before    map[string]any `json:"before,omitempty"`
	After     map[string]any `json:"after,omitempty"`
}

// Entry is an entry of the journal.
type Entry struct {
	ChainID  int64          `gorm:"primaryKey;autoIncrement:false"`
	Position int64          `gorm:"primaryKey;autoIncrement:false"`
	At       assets.Instant // never before the entry ahead of it
	ClockAt  assets.Instant // what the clock said where it had been set back; 0 otherwise
	PlantID  int64          // 0: several plants, or none
	PersonID int64
	Origin   Origin
	Action   string
	Reason   string
	Changes  string // canonical JSON: a list of Written, or {"bulk": ...}

	PrevHash  string // of the entry ahead of it in the chain
	Hash      string // over PrevHash and everything else
	RowsRoot  string // root over the rows the entry wrote and ended
	LeafCount int64  // how many those are
}

// TableName is "journal_entries".
func (Entry) TableName() string { return "journal_entries" }

// Note adds a row written by a hand-made statement to what the entry shows.
func (c *Change) Note(ch *Chain, w Written) {
	ch.rows++
	if c.bulk == nil {
		ch.written = append(ch.written, w)
	}
}

// NoteRows counts rows of a bulk statement into the entry without showing each.
func (c *Change) NoteRows(ch *Chain, rows int) { ch.rows += rows }

// append writes the entries of the chains that were written to, in the order of the chains.
func (c *Change) append() error {
	var touched []*Chain
	for _, ch := range c.chains {
		if ch.rows > 0 {
			touched = append(touched, ch)
		}
	}
	slices.SortFunc(touched, func(a, b *Chain) int { return int(a.ID - b.ID) })
	for _, ch := range touched {
		if err := c.appendTo(ch); err != nil {
			return fmt.Errorf("write the journal: %w", err)
		}
	}
	return nil
}

func (c *Change) appendTo(ch *Chain) error {
	var changes any = ch.written
	if c.bulk != nil {
		changes = map[string]any{"bulk": c.bulk, "rows": ch.rows}
	}
	text, err := Canonical(changes)
	if err != nil {
		return err
	}
	e := Entry{ChainID: ch.ID, Position: ch.Position, At: c.now, PersonID: c.Act.PersonID,
		Origin: c.Act.Origin, Action: c.Act.Action, Reason: c.Act.Reason, Changes: text}
	if clock := assets.InstantOf(c.Act.Now); clock < ch.headAt {
		e.ClockAt = clock
	}
	if touched := slices.Concat(c.Act.Plants, c.made); len(touched) == 1 && c.plants[touched[0]] == ch.CustomerID {
		e.PlantID = touched[0]
	}
	if e.RowsRoot, e.LeafCount, err = c.keepLeaves(ch); err != nil {
		return err
	}
	e.PrevHash = ch.headHash
	e.Hash = e.hashOf(ch.CustomerID)
	if err := c.Tx().Create(&e).Error; err != nil {
		return err
	}
	return c.Tx().Exec("UPDATE chains SET head_position = ?, head_at = ?, head_hash = ? WHERE id = ?", ch.Position, e.At, e.Hash, ch.ID).Error
}

// Canonical writes a value as the journal keeps it: JSON with sorted keys and without blanks, so that the
// same facts are the same bytes.
func Canonical(v any) (string, error) {
	plain, err := json.Marshal(v)
	if err != nil {
		return "", err
	}
	// Through a tree of maps, whose keys are written sorted; numbers keep their digits.
	decoder := json.NewDecoder(bytes.NewReader(plain))
	decoder.UseNumber()
	var tree any
	if err := decoder.Decode(&tree); err != nil {
		return "", err
	}
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(tree); err != nil {
		return "", err
	}
	return string(bytes.TrimSuffix(out.Bytes(), []byte("\n"))), nil
}

// RecentEntries returns a plant's newest entries since an instant, newest first: what changed.
func (db *DB) RecentEntries(ctx context.Context, scope assets.Scope, plantID int64, since assets.Instant, limit int) ([]Entry, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	var entries []Entry
	err := db.SQL(ctx).Where("plant_id = ? AND at >= ?", plantID, since).Order("at DESC, position DESC").Limit(limit).Find(&entries).Error
	return entries, err
}

// JournalAsked narrows the entries of a plant's journal. Its zero value is everything, newest first.
type JournalAsked struct {
	Person   int64
	Program  bool               // only entries of no person: jobs and commands
	From, To assets.Instant     // entered at or after From and before To; 0: open
	Things   map[string][]int64 // tables with numbers of things: entries that touched one of them; nil: whatever they touched
	After    int64              // entries behind this position; 0: all
	Before   int64              // entries ahead of this position; 0: all
	Limit    int
}

// PlantEntries returns entries of a plant, newest first: from its customer's chain those that name the plant, and those
// of no single plant where the scope reaches all of the customer.
func (db *DB) PlantEntries(ctx context.Context, scope assets.Scope, plantID int64, asked JournalAsked) ([]Entry, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	customer, err := db.CustomerOf(ctx, plantID)
	if err != nil {
		return nil, err
	}
	tx := db.SQL(ctx).Where("chain_id = (SELECT c.id FROM chains c WHERE c.customer_id = ?)", customer)
	all, customers, _ := scope.Reaches()
	if all || slices.Contains(customers, customer) {
		tx = tx.Where("plant_id IN ?", []int64{0, plantID})
	} else {
		tx = tx.Where("plant_id = ?", plantID)
	}
	return asked.entries(tx)
}

// CustomerEntries returns entries of a customer's chain that name no single plant, newest first; none where the scope does
// not reach all of the customer.
func (db *DB) CustomerEntries(ctx context.Context, scope assets.Scope, customerID int64, asked JournalAsked) ([]Entry, error) {
	if all, customers, _ := scope.Reaches(); !all && !slices.Contains(customers, customerID) {
		return nil, nil
	}
	return asked.entries(db.SQL(ctx).Where("chain_id = (SELECT c.id FROM chains c WHERE c.customer_id = ?) AND plant_id = 0", customerID))
}

// CompanyEntries returns entries of the company's chain that touched one of the things asked for, newest first: what
// plants of every customer rest on.
func (db *DB) CompanyEntries(ctx context.Context, asked JournalAsked) ([]Entry, error) {
	return asked.entries(db.SQL(ctx).Where("chain_id = (SELECT c.id FROM chains c WHERE c.customer_id = 0)"))
}

func (a JournalAsked) entries(tx *gorm.DB) ([]Entry, error) {
	switch {
	case a.Program:
		tx = tx.Where("person_id = 0")
	case a.Person != 0:
		tx = tx.Where("person_id = ?", a.Person)
	}
	if a.From != 0 {
		tx = tx.Where("at >= ?", a.From)
	}
	if a.To != 0 {
		tx = tx.Where("at < ?", a.To)
	}
	if a.After != 0 {
		tx = tx.Where("position > ?", a.After)
	}
	if a.Before != 0 {
		tx = tx.Where("position < ?", a.Before)
	}
	if a.Things != nil {
		where, args := a.touched()
		tx = tx.Where(where, args...)
	}
	return Rows[Entry](tx.Order("position DESC").Limit(a.Limit))
}

// touched finds things by how the canonical text of an entry names them; a table without numbers is found whole.
func (a JournalAsked) touched() (where string, args []any) {
	parts := []string{"1 = 0"}
	for _, table := range slices.Sorted(maps.Keys(a.Things)) {
		if len(a.Things[table]) == 0 {
			parts, args = append(parts, "changes LIKE ?"), append(args, `%"table":"`+table+`"%`)
		}
		for _, id := range a.Things[table] {
			parts, args = append(parts, "changes LIKE ?"), append(args, fmt.Sprintf(`%%"id":%d,"table":"%s"%%`, id, table))
		}
	}
	return "(" + strings.Join(parts, " OR ") + ")", args
}

// WrittenIn reads what an entry shows of its rows; nothing of an entry that only counts them.
func (e Entry) WrittenIn() ([]Written, error) {
	var written []Written
	if !strings.HasPrefix(e.Changes, "[") {
		return nil, nil
	}
	d := json.NewDecoder(strings.NewReader(e.Changes))
	d.UseNumber()
	if err := d.Decode(&written); err != nil {
		return nil, fmt.Errorf("entry %d of chain %d: %w", e.Position, e.ChainID, err)
	}
	return written, nil
}

// Journalists are the people who made entries at a plant.
func (db *DB) Journalists(ctx context.Context, scope assets.Scope, plantID int64) ([]int64, error) {
	if err := db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	var ids []int64
	err := db.SQL(ctx).Raw("SELECT DISTINCT person_id FROM journal_entries WHERE plant_id = ? AND person_id <> 0 ORDER BY 1", plantID).Scan(&ids).Error
	return ids, err
}
