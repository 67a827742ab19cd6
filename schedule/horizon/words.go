package horizon

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// nowhere stands for no one plant: moments stay in UTC where zones mix.
const nowhere = -1

// Words puts sentences of the planner that are of no one plant into the words of the sheet.
func (s *Sheet) Words(list []string) []string { return s.said(nowhere, list) }

// said puts the planner's sentences into the words of a site's plant: its windows are stops, its jobs orders, moments are in its
// zone.
func (s *Sheet) said(site int, list []string) []string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = s.inZone(site, nouns.Replace(w))
	}
	return out
}

// mixedMoment finds a moment as a sheet over several zones writes it for the planner.
var mixedMoment = regexp.MustCompile(`\b\d{1,2} [A-Z][a-z]{2} \d{2}:\d{2} UTC`)

// inZone writes the moments of a sentence in the zone of a site's plant and names that zone. On a sheet of one zone none is named.
func (s *Sheet) inZone(site int, words string) string {
	if site == nowhere || s.plants[site] == nil {
		return words
	}
	zone := s.plants[site].Zone
	return mixedMoment.ReplaceAllStringFunc(words, func(moment string) string {
		at, err := time.Parse("2 Jan 15:04 MST 2006", moment+" "+strconv.Itoa(s.From.Year()))
		if err != nil {
			return moment
		}
		if at.Before(s.From.AddDate(0, -1, 0)) { // the sheet goes on into the next year
			at = at.AddDate(1, 0, 0)
		}
		return at.In(zone).Format("2 Jan 15:04 MST")
	})
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
	"the job", "the order", "locked jobs", "locked orders", "jobs", "orders", "job ", "order ", "technician ", "", "tool ", "", "one more person like ", "one more person like ")

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

// hours writes minutes as hours and minutes.
func hours(minutes int) string {
	d := time.Duration(minutes) * time.Minute
	if h, m := int(d.Hours()), minutes%60; m != 0 {
		return fmt.Sprintf("%d h %d min", h, m)
	}
	return fmt.Sprintf("%d h", minutes/60)
}
