package drawing

import (
	"math"

	"carryside/assets"
	"carryside/assets/loop"
)

// Belt is a conveyor with its belt, as far as it is drawn.
type Belt struct {
	Tag, Name  string
	To         string // where the drawing leads in an overview
	Pulleys    []assets.Pulley
	CentresM   float64 // head to tail; 0: not known
	InclineDeg float64
	TakeUpKind string // "gravity", "screw", ""
	LoopM      float64
	Splices    []Splice
}

// Splice is a splice's mark.
type Splice struct {
	Used      Used     // Used.Name is "S2"
	PositionM *float64 // from the belt's zero mark; nil: not known
	Note      string   // second line of its label on the conveyor page
	To        string   // where it leads
}

// size is how one of the three sizes of the loop is drawn, in pixels.
type size struct {
	tailR, headR, minorR, takeR float64 // radius of the belt's way round a pulley
	rim                         float64 // how much smaller the pulley itself is drawn
	hang                        float64 // take-up below its bends
	seam                        float64 // scale of seam marks
	real                        bool    // radii by the pulleys' own diameters, three times enlarged
	weightW, weightH, weightGap float64
}

var (
	rowSize   = size{tailR: 4, headR: 4.6, minorR: 2.4, takeR: 4.4, rim: 1, hang: 6.1, seam: 0.86, weightW: 5, weightH: 3}
	plantSize = size{tailR: 4, headR: 4.6, minorR: 2.3, takeR: 4.4, rim: 1, hang: 14.7, seam: 0.92, weightW: 6, weightH: 4}
	pageSize  = size{tailR: 10, headR: 12, minorR: 6, takeR: 10, rim: 1.6, hang: 50, seam: 1.75, real: true, weightW: 22, weightH: 12, weightGap: 6}
)

// enlarged is how many times larger than to scale pulleys are drawn.
const enlarged = 3

// wheel is a pulley on the page.
type wheel struct {
	pulley assets.Pulley
	x, y   float64 // y down, as on the page
	r      float64 // of the belt's way
	outer  bool
	t      float64 // place along the return side, 0 at the tail and 1 at the head
}

// figure is a loop laid out on the page with the tail at 0,0.
type figure struct {
	belt       Belt
	sz         size
	head       struct{ x, y float64 }
	wheels     []wheel
	path       *loop.Path
	takeUp     int  // index of the hanging take-up, -1 without
	exact      bool // pulleys really three times enlarged
	low, high  loop.Point
	carry, all float64
}

// rise is the height of the head above the tail for a distance of centres.
func (b Belt) rise() float64 { return b.CentresM * math.Sin(b.InclineDeg*math.Pi/180) }

// run is the horizontal part of the distance of centres.
func (b Belt) run() float64 { return b.CentresM * math.Cos(b.InclineDeg*math.Pi/180) }

// ends returns where the head's centre lies from the tail's, in metres: from the pulleys' own coordinates
// where the plant gave them, else from centres and incline.
func (b Belt) ends() (dx, dy float64) {
	tail, head := b.first(assets.PulleyTail), b.first(assets.PulleyHead)
	if tail != nil && head != nil && tail.Placed && head.Placed && head.XM != tail.XM {
		return head.XM - tail.XM, head.YM - tail.YM
	}
	if b.CentresM > 0 {
		return b.run(), b.rise()
	}
	if b.LoopM > 0 {
		return b.LoopM / 2, 0 // nearly: the wraps at both ends are small beside the centres
	}
	return 1, 0
}

func (b Belt) first(role assets.PulleyRole) *assets.Pulley {
	for i := range b.Pulleys {
		if b.Pulleys[i].Role == role {
			return &b.Pulleys[i]
		}
	}
	return nil
}

// lay lays a belt out with the head dx pixels right of and dy above the tail; perM is the scale that real
// pulley diameters are drawn to.
func lay(b Belt, sz size, dx, dy, perM float64) *figure {
	f := &figure{belt: b, sz: sz, takeUp: -1, exact: sz.real}
	f.head.x, f.head.y = dx, -dy
	f.placeEnds(perM)
	f.placeReturn(perM)
	if !f.trace() {
		// Pulleys that do not fit the picture at this scale are left out of it: tail and head always fit.
		f.wheels, f.takeUp = f.wheels[:2], -1
		f.wheels[0].r, f.wheels[1].r = sz.tailR, sz.headR
		f.trace()
	}
	return f
}

func (f *figure) placeEnds(perM float64) {
	tail, head := assets.Pulley{Role: assets.PulleyTail}, assets.Pulley{Role: assets.PulleyHead}
	if p := f.belt.first(assets.PulleyTail); p != nil {
		tail = *p
	}
	if p := f.belt.first(assets.PulleyHead); p != nil {
		head = *p
	}
	f.wheels = []wheel{
		{pulley: tail, r: f.radius(tail, perM)},
		{pulley: head, x: f.head.x, y: f.head.y, r: f.radius(head, perM), t: 1},
	}
}

// radius is the belt's way round a pulley on the page.
func (f *figure) radius(p assets.Pulley, perM float64) float64 {
	nominal := f.sz.minorR
	switch p.Role {
	case assets.PulleyTail:
		nominal = f.sz.tailR
	case assets.PulleyHead:
		nominal = f.sz.headR
	case assets.PulleyTakeUp:
		nominal = f.sz.takeR
	}
	if !f.sz.real || p.DiameterM <= 0 {
		f.exact = f.exact && p.DiameterM > 0
		return nominal
	}
	r := enlarged * p.DiameterM / 2 * perM
	if r < 0.4*nominal || r > 1.7*nominal {
		f.exact = false // so that a small plant's rollers are seen and a short belt's drums leave room
		r = math.Max(0.4*nominal, math.Min(r, 1.7*nominal))
	}
	return r + f.sz.rim
}

// placeReturn places snubs, bends and take-up along the return side: where along it to scale, how far from
// it by what they do, since true offsets of a metre or two are smaller than the enlarged pulleys.
func (f *figure) placeReturn(perM float64) {
	var minor []wheel
	for _, p := range f.belt.Pulleys {
		if isEnd(p) {
			continue
		}
		w := wheel{pulley: p, r: f.radius(p, perM), outer: p.Role != assets.PulleyTakeUp, t: f.along(p)}
		if p.Placed {
			w.outer = p.OuterFace
		}
		minor = append(minor, w)
	}
	for i := range minor {
		switch p := minor[i].pulley; {
		case p.Role == assets.PulleyTakeUp && i > 0 && i+1 < len(minor) && minor[i-1].outer && minor[i+1].outer:
			f.hang(&minor[i-1], &minor[i], &minor[i+1])
			f.takeUp = len(f.wheels) + i
		case p.Role == assets.PulleySnub && minor[i].t > 0.85:
			f.snub(&minor[i], f.wheels[1], -1)
		case p.Role == assets.PulleySnub && minor[i].t < 0.15:
			f.snub(&minor[i], f.wheels[0], 1)
		case minor[i].x == 0:
			f.onReturn(&minor[i])
		}
	}
	f.wheels = append(f.wheels, minor...)
}

// along returns the place of a pulley along the return side, 0 at the tail and 1 at the head: by its
// coordinates, else by its role.
func (f *figure) along(p assets.Pulley) float64 {
	if p.Placed {
		if dx, dy := f.belt.ends(); dx*dx+dy*dy > 0 {
			return math.Max(0, math.Min(1, (p.XM*dx+p.YM*dy)/(dx*dx+dy*dy)))
		}
	}
	if p.Role == assets.PulleySnub {
		return 1
	}
	return 0.5
}

// line returns the point of the line from tail to head centre at t.
func (f *figure) line(t float64) (x, y float64) { return t * f.head.x, t * f.head.y }

// mainR is the distance of the return side below the line of centres at t.
func (f *figure) mainR(t float64) float64 {
	return f.wheels[0].r + (f.wheels[1].r-f.wheels[0].r)*t
}

func (f *figure) onReturn(w *wheel) {
	x, y := f.line(w.t)
	w.x = x
	if w.outer {
		w.y = y + f.mainR(w.t) + w.r
	} else {
		w.y = y + f.mainR(w.t) - w.r
	}
}

// snub puts a pulley under an end pulley, towards the middle (dir), so that the belt wraps the end more.
func (f *figure) snub(w *wheel, end wheel, dir float64) {
	sum := end.r + w.r
	w.x = end.x + dir*1.22*sum
	_, y := f.line(w.x / f.head.x)
	w.y = y + 0.84*sum
}

// hang puts a gravity take-up below its two bends.
func (f *figure) hang(before, take, after *wheel) {
	half := take.r + before.r
	room := (half + 2) / math.Max(f.head.x, 1)
	t := math.Max(room+0.03, math.Min(1-room-0.12, take.t))
	take.t = t
	x, y := f.line(t)
	take.x, take.y = x, y+f.mainR(t)+before.r+f.sz.hang
	for _, w := range []struct {
		w  *wheel
		at float64
	}{{before, x + half}, {after, x - take.r - after.r}} {
		w.w.x = w.at
		_, ly := f.line(w.at / math.Max(f.head.x, 1))
		w.w.y = ly + f.mainR(t) + w.w.r
	}
}

// trace works out the belt's way; false where it does not fit.
func (f *figure) trace() bool {
	l := loop.Loop{Sense: loop.Clockwise}
	for _, w := range f.wheels {
		p := loop.Pulley{XMM: w.x, YMM: -w.y, DiameterMM: 2 * w.r, Face: loop.Inner}
		if w.outer {
			p.Face = loop.Outer
		}
		l.Pulleys = append(l.Pulleys, p)
	}
	path, err := l.Sketch()
	if err != nil {
		return false
	}
	f.path, f.carry, f.all = path, path.RunsMM[0], path.LengthMM
	f.low, f.high = path.Box()
	return true
}

// at returns the place on the page of a distance from the zero mark, the angle of travel there in degrees
// (clockwise on the page), and whether it is on the carry side.
//
// The first stretch as long as the centres lies on the carry line, the rest is shared along the return.
func (f *figure) at(positionM float64) (x, y, angle float64, carry bool) {
	dx, dy := f.belt.ends()
	centres, whole := math.Hypot(dx, dy), f.belt.LoopM
	if whole <= centres {
		whole = 2 * centres
	}
	s := math.Mod(positionM, whole)
	if s < 0 {
		s += whole
	}
	d := s / centres * f.carry
	carry = s <= centres
	if !carry {
		d = f.carry + (s-centres)/(whole-centres)*(f.all-f.carry)
	}
	p, dir := f.path.At(math.Min(d, f.all*(1-1e-9)))
	return p.XMM, -p.YMM, -dir * 180 / math.Pi, carry
}

// draw writes pulleys, return side, carry side and take-up with the tail's centre at ox, oy.
func (s *svg) draw(f *figure, ox, oy float64, hubs bool) {
	if f.takeUp >= 0 {
		s.weight(f, ox, oy)
	}
	for _, w := range f.wheels {
		s.circle("pul", ox+w.x, oy+w.y, w.r-f.sz.rim)
		if hubs {
			s.circle("hub", ox+w.x, oy+w.y, 1.6)
		}
	}
	s.path("ret", f.returnWay(ox, oy))
	c := f.path.Run(0)
	s.path("carry", "M"+num(ox+c.From.XMM)+" "+num(oy-c.From.YMM)+"L"+num(ox+c.To.XMM)+" "+num(oy-c.To.YMM))
	if f.belt.TakeUpKind == "screw" {
		s.screw(f, ox, oy)
	}
}

// returnWay is everything but the carry line: from its end round head, return side and tail to its start.
func (f *figure) returnWay(ox, oy float64) string {
	pieces := f.path.Pieces()[1:]
	from := f.path.Run(0).To
	d := svg{b: make([]byte, 0, 48*(len(pieces)+1))}
	d.raw("M", num(ox+from.XMM), " ", num(oy-from.YMM))
	for _, p := range pieces {
		x, y := num(ox+p.To.XMM), num(oy-p.To.YMM)
		if !p.Arc {
			d.raw("L", x, " ", y)
			continue
		}
		large, sweep := "0", "0"
		if math.Abs(p.SweepRad) > math.Pi {
			large = "1"
		}
		if p.SweepRad < 0 {
			sweep = "1" // clockwise on the page
		}
		r := num(p.RadiusMM)
		d.raw("A", r, " ", r, " 0 ", large, " ", sweep, " ", x, " ", y)
	}
	return string(d.b)
}

// weight hangs the black weight of a gravity take-up; any other take-up pulley has none.
func (s *svg) weight(f *figure, ox, oy float64) {
	if f.belt.TakeUpKind == "screw" {
		return
	}
	w, sz := f.wheels[f.takeUp], f.sz
	x, y := ox+w.x, oy+w.y+w.r
	if sz.weightGap > 0 {
		s.path("thin", "M"+num(x)+" "+num(y)+"V"+num(y+sz.weightGap))
	}
	s.rect("weight", x-sz.weightW/2, y+sz.weightGap, sz.weightW, sz.weightH)
}

// screw is a short double arrow at the tail.
func (s *svg) screw(f *figure, ox, oy float64) {
	x, y := ox-f.wheels[0].r-2, oy
	s.path("thin", "M"+num(x)+" "+num(y)+"h-6m2-2l-2 2l2 2m2-4l2 2l-2 2")
}

// isEnd tells whether a pulley is one of the two ends.
func isEnd(p assets.Pulley) bool { return p.Role == assets.PulleyTail || p.Role == assets.PulleyHead }
