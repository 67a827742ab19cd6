// Package round says what is looked at on a round, in which order, and which time holds when a phone's clock and the
// program's disagree.
package round

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// Point is one thing to look at.
type Point struct {
	Key        string // of the phone: the same as long as the thing is the same
	ConveyorID int64
	BeltID     int64 // 0: the conveyor has no belt on it
	SpliceID   int64 // 0: none
	Target     string
	Look       string  // what to look at there
	Orders     []int64 // numbers of the inspections open at it
}

// looks are what is looked at on each conveyor besides its splices (common practice).
var looks = []struct{ target, look string }{
	{"belt", "cover, edges, tracking"},
	{"take-up", "travel and free movement"},
	{"head", "lagging, scraper"},
}

// Points lists what is looked at along lines, in walking order: of each conveyor its running splices, then belt, take-up and
// head. A line that is no more is passed over; a conveyor out of use is not walked to. wide says of which lines the inspections are
// that a rule raised for no conveyor, by order.
func Points(reg *assets.Register, lines []int64, open []workorder.Order, wide Wide) []Point {
	var out []Point
	for _, line := range lines {
		for _, c := range reg.Conveyors {
			if c.LineID == line && c.Status != assets.ConveyorRetired {
				out = append(out, pointsOf(reg, c, open, wide)...)
			}
		}
	}
	return out
}

// Wide is what inspections of whole lines are of: the lines by the order's ID, WholePlant for all.
type Wide map[int64][]int64

// WholePlant stands for every line of a plant.
const WholePlant = 0

func (w Wide) at(order, line int64) bool {
	return slices.Contains(w[order], line) || slices.Contains(w[order], WholePlant)
}

func pointsOf(reg *assets.Register, c assets.Conveyor, open []workorder.Order, wide Wide) []Point {
	var out []Point
	b, on := reg.BeltOn(c.ID, 0)
	if on {
		for _, sp := range reg.SplicesOf(b.ID) {
			if sp.Ended == nil {
				out = append(out, Point{Key: "s" + strconv.FormatInt(sp.ID, 10), ConveyorID: c.ID, BeltID: b.ID, SpliceID: sp.ID, Target: "S" + sp.Number, Look: "seam, edges, tips"})
			}
		}
	}
	for _, l := range looks {
		p := Point{Key: l.target + strconv.FormatInt(c.ID, 10), ConveyorID: c.ID, Target: l.target, Look: l.look}
		if l.target != "head" {
			if !on {
				continue
			}
			p.BeltID = b.ID
		}
		out = append(out, p)
	}
	for i := range out {
		out[i].Orders = inspectionsAt(out[i], c.LineID, open, wide)
	}
	return out
}

// inspectionsAt are the open inspections of a point: of its splice, of the conveyor or belt as a whole, or of its line or the plant.
func inspectionsAt(p Point, line int64, open []workorder.Order, wide Wide) []int64 {
	var out []int64
	for _, o := range open {
		here := o.ConveyorID == p.ConveyorID && (o.SpliceID == 0 || o.SpliceID == p.SpliceID) || o.ConveyorID == 0 && wide.at(o.ID, line)
		if o.Kind == workorder.KindInspection && here {
			out = append(out, o.Number)
		}
	}
	slices.Sort(out)
	return out
}

// Due is an open inspection of a round with how many of its points were looked at since it was raised.
type Due struct {
	Order        workorder.Order
	Points, Seen int
}

// DueOf lists the open inspections of a round's points, the one with the earliest latest date first, those without one last. A point
// counts as seen when something was recorded there since the order was raised, even that nothing was found.
func DueOf(points []Point, open []workorder.Order, found []assets.Finding) []Due {
	var out []Due
	for _, o := range open {
		d := Due{Order: o}
		for _, p := range points {
			if !slices.Contains(p.Orders, o.Number) {
				continue
			}
			d.Points++
			if slices.ContainsFunc(found, func(f assets.Finding) bool { return f.FoundAt >= o.RaisedAt && p.Of(f) }) {
				d.Seen++
			}
		}
		if d.Points > 0 {
			out = append(out, d)
		}
	}
	const never = "9999-12-31"
	slices.SortStableFunc(out, func(a, b Due) int {
		return strings.Compare(string(cmp.Or(a.Order.LatestDay, never)), string(cmp.Or(b.Order.LatestDay, never)))
	})
	return out
}

// Of tells whether a finding is of a point.
func (p Point) Of(f assets.Finding) bool {
	return f.ConveyorID == p.ConveyorID && f.SpliceID == p.SpliceID && (p.SpliceID != 0 || f.Target == p.Target)
}

// mostApart is how far two clocks may be apart before a person is asked which is right.
const mostApart = 5 * time.Minute

// Clocks is what is known of when something was entered on a phone.
type Clocks struct {
	Phone      time.Time      // by the phone's clock
	Offset     *time.Duration // phone less program at the last contact before it was entered; nil: none
	SentOffset time.Duration  // the same when it was sent
	Arrived    time.Time      // by the program's clock
}

// Program is when it was entered by the program's clock, never after it arrived.
func (c Clocks) Program() time.Time {
	at := c.Phone.Add(-c.SentOffset)
	if c.Offset != nil {
		at = c.Phone.Add(-*c.Offset)
	}
	if at.After(c.Arrived) {
		return c.Arrived
	}
	return at
}

// Apart tells whether a person has to say which time is right: the two clocks are more than five minutes apart, or the phone's
// was put forward or back between entering and sending.
func (c Clocks) Apart() bool {
	if c.Phone.Sub(c.Program()).Abs() > mostApart || c.SentOffset.Abs() > mostApart {
		return true
	}
	return c.Offset != nil && (*c.Offset-c.SentOffset).Abs() > mostApart
}
