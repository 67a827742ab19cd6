package unit

import "fmt"

// Refused is a typed text, a unit or a value that cannot be taken, with one sentence saying what would be right.
type Refused struct{ Text string }

// Error returns the sentence.
func (r *Refused) Error() string { return r.Text }

// Class returns the class of error by which programs tell a refusal.
func (r *Refused) Class() string { return "refused" }

// refuse makes a refusal from a sentence.
func refuse(format string, args ...any) error { return &Refused{fmt.Sprintf(format, args...)} }
