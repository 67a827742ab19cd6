package drawing

import (
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Horizon is the sheet of a plant: when each belt comes due, the stops in front of it and the work placed in them, with the
// crew and the kit that work takes.
type Horizon struct {
	Sentence   string
	Now, Until time.Time
	Zone       *time.Location
	Groups     []HorizonGroup
	Rows       []HorizonMarks // crew, presses
	Slim       bool           // room is left beside the sheet for what changes
}

// HorizonGroup is a line with its stops and its belts.
type HorizonGroup struct {
	Name  string
	Stops []HorizonStop
	Belts []HorizonBelt
}

// HorizonStop is a stop of a line.
type HorizonStop struct {
	From, To time.Time
	Day      string // "12 Dec"
	Filled   string // "11/14 h"
	Asked    bool   // not agreed yet
}

// HorizonBelt is one row.
type HorizonBelt struct {
	Tag, Name, To string
	Glyph         Belt
	Taper         *Taper // nil: nothing is drawn
	Works         []HorizonWork
	Says          string
	Under         string // what a narrow sheet says below the row; "": Says
	Alarm         bool   // nothing stands in front of it
	Moved         bool   // a proposal changes it
}

// HorizonWork is an order on a belt's row.
type HorizonWork struct {
	Kind      WorkKind
	From, To  time.Time // of its stop
	Words     string    // "412 S2"
	Spoken    string    // the same for who does not see it
	Short     string    // the same for a narrow sheet
	Number    int64     // of the order
	Link      string
	Order     int64 // number of the order, for the keys; 0: it can neither be taken up nor unlocked
	Stop      int64
	TakesAway bool // the chance that is drawn is of what it remakes
	Choices   []HorizonChoice
	Of, Nth   int // of so many in one stop on this row the n-th; 0: it stands alone
}

// HorizonChoice is a stop that work may be moved to.
type HorizonChoice struct {
	Stop     int64
	From, To time.Time
}

// WorkKind is how work stands on the sheet.
type WorkKind int

// Ways in which work stands.
const (
	WorkPlaced WorkKind = iota // published
	WorkLocked                 // published, and a plan leaves it there
	WorkNew                    // a proposal puts it here
	WorkOld                    // a proposal takes it from here
	WorkNoFit                  // tried and does not fit
)

// HorizonMarks is a row at the foot: what people or kit do in each stop.
type HorizonMarks struct {
	Name, Says string
	Marks      []HorizonMark
}

// HorizonMark is one stop in such a row: so many people as strokes, or a box with the kit's name.
type HorizonMark struct {
	At     time.Time
	People int
	Kit    string
	Dashed bool // not published yet
}

// measures of the sheet.
const (
	hzRow   = 28.0
	hzGap   = 28.0 // from a group's last belt to the line under the next one's name
	hzTwo   = 13.0 // more for each further level of a group's labels
	hzMost  = 4    // levels of labels; what finds no room on any is in the table
	hzTop   = 40.0
	hzBlock = 22.0
	hzPage  = 820.0 // a sheet that is higher is printed on more than one page
)

// hzSheet is the sheet being drawn.
type hzSheet struct {
	svg
	a           axis
	width, says float64
	glyphX      float64
	h           *Horizon
}

// OfHorizon draws the wide sheet.
func OfHorizon(h Horizon) template.HTML {
	z := hzSheet{h: &h, width: 1392, says: 1248, glyphX: 176}
	z.a = axis{from: h.Now, until: h.Until, left: 312, right: 1236}
	if h.Slim {
		z.width, z.says, z.glyphX = 1004, 896, 164
		z.a.left, z.a.right = 286, 884
	}
	foot := z.foot()
	class := "hz wide"
	if foot > hzPage {
		class += " tall"
	}
	z.open(class, z.width, foot+6, true, h.Sentence)
	z.scale()
	y := hzTop
	for i := range h.Groups {
		y = z.group(&h.Groups[i], y)
	}
	z.marks(y + 22)
	z.path("st-ink", "M"+num(z.a.left)+" 36V"+num(foot))
	z.text("b s", z.a.left-2, 32, "end", z.day(h.Now))
	z.close()
	return z.html()
}

func (z *hzSheet) day(t time.Time) string { return t.In(z.h.Zone).Format("2 Jan") }

// foot is how high the sheet is.
func (z *hzSheet) foot() float64 {
	y := hzTop
	for i := range z.h.Groups {
		y += z.head(&z.h.Groups[i]) + hzRow*float64(len(z.h.Groups[i].Belts))
	}
	return y + 8 + 21*float64(len(z.h.Rows))
}

// head is the room above a group's belts.
func (z *hzSheet) head(g *HorizonGroup) float64 {
	return hzGap + hzTwo*float64(z.levels(g)-1)
}

// levels is on how many levels the labels of a group's stops stand.
func (z *hzSheet) levels(g *HorizonGroup) int {
	most := 0
	for _, l := range z.labels(g) {
		most = max(most, l.level)
	}
	return most + 1
}

// hzLabel is the label of a stop: 0 next to the belts, 1 to 3 above; -1 where there is no room.
type hzLabel struct {
	level int
	day   string
}

// labels sets the label of each stop of a group. One ends before the next one on its level, and before the line that leads down from
// one above. What is asked for says so where there is room; its dashes and its colour say it too.
func (z *hzSheet) labels(g *HorizonGroup) []hzLabel {
	var free [hzMost]float64
	for level := range free {
		free[level] = math.Inf(1)
	}
	out := make([]hzLabel, len(g.Stops))
	for i := len(g.Stops) - 1; i >= 0; i-- { // the left one of two that touch goes up
		st := &g.Stops[i]
		days := []string{st.Day}
		if st.Asked {
			days = []string{"asked for " + st.Day + ",", st.Day + ","}
		}
		x := z.a.x(st.From)
		out[i].level = -1
		for at := range hzMost * len(days) {
			level, day := at/len(days), days[at%len(days)]
			if x+wide(day+" "+st.Filled, 13)+4 < slices.Min(free[level:]) {
				out[i], free[level] = hzLabel{level, day}, x
				break
			}
		}
	}
	return out
}

// scale rules weeks and names months.
func (z *hzSheet) scale() {
	from := z.h.Now.In(z.h.Zone)
	week := 0
	for t := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, z.h.Zone); t.Before(z.h.Until); t = t.AddDate(0, 0, 7) {
		if x := z.a.x(t); week%2 == 0 {
			z.path("hairl", "M"+num(x)+" 31V40")
		} else {
			z.path("hairl", "M"+num(x)+" 35V40")
		}
		week++
	}
	z.monthNames(22, 10, 40)
	z.path("thin", "M"+num(z.a.left)+" 40H"+num(z.a.right))
	z.text("d s", 0, 32, "", "Conveyor")
	z.text("d s", z.glyphX, 32, "", "Belt and splices")
	z.text("d s", z.says, 18, "", "Chance of coming")
	z.text("d s", z.says, 32, "", "due first")
}

// monthNames writes each month where it begins, with the year in the first one and in January; names that would touch are
// left out.
func (z *hzSheet) monthNames(base, top, foot float64) {
	from := z.h.Now.In(z.h.Zone)
	free := math.Inf(-1)
	for m := time.Date(from.Year(), from.Month()+1, 1, 0, 0, 0, 0, z.h.Zone); m.Before(z.h.Until); m = m.AddDate(0, 1, 0) {
		x := z.a.x(m)
		z.path("lead", "M"+num(x)+" "+num(top)+"V"+num(foot))
		word := m.Format("Jan")
		if z.width > 400 && (m.Month() == time.January || math.IsInf(free, -1)) {
			word = m.Format("Jan 2006")
		}
		if x < free || x+wide(word, 15) > z.a.right+10 {
			continue
		}
		z.text("b", x+4, base, "", word)
		free = x + wide(word, 15) + 6
	}
}

// group draws a line from y on and returns where it ends.
func (z *hzSheet) group(g *HorizonGroup, y float64) float64 {
	y += z.head(g)
	foot := y + hzRow*float64(len(g.Belts))
	z.text("l b", 0, y-7, "", g.Name)
	z.path("thin", "M0 "+num(y)+"H"+num(z.width))
	labels := z.labels(g)
	for i := range g.Stops {
		z.stop(&g.Stops[i], labels[i], y, foot)
	}
	for i := range g.Belts {
		z.belt(&g.Belts[i], y+hzRow*float64(i))
	}
	return foot
}

// stop draws a stop over all rows of its line, with its day and how it is filled.
func (z *hzSheet) stop(st *HorizonStop, label hzLabel, y, foot float64) {
	if !st.From.Before(z.a.until) || !st.To.After(z.a.from) {
		return
	}
	x, w := z.box(st.From, st.To, stopLeast)
	class, ink := "win", "d s"
	if st.Asked {
		class, ink = "ask", "act s"
	}
	if label.level > 0 {
		z.path("lead", "M"+num(x+0.5)+" "+num(y-5-hzTwo*float64(label.level))+"V"+num(y-3.5))
	}
	z.rect(class, x, y-3.5, w, foot-y+1)
	if label.level < 0 {
		return
	}
	z.raw(`<text class="`, ink, `" x="`, num(x-1), `" y="`, num(y-7-hzTwo*float64(label.level)), `">`, escape(label.day), ` <tspan class="b">`, escape(st.Filled), `</tspan></text>`)
}

// box is where a stretch of time stands on the sheet, at least so wide.
func (z *hzSheet) box(from, to time.Time, least float64) (x, w float64) {
	x = math.Min(z.a.x(from), z.a.right-least)
	return x, math.Max(least, math.Min(z.a.x(to), z.a.right)-x)
}

// belt draws a row: its name, its loop, when it comes due, its work, and the finding.
func (z *hzSheet) belt(b *HorizonBelt, y float64) {
	mid := y + hzRow/2
	z.raw(`<a class="hot" href="`, escape(b.To), `"><rect class="ring" x="0" y="`, num(y+2), `" width="`, num(z.glyphX-6), `" height="24" fill-opacity="0"/><text class="t" x="4" y="`, num(y+19), `"><tspan font-weight="650">`, escape(b.Tag), `</tspan> `, escape(cutName(b.Name, z.glyphX-14-wide(b.Tag, 18))), `</text></a>`)
	z.glyph(b.Glyph, z.glyphX, y)
	z.path("hairl", "M0 "+num(y+hzRow)+"H"+num(z.width))
	z.course(b, mid)
	for i := range b.Works {
		z.work(&b.Works[i], mid, hzBlock, true)
	}
	z.finding(b, mid)
}

// cutName cuts a name to a width. A number at its end stays: of "Main line section 07" it is what tells one from the next.
func cutName(name string, px float64) string {
	r := []rune(name)
	most := int(px / 7)
	if len(r) <= most || most < 2 {
		return name
	}
	end := ""
	if i := strings.LastIndexByte(name, ' '); i > 0 && strings.ContainsAny(name[i:], "0123456789") && len([]rune(name[i:])) <= most/3 {
		end = name[i:]
	}
	keep := most - 1 - len([]rune(end))
	return strings.TrimRight(string(r[:keep]), " ") + "…" + end
}

// glyph sets a belt's loop into its cell.
func (z *hzSheet) glyph(b Belt, x, y float64) {
	z.raw(`<svg class="glyph" x="`, num(x), `" y="`, num(y), `" width="112" height="28" viewBox="0 0 `, num(rowW), " ", num(rowH), `" role="img" aria-label="`, escape(b.sentence()), `">`)
	dx, dy := b.ends()
	across := rowHeadX - rowTailX
	rise := 0.0
	if dx > 0 {
		rise = math.Max(-rowSteepest, math.Min(rowSteepest, dy/dx*across))
	}
	f := lay(b, rowSize, across, rise, 1)
	z.draw(f, rowTailX, rowMid+rise/2, false)
	z.seams(f, rowTailX, rowMid+rise/2)
	z.raw("</svg>")
}

func (z *hzSheet) finding(b *HorizonBelt, mid float64) {
	switch {
	case b.Alarm:
		z.rect("inkf", z.says-4, mid-10, z.width-z.says+4, 20)
		z.text("onink b s", z.says+4, mid+5, "", b.Says)
	case b.Moved:
		was, is, both := strings.Cut(b.Says, " to ")
		if !both || z.says+wide(b.Says, 13) <= z.width {
			z.text("act b s", z.says, mid+5, "", b.Says)
			break
		}
		z.text("act b s", z.says, mid-1, "", was+" to")
		z.text("act b s", z.says, mid+11, "", is)
	default:
		z.text("d s", z.says, mid+5, "", b.Says)
	}
}

// course draws when a belt comes due, solid up to the first work that takes the chance away and in outline after it.
func (z *hzSheet) course(b *HorizonBelt, mid float64) {
	if b.Taper == nil {
		return
	}
	cut := math.Inf(1)
	for _, w := range b.Works {
		if w.TakesAway && (w.Kind == WorkPlaced || w.Kind == WorkLocked || w.Kind == WorkNew) {
			cut = math.Min(cut, z.a.x(w.From))
		}
	}
	z.hzTaper(*b.Taper, mid, cut)
}

// hzPoint is a point of a taper's edge.
type hzPoint struct{ x, half float64 }

// edge is the upper edge of a taper from its 10 % to its 90 %, cut to the sheet.
func (z *hzSheet) edge(t Taper) []hzPoint {
	times, chances := []time.Time{t.At10, t.At50, t.At90}, []float64{0.1, 0.5, 0.9}
	var out []hzPoint
	for i, at := range times {
		if at.IsZero() {
			break
		}
		p := hzPoint{z.place(at), 2 + 10*chances[i]}
		if n := len(out); n > 0 && p.x < out[n-1].x+leastBody/2 {
			p.x = out[n-1].x + leastBody/2
		}
		out = append(out, p)
	}
	return out
}

// place is where an instant stands, beyond the sheet's edges too.
func (z *hzSheet) place(t time.Time) float64 {
	share := float64(t.Sub(z.a.from)) / float64(z.a.until.Sub(z.a.from))
	return z.a.left + share*(z.a.right-z.a.left)
}

func (z *hzSheet) hzTaper(t Taper, mid, cut float64) {
	e := z.edge(t)
	if len(e) == 0 || e[0].x > z.a.right {
		z.path("w-lead", "M"+num(math.Max(z.a.left, z.a.right-64))+" "+num(mid)+"H"+num(z.a.right))
		return
	}
	if e[0].x > z.a.left {
		lead := math.Max(z.a.left, e[0].x-(128*(z.a.right-z.a.left)/924))
		z.path("w-lead", "M"+num(lead)+" "+num(mid)+"H"+num(math.Min(e[0].x, cut)))
	} else {
		z.path("thin", "M"+num(z.a.left-7)+" "+num(mid)+"h-5m3-3l-3 3l3 3")
	}
	end := math.Min(z.a.right, cut)
	for i, class := range []string{"w-lo", "w-hi"} {
		if i+1 < len(e) {
			z.body(class, e[i], e[i+1], mid, z.a.left, end)
		}
	}
	if len(e) < 3 && e[len(e)-1].x < end && len(e) > 0 { // the rest lies beyond what was looked at
		z.path("w-lead", "M"+num(e[len(e)-1].x)+" "+num(mid)+"H"+num(end))
	}
	z.ticks(e, mid, end)
	if cut < z.a.right {
		z.ghost(e, mid, math.Max(cut, z.a.left))
	} else if e[len(e)-1].x > z.a.right {
		z.path("thin", "M"+num(z.a.right+2)+" "+num(mid-4)+"l5 4l-5 4")
	}
}

// body fills a taper between two points, within bounds.
func (z *hzSheet) body(class string, p, q hzPoint, mid, from, to float64) {
	a, b := math.Max(p.x, from), math.Min(q.x, to)
	if b <= a {
		return
	}
	z.wedge(class, a, b, mid, between(p, q, a), between(p, q, b))
}

// between is the half height of an edge at x.
func between(p, q hzPoint, x float64) float64 {
	if q.x <= p.x {
		return q.half
	}
	return p.half + (q.half-p.half)*(x-p.x)/(q.x-p.x)
}

func (z *hzSheet) ticks(e []hzPoint, mid, end float64) {
	for i, p := range e {
		if p.x < z.a.left || p.x > end {
			continue
		}
		switch i {
		case 0:
			z.path("thin", "M"+num(p.x)+" "+num(mid-6)+"V"+num(mid+6))
		case 1:
			z.path("thin", "M"+num(p.x)+" "+num(mid-11)+"V"+num(mid+11))
		default:
			z.path("w-end", "M"+num(p.x)+" "+num(mid-12)+"V"+num(mid+12))
		}
	}
}

// ghost draws in outline what work takes away.
func (z *hzSheet) ghost(e []hzPoint, mid, from float64) {
	var up, down string
	put := func(x, half float64) {
		if up == "" {
			up = "M" + num(x) + " " + num(mid-half)
		} else {
			up += "L" + num(x) + " " + num(mid-half)
		}
		down = "L" + num(x) + " " + num(mid+half) + down
	}
	for i := 0; i+1 < len(e); i++ {
		p, q := e[i], e[i+1]
		a, b := math.Max(p.x, from), math.Min(q.x, z.a.right)
		if b <= a {
			continue
		}
		put(a, between(p, q, a))
		put(b, between(p, q, b))
	}
	if up != "" {
		z.path("w-off", up+down)
	}
}

// work draws an order in its stop.
func (z *hzSheet) work(w *HorizonWork, mid, height float64, worded bool) {
	if w.From.IsZero() || !w.From.Before(z.a.until) || !w.To.After(z.a.from) {
		return
	}
	least := stopLeast
	if !worded {
		least = 7
	}
	x, wd := z.box(w.From, w.To, least)
	z.raw(`<a class="hot" href="`, escape(w.Link), `" aria-label="`, escape(w.Spoken), `"`)
	switch {
	case w.Order == 0 || !worded:
	case w.Kind == WorkLocked:
		z.raw(` data-locked="`, strconv.FormatInt(w.Order, 10), `" data-stop="`, strconv.FormatInt(w.Stop, 10), `"`)
	case w.Kind == WorkPlaced || w.Kind == WorkNew:
		if w.Kind == WorkPlaced {
			z.raw(` data-lock`)
		}
		z.raw(` data-order="`, strconv.FormatInt(w.Order, 10), `" data-stop="`, strconv.FormatInt(w.Stop, 10), `" data-right="`, num(z.a.right), `" data-stops="`, z.choices(w.Choices), `"`)
	}
	z.raw(">")
	y := mid - height/2
	if w.Of > 1 {
		height /= float64(w.Of)
		y += height * float64(w.Nth)
	}
	ink := "b s halo"
	switch w.Kind {
	case WorkPlaced, WorkLocked:
		z.rect("inkf", x, y, wd, height)
	case WorkNew:
		z.rect("actf", x, y, wd, height)
		ink = "act b s halo"
	case WorkOld:
		z.rect("dash", x-2.5, y, wd+5, height) // wider than its stop, whose edges would hide it
	case WorkNoFit:
		z.rect("nofit", x, y, wd, height)
		z.path("thin nof", "M"+num(x)+" "+num(y)+"l"+num(wd)+" "+num(height)+"m0-"+num(height)+"l-"+num(wd)+" "+num(height))
		ink = "fault b s halo"
	}
	if w.Kind == WorkLocked {
		z.path("onlock", "M"+num(x+wd/2-3)+" "+num(mid-1)+"h6v5h-6zm1 0v-2a2 2 0 0 1 4 0v2")
	}
	z.rect("ring", x-3, y-3, wd+6, height+6)
	z.raw("</a>")
	if worded && w.Words != "" {
		anchor, at := "", x+wd+5
		if at+wide(w.Words, 14) > z.a.right {
			anchor, at = "end", x-5
		}
		z.text(ink, at, mid+4.5, anchor, w.Words)
	}
}

// choices writes where each choice stands: its number, left edge and width.
func (z *hzSheet) choices(list []HorizonChoice) string {
	out := ""
	for _, c := range list {
		if c.From.Before(z.a.until) && c.To.After(z.a.from) {
			x, w := z.box(c.From, c.To, stopLeast)
			out += strconv.FormatInt(c.Stop, 10) + "," + num(x) + "," + num(w) + ";"
		}
	}
	return out
}

// marks draws what crew and kit do.
func (z *hzSheet) marks(y float64) {
	for i := range z.h.Rows {
		r := &z.h.Rows[i]
		if i > 0 {
			z.path("thin", "M0 "+num(y-16)+"H"+num(z.width))
		}
		z.text("l b", 0, y, "", r.Name)
		z.text("d s", 88, y, "", cutWords(r.Says, z.a.left-92))
		free := math.Inf(-1)
		for _, m := range r.Marks {
			x := z.a.x(m.At)
			switch {
			case m.At.After(z.a.until):
			case x+markShift < free: // where much happens at once a short stroke says that something does; the table says what
				z.rect("inkf", free, y-5, 1.5, 7)
				free += 4
			default:
				free = z.mark(m, math.Max(x, free), y)
			}
		}
		y += 21
	}
}

// markShift is how far a mark may stand behind its stop to keep clear of the one before.
const markShift = 22

// cutWords cuts a text to a width at a word.
func cutWords(text string, px float64) string {
	words := strings.Split(text, " ")
	for n := len(words); n > 1; n-- {
		if out := strings.Join(words[:n], " "); wide(out, 14) <= px {
			return out + map[bool]string{true: "", false: " …"}[n == len(words)]
		}
	}
	return cutName(text, px)
}

// mark draws one and returns where the next may begin.
func (z *hzSheet) mark(m HorizonMark, x, y float64) float64 {
	if m.Kit != "" {
		w := math.Max(26, wide(m.Kit, 14)+8)
		z.raw(`<rect class="thin" x="`, num(x-3), `" y="`, num(y-12), `" width="`, num(w), `" height="15"`)
		if m.Dashed {
			z.raw(` stroke-dasharray="3 3"`)
		}
		z.raw("/>")
		z.text("s b", x-3+w/2, y, "middle", m.Kit)
		return x + w
	}
	n := min(m.People, 6)
	for k := range n {
		z.rect("inkf", x+6*float64(k), y-12, 4, 14)
	}
	z.text("d s", x+6*float64(n)+3, y, "", strconv.Itoa(m.People))
	return x + 6*float64(n) + 14
}
