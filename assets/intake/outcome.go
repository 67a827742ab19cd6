package intake

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"

	"carryside/assets"
)

// Outcome is what an import does or would do.
type Outcome struct {
	Format  int
	File    string
	SHA256  string
	DryRun  bool
	Applied bool
	Counts  map[Kind]*Count
	Rows    RowCounts
	Records []*Record
	Refused []Refusal
	Held    []HeldRow
	Skipped []SkippedRow
	Mapping *Mapping

	tables []*table // for the workbook of refused rows
	book   *Book
}

// Count counts the records of a kind.
type Count struct {
	Created   int `json:"created"`
	Changed   int `json:"changed"`
	Unchanged int `json:"unchanged"`
}

// RowCounts counts the rows below headings; in a table with a column per reading, its filled cells.
type RowCounts struct {
	Accepted int `json:"accepted"`
	Refused  int `json:"refused"`
	Held     int `json:"held"`
	Skipped  int `json:"skipped"`
}

// Record is one record that the file gives.
type Record struct {
	Kind     Kind          `json:"kind"`
	Action   string        `json:"action"` // created, changed, unchanged
	Plant    string        `json:"plant,omitempty"`
	Conveyor string        `json:"conveyor,omitempty"` // the tag as the register spells it
	Line     string        `json:"line,omitempty"`
	Sheet    string        `json:"sheet"`
	Row      int           `json:"row"`
	Column   string        `json:"column,omitempty"` // in a table with a column per reading
	Fields   Fields        `json:"fields"`
	Changes  []FieldChange `json:"changes,omitempty"`
	Remarks  []Remark      `json:"remarks,omitempty"`
}

// FieldChange is one value that changes.
type FieldChange struct {
	Field   string `json:"field"`
	Before  any    `json:"before"`
	After   any    `json:"after"`
	FromNow bool   `json:"-"` // holds from the import on; otherwise it corrects the past
}

// Remark tells what was understood or left out, for a person to see.
type Remark struct {
	Class string `json:"class"`
	Field string `json:"field,omitempty"`
	Text  string `json:"text"`
}

// Refusal is a row, or a cell of a table with a column per reading, that cannot be taken.
type Refusal struct {
	Sheet  string `json:"sheet"`
	Row    int    `json:"row"`
	Column string `json:"column,omitempty"`
	Field  string `json:"field,omitempty"`
	Class  string `json:"class"`
	Value  string `json:"value,omitempty"`
	Text   string `json:"text"`

	entry *entry
	cell  *column
}

// HeldRow is a reading that waits for a person's decision.
type HeldRow struct {
	Sheet  string `json:"sheet"`
	Row    int    `json:"row"`
	Column string `json:"column,omitempty"`
	Class  string `json:"class"`
	Text   string `json:"text"`

	entry *entry
	cell  *column
}

// SkippedRow is a row that is no record; row 0 stands for a whole sheet.
type SkippedRow struct {
	Sheet  string `json:"sheet"`
	Row    int    `json:"row"`
	Column string `json:"column,omitempty"`
	Class  string `json:"class"`
}

// Fields are a record's values in the order of the contract.
type Fields []Field

// Field is one value of a record: text, number, true or false, or a date (WhenJSON).
type Field struct {
	Name  string
	Value any
}

// WhenJSON is an approximate date as it is printed.
type WhenJSON struct {
	Earliest  *assets.Day `json:"earliest"`
	Latest    *assets.Day `json:"latest"`
	AsWritten string      `json:"as_written"`
}

// MarshalJSON writes the fields as one object.
func (f Fields) MarshalJSON() ([]byte, error) {
	out := []byte{'{'}
	for i, v := range f {
		if i > 0 {
			out = append(out, ',')
		}
		name, err := json.Marshal(v.Name)
		if err != nil {
			return nil, fmt.Errorf("write the field name %s: %w", v.Name, err)
		}
		value, err := json.Marshal(v.Value)
		if err != nil {
			return nil, fmt.Errorf("write the field %s: %w", v.Name, err)
		}
		out = append(append(append(out, name...), ':'), value...)
	}
	return append(out, '}'), nil
}

// WriteJSON writes the outcome as one JSON object, record by record, so that a file of 100,000 readings needs no second
// copy in memory.
func (o *Outcome) WriteJSON(w io.Writer) error {
	b := bufio.NewWriterSize(w, 1<<16)
	e := json.NewEncoder(b)
	e.SetEscapeHTML(false)
	put := func(before string, v any) error {
		if _, err := b.WriteString(before); err != nil {
			return err
		}
		return e.Encode(v)
	}
	head := []struct {
		name string
		v    any
	}{{`{"format":`, o.Format}, {`,"file":`, o.File}, {`,"sha256":`, o.SHA256}, {`,"dry_run":`, o.DryRun}, {`,"applied":`, o.Applied}, {`,"counts":`, o.Counts}, {`,"rows":`, o.Rows}}
	for _, h := range head {
		if err := put(h.name, h.v); err != nil {
			return fmt.Errorf("write the outcome: %w", err)
		}
	}
	err := writeList(b, e, "records", o.Records)
	if err == nil {
		err = writeList(b, e, "refused", o.Refused)
	}
	if err == nil {
		err = writeList(b, e, "held", o.Held)
	}
	if err == nil {
		err = writeList(b, e, "skipped", o.Skipped)
	}
	if err == nil {
		err = put(`,"mapping":`, o.Mapping)
	}
	if err == nil {
		_, err = b.WriteString("}\n")
	}
	if err == nil {
		err = b.Flush()
	}
	if err != nil {
		return fmt.Errorf("write the outcome: %w", err)
	}
	return nil
}

func writeList[T any](b *bufio.Writer, e *json.Encoder, name string, list []T) error {
	if _, err := fmt.Fprintf(b, ",%q:[", name); err != nil {
		return err
	}
	for i := range list {
		if i > 0 {
			if err := b.WriteByte(','); err != nil {
				return err
			}
		}
		if err := e.Encode(list[i]); err != nil {
			return err
		}
	}
	return b.WriteByte(']')
}
