package calendar

import "fmt"

// Refused is something typed that cannot be a date, zone, expression or calendar.
type Refused struct {
	Kind string // what programs compare: bad_date, bad_time, unknown_zone, bad_cron, never_occurs, bad_interval, bad_recurrence, bad_calendar
	Text string // one sentence saying what is wrong and what to write instead
}

// The kinds of refusal.
const (
	BadDate       = "bad_date"
	BadTime       = "bad_time"
	UnknownZone   = "unknown_zone"
	BadCron       = "bad_cron"
	NeverOccurs   = "never_occurs"
	BadInterval   = "bad_interval"
	BadRecurrence = "bad_recurrence"
	BadCalendar   = "bad_calendar"
)

// Error returns the sentence.
func (r *Refused) Error() string { return r.Text }

// Class returns the kind of refusal.
func (r *Refused) Class() string { return r.Kind }

// refuse makes a Refused with a formatted sentence.
func refuse(kind, format string, args ...any) *Refused {
	return &Refused{Kind: kind, Text: fmt.Sprintf(format, args...)}
}
