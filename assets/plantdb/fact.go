package plantdb

import (
	"errors"
	"fmt"

	"carryside/assets"

	"gorm.io/gorm"
)

// Fact is a pointer to a row of the register with its two times.
type Fact[T any] interface {
	*T
	Versioned() *assets.Version
}

// batch rows go into one INSERT; SQLite takes 32,766 values in a statement and the widest row has 46.
const batch = 500

// Create writes a new thing, true since row.ValidFrom (0: since ever; its life dates say when it lived).
// A row without a number gets the next of its table.
func Create[T any, P Fact[T]](c *Change, ch *Chain, row P) error {
	s, err := c.schemaOf(row)
	if err != nil {
		return err
	}
	v := row.Versioned()
	if v.ID == 0 {
		if v.ID, err = c.NewIDs(ch, s.Table, 1); err != nil {
			return err
		}
	}
	*v = assets.Version{ID: v.ID, ValidFrom: v.ValidFrom, KnownFrom: ch.Position}
	if err := c.Tx().Create(row).Error; err != nil {
		return fmt.Errorf("write %s: %w", s.Table, err)
	}
	c.Wrote(ch, s.Table, v.RowID)
	c.Note(ch, Written{Table: s.Table, ID: v.ID, ValidFrom: v.ValidFrom, After: c.given(s, row)})
	return nil
}

// CreateMany writes new things in batches. Rows without a number get consecutive ones.
func CreateMany[T any, P Fact[T]](c *Change, ch *Chain, rows []T) error {
	if len(rows) == 0 {
		return nil
	}
	s, err := c.schemaOf(&rows[0])
	if err != nil {
		return err
	}
	if err := number[T, P](c, ch, s.Table, rows); err != nil {
		return err
	}
	for i := range rows {
		v := P(&rows[i]).Versioned()
		*v = assets.Version{ID: v.ID, ValidFrom: v.ValidFrom, KnownFrom: ch.Position}
	}
	if err := c.Tx().CreateInBatches(rows, batch).Error; err != nil {
		return fmt.Errorf("write %s: %w", s.Table, err)
	}
	for i := range rows {
		c.Wrote(ch, s.Table, P(&rows[i]).Versioned().RowID)
		w := Written{Table: s.Table, ID: P(&rows[i]).Versioned().ID}
		if c.bulk == nil {
			w.After = c.given(s, &rows[i])
		}
		c.Note(ch, w)
	}
	return nil
}

func number[T any, P Fact[T]](c *Change, ch *Chain, table string, rows []T) error {
	without := 0
	for i := range rows {
		if P(&rows[i]).Versioned().ID == 0 {
			without++
		}
	}
	if without == 0 {
		return nil
	}
	next, err := c.NewIDs(ch, table, without)
	if err != nil {
		return err
	}
	for i := range rows {
		if v := P(&rows[i]).Versioned(); v.ID == 0 {
			v.ID = next
			next++
		}
	}
	return nil
}

// Insert writes a plain row (not a Fact) and notes it under its number.
func Insert[T any](c *Change, ch *Chain, id int64, row *T) error {
	s, err := c.schemaOf(row)
	if err != nil {
		return err
	}
	if err := c.Tx().Create(row).Error; err != nil {
		return fmt.Errorf("write %s: %w", s.Table, err)
	}
	c.Wrote(ch, s.Table, id)
	c.Note(ch, Written{Table: s.Table, ID: id, After: c.given(s, row)})
	return nil
}

// InsertMany writes plain rows (not Facts) in batches and notes each under its number.
func InsertMany[T any](c *Change, ch *Chain, rows []T, id func(*T) int64) error {
	if len(rows) == 0 {
		return nil
	}
	s, err := c.schemaOf(&rows[0])
	if err != nil {
		return err
	}
	if err := c.Tx().CreateInBatches(rows, batch).Error; err != nil {
		return fmt.Errorf("write %s: %w", s.Table, err)
	}
	for i := range rows {
		c.Wrote(ch, s.Table, id(&rows[i]))
		c.Note(ch, Written{Table: s.Table, ID: id(&rows[i]), After: c.given(s, &rows[i])})
	}
	return nil
}

// ReadRow returns the row of a thing that is so and known now, ErrNotFound when there is none.
func ReadRow[T any, P Fact[T]](c *Change, id int64) (T, error) {
	var rows []T
	err := c.Tx().Scopes(AsOf{}.Rows).Where("id = ?", id).Find(&rows).Error
	switch {
	case err != nil:
		return *new(T), err
	case len(rows) == 0:
		return *new(T), assets.ErrNotFound
	}
	return rows[0], nil
}

// IsDuplicate tells whether a unique index refused a row.
func IsDuplicate(err error) bool { return errors.Is(err, gorm.ErrDuplicatedKey) }
