package drawing

import (
	"encoding/xml"
	"io"
	"math"
	"strings"
	"testing"

	"carryside/assets"
)

func at(m float64) *float64 { return &m }

// rise is the conveyor the design's picture shows: 118 m centres, 27.3 m rise, loop 251.0 m.
func riseToTower() Belt {
	return Belt{Tag: "Q3", Name: "Rise to weigh tower", To: "/c/3", CentresM: 118, InclineDeg: 13.4, LoopM: 251, TakeUpKind: "gravity",
		Pulleys: []assets.Pulley{
			{Role: assets.PulleyTail, DiameterM: 0.8}, {Role: assets.PulleyHead, DiameterM: 1, Drive: true},
			{Role: assets.PulleySnub, DiameterM: 0.5, OuterFace: true}, {Role: assets.PulleyBend, DiameterM: 0.5, OuterFace: true},
			{Role: assets.PulleyTakeUp, DiameterM: 0.8}, {Role: assets.PulleyBend, DiameterM: 0.5, OuterFace: true},
		},
		Splices: []Splice{
			{Used: Used{Name: "S1", Known: true, Share: 0.04}, PositionM: at(24), To: "/s/1", Note: "made 17 Oct 2026"},
			{Used: Used{Name: "S2", Known: true, Share: 1.06}, PositionM: at(115), To: "/s/2", Note: "gap 3.4 of 4.0 mm"},
			{Used: Used{Name: "S3", Known: true, Share: 0.88}, PositionM: at(185), To: "/s/3", Note: "made 30 Mar 2024"},
		}}
}

// wellFormed reads a drawing as XML and returns its element names.
func wellFormed(t *testing.T, svg string) map[string]int {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	names := map[string]int{}
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return names
		}
		if err != nil {
			t.Fatalf("not well formed: %v\n%s", err, svg)
		}
		if e, ok := tok.(xml.StartElement); ok {
			names[e.Name.Local]++
			for _, a := range e.Attr {
				if a.Name.Local == "style" || strings.HasPrefix(a.Name.Local, "on") {
					t.Errorf("attribute %s: the pages' policy drops it", a.Name.Local)
				}
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
					t.Errorf("%s=%q", a.Name.Local, a.Value)
				}
			}
		}
	}
}

func TestSpliceSitsByItsDistanceFromTheZeroMark(t *testing.T) {
	b := riseToTower()
	f := lay(b, pageSize, 752, 179, 6.4)
	tests := []struct {
		name     string
		position float64
		t        float64 // share of the way from tail to head
		carry    bool
	}{
		{"at the zero mark", 0, 0, true},
		{"half way up the carry side", 59, 0.5, true},
		{"at the head", 118, 1, true},
		{"once round and half way up", 251 + 59, 0.5, true},
		{"counted backwards past the zero mark", -(251 - 59), 0.5, true},
		{"just past the head, on the return side", 119, 1, false},
		{"just before the tail", 250.9, 0, false},
	}
	for _, tt := range tests {
		x, _, _, carry := f.at(tt.position)
		if got := x / f.head.x; math.Abs(got-tt.t) > 0.03 || carry != tt.carry {
			t.Errorf("%s: %.3f of the way, carry %v; want %.2f, %v", tt.name, got, carry, tt.t, tt.carry)
		}
	}
}

func TestReturnSideIsSharedAlongItsWay(t *testing.T) {
	f := lay(riseToTower(), pageSize, 752, 179, 6.4)
	last := f.carry
	for m := 118.5; m < 251; m += 0.5 {
		x, y, _, _ := f.at(m)
		d := f.carry + (m-118)/(251-118)*(f.all-f.carry)
		p, _ := f.path.At(d)
		if math.Hypot(x-p.XMM, y+p.YMM) > 1e-6 || d <= last {
			t.Fatalf("at %.1f m: %.2f %.2f, want %.2f %.2f", m, x, y, p.XMM, -p.YMM)
		}
		last = d
	}
}

func TestMarkTurnsWithTheBelt(t *testing.T) {
	f := lay(riseToTower(), pageSize, 752, 179, 6.4)
	if _, _, angle, _ := f.at(60); math.Abs(angle+13.4) > 0.5 {
		t.Errorf("on the carry side the belt climbs 13.4°, the mark is turned %.1f°", angle)
	}
	if _, _, angle, _ := f.at(235); math.Abs(math.Mod(angle+360, 360)-166.6) > 2 {
		t.Errorf("on the return side near the tail it runs the other way: %.1f°", angle)
	}
}

func TestEveryBeltCanBeDrawn(t *testing.T) {
	placed := riseToTower()
	for i, xy := range [][2]float64{{0, 0}, {114.8, 27.3}, {113, 25.8}, {64, 13}, {62, 6}, {60, 12}} {
		placed.Pulleys[i].XM, placed.Pulleys[i].YM, placed.Pulleys[i].Placed = xy[0], xy[1], true
	}
	short := Belt{Tag: "B7", CentresM: 1.2, LoopM: 2.7, Pulleys: []assets.Pulley{
		{Role: assets.PulleyTail, DiameterM: 0.06}, {Role: assets.PulleyHead, DiameterM: 0.06}, {Role: assets.PulleySnub, DiameterM: 0.04},
	}}
	down := riseToTower()
	down.InclineDeg = -18
	steep := riseToTower()
	steep.InclineDeg = 60
	many := riseToTower()
	for range 12 {
		many.Pulleys = append(many.Pulleys, assets.Pulley{Role: assets.PulleyBend, DiameterM: 2.5})
	}
	screw := Belt{Tag: "P1", CentresM: 12, LoopM: 25, TakeUpKind: "screw"}
	tests := map[string]Belt{
		"as in the design": riseToTower(), "placed by coordinates": placed, "a roller belt of a bakery": short, "downhill": down,
		"steeper than any belt runs": steep, "more pulleys than fit": many, "nothing known": {Tag: "X"}, "screw take-up": screw,
		"only its loop length known": {Tag: "Y", LoopM: 60, Splices: []Splice{{Used: Used{Name: "S1"}, PositionM: at(33)}, {Used: Used{Name: "S2"}}}},
		"typed by a joker":           {Tag: `<b>&"`, Name: `"><script>`, To: `"/`, CentresM: 5, LoopM: 11},
	}
	for name, b := range tests {
		t.Run(name, func(t *testing.T) {
			g := string(Glyph(b))
			if n := wellFormed(t, g)["g"]; n < len(b.Splices) {
				t.Errorf("row: %d marks for %d splices", n, len(b.Splices))
			}
			if strings.Contains(g, "<script") {
				t.Error("a name reaches the page unescaped")
			}
			if f := lay(b, rowSize, 106, 5, 1); f.path == nil {
				t.Error("no way of the belt")
			}
			c := OfConveyor(Detail{Belt: b, PulleyWords: make([]string, len(b.Pulleys)), SpeedWords: "2.6 m/s", Dimension: "118 m", TakeUpWords: []string{"travel"}})
			if n := wellFormed(t, string(c.SVG))["a"]; n != len(b.Splices) {
				t.Errorf("page: %d links for %d splices", n, len(b.Splices))
			}
		})
	}
}

func TestGravityTakeUpHangsBetweenItsBends(t *testing.T) {
	f := lay(riseToTower(), pageSize, 752, 179, 6.4)
	if f.takeUp != 4 {
		t.Fatalf("take-up is wheel %d", f.takeUp)
	}
	before, take, after := f.wheels[3], f.wheels[4], f.wheels[5]
	if !(after.x < take.x && take.x < before.x) || take.y <= before.y || take.y <= after.y {
		t.Errorf("bends at %.0f and %.0f, take-up at %.0f,%.0f", before.x, after.x, take.x, take.y)
	}
	if !strings.Contains(string(Glyph(riseToTower())), `class="weight"`) {
		t.Error("no weight is drawn")
	}
	b := riseToTower()
	b.TakeUpKind = "screw"
	if strings.Contains(string(Glyph(b)), `class="weight"`) {
		t.Error("a screw take-up has a weight")
	}
}

func TestPulleysAreThreeTimesLargerOrThePageSaysLess(t *testing.T) {
	d := Detail{Belt: riseToTower()}
	if !OfConveyor(d).Exact {
		t.Error("the conveyor of the design is drawn three times enlarged")
	}
	d.CentresM, d.LoopM = 900, 1850
	if OfConveyor(d).Exact {
		t.Error("on a belt of 900 m three times enlarged pulleys would not be seen; the page must not claim it")
	}
}

func TestOverviewIsAtOneScale(t *testing.T) {
	q1 := Belt{Tag: "Q1", CentresM: 286, LoopM: 590, To: "/c/1"}
	q2 := Belt{Tag: "Q2", CentresM: 64, LoopM: 140, To: "/c/2", Splices: []Splice{{Used: Used{Name: "S1", Known: true, Share: 0.93}, PositionM: at(30)}}}
	var asked float64
	p := OfPlant([]Line{{Name: "Ship intake", Belts: []Belt{q1, q2, riseToTower()}}, {Name: "Rail", Belts: []Belt{q2}}}, func(perM float64) (float64, string) {
		asked = perM
		return 50, "50 m"
	})
	names := wellFormed(t, string(p.SVG))
	if names["a"] != 4 {
		t.Errorf("%d links for 4 conveyors", names["a"])
	}
	if p.Stretched {
		t.Error("nothing here is too short to be seen")
	}
	if asked <= 0 || !strings.Contains(string(p.SVG), "S2 106\u00a0%") || !strings.Contains(string(p.SVG), "S1 93\u00a0%") {
		t.Error("scale or labels from 90 % on are missing")
	}
	if strings.Contains(string(p.SVG), ">S1 4\u00a0%<") {
		t.Error("a splice under 90 % is labelled")
	}
}

func TestOfTwoLabelsThatTouchTheLeftGoesUp(t *testing.T) {
	left := &label{x: 100, y: 50, w: 40, h: 15, step: 15, rank: 1}
	right := &label{x: 120, y: 50, w: 40, h: 15, step: 15, rank: 0}
	far := &label{x: 300, y: 50, w: 40, h: 15, step: 15, rank: 3}
	settle([]*label{left, right, far}, 2)
	if left.level != 1 || right.level != 0 || far.level != 0 {
		t.Errorf("levels left %d, right %d, far %d; want 1, 0, 0", left.level, right.level, far.level)
	}
}

func TestWhereThereIsNoRoomTheLastInRankLosesItsLabel(t *testing.T) {
	var labels []*label
	for i := range 5 {
		labels = append(labels, &label{x: 100 + float64(i), y: 50, w: 40, h: 15, step: 15, rank: i % 4})
	}
	kept := settle(labels, 2)
	if len(kept) != 3 {
		t.Fatalf("%d labels on three levels", len(kept))
	}
	for _, l := range kept {
		if l.rank == 3 {
			t.Error("a label of the last rank stayed while others left")
		}
	}
}
