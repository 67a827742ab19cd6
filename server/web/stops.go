package web

import (
	"context"
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/calendar"
	"carryside/schedule/people"
	"carryside/schedule/window"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// StopBook is what the pages of stops need. Agreed stops, in which work may be placed, are Days.Windows.
type StopBook interface {
	// Stops returns the stops that end after from and are not withdrawn, whatever the plant answered, by their start.
	Stops(ctx context.Context, scope assets.Scope, plantID int64, from time.Time) (*StopList, error)
	// StopOf returns one stop window, withdrawn or not; of a recurring stop's occurrence its row where it has one.
	StopOf(ctx context.Context, scope assets.Scope, id int64) (assets.StopWindow, error)
	// SaveStop adds a stop (ID 0) or changes it. assets.ErrConflict when its RowID is not the newest any more.
	SaveStop(ctx context.Context, scope assets.Scope, act Act, w *assets.StopWindow) error
	// WithdrawStop withdraws a stop in which no open order is placed.
	WithdrawStop(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64, why string) error
	// StopPast returns how a stop (0: the plant's stops that were changed) came to be as it is, newest first.
	StopPast(ctx context.Context, scope assets.Scope, plantID, id int64, since time.Time) ([]StopPast, error)

	// SaveSeries adds a recurring stop (ID 0) or changes it.
	SaveSeries(ctx context.Context, scope assets.Scope, act Act, r *assets.StopRecurrence) error
	WithdrawSeries(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64, why string) error

	// StopsHeld returns what a calendar file is compared with, and TakeStopsIn does what it does, all or nothing.
	StopsHeld(ctx context.Context, scope assets.Scope, plantID int64) (window.Held, error)
	TakeStopsIn(ctx context.Context, scope assets.Scope, act Act, plantID int64, changes []window.Change) error

	// WindowFacts returns what the work package of a stop is made of.
	WindowFacts(ctx context.Context, scope assets.Scope, plantID, id int64, withStores bool, now time.Time) (reports.WindowFacts, error)

	// IsolationGroups returns a plant's groups of conveyors that are isolated together.
	IsolationGroups(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.IsolationGroup, error)
	SaveIsolationGroup(ctx context.Context, scope assets.Scope, act Act, g *assets.IsolationGroup) error
	EndIsolationGroup(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64) error
}

// StopList is the stops of a plant with the recurring ones they come from and the names in their answers.
type StopList struct {
	Windows  []assets.StopWindow
	Series   []assets.StopRecurrence
	People   map[int64]string
	Contacts map[int64]string // "J. Tarvane, shift lead"
}

// StopPast is one change of a stop; Before is nil where it was entered.
type StopPast struct {
	At             assets.Instant
	By             string
	Action, Reason string
	Before         *assets.StopWindow
	After          assets.StopWindow
}

// stopsPage answers: when does which line stand still, for how long in truth, what did the plant say, and what is placed in it?
type stopsPage struct {
	Page
	Strip   template.HTML
	Groups  []stopGroup
	Series  []seriesLine
	Nights  []stopNight
	Waiting []Link
	Past    []stopPastLine
	More    *Link
	Empty   *Empty
}

type stopGroup struct {
	Name string
	Rows []stopLine
}

type stopLine struct {
	From, To, Length, Note, Change string
	Only, ClockWords               string
	Answer, AnswerBy, Reply        string
	Placed                         []Link
	Left, Sheet, Astray            string
}

// seriesLine is a recurring stop.
type seriesLine struct{ Name, What, Repeats, Hours, Answer, Until, Change string }

// stopPastLine is a change of a stop in words.
type stopPastLine struct{ Bold, Rest string }

// stopNight is a stop over a clock change, hour by hour.
type stopNight struct {
	Head, Words string
	Cells       template.HTML
}

// listedDays is how far the list of stops goes; the year is in the drawing, and the rest of the list one click away.
const listedDays = 120

func (s *Site) stops(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	list, err := s.StopBook.Stops(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	past, err := s.StopBook.StopPast(r.Context(), r.Scope, r.PlantID(), 0, r.Now.AddDate(0, 0, -30))
	if err != nil {
		return err
	}
	p := &stopsPage{}
	agreed := slices.DeleteFunc(slices.Clone(list.Windows), func(w assets.StopWindow) bool { return !w.Agreed() })
	p.Sheet, p.Say = "Stops", stopsSay(reg, agreed, r.Now)
	p.Waiting = r.waiting(reg, list.Windows)
	p.Sub = "Stops of " + Figure(len(reg.Lines), "line", "lines") + " to " + r.F.PlainDay(assets.DayOf(r.Now.In(r.F.zone()).AddDate(1, 0, 0))) + ". " + waitingSay(len(p.Waiting)) +
		" Work is placed only in agreed stops."
	r.Offer(&p.Page, "One single stop", "stops/new", false)
	r.Offer(&p.Page, "A recurring stop", "stops/recurring/new", false)
	r.Offer(&p.Page, "Bring in a calendar", "stops/calendar", false)
	r.Offer(&p.Page, "Isolation groups", "stops/isolation", false)
	if len(list.Windows) == 0 && len(list.Series) == 0 {
		p.Empty = &Empty{What: "No stop is entered", Why: "Work at a belt needs the belt to stand still. Enter the stops that operations has agreed, or read them from its calendar; orders can then be placed in them.", Do: p.Do}
		return r.Show("stops", p)
	}
	p.Strip = r.stopStrip(reg, list.Windows, past, nil, p.Say)
	shown := list.Windows
	if r.Query("all") == "" {
		until := assets.InstantOf(r.Now.AddDate(0, 0, listedDays))
		shown = slices.DeleteFunc(slices.Clone(shown), func(w assets.StopWindow) bool { return w.Start > until })
		if n := len(list.Windows) - len(shown); n > 0 {
			p.More = &Link{Word: Figure(n, "more stop", "more stops") + " to " + r.F.Date(list.Windows[len(list.Windows)-1].Start), To: r.At("stops") + "?all=yes#list"}
		}
	}
	p.Groups = r.stopGroups(reg, shown, open, list)
	p.Series, p.Past = r.seriesLines(reg, list), r.pastLines(reg, past)
	for _, w := range list.Windows {
		if n, ok := r.stopNight(w); ok && len(p.Nights) < 6 {
			p.Nights = append(p.Nights, n)
		}
	}
	return r.Show("stops", p)
}

// waiting lists the stops that are asked and not answered, the next first.
func (r *Request) waiting(reg *assets.Register, windows []assets.StopWindow) []Link {
	var out []Link
	series := map[int64]bool{}
	for _, w := range windows {
		if w.Answer.Given() != assets.AnswerAsked || series[w.Source.RecurrenceID] && w.ID < 0 {
			continue
		}
		l := Link{Word: r.F.Stamp(w.Start) + ", " + stopLength(w) + ": " + stopWhere(reg, w)}
		pattern, id := "stops/:stop/answer", w.ID
		if w.ID < 0 { // nothing is said of this one alone: the series is asked
			series[w.Source.RecurrenceID] = true
			pattern, id = "stops/recurring/:recurrence", w.Source.RecurrenceID
			l.Word += ", and those that follow"
		}
		l.To, _ = r.Link(pattern, id)
		out = append(out, l)
	}
	return out
}

func waitingSay(n int) string {
	switch n {
	case 0:
		return "None waits for the plant's answer."
	case 1:
		return "One waits for the plant's answer."
	}
	return Capital(Count(n, "waits", "wait")) + " for the plant's answer."
}

// stopWhere says what stands still: the conveyors, the line, the whole plant.
func stopWhere(reg *assets.Register, w assets.StopWindow) string {
	return standsStill(reg, w.LineID, w.ConveyorIDs)
}

func standsStill(reg *assets.Register, line int64, conveyors []int64) string {
	if len(conveyors) > 0 {
		return strings.Join(stopTags(reg, conveyors), ", ")
	}
	if l, ok := reg.Line(line); ok {
		return l.Name
	}
	return "the whole plant"
}

func stopTags(reg *assets.Register, conveyors []int64) []string {
	var tags []string
	for _, id := range conveyors {
		if c, ok := reg.Conveyor(id); ok {
			tags = append(tags, c.Tag)
		}
	}
	return tags
}

// lineOfStop is the line under which a stop is listed; 0 the whole plant.
func lineOfStop(reg *assets.Register, w assets.StopWindow) int64 {
	if w.LineID == 0 && len(w.ConveyorIDs) > 0 {
		if c, ok := reg.Conveyor(w.ConveyorIDs[0]); ok {
			return c.LineID
		}
	}
	return w.LineID
}

// stopsSay is the headline: how many stops are ahead, and which line has none.
func stopsSay(reg *assets.Register, windows []assets.StopWindow, now time.Time) string {
	if len(windows) == 0 {
		return "No line has a stop ahead of it"
	}
	var without []string
	for _, l := range reg.Lines {
		if !slices.ContainsFunc(windows, func(w assets.StopWindow) bool { return w.LineID == l.ID || w.LineID == 0 }) {
			without = append(without, l.Name)
		}
	}
	say := Capital(Count(len(windows), "stop is", "stops are")) + " ahead"
	switch len(without) {
	case 0:
		return say + "; every line has one"
	case 1:
		return say + "; " + without[0] + " has none"
	}
	return say + "; " + Figure(len(without), "line", "lines") + " have none"
}

func (r *Request) stopGroups(reg *assets.Register, windows []assets.StopWindow, open []workorder.Order, list *StopList) []stopGroup {
	var groups []stopGroup
	of := func(id int64, name string) {
		g := stopGroup{Name: name}
		for _, w := range windows {
			if lineOfStop(reg, w) == id {
				g.Rows = append(g.Rows, r.stopLine(reg, w, open, list))
			}
		}
		if len(g.Rows) > 0 {
			groups = append(groups, g)
		}
	}
	of(0, "The whole plant")
	for _, l := range reg.Lines {
		of(l.ID, l.Name)
	}
	return groups
}

func (r *Request) stopLine(reg *assets.Register, w assets.StopWindow, open []workorder.Order, list *StopList) stopLine {
	l := stopLine{From: r.F.Stamp(w.Start), To: r.F.Stamp(w.End), Length: stopLength(w), Note: w.Note, ClockWords: r.clockWords(w),
		Answer: string(w.Answer.Given()), AnswerBy: r.answerBy(w.Answer, list)}
	if len(w.ConveyorIDs) > 0 {
		l.Only = "only " + strings.Join(stopTags(reg, w.ConveyorIDs), ", ")
	}
	if w.Source.RecurrenceID != 0 {
		l.Note = strings.TrimPrefix(l.Note+", recurring", ", ")
	}
	if r.May(people.EditStops) {
		l.Change = r.At("stops", w.ID)
		l.Reply = r.At("stops", w.ID, "answer")
	}
	hours, astray := 0.0, 0
	for _, o := range open {
		if o.WindowID == w.ID {
			l.Placed = append(l.Placed, Link{Word: orderShort(o), To: r.At("orders", o.Number)})
			hours += o.WorkHours
			if outside(o, w) {
				astray++
			}
		}
	}
	if len(l.Placed) > 0 {
		l.Left = Duration(hours) + " of work placed"
		if astray > 0 {
			l.Left += "; " + Count(astray, "order is", "orders are") + " set for hours outside the stop"
			l.Astray = r.At("horizon") + "#br"
		}
		l.Sheet, _ = r.Link("stops/:stop/package", w.ID)
	}
	return l
}

// outside tells whether an order that has not begun is set for hours outside its stop, as it is once that was moved.
func outside(o workorder.Order, w assets.StopWindow) bool {
	at := o.PlacedStart
	return o.State == workorder.Placed && at != nil && (*at < w.Start || at.Time().Add(time.Duration(o.WorkHours*float64(time.Hour))).After(w.End.Time()))
}

// answerBy says who gave an answer, when and why.
func (r *Request) answerBy(a assets.StopAnswer, list *StopList) string {
	words := list.Contacts[a.ContactID]
	if words == "" {
		words = list.People[a.ByID]
	}
	if a.At != 0 {
		words = strings.TrimPrefix(words+", "+r.F.Date(a.At), ", ")
	}
	if a.Why != "" {
		words = strings.TrimPrefix(words+": "+a.Why, ": ")
	}
	return words
}

func (r *Request) seriesLines(reg *assets.Register, list *StopList) []seriesLine {
	var out []seriesLine
	for _, q := range list.Series {
		l := seriesLine{Name: q.Note, What: standsStill(reg, q.LineID, q.ConveyorIDs), Repeats: repeatsWords(q.Rule, q.StartLocal), Hours: q.StartLocal[11:] + " to " + q.EndLocal[11:],
			Answer: string(q.Answer.Given()), Until: "until further notice"}
		if q.UntilDay != "" {
			l.Until = "to " + r.F.PlainDay(q.UntilDay)
		}
		l.Until += pick(r.skippedWords(q) == "", "", "."+r.skippedWords(q))
		if by := r.answerBy(q.Answer, list); by != "" {
			l.Answer += ", " + by
		}
		l.Change, _ = r.Link("stops/recurring/:recurrence", q.ID)
		out = append(out, l)
	}
	return out
}

// pastLines tells the changes of stops in words, newest first.
func (r *Request) pastLines(reg *assets.Register, past []StopPast) []stopPastLine {
	var out []stopPastLine
	for _, c := range past {
		l := stopPastLine{Bold: Capital(stopWhere(reg, c.After)) + " " + r.whatMoved(c) + "."}
		l.Rest = c.By + pick(c.By == "", "", ", ") + r.F.Stamp(c.At) + "."
		if c.Reason != "" {
			l.Rest = fullStop(Capital(c.Reason)) + " " + l.Rest
		}
		out = append(out, l)
	}
	return out
}

// whatMoved says what a change did to a stop.
func (r *Request) whatMoved(c StopPast) string {
	day := r.F.Date(c.After.Start)
	if c.Before == nil {
		return "entered for " + r.F.Stamp(c.After.Start) + ", " + stopLength(c.After)
	}
	var words []string
	if c.After.Withdrawn && !c.Before.Withdrawn {
		words = append(words, "withdrawn, was "+day)
	}
	if c.Before.Start != c.After.Start {
		words = append(words, "moved from "+r.F.Stamp(c.Before.Start)+" to "+r.F.Stamp(c.After.Start))
	}
	if a, b := stopLength(*c.Before), stopLength(c.After); a != b {
		words = append(words, a+" to "+b)
	}
	if a, b := c.Before.Answer.Given(), c.After.Answer.Given(); a != b {
		words = append(words, string(b)+", was "+string(a))
	}
	if !slices.Equal(c.Before.ConveyorIDs, c.After.ConveyorIDs) || c.Before.LineID != c.After.LineID {
		words = append(words, "stands still now elsewhere than before")
	}
	if len(words) == 0 {
		return "of " + day + ": the note changed"
	}
	if c.Before.Start == c.After.Start && !c.After.Withdrawn {
		return day + ": " + strings.Join(words, ", ")
	}
	return strings.Join(words, ", ")
}

func stopHours(w assets.StopWindow) float64 { return w.End.Time().Sub(w.Start.Time()).Hours() }

// stopLength writes the true length of a stop: hours up to four days, else days.
func stopLength(w assets.StopWindow) string {
	h := stopHours(w)
	if h >= 96 {
		return With(Short(h/24, 1), "d")
	}
	return Duration(h)
}

// wallHours is the length of a stop as its clock times say.
func (r *Request) wallHours(w assets.StopWindow) float64 {
	z := calendar.ZoneOf(r.F.zone())
	a, b := z.Local(w.Start.Time()), z.Local(w.End.Time())
	return float64(b.Date.DaysSince(a.Date))*24 + float64(b.Time-a.Time)/3600
}

// clockWords says what a clock change inside does to a stop; "" where none is.
func (r *Request) clockWords(w assets.StopWindow) string {
	switch d := stopHours(w) - r.wallHours(w); {
	case d < -0.01:
		return "The clocks go forward inside it: " + stopLength(w) + " in truth, " + Duration(r.wallHours(w)) + " by the clock"
	case d > 0.01:
		return "The clocks go back inside it: " + stopLength(w) + " in truth, " + Duration(r.wallHours(w)) + " by the clock"
	}
	return ""
}

func (r *Request) stopNight(w assets.StopWindow) (stopNight, bool) {
	words := r.clockWords(w)
	if words == "" {
		return stopNight{}, false
	}
	cells := drawing.OfHours(drawing.HourCells{Sentence: words, Start: w.Start.Time(), End: w.End.Time(), Zone: r.F.zone()})
	return stopNight{Head: r.F.Stamp(w.Start) + " to " + r.F.Stamp(w.End), Words: words, Cells: cells}, cells != ""
}

// stopStrip draws a year of stops by line: those that stand, from where some were moved lately, and those that are being added.
func (r *Request) stopStrip(reg *assets.Register, windows []assets.StopWindow, past []StopPast, fresh []assets.StopWindow, sentence string) template.HTML {
	y := drawing.StopYear{Sentence: sentence, From: r.Now, To: r.Now.AddDate(1, 0, 0), Zone: r.F.zone()}
	y.Changes = clockChanges(r.F.zone(), y.From, y.To)
	for _, l := range reg.Lines {
		row := drawing.StopRow{Name: l.Name}
		shared, often := 0, 0
		add := func(w assets.StopWindow, look drawing.StopLook) bool {
			on := lineOfStop(reg, w)
			if on != l.ID && on != 0 || w.Start.Time().After(y.To) || w.End.Time().Before(y.From) {
				return false
			}
			row.Stops = append(row.Stops, drawing.StopBox{From: w.Start.Time(), To: w.End.Time(), Look: look, Words: hard(r.F.Local(w.Start).Format("2 Jan")) + " " + stopLength(w)})
			return true
		}
		for _, w := range windows {
			if !add(w, lookOf(w)) {
				continue
			}
			if w.LineID == 0 && len(w.ConveyorIDs) == 0 {
				shared++
			}
			if w.Source.RecurrenceID != 0 {
				often++
			}
		}
		one := len(row.Stops) - often
		for _, w := range fresh {
			add(w, drawing.StopNew)
		}
		for _, c := range past {
			if c.Before != nil && c.Before.Start != c.After.Start && !c.After.Withdrawn && add(*c.Before, drawing.StopMovedFrom) {
				row.Stops[len(row.Stops)-1].Words = ""
			}
		}
		row.Note = stopRowNote(one, often, shared)
		y.Rows = append(y.Rows, row)
	}
	return drawing.OfStops(y)
}

// stopRowNote counts a line's stops: "3 one-off, 12 recurring, 1 shared".
func stopRowNote(one, often, shared int) string {
	var parts []string
	if one > 0 || often == 0 {
		parts = append(parts, fmt.Sprintf("%d one-off", one))
	}
	if often > 0 {
		parts = append(parts, fmt.Sprintf("%d recurring", often))
	}
	if shared > 0 {
		parts = append(parts, fmt.Sprintf("%d shared", shared))
	}
	return strings.Join(parts, ", ")
}

// lookOf is how a stop is drawn by what the plant answered.
func lookOf(w assets.StopWindow) drawing.StopLook {
	switch w.Answer.Given() {
	case assets.AnswerAsked:
		return drawing.StopAsked
	case assets.AnswerRefused:
		return drawing.StopRefused
	}
	return drawing.StopAgreed
}

// clockChanges are the days of a stretch on which the clocks change.
func clockChanges(zone *time.Location, from, to time.Time) []drawing.ClockChange {
	z := calendar.ZoneOf(zone)
	var out []drawing.ClockChange
	for d := z.Date(from); z.StartOfDay(d).Before(to); d = d.AddDays(1) {
		start := z.StartOfDay(d)
		h := z.EndOfDay(d).Sub(start).Hours()
		if h == 24 {
			continue
		}
		words := start.In(zone).Format("2 Jan") + ": clocks go " + pick(h < 24, "forward", "back") + ", " + Short(h, 1) + " h"
		out = append(out, drawing.ClockChange{At: start.Add(12 * time.Hour), Words: words})
	}
	return out
}
