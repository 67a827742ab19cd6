package drawing

import (
	"fmt"
	"html/template"
	"math"
	"time"
)

// StopYear is the stops of a plant by line over a year, each as an open box to scale.
type StopYear struct {
	Sentence string
	From, To time.Time
	Zone     *time.Location
	Rows     []StopRow
	Changes  []ClockChange // days on which the clocks change
}

// StopRow is the stops of a line.
type StopRow struct {
	Name, Note string
	Stops      []StopBox
}

// StopBox is one stop, with what is placed in it.
type StopBox struct {
	From, To time.Time
	Words    string // "12 Dec 14 h"
	Look     StopLook
}

// StopLook is how a stop is drawn.
type StopLook int

// Looks of a stop.
const (
	StopAgreed    StopLook = iota // an open box
	StopAsked                     // dashed: not answered yet
	StopRefused                   // crossed
	StopNew                       // being added and not kept yet
	StopMovedFrom                 // where it was before
)

var stopClass = map[StopLook]string{StopAgreed: "win", StopAsked: "win dash", StopRefused: "win", StopNew: "ask", StopMovedFrom: "w-off"}

// ClockChange is a day on which the clocks change, with what that does to it: "clocks go forward, 23 h".
type ClockChange struct {
	At    time.Time
	Words string
}

const (
	stopW     = 1392.0
	stopLeft  = 130.0
	stopRow   = 52.0
	stopLeast = 5.0 // px; a short stop is still seen
)

// OfStops draws the year.
func OfStops(y StopYear) template.HTML {
	a := axis{from: y.From, until: y.To, left: stopLeft, right: stopW - 10}
	foot := 28 + stopRow*float64(len(y.Rows))
	height := foot + 6
	if len(y.Changes) > 0 {
		height += 16
	}
	var s svg
	s.open("", stopW, height, false, y.Sentence)
	for _, c := range y.Changes {
		x := a.x(c.At)
		s.rect("chalkf", x-2, 18, 5, foot-18)
		s.text("d s", x, foot+16, anchorAt(x), c.Words)
	}
	s.everyMonth(a, y.Zone, foot)
	for i, row := range y.Rows {
		s.stopRow(row, a, 28+stopRow*float64(i))
	}
	s.path("st-ink", "M"+num(stopLeft)+" 20V"+num(foot))
	s.close()
	return s.html()
}

// anchorAt keeps words near an edge inside the drawing.
func anchorAt(x float64) string {
	switch {
	case x > stopW-140:
		return "end"
	case x < stopLeft+60:
		return ""
	}
	return "middle"
}

func (s *svg) stopRow(row StopRow, a axis, y float64) {
	s.text("b", 0, y+28, "", row.Name)
	s.text("d s", 0, y+43, "", row.Note)
	s.path("hairl", "M0 "+num(y+stopRow-1)+"H"+num(stopW))
	free := [2]float64{math.Inf(-1), math.Inf(-1)} // right end of the last label on each level
	for _, st := range row.Stops {
		x := a.x(st.From)
		w := math.Max(stopLeast, a.x(st.To)-x)
		s.rect(stopClass[st.Look], x, y+24, w, 24)
		if st.Look == StopRefused {
			s.path("thin", "M"+num(x)+" "+num(y+24)+"l"+num(w)+" 24M"+num(x+w)+" "+num(y+24)+"l-"+num(w)+" 24")
		}
		left, at, anchor := x, x, ""
		if x > stopW-80 {
			at, anchor = x+w, "end"
			left = at - wide(st.Words, 13)
		}
		level := 0
		if left < free[0]+4 {
			level = 1
		}
		if left < free[level]+4 {
			continue // no room: the table has it
		}
		free[level] = left + wide(st.Words, 13)
		s.text("s halo", at, y+20-float64(level)*12, anchor, st.Words)
	}
}

// HourCells is one stop drawn hour by hour, so that a clock change inside it is seen.
type HourCells struct {
	Sentence   string
	Always     bool // drawn without a clock change too, beside others with one
	Start, End time.Time
	Zone       *time.Location
}

const (
	cellW = 48.0
	cellH = 24.0
)

// mostCells is how many hours are drawn; a longer stop is shown around its clock change.
const mostCells = 26

// OfHours draws the hours of a stop as cells: the hour that the clock skips crossed, the one it shows twice
// named first and again. It returns "" when no clock change lies inside.
func OfHours(h HourCells) template.HTML {
	cells := hoursOf(h)
	at := -1
	for i, c := range cells {
		if c.skipped || c.again {
			at = i
			break
		}
	}
	if at < 0 && !h.Always {
		return ""
	}
	from := max(0, min(at-mostCells/2, len(cells)-mostCells))
	cells = cells[from:min(len(cells), from+mostCells)]
	var s svg
	s.open("", cellW*float64(len(cells))+2, cellH+22, false, h.Sentence)
	for i, c := range cells {
		s.hour(c, 1+cellW*float64(i))
	}
	s.close()
	return s.html()
}

// hourCell is an hour of the clock.
type hourCell struct {
	word           string
	skipped, again bool
	first          bool
}

// hoursOf lists the hours of the clock from start to end: elapsed hours, and between them those the clock
// skips.
func hoursOf(h HourCells) []hourCell {
	var cells []hourCell
	last := -1
	for t := h.Start; t.Before(h.End) && len(cells) < 24*400; t = t.Add(time.Hour) {
		hour := t.In(h.Zone).Hour()
		switch {
		case last >= 0 && hour == last:
			cells[len(cells)-1].first = true
			cells[len(cells)-1].word = fmt.Sprintf("%02d first", hour)
			cells = append(cells, hourCell{word: fmt.Sprintf("%02d again", hour), again: true})
		case last >= 0 && hour == (last+2)%24:
			cells = append(cells, hourCell{word: fmt.Sprintf("%02d", (last+1)%24), skipped: true}, hourCell{word: fmt.Sprintf("%02d", hour)})
		default:
			cells = append(cells, hourCell{word: fmt.Sprintf("%02d", hour)})
		}
		last = hour
	}
	return cells
}

func (s *svg) hour(c hourCell, x float64) {
	switch {
	case c.skipped:
		s.rect("nofit", x+1, 1, cellW-3, cellH)
		s.path("outm", "M"+num(x+1)+" 1l"+num(cellW-3)+" "+num(cellH)+"M"+num(x+cellW-2)+" 1l-"+num(cellW-3)+" "+num(cellH))
		s.text("fault s", x+cellW/2, cellH+16, "middle", c.word+" skipped")
	case c.again, c.first:
		s.rect("win", x+1, 1, cellW-3, cellH)
		s.rect("chalkw", x+2, 2, cellW-5, cellH-2)
		s.text("b s", x+cellW/2, cellH-7, "middle", c.word)
	default:
		s.rect("win", x+1, 1, cellW-3, cellH)
		s.text("s", x+cellW/2, cellH-7, "middle", c.word)
	}
}
