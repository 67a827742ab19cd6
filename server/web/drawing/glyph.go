package drawing

import (
	"html/template"
	"math"
	"strings"
)

// The cell of a list's row, and the tail and head in it.
const (
	rowW, rowH         = 132.0, 34.0
	rowTailX, rowHeadX = 13.0, 119.0
	rowMid             = 12.0 // height of the middle of the line of centres
	rowSteepest        = 8.0  // rise drawn at most
)

// Glyph draws a belt in a row of a list, fitted to its cell.
func Glyph(b Belt) template.HTML {
	dx, dy := b.ends()
	across := rowHeadX - rowTailX
	rise := 0.0
	if dx > 0 {
		rise = math.Max(-rowSteepest, math.Min(rowSteepest, dy/dx*across))
	}
	f := lay(b, rowSize, across, rise, 1)
	s := svg{b: make([]byte, 0, 2048)}
	s.open("glyph row", rowW, rowH, false, b.sentence())
	oy := rowMid + rise/2
	s.draw(f, rowTailX, oy, false)
	s.seams(f, rowTailX, oy)
	s.close()
	return s.html()
}

// seams draws the marks, the least used first, so that the worst lies on top; those without a place stand
// in a row apart from the belt.
func (s *svg) seams(f *figure, ox, oy float64) {
	lost := 0.0
	for _, sp := range byBand(f.belt.Splices) {
		if sp.PositionM == nil {
			s.seam(sp.Used, ox+4+lost*12, oy+f.wheels[0].r+11, 0, f.sz.seam)
			lost++
			continue
		}
		x, y, angle, _ := f.at(*sp.PositionM)
		s.seam(sp.Used, ox+x, oy+y, angle, f.sz.seam)
	}
}

// byBand returns splices from least to most used, unknown ones first.
func byBand(all []Splice) []Splice {
	if len(all) < 2 {
		return all
	}
	out := make([]Splice, 0, len(all))
	for _, b := range []Band{Unknown, Tight, Settled, Opening, Past} {
		for _, sp := range all {
			if sp.Used.Band() == b {
				out = append(out, sp)
			}
		}
	}
	return out
}

// sentence says what a belt's drawing shows.
func (b Belt) sentence() string {
	var says []string
	for _, sp := range b.Splices {
		word := sp.Used.Band().Word()
		if sp.Used.Known {
			word = sp.Used.Percent()
		}
		says = append(says, sp.Used.Name+" "+word)
	}
	name := b.Tag
	if b.Name != "" {
		name += " " + b.Name
	}
	if len(says) == 0 {
		return name + ": no splices"
	}
	return name + ": " + strings.Join(says, ", ")
}
