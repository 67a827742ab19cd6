package clock

import "fmt"

// Refused is a question the clocks cannot answer.
type Refused struct {
	Kind string // what programs compare: hours_unknown, speed_unknown, loop_unknown, bends_unknown
	Text string // one sentence saying what is missing
}

// The kinds of refusal.
const (
	HoursUnknown = "hours_unknown"
	SpeedUnknown = "speed_unknown"
	LoopUnknown  = "loop_unknown"
	BendsUnknown = "bends_unknown"
	BadInterval  = "bad_interval"
)

// Error returns the sentence.
func (r *Refused) Error() string { return r.Text }

// Class returns the kind of refusal.
func (r *Refused) Class() string { return r.Kind }

// refuse makes a Refused with a formatted sentence.
func refuse(kind, format string, args ...any) *Refused {
	return &Refused{Kind: kind, Text: fmt.Sprintf(format, args...)}
}
