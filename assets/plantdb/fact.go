package plantdb

import (
	"errors"
	"fmt"
	"reflect"

	"carryside/assets"

	"gorm.io/gorm"
	"gorm.io/gorm/schema"
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
		if v.ID, err = c.NewIDs(s.Table, 1); err != nil {
			return err
		}
	}
	*v = assets.Version{ID: v.ID, ValidFrom: v.ValidFrom, KnownFrom: ch.Position}
	if err := c.Tx().Create(row).Error; err != nil {
		return fmt.Errorf("write %s: %w", s.Table, err)
	}
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
	if err := number[T, P](c, s.Table, rows); err != nil {
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
		w := Written{Table: s.Table, ID: P(&rows[i]).Versioned().ID}
		if c.bulk == nil {
			w.After = c.given(s, &rows[i])
		}
		c.Note(ch, w)
	}
	return nil
}

func number[T any, P Fact[T]](c *Change, table string, rows []T) error {
	without := 0
	for i := range rows {
		if P(&rows[i]).Versioned().ID == 0 {
			without++
		}
	}
	if without == 0 {
		return nil
	}
	next, err := c.NewIDs(table, without)
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
	c.Note(ch, Written{Table: s.Table, ID: id, After: c.given(s, row)})
	return nil
}

// Amend makes next so from an instant on: each field in which it differs from the row that was read
// (next.RowID) takes its new value in every stretch from then on. assets.ErrConflict when that row has been
// replaced since. Nothing changed is no error and leaves no entry.
func Amend[T any, P Fact[T]](c *Change, ch *Chain, next P, from assets.Instant) error {
	if from > c.now {
		return assets.Invalid{"from": "a change cannot begin in the future; give today or a day before"}
	}
	return patch[T](c, ch, next, stretch{from: from}, nil)
}

// Correct makes next so from the thing's beginning: what was held before was wrong.
func Correct[T any, P Fact[T]](c *Change, ch *Chain, next P) error {
	return patch[T](c, ch, next, stretch{}, nil)
}

// CorrectBetween corrects a stretch of time only (to nil: until further notice). columns names the fields
// to set where next may equal the row that was read and still be news for the stretch; none: those that
// differ.
func CorrectBetween[T any, P Fact[T]](c *Change, ch *Chain, next P, from assets.Instant, to *assets.Instant, columns ...string) error {
	return patch[T](c, ch, next, stretch{from, to}, columns)
}

// stretch is a half-open stretch of time; from 0 is since ever, to nil until further notice.
type stretch struct {
	from assets.Instant
	to   *assets.Instant
}

// split cuts a row's time into what lies before the stretch, inside and after; an empty part is false.
func (s stretch) split(v assets.Version) (before, inside, after stretch, has [3]bool) {
	row := stretch{v.ValidFrom, v.ValidTo}
	inside = stretch{max(row.from, s.from), earlier(row.to, s.to)}
	has[1] = inside.to == nil || inside.from < *inside.to
	if s.from > row.from {
		from := s.from
		before = stretch{row.from, earlier(row.to, &from)}
		has[0] = true
	}
	if s.to != nil && (row.to == nil || *row.to > *s.to) {
		after = stretch{max(row.from, *s.to), row.to}
		has[2] = true
	}
	return before, inside, after, has
}

func earlier(a, b *assets.Instant) *assets.Instant {
	if a == nil || b != nil && *b < *a {
		return b
	}
	return a
}

// patch ends every row of the thing that overlaps the stretch and whose values would change there, and
// writes the parts it falls into: unchanged outside, with the new values inside.
func patch[T any, P Fact[T]](c *Change, ch *Chain, next P, over stretch, columns []string) error {
	s, err := c.schemaOf(next)
	if err != nil {
		return err
	}
	rows, read, err := heldRows[T, P](c, next.Versioned())
	if err != nil {
		return err
	}
	fields := c.named(s, columns)
	if columns == nil {
		fields = c.differing(s, read, next)
	}
	for i := range rows {
		row := P(&rows[i])
		before, inside, after, has := over.split(*row.Versioned())
		changed := c.differingIn(fields, row, next)
		if !has[1] || len(changed) == 0 {
			continue
		}
		if err := c.endRow(ch, s.Table, row.Versioned().RowID); err != nil {
			return err
		}
		w := Written{Table: s.Table, ID: row.Versioned().ID, ValidFrom: inside.from, Before: c.values(changed, row), After: c.values(changed, next)}
		if inside.to != nil {
			w.ValidTo = *inside.to
		}
		c.Note(ch, w)
		parts := []stretch{before, inside, after}
		for k, part := range parts {
			if !has[k] {
				continue
			}
			written := rows[i]
			if k == 1 {
				c.copyFields(changed, next, P(&written))
			}
			if err := insertPart[T, P](c, ch, &written, part); err != nil {
				return err
			}
			if k == 1 && part.to == nil {
				*next.Versioned() = *P(&written).Versioned()
			}
		}
	}
	return nil
}

func insertPart[T any, P Fact[T]](c *Change, ch *Chain, row P, part stretch) error {
	v := row.Versioned()
	*v = assets.Version{ID: v.ID, ValidFrom: part.from, ValidTo: part.to, KnownFrom: ch.Position}
	return c.Tx().Create(row).Error
}

// End lets a thing be no more from an instant on (a contact left); from 0 takes it back altogether.
func End[T any, P Fact[T]](c *Change, ch *Chain, row P, from assets.Instant) error {
	s, err := c.schemaOf(row)
	if err != nil {
		return err
	}
	rows, _, err := heldRows[T, P](c, row.Versioned())
	if err != nil {
		return err
	}
	for i := range rows {
		held := P(&rows[i])
		before, _, _, has := (stretch{from: from}).split(*held.Versioned())
		if held.Versioned().ValidTo != nil && *held.Versioned().ValidTo <= from {
			continue
		}
		if err := c.endRow(ch, s.Table, held.Versioned().RowID); err != nil {
			return err
		}
		c.Note(ch, Written{Table: s.Table, ID: held.Versioned().ID, ValidFrom: from, Before: c.given(s, held)})
		if has[0] {
			if err := insertPart[T, P](c, ch, held, before); err != nil {
				return err
			}
		}
	}
	return nil
}

// heldRows returns the rows of a thing that are held to be so, in time order, and which of them was read.
func heldRows[T any, P Fact[T]](c *Change, v *assets.Version) (rows []T, read P, err error) {
	if err := c.Tx().Where("id = ? AND known_to IS NULL", v.ID).Order("valid_from").Find(&rows).Error; err != nil {
		return nil, nil, err
	}
	for i := range rows {
		if P(&rows[i]).Versioned().RowID == v.RowID {
			return rows, P(&rows[i]), nil
		}
	}
	if len(rows) == 0 {
		return nil, nil, assets.ErrNotFound
	}
	return nil, nil, assets.ErrConflict
}

// endRow ends what is known by a row: the one update there is.
func (c *Change) endRow(ch *Chain, table string, rowID int64) error {
	res := c.Tx().Exec("UPDATE "+table+" SET known_to = ? WHERE row_id = ? AND known_to IS NULL", ch.Position, rowID)
	if res.Error == nil && res.RowsAffected != 1 {
		return assets.ErrConflict
	}
	return res.Error
}

// schemaOf returns how gorm stores a row.
func (c *Change) schemaOf(row any) (*schema.Schema, error) {
	stmt := &gorm.Statement{DB: c.tx}
	if err := stmt.Parse(row); err != nil {
		return nil, err
	}
	return stmt.Schema, nil
}

// versionColumns are kept by this package, not by the fact.
var versionColumns = map[string]bool{"row_id": true, "id": true, "valid_from": true, "valid_to": true, "known_from": true, "known_to": true}

// named returns the fact's own columns, or those named.
func (c *Change) named(s *schema.Schema, columns []string) []*schema.Field {
	var fields []*schema.Field
	for _, f := range s.Fields {
		if f.DBName == "" || versionColumns[f.DBName] {
			continue
		}
		if columns == nil {
			fields = append(fields, f)
			continue
		}
		for _, name := range columns {
			if name == f.DBName {
				fields = append(fields, f)
			}
		}
	}
	return fields
}

func (c *Change) differing(s *schema.Schema, a, b any) []*schema.Field {
	return c.differingIn(c.named(s, nil), a, b)
}

func (c *Change) differingIn(fields []*schema.Field, a, b any) []*schema.Field {
	var out []*schema.Field
	for _, f := range fields {
		if !sameValue(c.value(f, a), c.value(f, b)) {
			out = append(out, f)
		}
	}
	return out
}

// sameValue compares two values of a column; an empty list and none are the same to a reader.
func sameValue(a, b any) bool {
	if reflect.DeepEqual(a, b) {
		return true
	}
	va, vb := reflect.ValueOf(a), reflect.ValueOf(b)
	if !va.IsValid() || !vb.IsValid() {
		return false
	}
	switch va.Kind() {
	case reflect.Slice, reflect.Map:
		return va.Len() == 0 && vb.Len() == 0
	}
	return false
}

func (c *Change) value(f *schema.Field, row any) any {
	return f.ReflectValueOf(c.ctx, reflect.ValueOf(row).Elem()).Interface()
}

func (c *Change) values(fields []*schema.Field, row any) map[string]any {
	out := make(map[string]any, len(fields))
	for _, f := range fields {
		out[f.DBName] = c.value(f, row)
	}
	return out
}

// given returns the columns of a row that say something.
func (c *Change) given(s *schema.Schema, row any) map[string]any {
	out := map[string]any{}
	for _, f := range c.named(s, nil) {
		if v := f.ReflectValueOf(c.ctx, reflect.ValueOf(row).Elem()); !v.IsZero() {
			out[f.DBName] = v.Interface()
		}
	}
	return out
}

func (c *Change) copyFields(fields []*schema.Field, from, to any) {
	for _, f := range fields {
		f.ReflectValueOf(c.ctx, reflect.ValueOf(to).Elem()).Set(f.ReflectValueOf(c.ctx, reflect.ValueOf(from).Elem()))
	}
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
