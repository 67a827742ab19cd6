package web

import (
	"context"
	"fmt"
	"html/template"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// StopBook is what the pages of stops need; the list itself is Days.Windows.
type StopBook interface {
	// StopOf returns one stop window, withdrawn or not.
	StopOf(ctx context.Context, scope assets.Scope, id int64) (assets.StopWindow, error)
	// SaveStop adds a stop (ID 0) or moves it. assets.ErrConflict when its RowID is not the newest any more.
	SaveStop(ctx context.Context, scope assets.Scope, act Act, w *assets.StopWindow) error
	// WithdrawStop withdraws a stop in which no open order is placed.
	WithdrawStop(ctx context.Context, scope assets.Scope, act Act, plantID, id, rowID int64, why string) error
}

// stopsPage answers: when does which line stand still, for how long in truth, and what is placed in it?
type stopsPage struct {
	Page
	Strip  template.HTML
	Groups []stopGroup
	Nights []stopNight
	Empty  *Empty
}

type stopGroup struct {
	Name string
	Rows []stopLine
}

type stopLine struct {
	From, To, Length, Note, Change string
	ClockWords                     string
	Placed                         []Link
	Left                           string
}

// stopNight is a stop over a clock change, hour by hour.
type stopNight struct {
	Head, Words string
	Cells       template.HTML
}

func (s *Site) stops(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	windows, err := s.Days.Windows(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	p := &stopsPage{}
	p.Sheet, p.Say = "Stops", stopsSay(reg, windows, r.Now)
	p.Sub = "One-off stops of " + Figure(len(reg.Lines), "line", "lines") + " from today on; work is placed in them from the page of an order."
	r.Offer(&p.Page, "Add a stop", "stops/new", true)
	if len(windows) == 0 {
		p.Empty = &Empty{What: "No stop is agreed", Why: "Work at a belt needs the belt to stand still. Enter the stops that operations has agreed; orders can then be placed in them.", Do: p.Do}
		return r.Show("stops", p)
	}
	p.Groups = r.stopGroups(reg, windows, open)
	p.Strip = r.stopStrip(reg, windows, 0, p.Say)
	for _, w := range windows {
		if n, ok := r.stopNight(w); ok {
			p.Nights = append(p.Nights, n)
		}
	}
	return r.Show("stops", p)
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

func (r *Request) stopGroups(reg *assets.Register, windows []assets.StopWindow, open []workorder.Order) []stopGroup {
	var groups []stopGroup
	of := func(id int64, name string) {
		g := stopGroup{Name: name}
		for _, w := range windows {
			if w.LineID == id {
				g.Rows = append(g.Rows, r.stopLine(w, open))
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

func (r *Request) stopLine(w assets.StopWindow, open []workorder.Order) stopLine {
	l := stopLine{From: r.F.Stamp(w.Start), To: r.F.Stamp(w.End), Length: stopLength(w), Note: w.Note, ClockWords: r.clockWords(w)}
	if r.May(people.EditStops) {
		l.Change = r.At("stops", w.ID)
	}
	hours := 0.0
	for _, o := range open {
		if o.WindowID == w.ID {
			l.Placed = append(l.Placed, Link{Word: orderShort(o), To: r.At("orders", o.Number)})
			hours += o.WorkHours
		}
	}
	if len(l.Placed) > 0 {
		l.Left = Duration(hours) + " of work placed"
	}
	return l
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

// stopStrip draws a year of stops by line; the stop looked at is marked.
func (r *Request) stopStrip(reg *assets.Register, windows []assets.StopWindow, marked int64, sentence string) template.HTML {
	from := r.Now
	y := drawing.StopYear{Sentence: sentence, From: from, To: from.AddDate(1, 0, 0), Zone: r.F.zone(), Changes: clockChanges(r.F.zone(), from, from.AddDate(1, 0, 0))}
	for _, l := range reg.Lines {
		row := drawing.StopRow{Name: l.Name}
		shared := 0
		for _, w := range windows {
			if w.LineID != l.ID && w.LineID != 0 || w.Start.Time().After(y.To) {
				continue
			}
			if w.LineID == 0 {
				shared++
			}
			row.Stops = append(row.Stops, drawing.StopBox{From: w.Start.Time(), To: w.End.Time(), Marked: w.ID == marked && marked != 0,
				Words: hard(r.F.Local(w.Start).Format("2 Jan")) + " " + stopLength(w)})
		}
		row.Note = Figure(len(row.Stops), "stop", "stops")
		if shared > 0 {
			row.Note += fmt.Sprintf(", %d shared", shared)
		}
		y.Rows = append(y.Rows, row)
	}
	return drawing.OfStops(y)
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

// newStop adds a stop.
func (s *Site) newStop(r *Request) error {
	w := assets.StopWindow{PlantID: r.PlantID(), LineID: numberOf(r.Query("line"))}
	return s.stopForm(r, w)
}

// editStop moves a stop.
func (s *Site) editStop(r *Request) error {
	w, err := s.stopAsked(r)
	if err != nil {
		return err
	}
	return s.stopForm(r, w)
}

// stopAsked reads the stop an address names; a withdrawn one is not there any more.
func (s *Site) stopAsked(r *Request) (assets.StopWindow, error) {
	id, err := r.ID("stop")
	if err != nil {
		return assets.StopWindow{}, err
	}
	w, err := s.StopBook.StopOf(r.Context(), r.Scope, id)
	if err == nil && w.Withdrawn {
		err = assets.ErrNotFound
	}
	return w, r.ofPlant(w.PlantID, err)
}

func (s *Site) stopForm(r *Request, w assets.StopWindow) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: pick(w.ID == 0, "Add the stop", "Keep the change"), Leave: r.At("stops")}
		p.Sheet, p.Say = "Stop", "Say which line stands still, from when to when"
		p.Says = []string{"Enter what operations has agreed. A stop gives time, it isolates nothing: whoever works at the belt isolates it by the site's own rules."}
		if w.ID != 0 {
			p.Say = "Move the stop of " + r.F.Stamp(w.Start)
			p.Facts, p.FactsOf = []fact{{"From", r.F.Stamp(w.Start)}, {"To", r.F.Stamp(w.End)}, {"Length", stopLength(w)}}, "As it stands"
			if words := r.clockWords(w); words != "" {
				p.Facts = append(p.Facts, fact{"Clock change", words})
			}
			r.Offer(&p.Page, "Withdraw it", "stops/:stop/withdraw", false, w.ID)
		}
		f.version(w.Version)
		p.section("", f.Select("line_id", "Line", plainInt(w.LineID), append([]Option{{Value: "0", Label: "the whole plant"}}, lineOptions(reg, "")[1:]...)).OverBoth(),
			f.At("start", "From", w.Start).Must(), f.At("end", "To", w.End).Must(),
			f.Radio("keep", "If the clocks change inside it, keep", pick(w.ID == 0, "", "clock"), []Option{{Value: "clock", Label: "both clock times"}, {Value: "length", Label: "the length"}}).OverBoth(),
			f.Text("note", "Note", w.Note).Hinted("Who agreed it, what it is for").OverBoth())
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		next := w
		next.RowID = e.rowID()
		e.stop(&next, reg)
		if err := e.Err(); err != nil {
			return "", "", err
		}
		if err := s.sameStop(r, next); err != nil {
			return "", "", err
		}
		err := s.StopBook.SaveStop(r.Context(), r.Scope, r.act(pick(w.ID == 0, "add a stop", "move a stop"), ""), &next)
		return r.At("stops"), "Stop of " + r.F.Stamp(next.Start) + " kept: " + stopLength(next) + ".", err
	})
}

// sameStop refuses a stop that is there already: the same line at the same hours.
func (s *Site) sameStop(r *Request, w assets.StopWindow) error {
	all, err := s.Days.Windows(r.Context(), r.Scope, r.PlantID(), w.Start.Time())
	if err != nil {
		return err
	}
	for _, o := range all {
		if o.ID != w.ID && o.LineID == w.LineID && o.Start == w.Start && o.End == w.End {
			return assets.Invalid{"start": "this stop is kept already, from " + r.F.Stamp(o.Start) + " to " + r.F.Stamp(o.End) + "; change that one instead"}
		}
	}
	return nil
}

// stop reads the fields of a stop. Over a clock change its length is not what the clock times say: which of
// the two is meant is asked, never guessed.
func (e *entry) stop(w *assets.StopWindow, reg *assets.Register) {
	w.LineID = e.id("line_id")
	if _, ok := reg.Line(w.LineID); !ok && w.LineID != 0 {
		e.bad.Add("line_id", "choose one of the plant's lines, or the whole plant")
	}
	e.must("start", "the time at which the line stops")
	e.must("end", "the time at which it has to run again")
	w.Start, w.End, w.Note = e.moment("start"), e.moment("end"), e.text("note")
	switch {
	case w.Start == 0 || w.End == 0:
		return
	case w.End <= w.Start:
		e.bad.Add("end", "the stop ends after it begins")
		return
	case stopHours(*w) > 24*60:
		e.bad.Add("end", "a stop of more than 60 days is no stop; check the dates")
		return
	}
	if words := e.r.clockWords(*w); words != "" {
		switch e.text("keep") {
		case "clock":
		case "length":
			w.End = assets.InstantOf(w.Start.Time().Add(time.Duration(e.r.wallHours(*w) * float64(time.Hour))))
		default:
			e.bad.Add("keep", words+"; say whether the clock times or the length count")
		}
	}
	z := calendar.ZoneOf(e.r.F.zone())
	w.StartLocal, w.EndLocal = z.Local(w.Start.Time()).String(), z.Local(w.End.Time()).String()
}

// withdrawStop withdraws a stop.
func (s *Site) withdrawStop(r *Request) error {
	w, err := s.stopAsked(r)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) {
		p := &formPage{Form: f, Save: "Withdraw it", Leave: r.At("stops")}
		p.Sheet, p.Say = "Stop", "Withdraw the stop of "+r.F.Stamp(w.Start)+"?"
		p.Says = []string{"Only a stop in which no work is placed can be withdrawn: take the work out first. It stays in the records."}
		f.version(w.Version)
		p.reason(true, "Who needs the line, and since when that is known")
		return p, nil
	}, func(_ *formPage, e *entry) (string, string, error) {
		why := e.must("reason", "the reason: it is kept with the stop")
		if err := e.Err(); err != nil {
			return "", "", err
		}
		err := s.StopBook.WithdrawStop(r.Context(), r.Scope, r.act("withdraw a stop", why), r.PlantID(), w.ID, e.rowID(), why)
		return r.At("stops"), "The stop of " + r.F.Stamp(w.Start) + " is withdrawn.", err
	})
}
