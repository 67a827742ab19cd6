package drawing

import (
	"html/template"
	"math"
	"time"
)

// RouteWeek is the visits of crews over some days: a row a crew, hours to scale.
type RouteWeek struct {
	Sentence string
	From, To time.Time
	Zone     *time.Location
	Rows     []RouteRow
}

// RouteRow is a crew with its visits and drives.
type RouteRow struct {
	Name, Note string
	Visits     []RouteVisit
	Drives     []RouteDrive
}

// RouteVisit is work at a plant.
type RouteVisit struct {
	From, To  time.Time
	Head, Sub string
	Proposed  bool // not published yet: drawn as an outline
}

// RouteDrive is a way; Home marks the end that is the crew's home.
type RouteDrive struct {
	From, To             time.Time
	Words                string
	HomeFirst, HomeAfter bool
}

const (
	routeW    = 1392.0
	routeLeft = 150.0
	routeRow  = 90.0
)

// OfRoutes draws the week.
func OfRoutes(w RouteWeek) template.HTML {
	a := axis{from: w.From, until: w.To, left: routeLeft, right: routeW - 10}
	foot := 28 + routeRow*float64(len(w.Rows))
	var s svg
	s.open("hz wide", routeW, foot+4, false, w.Sentence)
	for d := w.From; d.Before(w.To); d = d.AddDate(0, 0, 1) {
		x := a.x(d)
		s.path("hairl", "M"+num(x)+" 20V"+num(foot))
		s.text("b s", x+3, 14, "", d.In(w.Zone).Format("Mon 2 Jan"))
	}
	s.path("thin", "M"+num(routeLeft)+" 20H"+num(a.right))
	for i, row := range w.Rows {
		s.routeRow(row, a, 28+routeRow*float64(i))
	}
	s.close()
	return s.html()
}

func (s *svg) routeRow(row RouteRow, a axis, y float64) {
	mid := y + 44
	s.text("b", 0, mid-4, "", row.Name)
	s.text("d s", 0, mid+12, "", row.Note)
	s.path("hairl", "M0 "+num(y+routeRow-2)+"H"+num(a.right))
	s.raw(`<path class="thin" stroke-dasharray="1 4" d="M`, num(a.left), " ", num(mid), "H", num(a.right), `"/>`)
	for _, d := range row.Drives {
		x, to := a.x(d.From), a.x(d.To)
		s.path("st-ink", "M"+num(x)+" "+num(mid)+"H"+num(math.Max(to, x+2)))
		if (x+to)/2 < a.right-24 {
			s.text("d s halo", (x+to)/2, mid+38, "middle", d.Words)
		}
		if d.HomeFirst {
			s.circle("win", x, mid, 5)
		}
		if d.HomeAfter {
			s.circle("win", to, mid, 5)
		}
	}
	for _, v := range row.Visits {
		x, to := a.x(v.From), a.x(v.To)
		if v.Proposed {
			s.rect("washf", x, mid-11, math.Max(to-x, 5), 22)
			s.rect("actd", x, mid-11, math.Max(to-x, 5), 22)
		} else {
			s.rect("inkf", x, mid-11, math.Max(to-x, 5), 22)
		}
		at, anchor := (x+to)/2, "middle"
		if at > a.right-80 {
			at, anchor = a.right, "end"
		}
		s.text("s halo", at, mid-18, anchor, v.Head)
		s.text("d s halo", at, mid+26, anchor, v.Sub)
	}
}
