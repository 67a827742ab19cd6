package life

import (
	"math"
	"strconv"
)

// Figure is a number that may not be known: it prints as null when it is not.
type Figure float64

// None is a figure that is not known.
var None = Figure(math.NaN())

// Known reports whether there is a figure.
func (f Figure) Known() bool { return !math.IsNaN(float64(f)) && !math.IsInf(float64(f), 0) }

// MarshalJSON writes the shortest number that reads back the same, or null.
func (f Figure) MarshalJSON() ([]byte, error) {
	if !f.Known() {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, float64(f), 'g', -1, 64), nil
}
