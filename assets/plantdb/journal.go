package plantdb

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"carryside/assets"
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
