package loop

import "math"

// Point is a place in the plane of the loop.
type Point struct{ XMM, YMM float64 }

// Piece is a straight run or an arc of the neutral layer, in the belt's direction.
type Piece struct {
	Arc      bool
	Pulley   int // index of the pulley an arc lies on, or that a run leaves
	From, To Point
	StartMM  float64 // from the zero mark, where the belt leaves the first pulley
	LengthMM float64
	// Of an arc: its centre, its radius, the direction from the centre to From, and how far it sweeps
	// (counterclockwise above zero).
	Centre             Point
	RadiusMM           float64
	AngleRad, SweepRad float64
	// Of a run: its direction.
	DirectionRad float64
}

// Path is the closed way of the neutral layer.
type Path struct {
	LengthMM     float64
	WrapsDeg     []float64 // in the order of the pulleys
	RunsMM       []float64 // from each pulley to the next, the last one back to the first
	Bends        int       // pulleys with a wrap above zero
	ReverseBends int       // those of them on the outer face

	runs, arcs []Piece // run i leaves pulley i, arc i lies on pulley i
}

// trace draws the runs and arcs; NoTangent where a belt does not fit between two neighbours.
func (l Loop) trace() (*Path, error) {
	n := len(l.Pulleys)
	path := &Path{WrapsDeg: make([]float64, n), RunsMM: make([]float64, n), runs: make([]Piece, n), arcs: make([]Piece, n)}
	for i := range n {
		run, err := l.run(i, (i+1)%n)
		if err != nil {
			return nil, err
		}
		path.runs[i] = run
		path.RunsMM[i] = run.LengthMM
	}
	for i := range n {
		path.arcs[i] = l.arc(i, path.runs[(i+n-1)%n], path.runs[i])
		path.count(i, l.Pulleys[i].Face)
	}
	path.measureUp()
	return path, nil
}

// run is the straight part of the belt from pulley i to pulley j.
func (l Loop) run(i, j int) (Piece, error) {
	p, q := l.Pulleys[i], l.Pulleys[j]
	si, sj, ri, rj := l.turn(i), l.turn(j), l.radiusMM(i), l.radiusMM(j)
	// |k| > D, decided on diameters and offsets so that decimals stay what was typed.
	if closer(p, q, sj*q.DiameterMM, -si*p.DiameterMM, sj*l.offsetMM(q.Face)-si*l.offsetMM(p.Face)) {
		return Piece{}, wrong(NoTangent, "the belt does not fit between pulleys %d and %d; correct a centre, a diameter, a face or the belt thickness", i+1, j+1)
	}
	dx, dy := q.XMM-p.XMM, q.YMM-p.YMM
	d, k := math.Hypot(dx, dy), sj*rj-si*ri
	length := math.Sqrt(max(0, (d-k)*(d+k)))
	// asin(k/D) by its tangent, which keeps its digits where k is close to D.
	direction := math.Atan2(dy, dx) - math.Atan2(k, length)
	sin, cos := math.Sincos(direction)
	return Piece{
		Pulley: i, LengthMM: length, DirectionRad: direction,
		From: Point{p.XMM + si*ri*sin, p.YMM - si*ri*cos},
		To:   Point{q.XMM + sj*rj*sin, q.YMM - sj*rj*cos},
	}, nil
}

// arc is the part of the belt on pulley i, between the runs before and after it.
func (l Loop) arc(i int, before, after Piece) Piece {
	s := l.turn(i)
	wrap := math.Mod(s*(after.DirectionRad-before.DirectionRad), 2*math.Pi)
	if wrap < 0 {
		wrap += 2 * math.Pi
	}
	if wrap < sameAngle || wrap > 2*math.Pi-sameAngle {
		wrap = 0
	}
	return Piece{
		Arc: true, Pulley: i, From: before.To, To: after.From, LengthMM: l.radiusMM(i) * wrap,
		Centre: Point{l.Pulleys[i].XMM, l.Pulleys[i].YMM}, RadiusMM: l.radiusMM(i),
		AngleRad: before.DirectionRad - s*math.Pi/2, SweepRad: s * wrap,
	}
}

// count books the wrap of pulley i.
func (p *Path) count(i int, f Face) {
	wrap := math.Abs(p.arcs[i].SweepRad)
	p.WrapsDeg[i] = wrap * 180 / math.Pi
	if wrap == 0 {
		return
	}
	p.Bends++
	if f == Outer {
		p.ReverseBends++
	}
}

// measureUp adds the pieces up from the zero mark.
func (p *Path) measureUp() {
	n := len(p.runs)
	for i := range n {
		j := (i + 1) % n
		p.runs[i].StartMM = p.LengthMM
		p.LengthMM += p.runs[i].LengthMM
		p.arcs[j].StartMM = p.LengthMM
		p.LengthMM += p.arcs[j].LengthMM
	}
}

// Pieces are the runs and arcs in the belt's order from the zero mark; arcs of pulleys that the belt only touches are
// left out.
func (p *Path) Pieces() []Piece {
	n := len(p.runs)
	pieces := make([]Piece, 0, 2*n)
	for i, run := range p.runs {
		pieces = append(pieces, run)
		if arc := p.arcs[(i+1)%n]; arc.LengthMM > 0 {
			pieces = append(pieces, arc)
		}
	}
	return pieces
}

// Run is the straight piece that leaves pulley i, Arc the piece on it.
func (p *Path) Run(i int) Piece { return p.runs[i] }

// Arc is the piece on pulley i; its sweep is zero where the belt only touches.
func (p *Path) Arc(i int) Piece { return p.arcs[i] }

// At is the place at a distance along the belt from the zero mark, and the belt's direction there in radians,
// counterclockwise from x.
//
// Any finite distance is taken: the belt is endless, so it is brought into [0, length), and one below zero counts
// backwards. NaN and infinities give the zero mark.
func (p *Path) At(distanceMM float64) (place Point, directionRad float64) {
	s := math.Mod(distanceMM, p.LengthMM)
	if math.IsNaN(s) {
		s = 0
	}
	if s < 0 {
		s += p.LengthMM
	}
	pieces := p.Pieces()
	last := pieces[len(pieces)-1]
	for _, piece := range pieces {
		if s < piece.StartMM+piece.LengthMM {
			return piece.at(s - piece.StartMM)
		}
	}
	return last.at(last.LengthMM)
}

// at is the place a distance into a piece.
func (c Piece) at(s float64) (Point, float64) {
	if !c.Arc {
		sin, cos := math.Sincos(c.DirectionRad)
		return Point{c.From.XMM + s*cos, c.From.YMM + s*sin}, c.DirectionRad
	}
	turn := math.Copysign(1, c.SweepRad)
	angle := c.AngleRad + turn*s/c.RadiusMM
	sin, cos := math.Sincos(angle)
	return Point{c.Centre.XMM + c.RadiusMM*cos, c.Centre.YMM + c.RadiusMM*sin}, angle + turn*math.Pi/2
}

// Box is the smallest upright rectangle round the path, for the frame of a drawing.
func (p *Path) Box() (low, high Point) {
	low, high = p.runs[0].From, p.runs[0].From
	widen := func(q Point) {
		low = Point{min(low.XMM, q.XMM), min(low.YMM, q.YMM)}
		high = Point{max(high.XMM, q.XMM), max(high.YMM, q.YMM)}
	}
	for _, c := range p.Pieces() {
		widen(c.To)
		for _, q := range c.extremes() {
			widen(q)
		}
	}
	return low, high
}

// extremes are the points of an arc that lie furthest left, right, up or down.
func (c Piece) extremes() []Point {
	if !c.Arc {
		return nil
	}
	var found []Point
	for quarter := range 4 {
		towards := float64(quarter) * math.Pi / 2
		into := math.Mod(math.Copysign(1, c.SweepRad)*(towards-c.AngleRad), 2*math.Pi)
		if into < 0 {
			into += 2 * math.Pi
		}
		if into < math.Abs(c.SweepRad) {
			sin, cos := math.Sincos(towards)
			found = append(found, Point{c.Centre.XMM + c.RadiusMM*cos, c.Centre.YMM + c.RadiusMM*sin})
		}
	}
	return found
}

// checkRunsApart refuses runs that cross.
func (p *Path) checkRunsApart() error {
	n := len(p.runs)
	for i, a := range p.runs {
		for j, b := range p.runs[:i] {
			if a.crosses(b) {
				return wrong(BeltCrossesItself, "the run from pulley %d to %d crosses the run from pulley %d to %d; check the order of the pulleys, their faces and the sense", j+1, (j+1)%n+1, i+1, (i+1)%n+1)
			}
		}
	}
	return nil
}

// crosses reports whether two runs pass through each other; touching is not crossing.
func (c Piece) crosses(o Piece) bool {
	return apart(c.From, c.To, o.From, o.To) && apart(o.From, o.To, c.From, c.To)
}

// apart reports whether two points lie clearly on different sides of the line through a and b.
func apart(a, b, p, q Point) bool {
	least := clearMM * math.Hypot(b.XMM-a.XMM, b.YMM-a.YMM)
	sideP, sideQ := cross(a, b, p), cross(a, b, q)
	return sideP > least && sideQ < -least || sideP < -least && sideQ > least
}

// cross is twice the area of the triangle a, b, p: above zero when p lies left of the line from a to b.
func cross(a, b, p Point) float64 {
	return (b.XMM-a.XMM)*(p.YMM-a.YMM) - (b.YMM-a.YMM)*(p.XMM-a.XMM)
}

// distance is how far a point lies from a run.
func (c Piece) distance(p Point) float64 {
	sin, cos := math.Sincos(c.DirectionRad)
	along := (p.XMM-c.From.XMM)*cos + (p.YMM-c.From.YMM)*sin
	along = min(max(along, 0), c.LengthMM)
	return math.Hypot(p.XMM-c.From.XMM-along*cos, p.YMM-c.From.YMM-along*sin)
}
