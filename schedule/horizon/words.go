package horizon

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Words puts sentences of the planner into the words of the sheet.
func (s *Sheet) Words(list []string) []string { return said(list) }

// said puts the planner's sentences into the words of a plant: its windows are stops, its jobs orders, its minutes hours and minutes.
func said(list []string) []string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = inHours(nouns.Replace(w))
	}
	return out
}

// inHours writes the stretches of a sentence in hours and minutes: nobody plans a stop by "409 min more".
func inHours(sentence string) string {
	return stretch.ReplaceAllStringFunc(sentence, func(s string) string {
		minutes, err := strconv.Atoi(strings.TrimSuffix(s, " min"))
		if err != nil { // longer than any number of minutes there is
			return s
		}
		return hours(minutes)
	})
}

// stretch finds what the planner says of time, always in minutes.
var stretch = regexp.MustCompile(`\b[0-9]+ min\b`)

// lateFor says of the stock an order lacks what of it was to have come already.
func (s *Sheet) lateFor(j int, reasons []string) []string {
	var out []string
	for _, n := range s.Case.Jobs[j].Stock {
		it := &s.in.Stock[n.Item]
		if it.Late != "" && slices.ContainsFunc(reasons, func(r string) bool { return strings.Contains(r, "of stock "+it.Name) }) {
			out = append(out, it.Late)
		}
	}
	return out
}

// price writes a cost in the currency of the sheet, or in hours of stop.
func (s *Sheet) price(cost int) string {
	if s.in.Money {
		return strings.TrimSpace(thousands(strconv.Itoa(cost)) + "\u00a0" + s.in.Currency)
	}
	return strconv.FormatFloat(float64(cost)/perHour, 'f', 2, 64) + "\u00a0h of stop"
}

// thousands parts the digits of a number by hard spaces.
func thousands(digits string) string {
	for i := len(digits) - 3; i > 0; i -= 3 {
		digits = digits[:i] + "\u00a0" + digits[i:]
	}
	return digits
}

var nouns = strings.NewReplacer("in window ", "in the stop of ", "no window is listed in which job ", "no agreed stop takes order ", "windows", "stops", "window ", "the stop of ",
	"after the deadline ", "after its latest date, that is after ", "; released at ", "; it may begin from ", "the job", "the order", "of stock ", "of ", "locked jobs", "locked orders", "jobs", "orders", "job ", "order ", "technician ", "", "tool ", "", "one more person like ", "one more person like ")

// crowded says how orders that do not go together fill their stop: "orders 166 (9 h) and 167 (5 h): 14 h of work in a stop of 10 h".
func (s *Sheet) crowded(w int, jobs []int) string {
	sum := 0
	var names []string
	for _, j := range jobs {
		sum += s.Case.Jobs[j].Duration
		names = append(names, fmt.Sprintf("%s (%s)", s.Case.Jobs[j].ID, hours(s.Case.Jobs[j].Duration)))
	}
	what := "order " + names[0]
	if n := len(names); n > 1 {
		what = "orders " + strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return fmt.Sprintf("%s: %s of work in a stop of %s", what, hours(sum), hours(s.Case.Windows[w].Minutes()))
}

// fitsInSum tells whether the orders of a stop are no longer together than it is.
func (s *Sheet) fitsInSum(w int, jobs []int) bool {
	sum := 0
	for _, j := range jobs {
		sum += s.Case.Jobs[j].Duration
	}
	return sum <= s.Case.Windows[w].Minutes()
}

// hours writes minutes as hours and minutes: "9 h", "6 h 49 min", "40 min".
func hours(minutes int) string {
	const nb = "\u00a0" // a figure stays with its unit
	switch h, m := minutes/60, minutes%60; {
	case h == 0:
		return strconv.Itoa(m) + nb + "min"
	case m == 0:
		return strconv.Itoa(h) + nb + "h"
	default:
		return strconv.Itoa(h) + nb + "h" + nb + strconv.Itoa(m) + nb + "min"
	}
}
