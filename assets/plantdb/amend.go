package plantdb

import (
	"fmt"

	"carryside/assets"

	"gorm.io/gorm/schema"
)

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

// The parts into which a stretch cuts a row's time.
const (
	before = iota
	inside
	after
)

// split cuts a row's time into what lies before the stretch, inside and after; an empty part is nil.
func (s stretch) split(v assets.Version) (parts [3]*stretch) {
	row := stretch{v.ValidFrom, v.ValidTo}
	if in := (stretch{max(row.from, s.from), earlier(row.to, s.to)}); in.to == nil || in.from < *in.to {
		parts[inside] = &in
	}
	if s.from > row.from {
		from := s.from
		parts[before] = &stretch{row.from, earlier(row.to, &from)}
	}
	if s.to != nil && (row.to == nil || *row.to > *s.to) {
		parts[after] = &stretch{max(row.from, *s.to), row.to}
	}
	return parts
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
	p := patching[T, P]{c: c, ch: ch, table: s.Table, fields: c.named(s, columns), over: over, next: next}
	if columns == nil {
		p.fields = c.differing(s, read, next)
	}
	for _, row := range rows {
		if err := p.apply(row); err != nil {
			return fmt.Errorf("change %s: %w", s.Table, err)
		}
	}
	return nil
}

// patching is one change of a thing while its rows are gone through.
type patching[T any, P Fact[T]] struct {
	c      *Change
	ch     *Chain
	table  string
	fields []*schema.Field // those that take the values of next
	over   stretch
	next   P
}

// apply changes one row, if it lies in the stretch and differs there.
func (p patching[T, P]) apply(row T) error {
	v := *P(&row).Versioned()
	parts := p.over.split(v)
	changed := p.c.differingIn(p.fields, P(&row), p.next)
	if parts[inside] == nil || len(changed) == 0 {
		return nil
	}
	if err := p.c.endRow(p.ch, p.table, v.RowID); err != nil {
		return err
	}
	w := Written{Table: p.table, ID: v.ID, ValidFrom: parts[inside].from, Before: p.c.values(changed, P(&row)), After: p.c.values(changed, p.next)}
	if to := parts[inside].to; to != nil {
		w.ValidTo = *to
	}
	p.c.Note(p.ch, w)
	return p.write(row, changed, parts)
}

// write writes the parts of a row that was ended. The part that holds until further notice becomes the row that
// the caller has read.
func (p patching[T, P]) write(row T, changed []*schema.Field, parts [3]*stretch) error {
	for k, part := range parts {
		if part == nil {
			continue
		}
		written := row
		if k == inside {
			p.c.copyFields(changed, p.next, P(&written))
		}
		if err := insertPart[T, P](p.c, p.ch, &written, *part); err != nil {
			return err
		}
		if k == inside && part.to == nil {
			*p.next.Versioned() = *P(&written).Versioned()
		}
	}
	return nil
}

func insertPart[T any, P Fact[T]](c *Change, ch *Chain, row P, part stretch) error {
	v := row.Versioned()
	*v = assets.Version{ID: v.ID, ValidFrom: part.from, ValidTo: part.to, KnownFrom: ch.Position}
	s, err := c.schemaOf(row)
	if err != nil {
		return err
	}
	if err := c.Tx().Create(row).Error; err != nil {
		return err
	}
	c.Wrote(ch, s.Table, v.RowID)
	return nil
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
		parts := stretch{from: from}.split(*held.Versioned())
		if parts[inside] == nil {
			continue
		}
		if err := c.endRow(ch, s.Table, held.Versioned().RowID); err != nil {
			return err
		}
		c.Note(ch, Written{Table: s.Table, ID: held.Versioned().ID, ValidFrom: from, Before: c.given(s, held)})
		if parts[before] != nil {
			if err := insertPart[T, P](c, ch, held, *parts[before]); err != nil {
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
	c.Ended(ch, table, rowID)
	return res.Error
}
