package drawing

import (
	"html/template"

	"carryside/assets"
)

// Legend draws a belt loop with the names of its parts, for whoever sees one first; dashed where no belt is
// there yet.
func Legend(dashed bool) template.HTML {
	at := 150.0
	b := Belt{CentresM: 470, TakeUpKind: "gravity", LoopM: 1000, Pulleys: []assets.Pulley{
		{Role: assets.PulleyTail}, {Role: assets.PulleyHead}, {Role: assets.PulleySnub},
		{Role: assets.PulleyBend}, {Role: assets.PulleyTakeUp}, {Role: assets.PulleyBend},
	}}
	sz := pageSize
	sz.tailR, sz.headR, sz.minorR, sz.takeR, sz.hang, sz.real = 14, 16, 8, 14, 44, false
	f := lay(b, sz, 463, 82, 1)
	const ox, oy = 64.0, 144.0
	var s svg
	s.open("", 620, 246, false, "A belt loop as this program draws it: tail, head, snub, take-up, carry side, return side, one splice")
	if dashed {
		s.raw(`<g class="dashed">`)
	}
	s.draw(f, ox, oy, true)
	if dashed {
		s.raw("</g>")
	} else {
		x, y, angle, _ := f.at(at)
		s.seam(Used{Known: true, Share: 0.9}, ox+x, oy+y, angle, 2)
		s.path("lead", "M"+num(ox+x)+" "+num(oy+y-20)+"v-18")
		s.text("d", ox+x, oy+y-44, "middle", "splice")
	}
	s.text("d", ox, oy+40, "middle", "tail")
	s.text("d", ox+f.head.x+24, oy+f.head.y+5, "", "head")
	snub, take := f.wheels[2], f.wheels[4]
	s.text("d halo", ox+snub.x+14, oy+snub.y+22, "", "snub")
	x, y := f.line(0.72)
	s.text("d", ox+x, oy+y-34, "middle", "carry side")
	x, y = f.line(0.24)
	s.text("d halo", ox+x, oy+y+36, "middle", "return side")
	s.text("d halo", ox+take.x+24, oy+take.y+5, "", "take-up and its weight")
	s.close()
	return s.html()
}
