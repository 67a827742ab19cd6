package drawing

import (
	"html/template"
	"math"
	"strconv"
	"time"
)

// End is how a stretch of life ended.
type End int

// Ends, each with a mark of its own.
const (
	Running      End = iota // an arrow: it goes on
	Failed                  // a cross
	Replaced                // a ring: replaced while sound
	BeltRemoved             // two strokes
	Scrapped                // two strokes, the conveyor went
	EndedUnknown            // a dashed ring
)

// History is the belts and splices a conveyor has had, on one axis of years.
type History struct {
	Sentence string
	From     time.Time // the axis begins with the year of this
	Now      time.Time
	Zone     *time.Location
	Rows     []HistoryRow
	Marks    []HistoryMark
}

// HistoryRow is a row of the history: the belts, or the splices that had one mark on the belt.
type HistoryRow struct {
	Name      string
	Bars      bool // belts are bars with their words in them, splices lines with an end mark
	Stretches []Stretch
}

// Stretch is one life: from fitted or made to its end; a zero To goes on.
type Stretch struct {
	From, To time.Time
	Vague    bool // the beginning is an approximate date: drawn dotted at its start
	End      End
	Words    string // in a bar; beside the end mark of a line
}

// HistoryMark is something that happened to the conveyor: an hour meter replaced.
type HistoryMark struct {
	At    time.Time
	Words string
}

const (
	histW     = 900.0
	histLeft  = 96.0
	histRight = 888.0
	histRow   = 28.0
)

// axis turns instants into places along x.
type axis struct {
	from, until time.Time
	left, right float64
}

func (a axis) x(t time.Time) float64 {
	share := float64(t.Sub(a.from)) / float64(a.until.Sub(a.from))
	return a.left + math.Max(0, math.Min(1, share))*(a.right-a.left)
}

// OfHistory draws the history.
func OfHistory(h History) template.HTML {
	first, last := h.From.In(h.Zone).Year(), h.Now.In(h.Zone).Year()+1
	a := axis{from: time.Date(first, 1, 1, 0, 0, 0, 0, h.Zone), until: time.Date(last, 7, 1, 0, 0, 0, 0, h.Zone), left: histLeft, right: histRight}
	foot := 26 + histRow*float64(len(h.Rows)) + 6
	height := foot + 4
	if len(h.Marks) > 0 {
		height += 14
	}
	var s svg
	s.open("", histW, height, false, h.Sentence)
	s.years(a, first, last, foot, h.Zone)
	for i, row := range h.Rows {
		s.historyRow(row, a, 36+histRow*float64(i), h.Now)
	}
	for _, m := range h.Marks {
		x := a.x(m.At)
		s.path("dash", "M"+num(x)+" 22V"+num(foot))
		s.text("d s halo", math.Max(x-4, histLeft+90), height-4, "end", m.Words)
	}
	x := a.x(h.Now)
	s.path("st-ink", "M"+num(x)+" 18V"+num(foot))
	s.close()
	return s.html()
}

// years writes as many years as have room.
func (s *svg) years(a axis, first, last int, foot float64, zone *time.Location) {
	every := 1
	for float64(last-first+1)/float64(every) > 18 {
		every++
	}
	for y := first; y <= last; y += every {
		x := a.x(time.Date(y, 1, 1, 0, 0, 0, 0, zone))
		s.path("hairl", "M"+num(x)+" 18V"+num(foot))
		if x+30 < a.right+12 {
			s.text("d s", x+3, 14, "", strconv.Itoa(y))
		}
	}
}

func (s *svg) historyRow(row HistoryRow, a axis, y float64, now time.Time) {
	s.text("b", 0, y+2, "", row.Name)
	until := -1e9 // where the last words end, so that the next do not run into them
	for _, st := range row.Stretches {
		from, to := a.x(st.From), a.x(now)
		if !st.To.IsZero() {
			to = a.x(st.To)
		}
		if row.Bars {
			s.rect("wash2f", from, y-10, to-from, 14)
			if wide(st.Words, 13) < to-from-8 {
				s.text("s halo", from+5, y+1.5, "", st.Words)
			}
			continue
		}
		class := "st-ink"
		if st.Vague {
			s.path("dash", "M"+num(math.Max(from-24, histLeft-6))+" "+num(y-3)+"H"+num(from))
		}
		s.path(class, "M"+num(from)+" "+num(y-3)+"H"+num(to)+"M"+num(from)+" "+num(y-9)+"v12")
		s.endMark(st.End, to, y-3)
		if w := wide(st.Words, 13); st.Words != "" && to+9 > until && to+9+w < histW {
			s.text("s d halo", to+9, y-8, "", st.Words)
			until = to + 9 + w
		}
	}
}

// endMark draws how a life ended.
func (s *svg) endMark(e End, x, y float64) {
	at := num(x) + " " + num(y)
	switch e {
	case Failed:
		s.path("st-fault", "M"+num(x-6)+" "+num(y-6)+"l12 12m0-12l-12 12")
	case Replaced:
		s.circle("pul", x, y, 4.5)
	case BeltRemoved, Scrapped:
		s.path("st-ink", "M"+num(x)+" "+num(y-7)+"v14M"+num(x-4)+" "+num(y-7)+"v14")
	case EndedUnknown:
		s.circle("k-unknown", x, y, 4.5)
	default:
		s.path("st-ink", "M"+num(x-7)+" "+num(y-5)+"L"+at+"l-7 5")
	}
}

// EndKey is the key of the end marks, each with its word.
func EndKey(e End, word string) template.HTML {
	var s svg
	s.raw(`<span class="ck"><svg width="16" height="16" viewBox="0 0 16 16" aria-hidden="true">`)
	s.endMark(e, 8, 8)
	s.raw("</svg>", escape(word), "</span>")
	return s.html()
}

// TakeUp is the take-up travel of a belt, in pixels of nobody: shares of the whole travel.
type TakeUp struct {
	Sentence string
	Used     float64 // share used
	UsedSays string  // "used 2.02 m"
	Parts    []TakeUpPart
	End      string // "3.40 m, end of travel"
}

// TakeUpPart is what one coming order takes of the travel.
type TakeUpPart struct {
	Share float64
	Says  string
	Order bool // an order, not only what is left for
}

const takeUpW = 362.0

// OfTakeUp draws the travel used, what the next order does to it and what is left.
func OfTakeUp(t TakeUp) template.HTML {
	var s svg
	s.open("", takeUpW, 66, false, t.Sentence)
	s.rect("win", 0.5, 26, takeUpW-2, 20)
	x, whole := 2.5, takeUpW-6
	s.rect("inkf", x, 28, whole*math.Min(t.Used, 1), 16)
	s.text("s", 2, 20, "", t.UsedSays)
	x += whole*math.Min(t.Used, 1) + 0.5
	for _, p := range t.Parts {
		w := math.Min(whole*p.Share, takeUpW-3-x)
		if w <= 2 {
			break
		}
		class, words := "w-off", "s"
		if p.Order {
			class, words = "actd", "s act b"
		}
		s.rect(class, x, 28, w, 16)
		if wide(p.Says, 13) < w+6 {
			s.text(words+" halo", x+2, 20, "", p.Says)
		}
		x += w + 2
	}
	s.text("d s", 0, 62, "", "0")
	s.text("d s", takeUpW-2, 62, "end", t.End)
	s.close()
	return s.html()
}

// Fill is a bar filled to a share of what it can take: hours booked in a stop.
func Fill(share float64) template.HTML {
	if math.IsNaN(share) || share < 0 {
		share = 0
	}
	var s svg
	s.raw(`<svg class="fillbar" viewBox="0 0 210 15" width="210" height="15" aria-hidden="true">`)
	s.rect("win", 0.5, 0.5, 209, 14)
	s.rect("inkf", 2.5, 2.5, 205*math.Min(share, 1), 10)
	s.close()
	return s.html()
}
