package drawing

import (
	"html/template"
	"math"
	"slices"
	"strings"
)

// Detail is a belt as its conveyor's page shows it, with words in the plant's units.
type Detail struct {
	Belt
	PulleyWords []string // beside each pulley, in the order of Belt.Pulleys
	SpeedWords  string   // "2.6 m/s, once round in 96.5 s"
	Dimension   string   // "118 m centres, rise 27.3 m"
	TakeUpWords []string // up to two lines beside a hanging take-up
	TakeUpShare float64  // used share of its travel; below zero: not known
	Highlight   string   // Used.Name of the splice whose page it is; the others are drawn without notes
}

// Conveyor is the loop across a conveyor's page.
type Conveyor struct {
	SVG   template.HTML
	Exact bool // pulleys are three times larger than to scale; otherwise they are only drawn larger
}

const (
	pageW    = 968.0
	pageLeft = 84.0
	pageRun  = 752.0
	pageRise = 180.0
	room     = 100.0 // above the highest point, for labels
)

// OfConveyor draws a belt across its conveyor's page: pulleys with their words, zero mark, direction and
// speed, centres, splices with labels.
func OfConveyor(d Detail) Conveyor {
	dx, dy := d.ends()
	perM := pageRun / math.Max(math.Abs(dx), 1e-6)
	if math.Abs(dy)*perM > pageRise {
		perM = pageRise / math.Abs(dy)
	}
	width := math.Max(math.Abs(dx)*perM, 120)
	f := lay(d.Belt, pageSize, width, dy*perM, perM)
	ox := pageLeft + (pageRun-width)/2
	oy := room + math.Max(0, dy*perM)
	foot := oy + math.Max(-f.low.YMM+48, 62)
	if f.takeUp >= 0 {
		foot += 6
	}
	var s svg
	s.open("", pageW, foot+12, true, d.sentence())
	s.draw(f, ox, oy, true)
	s.takeUpBar(d, f, ox, oy)
	s.zeroMark(f, ox, oy, true)
	labels := s.splices(f, ox, oy)
	s.pulleyWords(d, f, ox, oy, labels)
	s.arrow(d.SpeedWords, f, ox, oy, labels)
	s.dimension(d.Dimension, f, ox, foot)
	s.close()
	return Conveyor{SVG: s.html(), Exact: f.exact}
}

// pulleyWords stand where the pulley leaves room: right of the head, under tail and take-up, beside the rest.
func (s *svg) pulleyWords(d Detail, f *figure, ox, oy float64, labels []*label) {
	said := map[string]bool{}
	for i, w := range f.wheels {
		words := d.words(w, i)
		if words == "" {
			continue
		}
		x, y := ox+w.x, oy+w.y
		switch {
		case i == 0:
			s.text("d s halo", x-4, y+30, "middle", words)
		case i == 1:
			s.text("d s halo", x+w.r+8, y+4, "", words)
		case i == f.takeUp:
			s.text("d s halo", x+12, y+w.r+36, "end", words)
		case said[words]: // the second of two bends needs no words of its own
		case w.t > 0.85:
			s.text("d s halo", x+8, y+24, "", words)
		default:
			if f.takeUp >= 0 && w.x < f.wheels[f.takeUp].x {
				continue // its words stand at its fellow on the other side of the take-up
			}
			if slices.ContainsFunc(labels, func(l *label) bool { return l.hides(x+14, y+15, wide(words, 13)) }) {
				continue // a splice's label has the room; the table of pulleys names it
			}
			s.text("d s halo", x+14, y+15, "", words)
		}
		said[words] = true
	}
}

// words finds the words of the i-th pulley drawn: tail, head, then the rest in belt order.
func (d Detail) words(w wheel, i int) string {
	n := 1
	for k, p := range d.Pulleys {
		if k >= len(d.PulleyWords) {
			return ""
		}
		end := i < 2 && p.Role == w.pulley.Role
		if i >= 2 && !isEnd(p) {
			n++
			end = n == i
		}
		if end {
			return d.PulleyWords[k]
		}
	}
	return ""
}

// zeroMark is drawn where the belt leaves the tail on the carry side.
func (s *svg) zeroMark(f *figure, ox, oy float64, named bool) {
	p := f.path.Run(0).From
	x, y := ox+p.XMM, oy-p.YMM
	s.path("thin", "M"+num(x-3)+" "+num(y-11)+"l3 9l3 -9z")
	if named {
		s.text("d s halo", x-6, y-17, "end", "belt zero mark")
	}
}

// splices draws marks and labels; every splice is a link of its own.
func (s *svg) splices(f *figure, ox, oy float64) []*label {
	var above, below, aside []*label
	angles := map[*label]float64{}
	lost := 0.0
	for _, sp := range byBand(f.belt.Splices) {
		l := &label{w: math.Max(wide(sp.Used.Text(), 17), wide(sp.Note, 13)) + 4, h: 32, step: 34, rank: rankOf(sp.Used.Band()), splice: sp}
		if sp.PositionM == nil {
			l.x, l.y = ox+60+lost*120, oy+math.Max(44, -f.low.YMM+20)
			lost++
			s.mark(l, 0, f.sz.seam, false)
			s.text("d s halo", l.x+16, l.y+4, "", sp.Used.Text()+", place not known")
			s.raw("</a>")
			continue
		}
		x, y, angle, carry := f.at(*sp.PositionM)
		l.x, l.y = ox+x, oy+y
		angles[l] = angle
		_, ly := f.line(x / math.Max(f.head.x, 1))
		l.beside = y > ly+2.5*f.sz.headR && f.takeUp >= 0 // hanging with the take-up
		switch {
		case l.beside:
			aside = append(aside, l)
		case carry:
			above = append(above, l)
		default:
			l.step = -l.step
			l.leanAway(f, ox)
			below = append(below, l)
		}
	}
	kept := map[*label]bool{}
	written := append(settle(append([]*label(nil), above...), 1), settle(append([]*label(nil), below...), 1)...)
	if len(aside) > 0 {
		written = append(written, aside[len(aside)-1]) // beside the take-up is room for one: the most used
	}
	for _, l := range written {
		kept[l] = true
	}
	for _, l := range append(append(above, below...), aside...) {
		s.mark(l, angles[l], f.sz.seam, true)
		if kept[l] {
			s.label(l)
		}
		s.raw("</a>")
	}
	return written
}

// mark opens a splice's link and draws its mark; the caller closes the link.
func (s *svg) mark(l *label, angle, scale float64, placed bool) {
	sp := l.splice
	says := sp.Used.Text()
	if sp.Note != "" {
		says += ", " + sp.Note
	}
	if !placed {
		says += ", place not known"
	}
	s.raw(`<a class="hot" href="`, escape(sp.To), `" aria-label="`, escape(says), `" data-say="`, escape(says), `">`)
	s.raw(`<circle class="ring" cx="`, num(l.x), `" cy="`, num(l.y), `" r="17" fill-opacity="0"/>`)
	s.seam(sp.Used, l.x, l.y, angle, scale)
}

// label writes a splice's name and note: above the carry side, below the return side, beside a vertical run.
func (s *svg) label(l *label) {
	up := float64(l.level) * l.step
	name, note := l.splice.Used.Text(), l.splice.Note
	if l.splice.Used.Name != "" && l.splice.Used.Known {
		name = l.splice.Used.Name + ", " + strings.TrimPrefix(name, l.splice.Used.Name+" ")
	}
	switch {
	case l.beside:
		s.path("lead", "M"+num(l.x-20)+" "+num(l.y)+"h-15")
		s.text("b l halo", l.x-40, l.y+1, "end", name)
		s.text("d s halo", l.x-40, l.y+16, "end", note)
	case l.step > 0:
		s.path("lead", "M"+num(l.x)+" "+num(l.y-17)+"V"+num(l.y-32-up))
		if note == "" {
			s.text("b l halo", l.x, l.y-37-up, "middle", name)
			return
		}
		s.text("b l halo", l.x, l.y-52-up, "middle", name)
		s.text("d s halo", l.x, l.y-37-up, "middle", note)
	default:
		s.path("lead", "M"+num(l.x)+" "+num(l.y+17)+"V"+num(l.y+32-up))
		anchor, x := "middle", l.x
		if l.anchor != "" {
			anchor, x = l.anchor, l.x+map[string]float64{"start": -4, "end": 4}[l.anchor]
		}
		s.text("b l halo", x, l.y+48-up, anchor, name)
		s.text("d s halo", x, l.y+62-up, anchor, note)
	}
}

// leanAway writes a label on the return side away from a take-up that hangs beside it.
func (l *label) leanAway(f *figure, ox float64) {
	if f.takeUp < 0 {
		return
	}
	take := f.wheels[f.takeUp]
	away := l.x - (ox + take.x)
	if math.Abs(away) > l.w/2+take.r+44 {
		return
	}
	l.anchor = "start"
	if away < 0 {
		l.anchor = "end"
	}
}

// hides tells whether a label would be written over a word at x, y.
func (l *label) hides(x, y, w float64) bool {
	if l.step > 0 || l.beside {
		return false
	}
	left := l.x - l.w/2
	switch l.anchor {
	case "start":
		left = l.x - 4
	case "end":
		left = l.x + 4 - l.w
	}
	return x < left+l.w+4 && x+w > left-4 && y > l.y+24 && y < l.y+76
}

// arrow shows the way and the speed of the belt, above the carry side where no label stands.
func (s *svg) arrow(words string, f *figure, ox, oy float64, labels []*label) {
	if words == "" {
		return
	}
	c := f.path.Run(0)
	half := math.Max(wide(words, 13)/2, 30)
	for _, t := range []float64{0.42, 0.6, 0.3, 0.75, 0.2} {
		x := ox + c.From.XMM + t*(c.To.XMM-c.From.XMM)
		y := oy - (c.From.YMM + t*(c.To.YMM-c.From.YMM))
		if !free(labels, x, half) || t == 0.2 && half > 90 {
			continue
		}
		angle := num(-c.DirectionRad * 180 / math.Pi)
		s.raw(`<g transform="translate(`, num(x), " ", num(y), ") rotate(", angle, `)">`)
		s.path("lead", "M-26 -9H26m-8 -4l8 4l-8 4")
		s.text("d s halo", 0, -16, "middle", words)
		s.raw("</g>")
		return
	}
	s.text("d s halo", pageW-6, 16, "end", words) // no room along the belt
}

func free(labels []*label, x, half float64) bool {
	for _, l := range labels {
		if l.step > 0 && math.Abs(l.x-x) < half+l.w/2+10 {
			return false
		}
	}
	return true
}

func (s *svg) dimension(words string, f *figure, ox, y float64) {
	if words == "" {
		return
	}
	to := ox + f.head.x
	s.path("thin", "M"+num(ox)+" "+num(y-5)+"v10M"+num(ox)+" "+num(y)+"H"+num(to)+"M"+num(to)+" "+num(y-5)+"v10")
	s.text("d s halo", (ox+to)/2, y+4, "middle", words)
}

// takeUpBar shows how much of the travel of a hanging take-up is used.
func (s *svg) takeUpBar(d Detail, f *figure, ox, oy float64) {
	if f.takeUp < 0 || len(d.TakeUpWords) == 0 {
		return
	}
	w := f.wheels[f.takeUp]
	x, y := ox+w.x+30, oy+w.y-12
	if d.TakeUpShare >= 0 {
		s.path("thin", "M"+num(x)+" "+num(y)+"v56M"+num(x-4)+" "+num(y)+"h8M"+num(x-4)+" "+num(y+56)+"h8")
		s.rect("inkf", x-3, y, 6, 56*math.Min(d.TakeUpShare, 1))
	}
	for i, words := range d.TakeUpWords {
		s.text(map[bool]string{true: "s halo", false: "d s halo"}[i == 0], x+10, y+36+float64(i)*16, "", words)
	}
}
