package reporting

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets/plantdb"
)

// namesPerson tells whether a column holds the number of a person.
func namesPerson(column string) bool {
	return strings.HasSuffix(column, "_by_id") || strings.HasSuffix(column, "_by") || column == "person_id"
}

// peopleIn are the people that rows of the journal name by number.
func peopleIn(written []plantdb.Written) (ids []int64) {
	for _, w := range written {
		for _, columns := range []map[string]any{w.Before, w.After} {
			for column, v := range columns {
				if n, is := v.(json.Number); is && namesPerson(column) {
					if id, err := n.Int64(); err == nil && id > 0 {
						ids = append(ids, id)
					}
				}
			}
		}
	}
	return ids
}

// mostOfValue is how many letters of one value of an entry an extract tells; the entry's hash stands for the whole.
const mostOfValue = 2000

// valuesInWords writes what the columns of a row of the journal said, in the order of their names: "speed_mps 2.4; tag Q3".
func valuesInWords(columns map[string]any, people map[int64]string) string {
	names := make([]string, 0, len(columns))
	for name := range columns {
		names = append(names, name)
	}
	slices.Sort(names)
	var says []string
	for _, name := range names {
		says = append(says, name+" "+valueInWords(columns[name], name, people))
	}
	return strings.Join(says, "; ")
}

func valueInWords(v any, column string, people map[int64]string) string {
	switch v := v.(type) {
	case nil:
		return "nothing"
	case bool:
		return map[bool]string{true: "yes", false: "no"}[v]
	case json.Number:
		if id, err := v.Int64(); err == nil && namesPerson(column) {
			return personInWords(id, people)
		}
		return v.String()
	case string:
		return shortened(v)
	}
	text, err := json.Marshal(v)
	if err != nil {
		return err.Error()
	}
	return shortened(string(text))
}

func personInWords(id int64, people map[int64]string) string {
	switch name := people[id]; {
	case id == 0:
		return "nobody"
	case name != "":
		return name
	}
	return fmt.Sprintf("person %d", id)
}

func shortened(s string) string {
	if s == "" {
		return "nothing"
	}
	if r := []rune(s); len(r) > mostOfValue {
		return string(r[:mostOfValue]) + "…"
	}
	return s
}

// correctable are the tables in which a change from the beginning on says that what stood there was wrong.
var correctable = []string{"belts", "companies", "contacts", "contracts", "conveyors", "customers", "findings", "lines", "meters", "plants", "production_calendars", "readings", "rules",
	"specifications", "splice_kinds", "splices", "standstills", "stop_windows"}

// corrects tells whether a row of the journal puts another value in place of one that had been said, from the thing's
// beginning on. Filling in what stood open is no correction, nor is a change from a day on.
func corrects(w plantdb.Written) bool {
	if w.ValidFrom != 0 || w.Before == nil || !slices.Contains(correctable, w.Table) {
		return false
	}
	for column, was := range w.Before {
		if is, changed := w.After[column]; said(was) && (!changed || fmt.Sprint(is) != fmt.Sprint(was)) {
			return true
		}
	}
	return false
}

// joined puts a reading that was left out and the one that took its place at the same instant together: one was corrected.
func joined(written []plantdb.Written) []plantdb.Written {
	var out []plantdb.Written
	for _, w := range written {
		if last := len(out) - 1; last >= 0 && w.Table == "readings" && w.Before == nil && out[last].Table == "readings" && out[last].After == nil &&
			out[last].ID == w.ID && out[last].Before["at"] == w.After["at"] {
			out[last].After = w.After
			continue
		}
		out = append(out, w)
	}
	return out
}

// said tells whether a value says something.
func said(v any) bool {
	switch v := v.(type) {
	case nil:
		return false
	case string:
		return v != "" && v != time.Time{}.Format(time.RFC3339)
	case json.Number:
		return v.String() != "0"
	case bool:
		return v
	}
	text, err := json.Marshal(v)
	return err == nil && string(text) != "[]" && string(text) != "{}"
}
