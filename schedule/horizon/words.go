package horizon

import (
	"fmt"
	"strings"
	"time"
)

// plain puts the planner's sentences into the words of the plant: its windows are stops, its jobs orders.
func plain(list []string) []string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = nouns.Replace(w)
	}
	return out
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
