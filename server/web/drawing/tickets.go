package drawing

import (
	"html/template"
	"math"
	"strconv"
	"strings"
	"time"
)

// Tickets shows, over a year, how long each ticket of a crew holds, who is away when, and how many that leaves for the stops
// with work in them.
type Tickets struct {
	Sentence string
	From, To time.Time
	Zone     *time.Location
	People   []TicketPerson
	Stops    []TicketStop
	LeftOf   string // what the last row counts: "splicers who may work"
	Left     []LeftFrom
}

// TicketPerson is a person with their tickets and absences.
type TicketPerson struct {
	Name, Note string
	Tickets    []TicketBar
	Away       []Stretch
}

// TicketBar is how long a ticket holds; End zero: until further notice.
type TicketBar struct {
	Name       string
	Start, End time.Time
	Words      string // at its end: "ends 12 Feb"
	Fault      bool   // it ends before a stop its holder is sent to
}

// TicketStop is a stop with work in it and how many people it needs.
type TicketStop struct {
	At     time.Time
	Needed int
	Words  string
}

// LeftFrom is how many may work from an instant on.
type LeftFrom struct {
	From time.Time
	N    int
}

const (
	ticketW    = 950.0
	ticketLeft = 250.0
	ticketRow  = 21.0
)

// OfTickets draws the year.
func OfTickets(t Tickets) template.HTML {
	a := axis{from: t.From, until: t.To, left: ticketLeft, right: ticketW - 10}
	height := 40.0
	for _, p := range t.People {
		height += ticketRow*float64(max(2, len(p.Tickets))) + 12
	}
	foot := height
	if len(t.Left) > 0 {
		height += 106
	}
	var s svg
	s.open("", ticketW, height, false, t.Sentence)
	s.everyMonth(a, t.Zone, foot)
	y := 40.0
	for _, p := range t.People {
		y = s.ticketPerson(p, a, y)
	}
	for _, st := range t.Stops {
		s.raw(`<path class="thin" stroke-dasharray="5 4" d="M`, num(a.x(st.At)), " 34V", num(foot), `"/>`)
	}
	s.path("st-ink", "M"+num(ticketLeft)+" 34V"+num(foot))
	if len(t.Left) > 0 {
		s.ticketsLeft(t, a, foot)
	}
	s.close()
	return s.html()
}

func (s *svg) ticketPerson(p TicketPerson, a axis, y float64) float64 {
	s.path("hairl", "M0 "+num(y)+"H"+num(a.right))
	s.text("b", 0, y+19, "", p.Name)
	s.text("d s", 0, y+34, "", within(p.Note, 122))
	high := ticketRow * float64(max(2, len(p.Tickets)))
	for i, b := range p.Tickets {
		s.ticketBar(b, a, y+8+ticketRow*float64(i))
	}
	for _, w := range p.Away {
		x, to := a.x(w.From), a.x(w.To)
		if to <= a.left || x >= a.right {
			continue
		}
		to = math.Max(to, x+3)
		s.rect("chalkw", x, y+4, to-x, high+4)
		s.raw(`<path class="thin" stroke-dasharray="3 2" d="M`, num(x), " ", num(y+4), "v", num(high+4), "M", num(to), " ", num(y+4), "v", num(high+4), `"/>`)
		s.text("s halo", math.Min(to+4, a.right-130), y+20, "", w.Words)
	}
	return y + high + 12
}

func (s *svg) ticketBar(b TicketBar, a axis, y float64) {
	class := "s"
	if b.Fault {
		class = "s b"
	}
	s.text(class, 130, y+12, "", b.Name)
	from, to := a.x(b.Start), a.right
	if b.Start.Before(a.from) {
		from = a.left
	}
	if !b.End.IsZero() {
		to = a.x(b.End)
	}
	s.rect("wash2f", from, y, math.Max(to-from, 0), 14)
	switch {
	case b.End.IsZero() || b.End.After(a.until):
		s.text("s d", a.right-12, y+12, "end", b.Words)
		s.path("thin", "M"+num(a.right-7)+" "+num(y+2)+"l6 5l-6 5")
	case b.Fault:
		s.path("st-fault", "M"+num(to)+" "+num(y-2)+"v18")
		s.text("s fault halo", to+6, y+12, "", b.Words)
	case to > a.right-150:
		s.path("st-ink", "M"+num(to)+" "+num(y-2)+"v18")
		s.text("s d halo", to-6, y+12, "end", b.Words)
	default:
		s.path("st-ink", "M"+num(to)+" "+num(y-2)+"v18")
		s.text("s d halo", to+6, y+12, "", b.Words)
	}
}

// ticketsLeft draws how many may work as a line of steps, and what each stop needs as a block under it.
func (s *svg) ticketsLeft(t Tickets, a axis, top float64) {
	most := 1
	for _, l := range t.Left {
		most = max(most, l.N)
	}
	for _, st := range t.Stops {
		most = max(most, st.Needed)
	}
	base := top + 58
	y := func(n int) float64 { return base - 44*float64(n)/float64(most) }
	s.path("hairl", "M0 "+num(top)+"H"+num(a.right))
	s.text("b s", 0, top+18, "", t.LeftOf)
	d, last, clear := "", -1, math.Inf(-1)
	for i, l := range t.Left {
		x, ends := a.x(l.From), a.right
		if i+1 < len(t.Left) {
			ends = a.x(t.Left[i+1].From)
		}
		if d == "" {
			d = "M" + num(x) + " " + num(y(l.N))
		} else {
			d += "H" + num(x) + "V" + num(y(l.N))
		}
		if l.N != last && x > clear && ends > x+14 { // a dip of a day has no room for its number; the table has it
			s.text("b s halo", x+4, y(l.N)-4, "", strconv.Itoa(l.N))
			clear = x + 16
		}
		last = l.N
	}
	s.path("st-ink", d+"H"+num(a.right))
	free := [3]float64{math.Inf(-1), math.Inf(-1), math.Inf(-1)} // where a label may begin on each level
	for _, st := range t.Stops {
		x := a.x(st.At)
		s.rect("inkf", x-3, y(st.Needed), 6, base-y(st.Needed))
		half := wide(st.Words, 13) / 2
		for level := range free {
			if x-half >= free[level]+4 {
				s.text("s", x, base+14+14*float64(level), "middle", st.Words)
				free[level] = x + half
				break
			}
		}
	}
	s.path("thin", "M"+num(a.left)+" "+num(base)+"H"+num(a.right))
	s.text("d s", a.left-12, base+4, "end", "0")
}

// within cuts a word that is wider than so many px.
func within(word string, px float64) string {
	runes := []rune(word)
	for wide(string(runes), 13) > px && len(runes) > 1 {
		runes = runes[:len(runes)-1]
	}
	if len(runes) < len([]rune(word)) {
		return strings.TrimSpace(string(runes[:len(runes)-1])) + "\u2026"
	}
	return word
}
