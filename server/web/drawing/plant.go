package drawing

import (
	"html/template"
	"math"
)

// Line is a line of a plant with its belts in the order the material takes.
type Line struct {
	Name  string
	Belts []Belt
}

// Plant is the picture of a plant as its belts.
type Plant struct {
	SVG       template.HTML
	Stretched bool // some conveyors were too short to be seen at the scale of the others and are drawn longer
}

const (
	plantW    = 1392.0
	lineGap   = 40.0 // between lines in a row
	beltGap   = 15.0 // between head and the next tail
	edge      = 12.0
	shortest  = 34.0 // a conveyor is drawn at least this long
	labelFrom = 0.9  // splices from this share on are labelled
	maxPerM   = 40.0
)

// spot is a belt placed in the picture.
type spot struct {
	f      *figure
	ox, oy float64
}

// strip is a line, or as much of it as fits into a row.
type strip struct {
	name       string
	belts      []Belt
	dx, dy     []float64
	w, up, low float64 // width; highest and lowest centre above the first tail
}

// OfPlant draws every belt of a plant side on, all at one scale, line by line.
func OfPlant(lines []Line, scaleWords func(perM float64) (metres float64, word string)) Plant {
	perM := scaleOf(lines)
	var p Plant
	var strips []strip
	belts := 0
	for _, l := range lines {
		belts += len(l.Belts)
		strips = append(strips, stripsOf(l, perM, &p.Stretched)...)
	}
	body := svg{b: make([]byte, 0, roomOfBelt*belts)}
	h := body.rows(strips, perM)
	s := svg{b: make([]byte, 0, len(body.b)+1000)}
	s.open("glyph plant", plantW, h, true, "Every belt of the plant in side elevation, all at one scale")
	s.b = append(s.b, body.b...)
	if metres, word := scaleWords(perM); metres > 0 {
		s.bar(metres*perM, word)
	}
	s.close()
	p.SVG = s.html()
	return p
}

// roomOfBelt is about how many bytes a belt's drawing takes.
const roomOfBelt = 1500

// scaleOf chooses pixels per metre: the plant in two rows where its belts stay long enough to be read, else
// as many rows as that takes.
func scaleOf(lines []Line) float64 {
	total, n, longest := 0.0, 0.0, 0.0
	for _, l := range lines {
		for _, b := range l.Belts {
			dx, _ := b.ends()
			total += math.Abs(dx)
			longest = math.Max(longest, math.Abs(dx))
			n++
		}
	}
	if total == 0 {
		return 1
	}
	room := 2*plantW*0.92 - n*beltGap - float64(len(lines))*lineGap
	readable := 62 * n / total // pixels per metre at which the average conveyor is 62 pixels long
	perM := math.Max(room/total, readable)
	for _, l := range lines {
		// A line that would be cut at this scale is shown whole at a smaller one, while its belts stay readable.
		if whole := l.perMWhole(); whole < perM && whole > 0.6*readable {
			perM = whole
		}
	}
	return math.Min(math.Min(perM, (plantW-3*edge)/longest), maxPerM)
}

// perMWhole is the scale at which a line just fits into a row.
func (l Line) perMWhole() float64 {
	total := 0.0
	for _, b := range l.Belts {
		dx, _ := b.ends()
		total += math.Abs(dx)
	}
	if total == 0 {
		return maxPerM
	}
	return (plantW - 3*edge - float64(len(l.Belts))*beltGap) / total
}

// stripsOf cuts a line where it does not fit into a row.
func stripsOf(l Line, perM float64, stretched *bool) []strip {
	cur := strip{name: l.Name, w: 2 * edge}
	var out []strip
	y := 0.0
	for _, b := range l.Belts {
		dx, dy := b.ends()
		px, py := math.Abs(dx)*perM, dy*perM
		if px < shortest {
			py, px = py*shortest/math.Max(px, 1), shortest
			*stretched = true
		}
		if len(cur.belts) > 0 && cur.w+px > plantW {
			out = append(out, cur)
			cur, y = strip{name: l.Name + ", on", w: 2 * edge}, 0
		}
		if math.Abs(y+py) > 90 {
			y = 0 // a long climb starts again at the foot of the row
		}
		py = math.Max(-90, math.Min(90, py))
		cur.belts = append(cur.belts, b)
		cur.dx, cur.dy = append(cur.dx, px), append(cur.dy, py)
		cur.w += px + beltGap
		y += py
		cur.up, cur.low = math.Max(cur.up, y), math.Min(cur.low, y)
	}
	return append(out, cur)
}

// rows sets strips into rows from left to right and returns the height of all.
func (s *svg) rows(strips []strip, perM float64) float64 {
	top := 0.0
	for i := 0; i < len(strips); {
		n, w, up, low := 0, 0.0, 0.0, 0.0
		for i+n < len(strips) && (n == 0 || w+strips[i+n].w <= plantW) {
			w += strips[i+n].w + lineGap/2
			up, low = math.Max(up, strips[i+n].up), math.Min(low, strips[i+n].low)
			n++
		}
		foot := top + math.Max(88, 56+up)
		x := 0.0
		for _, st := range strips[i : i+n] {
			s.strip(st, x, top, foot, perM)
			x += st.w + lineGap/2
		}
		top = foot - low + 38
		i += n
	}
	return math.Max(top, 60)
}

func (s *svg) strip(st strip, x, top, foot, perM float64) {
	s.text("l b", x+6, top+26, "", st.name)
	ox, y := x+edge, 0.0
	var spots []spot
	var labels []*label
	for i, b := range st.belts {
		if math.Abs(y+st.dy[i]) > 90 {
			y = 0
		}
		sp := spot{f: lay(b, plantSize, st.dx[i], st.dy[i], perM), ox: ox, oy: foot - y}
		spots = append(spots, sp)
		labels = append(labels, sp.labels()...)
		ox += st.dx[i] + beltGap
		y += st.dy[i]
	}
	labels = settle(labels, 2)
	for _, sp := range spots {
		s.spot(sp, labels)
	}
}

// labels of an overview stand above, for the splices from labelFrom on.
func (sp spot) labels() []*label {
	var out []*label
	for _, c := range sp.f.belt.Splices {
		if !c.Used.Known || c.Used.Share < labelFrom || c.PositionM == nil {
			continue
		}
		x, y, _, _ := sp.f.at(*c.PositionM)
		_, over := sp.f.line(x / math.Max(sp.f.head.x, 1))
		over = math.Min(y, over) // above the carry side too where the mark hangs with the take-up
		out = append(out, &label{x: sp.ox + x, y: sp.oy + over - 26, from: sp.oy + y - 8, w: wide(c.Used.Text(), 14), h: 15, step: 15, rank: rankOf(c.Used.Band()), splice: c})
	}
	return out
}

// spot writes one belt as a link with its tag and labels.
func (s *svg) spot(sp spot, labels []*label) {
	f := sp.f
	s.raw(`<a class="hot" href="`, escape(f.belt.To), `"><title>`, escape(f.belt.sentence()), `</title>`)
	lowest := math.Max(-f.low.YMM, 0) + 6
	s.raw(`<rect class="ring" x="`, num(sp.ox+f.low.XMM-5), `" y="`, num(sp.oy-f.high.YMM-9), `" width="`, num(f.high.XMM-f.low.XMM+10),
		`" height="`, num(f.high.YMM+lowest+18), `" fill-opacity="0"/>`)
	s.draw(f, sp.ox, sp.oy, false)
	s.seams(f, sp.ox, sp.oy)
	x := f.head.x / 2
	if f.takeUp >= 0 && math.Abs(f.wheels[f.takeUp].x-x) < 22 {
		x = f.wheels[f.takeUp].x + 26
	}
	_, y := f.line(x / math.Max(f.head.x, 1))
	s.text("b", sp.ox+x, sp.oy+y+24, "middle", f.belt.Tag)
	for _, l := range labels {
		if !holds(f.belt.Splices, l.splice) {
			continue
		}
		up := float64(l.level) * l.step
		s.path("lead", "M"+num(l.x)+" "+num(l.from)+"V"+num(l.y+3-up))
		s.text("b halo", l.x, l.y-up, "middle", l.splice.Used.Text())
	}
	s.raw("</a>")
}

// holds tells whether a label's splice is one of these: its place is kept by reference.
func holds(all []Splice, one Splice) bool {
	for _, sp := range all {
		if sp.PositionM == one.PositionM && sp.Used == one.Used {
			return true
		}
	}
	return false
}

// bar draws the scale at the right of the first row.
func (s *svg) bar(px float64, word string) {
	x := plantW - edge - px
	s.path("thin", "M"+num(x)+" 36v6h"+num(px)+"v-6")
	s.text("d s halo", x+px/2, 33, "middle", word)
}
