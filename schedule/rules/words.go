package rules

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// because says in one sentence why something is raised: rule, clock with its values, date, and what the rule
// rests on.
func (o *Outlook) because(r Rule, what string) string {
	return fmt.Sprintf("%s: %s (%s)", r.Name, what, r.Basis())
}

// Basis says what a rule rests on: "class P", "class B, run-in practice of ...".
func (r Rule) Basis() string {
	words := "class " + string(r.Class)
	if r.Class == "" {
		words = "no class given"
	}
	if r.Class == assets.ClassD {
		words += ", a rule of thumb"
	}
	if r.Source != "" {
		words += ", " + r.Source
	}
	return words
}

// Words says when a trigger fires, as the list of rules shows it.
func (t Trigger) Words() string {
	switch t.Kind {
	case TriggerCron:
		return cronWords(t.Cron)
	case TriggerInterval:
		every := "every " + plural(t.Every, t.Unit)
		if t.Every == 1 {
			every = "every " + t.Unit
		}
		switch {
		case t.CountedFrom == FromMade && !t.Repeats:
			return plural(t.Every, t.Unit) + " after it was made"
		case t.CountedFrom == FromMade:
			return every + " after it was made"
		}
		return every
	case TriggerHours, TriggerPasses:
		return t.countWords()
	case TriggerEvent:
		return strings.TrimSuffix(t.afterWords(), " it was") + " " + t.Event
	case TriggerGrade:
		return fmt.Sprintf("finding of grade %d or more", t.Grade)
	case TriggerLife:
		return t.lifeWords()
	case TriggerTrend:
		return t.trendWords()
	case TriggerKit, TriggerStock:
		return t.storesWords()
	case TriggerTicket:
		return "ticket ends"
	case TriggerTakeUp:
		return fmt.Sprintf("take-up leaves fewer than %s", plural(t.ResplicesLeft, "re-splice"))
	}
	return "no trigger"
}

// weekdays by their cron number; 7 is Sunday again.
var weekdays = []string{"Sunday", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}

// cronWords says the common forms in words ("every Tuesday at 06:00") and leaves the others as written.
func cronWords(expr string) string {
	f := strings.Fields(expr)
	if len(f) != 5 || f[3] != "*" {
		return "cron " + expr
	}
	minute, err := strconv.Atoi(f[0])
	hour, err2 := strconv.Atoi(f[1])
	if err != nil || err2 != nil {
		return "cron " + expr
	}
	at := fmt.Sprintf(" at %02d:%02d", hour, minute)
	weekday, err := strconv.Atoi(f[4])
	day, err2 := strconv.Atoi(f[2])
	switch {
	case f[2] == "*" && f[4] == "*":
		return "every day" + at
	case f[2] == "*" && f[4] == "1-5":
		return "Monday to Friday" + at
	case f[2] == "*" && err == nil && weekday >= 0 && weekday <= 7:
		return "every " + weekdays[weekday] + at
	case f[4] == "*" && err2 == nil:
		return fmt.Sprintf("on day %d of every month", day) + at
	}
	return "cron " + expr
}

func (t Trigger) countWords() string {
	words := count(t.count()) + " " + t.clockWords()
	if t.Repeats {
		words = "every " + words
	}
	if t.CountedFrom == FromCompletion {
		return words + " since last done"
	}
	return words + " since made"
}

// Words says in words what a rule looks at: "every splice", "hot vulcanised splices, life used 80 % or more".
func (sc Scope) Words() string {
	forms, with := formWords(sc.Forms)
	var bonds []string
	for _, b := range sc.Bonds {
		if w := b.Words(); w != "" {
			bonds = append(bonds, w)
		}
	}
	families := strings.Join(sc.Families, " or ")
	var groups []string
	for _, g := range []string{strings.Join(bonds, " or "), strings.Join(forms, " or ")} {
		if g != "" {
			groups = append(groups, g)
		}
	}
	switch {
	case families != "" && sc.Target == TargetBelt:
		groups = append(groups, families)
	case families != "":
		with += " in " + families + " belts"
	}
	if len(groups) == 0 && with == "" {
		return "every " + sc.thing() + sc.conditions()
	}
	return strings.TrimSpace(strings.Join(groups, ", ")+" "+sc.thing()+"s") + with + sc.conditions()
}

// formWords says forms before the thing they are of, and kinds of fastener after it: "finger", and " with hinged or
// hook fasteners"; all kinds of fastener together are "mechanical".
func formWords(forms []assets.Form) (before []string, with string) {
	var kinds []string
	for _, f := range forms {
		switch {
		case f == assets.FormMechanical:
			before = append(before, "mechanical")
		case f.Mechanical():
			kinds = append(kinds, strings.TrimSuffix(f.Words(), " fasteners"))
		default:
			before = append(before, f.Words())
		}
	}
	if len(kinds) == 0 || slices.Contains(before, "mechanical") {
		return before, ""
	}
	return before, " with " + strings.Join(kinds, " or ") + " fasteners"
}

func (sc Scope) thing() string {
	if sc.Target == "" {
		return string(TargetSplice)
	}
	return string(sc.Target)
}

func (sc Scope) conditions() string {
	var b strings.Builder
	if sc.AgeUnknown {
		b.WriteString(", age not known")
	}
	if sc.UsedFrom > 0 {
		fmt.Fprintf(&b, ", life used %s %% or more", strconv.FormatFloat(100*sc.UsedFrom, 'f', -1, 64))
	}
	for _, c := range []struct {
		is      *bool
		yes, no string
	}{{sc.WashDown, "wash-down", "no wash-down"}, {sc.Outdoor, "outdoor", "indoor"}} {
		if c.is != nil && *c.is {
			b.WriteString(", " + c.yes)
		} else if c.is != nil {
			b.WriteString(", " + c.no)
		}
	}
	if n := len(sc.Lines); n > 0 {
		b.WriteString(", on " + plural(n, "line"))
	}
	if n := len(sc.Conveyors); n > 0 {
		b.WriteString(", on " + plural(n, "conveyor"))
	}
	return b.String()
}

// onWords writes a date of the register after a verb: "on 14 Sep 2023", and as written where it is approximate,
// with the day it is counted from: the earliest it can be, else the latest. A day that stands for its end is
// named, not the midnight after it.
func (o *Outlook) onWords(w assets.When) string {
	day := o.dateWords(w.At.Time())
	switch {
	case w.Timed:
	case w.Earliest != "":
		day = dueWords(w.Earliest)
	case w.Latest != "":
		day = dueWords(w.Latest)
	}
	if !w.Exact() && w.AsWritten != "" {
		return "(" + w.AsWritten + ", counted from " + day + ")"
	}
	return "on " + day
}

// least marks a lower bound.
func least(is bool) string {
	if is {
		return "at least "
	}
	return ""
}

// onlyLatest tells whether a date is bounded by its latest day alone: what is counted from it is a lower bound.
func onlyLatest(w assets.When) bool { return !w.Timed && w.Earliest == "" && w.Latest != "" }

func (o *Outlook) dateWords(t time.Time) string { return dayWords(o.zone.Date(t)) }

// dayWords writes a date as people read it: 14 Sep 2023.
func dayWords(d calendar.Date) string {
	y, m, day := d.Civil()
	return fmt.Sprintf("%d %s %d", day, m.String()[:3], y)
}

func dueWords(d assets.Day) string {
	date, err := calendar.ParseDate(string(d))
	if err != nil || date.IsZero() {
		return string(d)
	}
	return dayWords(date)
}

// count writes a whole number with hard spaces between thousands, rounded down, so that a limit does not
// read as reached before it is. What sums of fractions lose in the last digits is forgiven.
func count(v float64) string {
	digits := strconv.FormatInt(int64(math.Floor(v+1e-6)), 10)
	sign := ""
	if strings.HasPrefix(digits, "-") {
		sign, digits = "-", digits[1:]
	}
	for i := len(digits) - 3; i > 0; i -= 3 {
		digits = digits[:i] + "\u00a0" + digits[i:]
	}
	return sign + digits
}

func plural(n int, unit string) string {
	if n == 1 {
		return "1 " + unit
	}
	return strconv.Itoa(n) + " " + unit + "s"
}
