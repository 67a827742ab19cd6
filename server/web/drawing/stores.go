package drawing

import (
	"html/template"
	"math"
	"slices"
	"strconv"
	"time"
)

// ShelfStrip is lots held against time: a grey bar as long as a lot is good, a stroke that ends it, a block for each order
// that takes from it on the day of its stop.
type ShelfStrip struct {
	Sentence string
	From, To time.Time
	Now      time.Time
	Zone     *time.Location
	Groups   []ShelfGroup
	Stops    []ShelfStop
}

// ShelfGroup is the lots of an item.
type ShelfGroup struct {
	Name string
	Lots []ShelfLot
}

// ShelfLot is one lot.
type ShelfLot struct {
	Words      string // "lot 7702, 14 kg"
	Until      time.Time
	UntilWords string // "good to 9 Jan 2027"
	Takes      []ShelfTake
}

// ShelfTake is what an order takes; Missing is one that finds nothing fit, with why.
type ShelfTake struct {
	At      time.Time
	Missing bool
	Words   string
}

// ShelfStop is the day of an order's stop.
type ShelfStop struct {
	At    time.Time
	Words string
}

const (
	shelfW    = 940.0
	shelfLeft = 150.0
	shelfRow  = 39.0
)

// OfShelf draws the lots.
func OfShelf(g ShelfStrip) template.HTML {
	a := axis{from: g.From, until: g.To, left: shelfLeft, right: shelfW - 12}
	rows := 0
	for _, gr := range g.Groups {
		rows += len(gr.Lots)
	}
	foot := 26 + shelfRow*float64(rows)
	var s svg
	s.open("", shelfW, foot+24, false, g.Sentence)
	s.monthNames(a, g.Zone, foot)
	last := math.Inf(-1)
	for _, st := range g.Stops {
		x := a.x(st.At)
		s.path("dash", "M"+num(x)+" 20V"+num(foot))
		if x > last+26 {
			s.text("b s", x, foot+15, "middle", st.Words)
			last = x
		}
	}
	y := 26.0
	for _, gr := range g.Groups {
		s.path("hairl", "M0 "+num(y)+"H"+num(shelfW-10))
		s.text("b", 0, y+17, "", cutTo(gr.Name, shelfLeft-12))
		for _, l := range gr.Lots {
			s.shelfLot(l, a, y, g.From)
			y += shelfRow
		}
	}
	x := a.x(g.Now)
	s.path("st-ink", "M"+num(x)+" 18V"+num(foot-2))
	s.close()
	return s.html()
}

func (s *svg) shelfLot(l ShelfLot, a axis, y float64, from time.Time) {
	s.text("d s", 0, y+32, "", cutTo(l.Words, shelfLeft-8))
	end := a.right
	if !l.Until.IsZero() && a.x(l.Until) < end {
		end = math.Max(a.x(l.Until), a.left)
	}
	s.rect("wash2f", a.left, y+12, end-a.left, 14)
	switch {
	case l.Until.IsZero():
	case end < a.right:
		s.path("st-ink", "M"+num(end)+" "+num(y+7)+"v24")
	default:
		s.path("thin", "M"+num(end-6)+" "+num(y+14)+"l6 5l-6 5")
	}
	for _, t := range l.Takes {
		s.shelfTake(t, a.x(t.At), y+11)
	}
	lacks := slices.ContainsFunc(l.Takes, func(t ShelfTake) bool { return t.Missing })
	if end > a.right-150 || lacks && end > a.left+150 {
		s.text("s d halo", end-8, y+23, "end", l.UntilWords)
		return
	}
	s.text("s d halo", end+5, y+23, "", l.UntilWords)
}

func (s *svg) shelfTake(t ShelfTake, x, y float64) {
	if !t.Missing {
		s.rect("inkf", x-5.5, y, 11, 16)
		return
	}
	s.rect("nofit", x-5.5, y, 11, 16)
	s.path("thin nof", "M"+num(x-5.5)+" "+num(y)+"l11 16m-11 0l11-16")
	s.text("fault s halo", x+9, y-1, "", t.Words)
}

// monthNames rules a line per month, each with its name.
func (s *svg) monthNames(a axis, zone *time.Location, foot float64) {
	from := a.from.In(zone)
	m := time.Date(from.Year(), from.Month(), 1, 0, 0, 0, 0, zone)
	for ; m.Before(a.until); m = m.AddDate(0, 1, 0) {
		if m.Before(a.from) {
			continue
		}
		x := a.x(m)
		s.path("hairl", "M"+num(x)+" 20V"+num(foot))
		name := m.Format("Jan")
		if m.Month() == time.January {
			name = m.Format("Jan 2006")
		}
		if x < a.right-40 {
			s.text("d s", x+3, 14, "", name)
		}
	}
}

// cutTo shortens words to a width; the table beside the drawing has them whole.
func cutTo(words string, w float64) string {
	r := []rune(words)
	for len(r) > 3 && wide(string(r), 13) > w {
		r = r[:len(r)-1]
	}
	if len(r) < len([]rune(words)) {
		return string(r[:len(r)-1]) + "…"
	}
	return words
}

// Whereabouts is where each piece of kit is now and next: one place at a time.
type Whereabouts struct {
	Sentence string
	From, To time.Time
	Zone     *time.Location
	Rows     []WhereRow
}

// WhereRow is one piece of kit.
type WhereRow struct {
	Name, Note, Home string // Home: where it stands when nobody has it
	Lent             bool   // with another owner in between
	Spans            []WhereSpan
}

// WhereSpan is a stretch in which it is not at home.
type WhereSpan struct {
	From, To time.Time
	Kind     SpanKind
	Words    string
}

// SpanKind is how a stretch is drawn.
type SpanKind int

// Kinds of stretches.
const (
	AtJob   SpanKind = iota // solid
	AtCheck                 // chalk: service, calibration, repair
	Asked                   // blue, dashed: not confirmed
	NotFree                 // grey, dotted: not told where
)

const (
	whereLeft = 120.0
	whereRow  = 39.0
)

// OfWhereabouts draws the rows.
func OfWhereabouts(w Whereabouts) template.HTML {
	a := axis{from: w.From, until: w.To, left: whereLeft, right: shelfW - 12}
	foot := 26 + whereRow*float64(len(w.Rows))
	var s svg
	s.open("", shelfW, foot+4, false, w.Sentence)
	s.monthNames(a, w.Zone, foot)
	for i, row := range w.Rows {
		s.whereRow(row, a, 26+whereRow*float64(i))
	}
	s.path("st-ink", "M"+num(whereLeft)+" 18V"+num(foot))
	s.close()
	return s.html()
}

func (s *svg) whereRow(row WhereRow, a axis, y float64) {
	s.text("b", 0, y+16, "", cutTo(row.Name, whereLeft-8))
	s.text("d s", 0, y+31, "", cutTo(row.Note, whereLeft-6))
	s.path("hairl", "M0 "+num(y+whereRow-2)+"H"+num(shelfW-10))
	at, busy := a.left, 0.0 // busy: where the last block ended
	rest := func(to, wordsTo float64) {
		if to <= at+1 {
			return
		}
		class := "washf"
		if row.Lent {
			class = "w-off"
		}
		s.rect(class, at, y+5, to-at, 24)
		if wordsTo-at > wide(row.Home, 13)+8 {
			s.text("s", (at+wordsTo)/2, y+21, "middle", row.Home)
		}
	}
	for _, sp := range row.Spans {
		x, end := math.Max(a.x(sp.From), at), math.Min(a.x(sp.To), a.right)
		if end <= at || x >= a.right {
			continue
		}
		end = math.Max(end, x+8)
		free := x
		if w := wide(sp.Words, 13) + 4; w > end-x { // its words stand before it
			free -= w + 4
		}
		rest(x, free)
		s.whereSpan(sp, x, y+5, end-x, busy)
		busy = end
		at = end
	}
	rest(a.right, a.right)
}

func (s *svg) whereSpan(sp WhereSpan, x, y, w, busy float64) {
	class, words := "inkf", "b s inv"
	switch sp.Kind {
	case AtCheck:
		class, words = "chalkw", "s"
	case Asked:
		class, words = "ask", "b s"
	case NotFree:
		class, words = "w-off", "s d"
	}
	s.rect(class, x, y, w, 24)
	if wide(sp.Words, 13)+4 <= w {
		s.text(words, x+w/2, y+16, "middle", sp.Words)
	} else if sp.Kind != NotFree && x-wide(sp.Words, 13)-4 > busy {
		s.text("b s halo", x-3, y+16, "end", sp.Words)
	}
}

// Unrolled is a roll in its own unit: it unrolls from its core, the next cuts at the free end.
type Unrolled struct {
	Sentence string
	Whole    float64 // m when new
	Left     float64
	Cuts     []RollCut // the next first
	Point    float64   // reorder point, m left; 0: none
	Unit     string    // "m"
	Narrow   bool
}

// RollCut is a length on a roll that an order takes.
type RollCut struct {
	Length float64
	Words  string
	Placed bool
}

// OfUnrolled draws it.
func OfUnrolled(r Unrolled) template.HTML {
	w := 668.0
	if r.Narrow {
		w = 358
	}
	whole := math.Max(r.Whole, math.Max(r.Left, 1e-9))
	scale := (w - 70) / whole
	var s svg
	s.open("", w, 96, false, r.Sentence)
	s.circle("pul", 28, 50, 25)
	s.circle("gone", 28, 50, 25*math.Sqrt(math.Min(1, math.Max(0.08, r.Left/whole))))
	s.circle("thin", 28, 50, 25*math.Sqrt(math.Min(1, math.Max(0.08, r.Left/whole))))
	s.circle("pul", 28, 50, 7)
	s.path("thin", "M28 67.6H58V60")
	s.rect("win", 58, 40, r.Left*scale, 20)
	end := 58 + r.Left*scale
	s.rollRest(r, end, w)
	free := w
	for _, c := range r.Cuts {
		x := math.Max(58, end-c.Length*scale)
		class := "ask"
		if c.Placed {
			class = "inkf"
		}
		s.rect(class, x, 40, end-x, 20)
		s.path("cutl", "M"+num(x)+" 36v28")
		if half := wide(c.Words, 13)/2 + 2; (x+end)/2+half < free {
			s.text("b s", (x+end)/2, 33, "middle", c.Words)
			free = (x+end)/2 - half
		}
		end = x
	}
	if end > 58+2 {
		s.text("b s", math.Max(62, (58+end)/2), 76, "middle", round1((end-58)/scale)+" "+r.Unit)
	}
	if r.Point > 0 && r.Point < whole {
		x := 58 + r.Point*scale
		s.path("mins", "M"+num(x)+" 38v40")
		s.text("s fault halo", math.Max(x, 110), 92, "middle", "order again at "+round1(r.Point)+" "+r.Unit)
	}
	s.close()
	return s.html()
}

func (s *svg) rollRest(r Unrolled, end, w float64) {
	if w-12-end < 30 || r.Whole <= r.Left {
		return
	}
	s.rect("w-off", end, 40, w-12-end, 20)
	s.text("d s halo", (end+w-12)/2, 54, "middle", round1(r.Whole-r.Left)+" "+r.Unit+" used")
}

// RollsCut is rolls at one scale with the pieces that come off each.
type RollsCut struct {
	Sentence string
	Longest  float64 // m: the scale
	Rows     []RollRow
	Narrow   bool
}

// RollRow is one roll.
type RollRow struct {
	Head, Foot, Rest string
	Length           float64
	Cuts             []RollCut
	Waste            bool // what is left is too short to keep
}

// OfRolls draws them.
func OfRolls(r RollsCut) template.HTML {
	w := 668.0
	if r.Narrow {
		w = 358
	}
	const high = 58.0
	scale := (w - 4) / math.Max(r.Longest, 1e-9)
	var s svg
	s.open("", w, high*float64(len(r.Rows)), false, r.Sentence)
	for i, row := range r.Rows {
		y := high * float64(i)
		s.text("b s", 0, y+12, "", cutTo(row.Head, w-4))
		s.rect("win", 1, y+18, row.Length*scale, 14)
		x := 1.0
		for _, c := range row.Cuts {
			class := "ask"
			if c.Placed {
				class = "inkf"
			}
			s.rect(class, x, y+18, c.Length*scale, 14)
			if wide(c.Words, 13)+8 < c.Length*scale {
				s.text(rollWord(c.Placed), x+6, y+29, "", c.Words)
			}
			x += c.Length * scale
			s.path("cutl", "M"+num(x)+" "+num(y+15)+"v20")
		}
		if row.Waste && row.Length*scale+1 > x+1 {
			s.rect("nofit", x, y+18, row.Length*scale+1-x, 14)
		}
		s.text("d s", 0, y+46, "", cutTo(row.Foot, w*0.55))
		s.text("d s", w-2, y+46, "end", row.Rest)
	}
	s.close()
	return s.html()
}

func rollWord(placed bool) string {
	if placed {
		return "inv b s"
	}
	return "b s"
}

// PadSides draws the two sides of a cutter's pad with what they have been used.
func PadSides(sentence, head string, a, b float64, aWords, bWords string) template.HTML {
	var s svg
	s.open("", 320, 70, false, sentence)
	s.text("b s", 0, 14, "", head)
	for i, side := range []struct {
		name, words string
		used        float64
	}{{"A", aWords, a}, {"B", bWords, b}} {
		y := 24 + 22*float64(i)
		class := "inkf"
		if side.used >= 1 {
			class = "ink2f"
		}
		s.text("b", 0, y+13, "", side.name)
		s.rect("win", 22, y, 150, 16)
		s.rect(class, 22, y, 150*math.Min(1, math.Max(0, side.used)), 16)
		s.text("s", 180, y+13, "", side.words)
	}
	s.close()
	return s.html()
}

// UsedBar is a small bar of what is used of a limit.
func UsedBar(share float64, sentence string) template.HTML {
	var s svg
	s.open("", 120, 12, false, sentence)
	s.rect("win", 0.6, 0.6, 118.8, 10.8)
	s.rect("inkf", 2, 2, 116*math.Min(1, math.Max(0, share)), 8)
	s.close()
	return s.html()
}

// Strokes draws pieces as strokes, those that are held filled.
func Strokes(sentence string, held, all int) template.HTML {
	const most = 40
	var s svg
	n := min(all, most)
	s.open("", 12*float64(n)+8, 30, false, sentence)
	for i := range n {
		class := "win"
		if i < held {
			class = "inkf"
		}
		s.path(class, "M"+num(2+12*float64(i))+" 4v18l5 5v-18z")
	}
	s.close()
	return s.html()
}

func round1(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64) }
