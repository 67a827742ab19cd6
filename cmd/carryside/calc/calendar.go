package calc

import (
	"encoding/json"
	"errors"
	"time"

	"carryside/schedule/calendar"
)

// calendarKinds are cron expressions, intervals, recurrence and stop windows.
var calendarKinds = map[string]Kind{
	"occurrences": occurrences,
	"cron-check":  cronCheck,
	"intervals":   intervals,
	"recurrence":  recurrence,
	"windows":     windows,
}

// endlessShown is how many of an endless series are printed when the case does not say.
const endlessShown = 100

// plannedAt is an occurrence as it is printed.
type plannedAt struct {
	Planned string `json:"planned_local"`
	At      string `json:"at_utc"`
	Note    string `json:"note,omitempty"`
}

// showingNotes are the words for planned times that the clock does not show once.
var showingNotes = map[calendar.Showing]string{calendar.Skipped: "skipped by the clock", calendar.Twice: "occurs twice on the clock"}

// plannedList prints occurrences.
func plannedList(found []calendar.Occurrence) []plannedAt {
	list := make([]plannedAt, len(found))
	for i, o := range found {
		list[i] = plannedAt{o.Planned.String(), utcText(o.At), showingNotes[o.Showing]}
	}
	return list
}

// utcText prints an instant.
func utcText(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

// occurrences expands a cron expression. One that never occurs has none; the rule form refuses it, as cron-check does.
func occurrences(c *Case) (any, error) {
	expr, name, after, until := c.Text("cron"), c.Text("zone"), c.Text("after_utc"), c.Text("until_utc")
	if c.Err() != nil {
		return nil, nil
	}
	zone, err := calendar.LoadZone(name)
	if err != nil {
		return nil, err
	}
	from, err := instant(zone, after)
	if err != nil {
		return nil, err
	}
	to, err := instant(zone, until)
	if err != nil {
		return nil, err
	}
	cron, err := calendar.ParseCron(expr)
	var refused *calendar.Refused
	if errors.As(err, &refused) && refused.Kind == calendar.NeverOccurs {
		return plannedList(nil), nil
	}
	if err != nil {
		return nil, err
	}
	return planned(cron, zone, from, to)
}

// planned expands an expression month by month, so that a span of centuries is refused before it fills the memory.
func planned(cron calendar.Cron, zone calendar.Zone, from, to time.Time) (any, error) {
	var found []calendar.Occurrence
	for from.Before(to) {
		next := from.AddDate(0, 1, 0)
		if next.After(to) {
			next = to
		}
		if found = append(found, cron.Between(zone, from, next)...); len(found) > longestSeries {
			return nil, &Refusal{"too_many", "the expression occurs more than 100 000 times in that span; ask for a shorter one"}
		}
		from = next
	}
	return plannedList(found), nil
}

// cronCheck says whether a rule form would take an expression.
func cronCheck(c *Case) (any, error) {
	expr := c.Text("cron")
	if c.Err() != nil {
		return nil, nil
	}
	answer := struct {
		Accepted bool   `json:"accepted"`
		Text     string `json:"text"`
	}{Accepted: true}
	if _, err := calendar.ParseCron(expr); err != nil {
		answer.Accepted, answer.Text = false, err.Error()
	}
	return answer, nil
}

// intervals counts from the plan or from completions.
func intervals(c *Case) (any, error) {
	name, every, unit, from := c.Text("zone"), c.Whole("every"), c.Text("unit"), c.Text("counted_from")
	if c.Err() != nil {
		return nil, nil
	}
	zone, err := calendar.LoadZone(name)
	if err != nil {
		return nil, err
	}
	interval, err := calendar.NewInterval(int(every), unit)
	if err != nil {
		return nil, err
	}
	switch from {
	case "plan":
		return fromPlan(c, zone, interval)
	case "last completion", "completion":
		return fromCompletions(c, zone, interval)
	default:
		return nil, &Refusal{calendar.BadInterval, "counted_from is \"plan\" or \"last completion\"; write one of them"}
	}
}

// fromPlan prints the occurrences after the anchor.
func fromPlan(c *Case, zone calendar.Zone, interval calendar.Interval) (any, error) {
	written := c.Text("anchor_local")
	if c.Err() != nil {
		return nil, nil
	}
	anchor, err := calendar.ParseLocal(written)
	if err != nil {
		return nil, err
	}
	var found []calendar.Occurrence
	for k := 1; k <= shownOf(c, "expected", 12); k++ {
		o, ok := interval.Planned(zone, anchor, k)
		if !ok {
			break
		}
		found = append(found, o)
	}
	return plannedList(found), nil
}

// afterCompletion is one completion with what it makes due, as it is printed.
type afterCompletion struct {
	Done    string `json:"done_utc"`
	Date    string `json:"done_local_date"`
	Planned string `json:"next_planned_local"`
	At      string `json:"next_at_utc"`
}

// fromCompletions prints what each completion makes due.
func fromCompletions(c *Case, zone calendar.Zone, interval calendar.Interval) (any, error) {
	written, completions := c.Text("time_of_day"), asked(c, "done_utc", nil)
	if completions == nil {
		c.fail("done_utc", "")
	}
	if c.Err() != nil {
		return nil, nil
	}
	at, err := calendar.ParseTimeOfDay(written)
	if err != nil {
		return nil, err
	}
	list := []afterCompletion{}
	for _, text := range completions {
		done, err := instant(zone, text)
		if err != nil {
			return nil, err
		}
		o, _ := interval.AfterCompletion(zone, done, at)
		list = append(list, afterCompletion{text, zone.Date(done).String(), o.Planned.String(), utcText(o.At)})
	}
	return list, nil
}

// recurring reads zone, first start, rule and excluded starts, which recurrence and windows share.
func recurring(c *Case) (calendar.Zone, *calendar.Recurrence, error) {
	name, start, rule := c.Text("zone"), c.Text("dtstart_local"), c.Text("rrule")
	var left []string
	if c.Has("exdates_local") {
		c.Decode("exdates_local", "a list of texts", &left)
	}
	if err := c.Err(); err != nil {
		return calendar.Zone{}, nil, err
	}
	zone, err := calendar.LoadZone(name)
	if err != nil {
		return zone, nil, err
	}
	first, err := calendar.ParseLocal(start)
	if err != nil {
		return zone, nil, err
	}
	var excluded []calendar.Local
	for _, text := range left {
		l, err := calendar.ParseLocal(text)
		if err != nil {
			return zone, nil, err
		}
		excluded = append(excluded, l)
	}
	r, err := calendar.ParseRecurrence(rule, first, excluded...)
	return zone, r, err
}

// recurrence expands a recurrence rule.
func recurrence(c *Case) (any, error) {
	zone, r, err := recurring(c)
	if err != nil {
		return nil, err
	}
	answer := struct {
		Local []string `json:"local"`
		UTC   []string `json:"utc"`
	}{[]string{}, []string{}}
	for _, o := range r.First(zone, limitOf(c, r, "expected_local")) {
		answer.Local = append(answer.Local, withSeconds(o.Planned))
		answer.UTC = append(answer.UTC, utcText(o.At))
	}
	return answer, nil
}

// withSeconds prints a wall time with its seconds.
func withSeconds(l calendar.Local) string {
	if l.Time%60 == 0 {
		return l.String() + ":00"
	}
	return l.String()
}

// windowAt is a stop window as it is printed.
type windowAt struct {
	StartLocal string  `json:"start_local"`
	Start      string  `json:"start_utc"`
	EndLocal   string  `json:"end_local"`
	End        string  `json:"end_utc"`
	Minutes    float64 `json:"minutes"`
}

// windows expands recurring stop windows.
func windows(c *Case) (any, error) {
	minutes := c.Whole("wall_minutes")
	zone, r, err := recurring(c)
	if err != nil {
		return nil, err
	}
	recurringWindows, err := calendar.NewWindows(r, int(minutes))
	if err != nil {
		return nil, err
	}
	list := []windowAt{}
	for _, w := range recurringWindows.First(zone, limitOf(c, r, "expected")) {
		list = append(list, windowAt{withSeconds(w.StartLocal), utcText(w.Start), withSeconds(w.EndLocal), utcText(w.End), w.Minutes()})
	}
	return list, nil
}

// longestSeries bounds what one case prints.
const longestSeries = 100_000

// limitOf is how many occurrences are printed: all of a rule that ends, as many as the case asks for of an endless one.
func limitOf(c *Case, r *calendar.Recurrence, list string) int {
	if !r.Endless() {
		return longestSeries
	}
	return shownOf(c, list, endlessShown)
}

// shownOf is how many of an endless series the case asks for: its field limit, else the length of the list it expects
// (its length only: nothing in the list is looked at), else a given number.
func shownOf(c *Case, list string, otherwise int) int {
	if c.Has("limit") {
		return int(min(c.Whole("limit"), longestSeries))
	}
	var entries []json.RawMessage
	if json.Unmarshal(c.Raw(list), &entries) == nil && len(entries) > 0 {
		return len(entries)
	}
	return otherwise
}

// asked reads the instants that a case asks about, from its own field (one text or a list), else from the entries of the
// list it expects, which repeat each question beside its answer; of those nothing but the question is read.
func asked(c *Case, field string, path []string) []string {
	var list []string
	var one string
	switch {
	case json.Unmarshal(c.Raw(field), &list) == nil && list != nil:
		return list
	case json.Unmarshal(c.Raw(field), &one) == nil && one != "":
		return []string{one}
	}
	raw := c.Raw("expected")
	for _, name := range path {
		var fields map[string]json.RawMessage
		if json.Unmarshal(raw, &fields) != nil {
			return nil
		}
		raw = fields[name]
	}
	var entries []map[string]json.RawMessage
	if json.Unmarshal(raw, &entries) != nil {
		return nil
	}
	for _, e := range entries {
		if json.Unmarshal(e[field], &one) == nil {
			list = append(list, one)
		}
	}
	return list
}

// instant reads an instant: RFC 3339, or without an offset the wall clock of the zone.
func instant(zone calendar.Zone, text string) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t.UTC(), nil
	}
	l, err := calendar.ParseLocal(text)
	if err != nil {
		return time.Time{}, err
	}
	return zone.Instant(l), nil
}
