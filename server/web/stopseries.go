package web

import (
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/window"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// seriesPage answers: if this stop came again and again, on which nights, how long in truth, and what would fit?
type seriesPage struct {
	Page
	Form    *Form
	To      string
	Save    string
	Strip   template.HTML
	Lengths []seriesLength
	Nights  []seriesNight
	Sum     string
	Keeping string // what the other answer to the clock question would do
}

// seriesLength is the nights of one true length, drawn by the hours of the first.
type seriesLength struct {
	Head, Words string
	Cells       template.HTML
}

type seriesNight struct{ Day, Hours, Fits string }

// look is the name of the button that shows what would be and keeps nothing.
const look = "look"

// newSeries adds a recurring stop.
func (s *Site) newSeries(r *Request) error {
	return s.seriesForm(r, assets.StopRecurrence{PlantID: r.PlantID(), Keeps: assets.KeepsClock, Answer: assets.StopAnswer{Word: assets.AnswerAsked}})
}

// editSeries changes a recurring stop.
func (s *Site) editSeries(r *Request) error {
	q, err := s.seriesAsked(r)
	if err != nil {
		return err
	}
	return s.seriesForm(r, q)
}

// seriesAsked reads the recurring stop an address names.
func (s *Site) seriesAsked(r *Request) (assets.StopRecurrence, error) {
	id, err := r.ID("recurrence")
	if err != nil {
		return assets.StopRecurrence{}, err
	}
	list, err := s.StopBook.Stops(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return assets.StopRecurrence{}, err
	}
	for _, q := range list.Series {
		if q.ID == id {
			return q, nil
		}
	}
	return assets.StopRecurrence{}, fmt.Errorf("recurring stop %d: %w", id, assets.ErrNotFound)
}

func (s *Site) seriesForm(r *Request, q assets.StopRecurrence) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	owner, err := s.Owners.Owner(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	p := &seriesPage{Form: r.NewForm(), To: r.C.Request.URL.Path, Save: pick(q.ID == 0, "Save it", "Keep the change")}
	p.Sheet, p.Say = "Recurring stop", pick(q.ID == 0, "Say when the line stands still again and again", "Change the recurring stop "+pick(q.Note == "", "of "+standsStill(reg, q.LineID, q.ConveyorIDs), q.Note))
	p.Sub = "Nothing is placed in it until the plant has agreed. Single stops of it can be moved, answered and withdrawn on their own."
	r.seriesFields(p.Form, q, reg, owner)
	if q.ID != 0 {
		r.Offer(&p.Page, "Withdraw all of it", "stops/recurring/:recurrence/withdraw", false, q.ID)
	}
	next := q
	if r.Posted() {
		e := r.entry(p.Form)
		e.series(&next, reg)
		err := e.Err()
		if err == nil {
			err = window.Check(next)
		}
		if err == nil && !r.C.Request.PostForm.Has(look) {
			if err = s.StopBook.SaveSeries(r.Context(), r.Scope, r.act(pick(q.ID == 0, "add a recurring stop", "change a recurring stop"), ""), &next); err == nil {
				return r.Done(r.At("stops"), "Recurring stop kept: "+repeatsWords(next.Rule, next.StartLocal)+", "+string(next.Answer.Given())+".")
			}
		}
		if p.Form.Refused(r.inPlantTime(err)) {
			return r.Refill("stopseries", p)
		}
		if err != nil {
			return err
		}
	}
	if err := s.seriesPreview(r, p, next, reg); err != nil {
		return err
	}
	return r.Show("stopseries", p)
}

// repeat is a way in which a stop comes again, told by its first start.
type repeat struct {
	key  string
	rule func(start calendar.Local) string
	word func(start calendar.Local) string
}

var nths = []string{"first", "second", "third", "fourth"}

func dayCode(l calendar.Local) string { return strings.ToUpper(l.Date.Weekday().String()[:2]) }

// repeats are the ways offered; any other is typed as a rule of RFC 5545.
var repeats = func() []repeat {
	every := func(n int, freq, one, many string) repeat {
		rule := "FREQ=" + freq
		word := "every " + one
		if n > 1 {
			rule += ";INTERVAL=" + strconv.Itoa(n)
			word = fmt.Sprintf("every %d %s", n, many)
		}
		key := fmt.Sprintf("%s %d", strings.ToLower(freq), n)
		return repeat{key, func(calendar.Local) string { return rule }, func(calendar.Local) string { return word }}
	}
	out := []repeat{every(1, "WEEKLY", "week", ""), every(2, "WEEKLY", "", "weeks"), every(3, "WEEKLY", "", "weeks"), every(4, "WEEKLY", "", "weeks"),
		every(6, "WEEKLY", "", "weeks"), every(7, "WEEKLY", "", "weeks"), every(8, "WEEKLY", "", "weeks"), every(1, "MONTHLY", "month on that day", ""), every(1, "YEARLY", "year", "")}
	for i, nth := range append(slices.Clone(nths), "last") {
		n := i + 1
		if nth == "last" {
			n = -1
		}
		out = append(out, repeat{nth, func(l calendar.Local) string { return fmt.Sprintf("FREQ=MONTHLY;BYDAY=%d%s", n, dayCode(l)) },
			func(l calendar.Local) string { return nth + " " + l.Date.Weekday().String() + " of each month" }})
	}
	return out
}()

// repeatsWords says how a stop comes again: "last Saturday of each month", "every 7 weeks, Thursday, ten times".
func repeatsWords(rule, startLocal string) string {
	start, err := calendar.ParseLocal(startLocal)
	if err != nil {
		return rule
	}
	bare, days, end := ruleParted(rule, start)
	for _, p := range repeats {
		if p.rule(start) != bare {
			continue
		}
		word := p.word(start)
		if strings.HasPrefix(bare, "FREQ=WEEKLY") {
			word += ", " + days
		}
		return word + end
	}
	return "by the rule " + rule
}

// ruleParted takes from a rule what says nothing new (the day of the first start, an interval of one) and what ends it, and gives the
// weekdays and the end in words.
func ruleParted(rule string, start calendar.Local) (bare, days, end string) {
	parts := map[string]string{}
	var order []string
	for _, part := range strings.Split(strings.ToUpper(rule), ";") {
		name, value, _ := strings.Cut(part, "=")
		parts[name] = value
		order = append(order, name)
	}
	_, month, day := start.Date.Civil()
	implied := map[string]string{"INTERVAL": "1", "BYMONTHDAY": strconv.Itoa(day), "BYMONTH": strconv.Itoa(int(month))}
	days = start.Date.Weekday().String()
	bare = "FREQ=" + parts["FREQ"]
	slices.Sort(order) // BYDAY, BYMONTH, BYMONTHDAY, COUNT, FREQ, INTERVAL, UNTIL
	for _, name := range order {
		switch value := parts[name]; {
		case name == "FREQ" || name == "WKST" || value == implied[name]:
		case name == "COUNT":
			n, _ := strconv.Atoi(value) // a rule that is kept was read
			end = ", " + Count(n, "time", "times")
		case name == "UNTIL" && len(value) >= 8:
			end = ", until " + ruleDay(value)
		case name == "BYDAY" && parts["FREQ"] == "WEEKLY":
			days = weekdayWords(value)
		default:
			bare += ";" + name + "=" + value
		}
	}
	return bare, days, end
}

// ruleDay writes the day of a date of a rule.
func ruleDay(value string) string {
	t, err := time.Parse("20060102", value[:8])
	if err != nil {
		return value
	}
	return t.Format("2\u00a0Jan\u00a02006")
}

// weekdayWords writes the weekdays of a rule: "Monday and Wednesday".
func weekdayWords(codes string) string {
	var words []string
	for _, code := range strings.Split(codes, ",") {
		for d := time.Sunday; d <= time.Saturday; d++ {
			if strings.ToUpper(d.String()[:2]) == code {
				words = append(words, d.String())
			}
		}
	}
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

func (r *Request) seriesFields(f *Form, q assets.StopRecurrence, reg *assets.Register, owner *Owner) {
	start, _ := calendar.ParseLocal(q.StartLocal) // of a new one there is none yet
	chosen, options := "", []Option{}
	for _, p := range repeats {
		word := p.word(start)
		if q.StartLocal == "" {
			word = strings.Replace(word, start.Date.Weekday().String(), "such weekday", 1)
		}
		options = append(options, Option{Value: p.key, Label: word})
		if q.Rule != "" && p.rule(start) == q.Rule {
			chosen = p.key
		}
	}
	if q.Rule == "" {
		chosen = repeats[0].key
	}
	own := ""
	if chosen == "" {
		chosen, own = "own", q.Rule
	}
	options = append(options, Option{Value: "own", Label: "by a rule of your own"})
	f.version(q.Version)
	f.Text("note", "Name", q.Note).OverBoth()
	f.stopLine(reg, q.LineID)
	f.stopConveyors(reg, q.ConveyorIDs)
	f.Moment("start", "First one from", short(q.StartLocal)).Must().Hinted("Plant time, " + r.F.zone().String())
	f.Moment("end", "First one to", short(q.EndLocal)).Must()
	f.Select("repeats", "Repeats", chosen, options)
	f.Text("rule", "Rule of your own", own).Hinted("As in RFC 5545: FREQ=WEEKLY;BYDAY=SU")
	f.Radio("keeps", "On a clock change", string(q.Keeps), []Option{{Value: "clock", Label: "keep both clock times; the length follows"}, {Value: "length", Label: "keep the length; the end follows"}}).OverBoth()
	f.Date("until", "Last", string(q.UntilDay)).Hinted("Empty: until further notice")
	days := make([]string, len(q.Exceptions))
	for i, d := range q.Exceptions {
		days[i] = string(d)
	}
	f.Text("except", "Not on", strings.Join(days, ", ")).Hinted("Days such as 2026-12-27, 2027-01-03")
	f.answerFields(false, q.Answer, owner)
}

// short cuts seconds off a wall time for a field.
func short(local string) string { return local[:min(len(local), len("2006-01-02T15:04"))] }

// series reads the fields of a recurring stop.
func (e *entry) series(q *assets.StopRecurrence, reg *assets.Register) {
	q.RowID = e.rowID()
	q.LineID, q.ConveyorIDs = e.standstill(reg)
	q.Note, q.UntilDay = e.text("note"), e.day("until")
	e.must("start", "when the first one begins")
	e.must("end", "when the first one ends")
	start := e.wall("start")
	e.wall("end")
	q.StartLocal, q.EndLocal = short(e.text("start")), short(e.text("end"))
	q.Keeps = oneOf(e, "keeps", "say whether the clock times or the length count where the clocks change", assets.KeepsClock, assets.KeepsLength)
	q.Rule = strings.ToUpper(strings.ReplaceAll(e.text("rule"), " ", ""))
	key := e.text("repeats")
	i := slices.IndexFunc(repeats, func(p repeat) bool { return p.key == key })
	switch {
	case i >= 0:
		q.Rule = repeats[i].rule(start)
	case key != "own":
		e.bad.Add("repeats", "choose how often it comes from the list")
	case q.Rule == "":
		e.bad.Add("rule", "write the rule, such as FREQ=WEEKLY;BYDAY=SU, or choose one from the list")
	}
	q.Exceptions = nil
	for _, day := range strings.FieldsFunc(e.text("except"), func(c rune) bool { return c == ',' || c == ' ' || c == ';' }) {
		if _, err := calendar.ParseDate(day); err != nil {
			e.bad.Add("except", fmt.Sprintf("%q is no date; write days as 2026-12-27 with commas between them", day))
			continue
		}
		q.Exceptions = append(q.Exceptions, assets.Day(day))
	}
	e.stopAnswer(&q.Answer)
}

// wall reads a wall time that belongs to no single day, so that a clock change does not matter.
func (e *entry) wall(name string) calendar.Local {
	text := e.text(name)
	if text == "" {
		return calendar.Local{}
	}
	l, err := calendar.ParseLocal(text)
	if err != nil {
		e.bad.Add(name, fmt.Sprintf("%q is no date with a time; write it as 2026-11-25T20:00", text))
	}
	if err == nil && assets.Day(l.Date.String()) < assets.FirstDay {
		e.bad.Add(name, tooEarly)
	}
	return l
}

// seriesPreview shows a year of the recurring stop: on which nights, how long in truth, what fits.
func (s *Site) seriesPreview(r *Request, p *seriesPage, q assets.StopRecurrence, reg *assets.Register) error {
	list, err := s.StopBook.Stops(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	var fresh []assets.StopWindow
	if q.Rule != "" && window.Check(q) == nil {
		if fresh, err = window.Occurrences(q, calendar.ZoneOf(r.F.zone()), r.Now, r.Now.AddDate(1, 0, 0)); err != nil {
			return err
		}
	}
	others := slices.DeleteFunc(list.Windows, func(w assets.StopWindow) bool { return q.ID != 0 && w.Source.RecurrenceID == q.ID && w.ID < 0 })
	p.Strip = r.stopStrip(reg, others, nil, fresh, p.Say)
	p.Lengths = r.seriesLengths(fresh)
	hours := 0.0
	for i, w := range fresh {
		hours += stopHours(w)
		if i < 12 || r.clockWords(w) != "" {
			p.Nights = append(p.Nights, seriesNight{Day: r.F.PlainDay(assets.DayOf(r.F.Local(w.Start))), Hours: Short(stopHours(w), 1), Fits: fitsIn(reg, open, w)})
		}
	}
	if len(fresh) > 0 {
		p.Sum = Capital(Figure(len(fresh), "stop", "stops")) + " within a year, " + Duration(hours) + " together. The plant: " + string(q.Answer.Given()) + "."
		p.Sum += r.skippedWords(q) + r.byThemselves(q, list.Windows)
		p.Keeping = r.otherKeeping(q, fresh)
		p.Say = r.seriesSay(reg, q, fresh)
	}
	return nil
}

// skippedWords says on which days of a year a recurring stop does not come because the clock skips its hour; "" where none.
func (r *Request) skippedWords(q assets.StopRecurrence) string {
	skipped, err := window.Skipped(q, calendar.ZoneOf(r.F.zone()), r.Now, r.Now.AddDate(1, 0, 0))
	if err != nil || len(skipped) == 0 { // what is wrong with a rule is said of its occurrences
		return ""
	}
	var days []string
	for _, l := range skipped {
		days = append(days, r.F.PlainDay(assets.Day(l.Date.String())))
	}
	return " None on " + strings.Join(days, ", ") + ": the clock skips " + skipped[0].Time.String() + " then; enter a stop for that night by itself."
}

// byThemselves names the stops of a recurring stop that do not follow it: of which something was said, or in which work is placed.
func (r *Request) byThemselves(q assets.StopRecurrence, all []assets.StopWindow) string {
	var days []string
	for _, w := range all {
		if q.ID != 0 && w.ID > 0 && w.Source.RecurrenceID == q.ID {
			days = append(days, r.F.Stamp(w.Start)+", "+stopLength(w))
		}
	}
	switch n := len(days); {
	case n == 0:
		return ""
	case n == 1:
		return " One was moved, answered or has work in it and stays as it is: " + days[0] + "."
	default:
		return " " + Capital(Count(n, "was", "were")) + " moved, answered or have work in them and stay as they are: " + strings.Join(days, "; ") + "."
	}
}

// seriesSay is the headline once there is something to see: where it comes next, and the longest odd night.
func (r *Request) seriesSay(reg *assets.Register, q assets.StopRecurrence, fresh []assets.StopWindow) string {
	say := Capital(standsStill(reg, q.LineID, q.ConveyorIDs)) + " stands still " + repeatsWords(q.Rule, q.StartLocal) + ", next on " + r.F.PlainDay(assets.DayOf(r.F.Local(fresh[0].Start)))
	for _, w := range fresh {
		if r.clockWords(w) != "" {
			return say + "; on " + r.F.PlainDay(assets.DayOf(r.F.Local(w.Start))) + " it is " + stopLength(w) + " long"
		}
	}
	return say
}

// otherKeeping says what the other answer to the clock question would do to the first stop over a clock change.
func (r *Request) otherKeeping(q assets.StopRecurrence, fresh []assets.StopWindow) string {
	z := calendar.ZoneOf(r.F.zone())
	for _, w := range fresh {
		other := q
		other.Keeps = assets.KeepsLength
		if q.Keeps == assets.KeepsLength {
			other.Keeps = assets.KeepsClock
		}
		both, err := window.Occurrences(other, z, w.Start.Time(), w.Start.Time().Add(time.Minute))
		if err != nil || len(both) != 1 || both[0].End == w.End {
			continue
		}
		o := both[0]
		return r.F.Local(w.Start).Format("2\u00a0Jan") + ": " + w.StartLocal[11:] + " to " + w.EndLocal[11:] + " is " + stopLength(w) + ". Keeping " +
			pick(q.Keeps == assets.KeepsClock, "the length", "both clock times") + " would end it at " + o.EndLocal[11:] + ", " + stopLength(o) + "."
	}
	return ""
}

// seriesLengths groups the stops by their true length and draws the first of each hour by hour; nothing where all are alike.
func (r *Request) seriesLengths(fresh []assets.StopWindow) []seriesLength {
	var out []seriesLength
	first, count := map[int64]assets.StopWindow{}, map[int64]int{}
	var order []int64
	for _, w := range fresh {
		min := int64(w.End-w.Start) / 60e6
		if count[min]++; count[min] == 1 {
			first[min] = w
			order = append(order, min)
		}
	}
	if len(order) < 2 {
		return nil
	}
	for _, min := range order {
		w := first[min]
		l := seriesLength{Head: r.F.PlainDay(assets.DayOf(r.F.Local(w.Start))), Words: stopLength(w)}
		if n := count[min]; n > 1 {
			l.Head += " and " + Count(n-1, "more", "more")
		}
		if words := r.clockWords(w); words != "" {
			l.Words = words
		}
		l.Cells = drawing.OfHours(drawing.HourCells{Sentence: l.Head + ": " + l.Words, Always: true, Start: w.Start.Time(), End: w.End.Time(), Zone: r.F.zone()})
		out = append(out, l)
	}
	return out
}

// fitsIn names the first open order that waits for a stop and would fit into this one by its hours and latest date.
func fitsIn(reg *assets.Register, open []workorder.Order, w assets.StopWindow) string {
	longest := ""
	for _, o := range open {
		c, _ := reg.Conveyor(o.ConveyorID)
		waits := o.State == workorder.Raised || o.State == workorder.Accepted
		if !waits || !w.Stops(c) || o.WorkHours <= 0 || o.LatestDay != "" && string(o.LatestDay) < w.EndLocal[:10] {
			continue
		}
		if o.WorkHours <= stopHours(w) {
			return orderShort(o) + ", " + Duration(o.WorkHours) + ", by its hours"
		}
		if longest == "" {
			longest = orderShort(o) + " needs " + Duration(o.WorkHours) + " and does not fit"
		}
	}
	return pick(longest == "", "nothing waits for it now", longest)
}

// withdrawSeries withdraws a recurring stop.
func (s *Site) withdrawSeries(r *Request) error {
	q, err := s.seriesAsked(r)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Withdraw it", Leave: r.At("stops")}
		p.Sheet, p.Say = "Recurring stop", "Withdraw the recurring stop"+pick(q.Note == "", "", " "+q.Note)+"?"
		p.Says = []string{"No more of it come. Single stops that were changed, answered or have work in them stay until each is withdrawn itself."}
		f.version(q.Version)
		p.reason(true, "Who needs the line, and since when that is known")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		why := e.must("reason", "the reason: it is kept with the stop")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.StopBook.WithdrawSeries(r.Context(), r.Scope, r.act("withdraw a recurring stop", why), r.PlantID(), q.ID, e.rowID(), why)
		return r.At("stops"), "The recurring stop is withdrawn.", err
	})
}
