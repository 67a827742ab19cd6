package web

import (
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"slices"
	"strings"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/window"
)

// calendarPage answers: what would this calendar file do to the plant's stops, event by event, before anything is kept?
type calendarPage struct {
	Page
	Form   *Form
	To     string
	Tried  bool
	Counts []string
	Rows   []calendarLine
	Same   int // events that change nothing
	Save   string
}

type calendarLine struct{ Do, Name, When, Was, Why string }

// mostCalendar is the largest calendar file taken: five thousand events are under 2 MB.
const mostCalendar = 2 << 20

// stopCalendar brings stops in from a calendar file: first it shows what the file would do, then, when told so, it does that.
func (s *Site) stopCalendar(r *Request) error {
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	owner, err := s.Owners.Owner(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	p := &calendarPage{Form: r.NewForm(), To: r.At("stops", "calendar")}
	p.Sheet, p.Say = "Stops", "Read stops from a calendar file"
	p.Sub = "An .ics file (RFC 5545), as calendar programs export it. Nothing is kept before you have seen what it would do."
	f := p.Form
	f.File("file", "Calendar file", ".ics,text/calendar").OverBoth()
	f.stopLine(reg, 0)
	f.stopConveyors(reg, nil)
	f.answerFields(true, assets.StopAnswer{}, owner)
	f.Tick("whole", "The file is all there is: what an earlier file brought for this line and is not in it any more is withdrawn", false).OverBoth()
	file := f.Hidden("ics", "")
	seen := f.Hidden("seen", "")
	if !r.Posted() {
		return r.Show("stopcalendar", p)
	}
	changes, err := s.calendarTrial(r, p, reg)
	if err != nil {
		if f.Refused(err) {
			return r.Refill("stopcalendar", p)
		}
		return err
	}
	shown := trialDigest(changes)
	if seen.Value != "" && seen.Value == shown {
		act := r.act("read stops from a calendar file", "")
		if err := s.StopBook.TakeStopsIn(r.Context(), r.Scope, act, r.PlantID(), changes); err == nil {
			return r.Done(r.At("stops"), "The calendar file is read: "+strings.Join(countDoings(changes), ", ")+".")
		} else if !f.Refused(err) {
			return err
		}
	}
	seen.Value, file.Value = shown, base64.StdEncoding.EncodeToString(p.file(r))
	r.showTrial(p, reg, changes)
	return r.Show("stopcalendar", p)
}

// file is the calendar file as sent, or as it travelled with the trial.
func (p *calendarPage) file(r *Request) []byte {
	if header, err := r.C.FormFile("file"); err == nil {
		if opened, err := header.Open(); err == nil {
			defer opened.Close()
			body, _ := io.ReadAll(io.LimitReader(opened, mostCalendar+1)) // a file half read is no calendar and is refused as such
			return body
		}
	}
	body, err := base64.StdEncoding.DecodeString(r.C.Request.PostForm.Get("ics"))
	if err != nil {
		return nil
	}
	return body
}

// calendarTrial compares the file with what the plant has.
func (s *Site) calendarTrial(r *Request, p *calendarPage, reg *assets.Register) ([]window.Change, error) {
	e := r.entry(p.Form)
	as := assets.StopWindow{PlantID: r.PlantID()}
	as.LineID, as.ConveyorIDs = e.standstill(reg)
	e.stopAnswer(&as.Answer)
	zone := calendar.ZoneOf(r.F.zone())
	body := p.file(r)
	var events []calendar.Event
	switch {
	case len(body) == 0:
		e.bad.Add("file", "choose the calendar file (.ics)")
	case len(body) > mostCalendar:
		e.bad.Add("file", "the file is larger than 2 MB; export fewer years of the calendar")
	default:
		var err error
		if events, err = calendar.ReadEvents(body, zone); err != nil {
			e.bad.Add("file", err.Error())
		}
	}
	if err := e.Err(); err != nil {
		return nil, err
	}
	held, err := s.StopBook.StopsHeld(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return nil, err
	}
	return window.ReadIn(events, held, as, zone, r.Now, p.Form.Ticked("whole")), nil
}

// trialDigest tells one outcome from another: what is done is what was shown.
func trialDigest(changes []window.Change) string {
	h := sha256.New()
	for _, c := range changes {
		fmt.Fprintf(h, "%s|%s|", c.Do, c.Why)
		if c.Window != nil {
			w := *c.Window
			fmt.Fprintf(h, "%d %d %d %d %v %s %s %s", w.RowID, w.Start, w.End, w.LineID, w.ConveyorIDs, w.Note, w.Answer.Given(), w.Source.CalendarUID)
		}
		if c.Series != nil {
			q := *c.Series
			fmt.Fprintf(h, "%d %s %s %s %s %d %v %v %s %s %s", q.RowID, q.Rule, q.StartLocal, q.EndLocal, q.Keeps, q.LineID, q.ConveyorIDs, q.Exceptions, q.Note, q.Answer.Given(), q.CalendarUID)
		}
		fmt.Fprintln(h)
	}
	return fmt.Sprintf("%x", h.Sum(nil)[:16])
}

// countDoings counts what a file does: "3 added", "1 withdrawn".
func countDoings(changes []window.Change) []string {
	n := map[window.Doing]int{}
	for _, c := range changes {
		n[c.Do]++
	}
	var out []string
	for _, d := range window.Doings {
		if n[d] > 0 {
			out = append(out, fmt.Sprintf("%d\u00a0%s", n[d], d))
		}
	}
	return out
}

func (r *Request) showTrial(p *calendarPage, reg *assets.Register, changes []window.Change) {
	p.Tried, p.Counts = true, countDoings(changes)
	writes := 0
	for _, d := range window.Doings {
		for _, c := range changes {
			switch {
			case c.Do != d:
			case d == window.Unchanged:
				p.Same++
			default:
				p.Rows = append(p.Rows, r.calendarLine(reg, c))
				if d != window.LeaveOut {
					writes++
				}
			}
		}
	}
	p.Say = "The file changes nothing: " + strings.Join(p.Counts, ", ")
	if writes > 0 {
		p.Say = "The file would do this: " + strings.Join(p.Counts, ", ")
		p.Save = "Bring them in"
	}
}

func (r *Request) calendarLine(reg *assets.Register, c window.Change) calendarLine {
	l := calendarLine{Do: string(c.Do), Name: pick(c.Summary == "", "without a name", c.Summary), Why: fullStop(Capital(c.Why))}
	if w := c.Window; w != nil {
		l.When = r.F.Stamp(w.Start) + " to " + r.F.Stamp(w.End) + ", " + stopLength(*w)
		if c.Was != nil && (c.Was.Start != w.Start || c.Was.End != w.End) {
			l.Was = "was " + r.F.Stamp(c.Was.Start) + ", " + stopLength(*c.Was)
		}
		if b := c.Was; b != nil && (b.LineID != w.LineID || !slices.Equal(b.ConveyorIDs, w.ConveyorIDs)) {
			l.Was = strings.TrimPrefix(l.Was+"; was entered for "+stopWhere(reg, *b), "; ")
		}
	}
	if q := c.Series; q != nil {
		l.When = Capital(repeatsWords(q.Rule, q.StartLocal)) + ", " + q.StartLocal[11:] + " to " + q.EndLocal[11:] + ", from " + r.F.PlainDay(assets.Day(q.StartLocal[:10]))
		if n := len(q.Exceptions); n > 0 {
			l.When += ", but " + Figure(n, "day", "days")
		}
		if b := c.WasOften; b != nil && (b.Rule != q.Rule || b.StartLocal != q.StartLocal || b.EndLocal != q.EndLocal) {
			l.Was = "was " + repeatsWords(b.Rule, b.StartLocal) + ", " + b.StartLocal[11:] + " to " + b.EndLocal[11:]
		}
	}
	return l
}
