package due

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"carryside/assets"
	"carryside/schedule/calendar"
)

// words says what sets a splice's date by its rules, with its numbers, or why none does.
func (e evaluation) words(s *assets.Splice, g governing) string {
	switch {
	case g.binds.RuleID != 0:
		return e.counted(s, g.binds)
	case g.uncounted != "":
		return fmt.Sprintf("rule %q cannot be counted: its clock is not known here", g.uncounted)
	case undated(s.Made):
		return "its date is not known, and no rule that binds looks at such splices"
	case g.thumb.RuleID != 0:
		return "no rule that binds sets a date, only a rule of thumb"
	}
	return "no rule in force sets a date"
}

// counted is an age held against a limit: "339 012 of 364 000 passes since 14 Sep 2023 (class P)".
func (e evaluation) counted(s *assets.Splice, c candidate) string {
	var b strings.Builder
	if c.Reached.AtLeast {
		b.WriteString("at least ")
	}
	fmt.Fprintf(&b, "%s of %s %s", Count(c.Reached.Value), Count(c.Limit.Limit), c.Clock)
	if c.unit != "" {
		fmt.Fprintf(&b, " (%s)", c.unit)
	}
	b.WriteString(" since " + since(s.Made, e.zone))
	fmt.Fprintf(&b, " (%s)", classWords(c.Class))
	return b.String()
}

// since says what a splice's age counts from.
func since(w assets.When, zone calendar.Zone) string {
	day := dayWords(zone.Date(w.At.Time()))
	base, _, _ := baseOf(w, zone)
	switch {
	case (undated(w)) && w.Earliest == "":
		return "it was recorded on " + day + ", its date is not known"
	case w.Unknown():
		return dayWords(base) + ", the earliest it can have been made; its date is not known"
	case !w.Exact() && w.AsWritten != "":
		return w.AsWritten + ", counted from " + dayWords(base)
	}
	return dayWords(base)
}

// classWords names the class; a rule of thumb says that it is one.
func classWords(c assets.Class) string {
	switch c {
	case "":
		return "no class given"
	case assets.ClassD:
		return "class D, a rule of thumb: a reminder, not an order"
	}
	return "class " + string(c)
}

// dayWords writes a date as people read it: 14 Sep 2023.
func dayWords(d calendar.Date) string {
	y, m, day := d.Civil()
	return fmt.Sprintf("%d %s %d", day, m.String()[:3], y)
}

// Count writes a whole number with hard spaces between thousands, rounded down, so that a limit
// does not read as reached before it is. What sums of fractions lose in the last digits is forgiven.
func Count(v float64) string {
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

// estimate writes an age that was estimated, to three figures: more are not known.
func estimate(v float64) string {
	step := math.Pow(10, math.Max(0, math.Floor(math.Log10(math.Max(v, 1)))-2))
	return Count(math.Round(v/step) * step)
}

func plural(n int, unit string) string {
	if n == 1 {
		return "1 " + unit
	}
	return strconv.Itoa(n) + " " + unit + "s"
}

// Percent writes a share of life used as whole per cent, rounded down, "" where it is not known: 99.9 % used is
// not 100 %.
func Percent(used Figure) string {
	if !used.Known {
		return ""
	}
	return Count(100*used.Value) + " %"
}
