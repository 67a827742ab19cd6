package clock

import "math/rand/v2"

// newRandom returns a source of standard normal values that is the same on every run.
func newRandom(seed uint64) func() float64 {
	return rand.New(rand.NewPCG(seed, 0)).NormFloat64
}
