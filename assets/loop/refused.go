package loop

import "fmt"

// Classes of error, in the order in which they are looked for.
const (
	BadInput          = "bad_input"
	PulleysOverlap    = "pulleys_overlap"
	NoTangent         = "no_tangent"
	BeltCrossesItself = "belt_crosses_itself"
	BeltHitsPulley    = "belt_hits_pulley"
)

// Refused is input from which nothing can be worked out: its class, the field where it is one field's fault, and one
// sentence saying what to do.
type Refused struct {
	Kind  string
	Field string // as in the inputs of this package, such as width_mm; empty when no single field is at fault
	Text  string
}

// Error returns the sentence.
func (r *Refused) Error() string { return r.Text }

// Class returns the class of error by which programs tell refusals apart.
func (r *Refused) Class() string { return r.Kind }

// bad refuses one field.
func bad(field, format string, args ...any) error {
	return &Refused{Kind: BadInput, Field: field, Text: fmt.Sprintf(format, args...)}
}

// wrong refuses a loop as a whole.
func wrong(kind, format string, args ...any) error {
	return &Refused{Kind: kind, Text: fmt.Sprintf(format, args...)}
}
