package drawing

import (
	"html/template"
	"math"
)

var placeSize = size{tailR: 6, headR: 7, minorR: 3.5, takeR: 6, rim: 1.2, hang: 20, seam: 1.1, weightW: 10, weightH: 6, weightGap: 2}

const (
	placeW    = 410.0
	placeLeft = 44.0
	placeRun  = 310.0
	placeRise = 80.0
)

// OfPlace draws a belt small with one of its splices named: where it sits. name is its Used.Name, says what
// stands beside the mark.
func OfPlace(b Belt, name, says string) template.HTML {
	dx, dy := b.ends()
	perM := placeRun / math.Max(math.Abs(dx), 1e-6)
	if math.Abs(dy)*perM > placeRise {
		perM = placeRise / math.Abs(dy)
	}
	width := math.Max(math.Abs(dx)*perM, 60)
	f := lay(b, placeSize, width, dy*perM, perM)
	ox, oy := placeLeft+(placeRun-width)/2, 46+math.Max(0, dy*perM)
	var s svg
	s.open("", placeW, oy+math.Max(-f.low.YMM+30, 40), false, b.sentence()+"; "+name+" is at "+says)
	s.draw(f, ox, oy, false)
	s.zeroMark(f, ox, oy, false)
	s.seams(f, ox, oy)
	for _, sp := range b.Splices {
		if sp.Used.Name != name || sp.PositionM == nil {
			continue
		}
		x, y, _, carry := f.at(*sp.PositionM)
		x = ox + x
		tx := math.Max(wide(says, 14)/2+4, math.Min(x, placeW-wide(says, 14)/2-4))
		if carry {
			s.path("lead", "M"+num(x)+" "+num(oy+y-11)+"V"+num(oy+y-24))
			s.text("b halo", tx, oy+y-28, "middle", name+", "+says)
		} else {
			s.path("lead", "M"+num(x)+" "+num(oy+y+11)+"V"+num(oy+y+20))
			s.text("b halo", tx, oy+y+33, "middle", name+", "+says)
		}
	}
	s.close()
	return s.html()
}
