package plantdb

import (
	"reflect"
	"slices"

	"gorm.io/gorm"
	"gorm.io/gorm/schema"
)

// schemaOf returns how gorm stores a row.
func (c *Change) schemaOf(row any) (*schema.Schema, error) {
	stmt := &gorm.Statement{DB: c.tx}
	if err := stmt.Parse(row); err != nil {
		return nil, err
	}
	return stmt.Schema, nil
}

// versionColumns are kept by this package, not by the fact.
var versionColumns = map[string]bool{"row_id": true, "id": true, "valid_from": true, "valid_to": true, "known_from": true, "known_to": true,
	"private_salt": true, "private_hash": true}

// personal stands in the journal in place of personal data, which are kept in their own row only.
const personal = "(personal)"

// shown is a value as the journal shows it.
func (c *Change) shown(f *schema.Field, row any) any {
	v := c.value(f, row)
	if slices.Contains(private[f.Schema.Table], f.DBName) && v != "" {
		return personal
	}
	return v
}

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
		out[f.DBName] = c.shown(f, row)
	}
	return out
}

// given returns the columns of a row that say something.
func (c *Change) given(s *schema.Schema, row any) map[string]any {
	out := map[string]any{}
	for _, f := range c.named(s, nil) {
		if v := f.ReflectValueOf(c.ctx, reflect.ValueOf(row).Elem()); !v.IsZero() {
			out[f.DBName] = c.shown(f, row)
		}
	}
	return out
}

func (c *Change) copyFields(fields []*schema.Field, from, to any) {
	for _, f := range fields {
		f.ReflectValueOf(c.ctx, reflect.ValueOf(to).Elem()).Set(f.ReflectValueOf(c.ctx, reflect.ValueOf(from).Elem()))
	}
}
