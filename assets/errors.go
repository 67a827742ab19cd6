package assets

import (
	"errors"
	"sort"
	"strings"
)

// The kinds of refusal. Wrap them with what was being done; test with errors.Is.
var (
	// ErrNotFound: no such thing, or none this person may see (the two look the same).
	ErrNotFound = errors.New("not found")
	// ErrConflict: somebody changed it since it was read.
	ErrConflict = errors.New("changed by someone else since it was read")
	// ErrForbidden: this person may not do this.
	ErrForbidden = errors.New("not allowed")
)

// Invalid says per field what is wrong with what was typed and what would be right. The empty field
// name stands for the form as a whole.
type Invalid map[string]string

// Error joins the messages in the order of the field names.
func (v Invalid) Error() string {
	names := make([]string, 0, len(v))
	for n := range v {
		names = append(names, n)
	}
	sort.Strings(names)
	for i, n := range names {
		names[i] = v[n]
	}
	return strings.Join(names, "; ")
}

// Add notes the first message for a field; later ones of the same field are dropped.
func (v Invalid) Add(field, message string) {
	if _, ok := v[field]; !ok {
		v[field] = message
	}
}

// Err returns nil when nothing is wrong.
func (v Invalid) Err() error {
	if len(v) == 0 {
		return nil
	}
	return v
}
