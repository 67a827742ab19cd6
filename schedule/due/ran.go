package due

import (
	"math"
	"time"
)

// Ran returns what a belt ran between two instants: running hours and passes of a splice in it. NaN where it is not
// known or only known to be at least something, as before the first reading.
func (c Clocks) Ran(conveyorID, beltID int64, from, to time.Time) (hours, passes float64) {
	u := run{c.Lines[conveyorID], c.Duties[beltID]}.between(from, to)
	return exactly(u.hours), exactly(u.passes)
}

func exactly(f Figure) float64 {
	if !f.Known || f.AtLeast {
		return math.NaN()
	}
	return f.Value
}
