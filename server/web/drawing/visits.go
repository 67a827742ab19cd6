package drawing

import (
	"fmt"
	"html/template"
	"time"
)

// VisitWeek is how many visits a week needs.
type VisitWeek struct {
	From   time.Time
	Visits int
}

// The sheet of the weeks ahead, in units of the drawing.
const (
	visitsW, visitsH = 500.0, 154.0
	visitsLeft       = 40.0
	visitsFoot       = 130.0
	visitsTop        = 20.0
)

// OfVisits draws how many visits each week needs, as bars over a line of weeks.
func OfVisits(weeks []VisitWeek, sentence string) template.HTML {
	most := 4
	for _, w := range weeks {
		most = max(most, w.Visits)
	}
	y := func(n int) float64 { return visitsFoot - (visitsFoot-visitsTop)*float64(n)/float64(most) }
	var s svg
	s.open("hz", visitsW, visitsH, false, sentence)
	for _, n := range []int{0, (most + 1) / 2, most} {
		s.path("hairl", "M"+num(visitsLeft)+" "+num(y(n))+"H"+num(visitsW-10))
		s.text("d s", visitsLeft-6, y(n)+4, "end", fmt.Sprint(n))
	}
	step := (visitsW - 10 - visitsLeft) / float64(max(1, len(weeks)))
	for i, w := range weeks {
		x := visitsLeft + 2 + step*float64(i)
		if w.Visits > 0 {
			s.rect("inkf", x, y(w.Visits), step*0.7, visitsFoot-y(w.Visits))
		}
		if i%5 == 0 && x < visitsW-50 {
			s.text("d s", x, visitsFoot+16, "", w.From.Format("2 Jan"))
		}
	}
	s.close()
	return s.html()
}

// OfLess draws a figure without something as an outline and with it as a solid bar inside, to the scale of the largest of its table. The
// words stand beside it.
func OfLess(without, with, most float64) template.HTML {
	const width, height = 112.0, 14.0
	var s svg
	s.raw(`<svg class="less" viewBox="0 0 112 14" width="112" height="14" aria-hidden="true">`)
	long := func(v float64) float64 { return (width - 1) * min(1, max(0, v/most)) }
	s.rect("w-off", 0.5, 1, long(without), height-2)
	s.rect("inkf", 0.5, 1, long(with), height-2)
	s.close()
	return s.html()
}
