package plantdb

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"reflect"
	"sync"

	"gorm.io/gorm"
	"gorm.io/gorm/schema"
)

// Rows runs a query of whole rows and reads them. It does what Find does in half the time: a plant's register is
// a thousand rows of some forty columns, and every screen of the plant reads it.
func Rows[T any](tx *gorm.DB) ([]T, error) {
	of, err := columnsOf[T](tx)
	if err != nil {
		return nil, err
	}
	rows, err := tx.Model(new(T)).Rows()
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	list, err := scanRows[T](rows, of)
	return list, tx.AddError(err)
}

// columnPlan says where a column goes in a struct.
type columnPlan struct {
	index    []int
	json     bool
	nullable bool // the field is a pointer
}

// field returns the column's field in a row.
func (p columnPlan) field(row reflect.Value) reflect.Value {
	if len(p.index) == 1 {
		return row.Field(p.index[0])
	}
	return row.FieldByIndex(p.index)
}

// emptyAlready tells whether a fresh row says a value already: half of a register's columns are nothing, "" or 0.
func (p columnPlan) emptyAlready(value any) bool {
	if p.json {
		return value == "null"
	}
	return !p.nullable && (value == int64(0) || value == "" || value == 0.0 || value == false)
}

// plans are the columns of each row type by name, once worked out.
var plans sync.Map // reflect.Type -> map[string]columnPlan

func columnsOf[T any](tx *gorm.DB) (map[string]columnPlan, error) {
	t := reflect.TypeFor[T]()
	if known, ok := plans.Load(t); ok {
		return known.(map[string]columnPlan), nil
	}
	s, err := schema.Parse(new(T), &sync.Map{}, tx.NamingStrategy)
	if err != nil {
		return nil, err
	}
	of := make(map[string]columnPlan, len(s.Fields))
	for _, f := range s.Fields {
		if f.DBName != "" {
			of[f.DBName] = columnPlan{f.StructField.Index, f.Serializer != nil, f.StructField.Type.Kind() == reflect.Pointer}
		}
	}
	plans.Store(t, of)
	return of, nil
}

func scanRows[T any](rows *sql.Rows, of map[string]columnPlan) ([]T, error) {
	names, err := rows.Columns()
	if err != nil {
		return nil, err
	}
	into := make([]columnPlan, len(names))
	for i, name := range names {
		plan, ok := of[name]
		if !ok {
			return nil, fmt.Errorf("column %s has no field in %s", name, reflect.TypeFor[T]())
		}
		into[i] = plan
	}
	values, places := make([]any, len(names)), make([]any, len(names))
	for i := range values {
		places[i] = &values[i]
	}
	var list []T
	for rows.Next() {
		if err := rows.Scan(places...); err != nil {
			return nil, err
		}
		var row T
		v := reflect.ValueOf(&row).Elem()
		for i, plan := range into {
			if values[i] == nil || plan.emptyAlready(values[i]) {
				continue
			}
			if err := plan.set(plan.field(v), values[i]); err != nil {
				return nil, fmt.Errorf("column %s: %w", names[i], err)
			}
		}
		list = append(list, row)
	}
	return list, rows.Err()
}

// set puts a driver's value into a field. A pointer means that the column may be empty.
func (p columnPlan) set(field reflect.Value, value any) error {
	if b, ok := value.([]byte); ok {
		value = string(b)
	}
	if p.json {
		text, ok := value.(string)
		if !ok {
			return fmt.Errorf("%T is no text", value)
		}
		return json.Unmarshal([]byte(text), field.Addr().Interface())
	}
	if field.Kind() == reflect.Pointer {
		field.Set(reflect.New(field.Type().Elem()))
		field = field.Elem()
	}
	return setPlain(field, value)
}

func setPlain(field reflect.Value, value any) error {
	switch kind := field.Kind(); v := value.(type) {
	case int64:
		switch kind {
		case reflect.Int64, reflect.Int:
			field.SetInt(v)
			return nil
		case reflect.Float64:
			field.SetFloat(float64(v))
			return nil
		case reflect.Bool:
			field.SetBool(v != 0)
			return nil
		}
	case float64:
		if kind == reflect.Float64 {
			field.SetFloat(v)
			return nil
		}
	case string:
		if kind == reflect.String {
			field.SetString(v)
			return nil
		}
	case bool:
		if kind == reflect.Bool {
			field.SetBool(v)
			return nil
		}
	}
	return fmt.Errorf("a %T does not go into a %s", value, field.Type())
}
