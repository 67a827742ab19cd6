package cohort

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// Dates are found to two hours in no more than a step over those of halving, whether a chance rises slowly, jumps or stays.
func TestDatesAreFoundToTwoHours(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 15))
	asked, dates := 0, 0
	for n := range 3000 {
		horizon := today.Add(time.Duration(1+r.IntN(20*365*24)) * time.Hour)
		shape, scale := math.Exp(4*r.Float64()-1), horizon.Sub(today).Hours()*math.Exp(3*r.Float64()-2)
		jump, height := horizon.Sub(today).Hours()*r.Float64(), 0.0
		if n%3 == 0 {
			height = 0.9 * r.Float64()
		}
		steps := 0
		chance := func(t time.Time) float64 {
			steps++
			h := t.Sub(today).Hours()
			p := -math.Expm1(-math.Pow(h/scale, shape))
			if h >= jump {
				p = height + (1-height)*p
			}
			return p
		}
		share := 0.05 + 0.9*r.Float64()
		at := reaches(chance, share, today, horizon)
		asked, dates = asked+steps, dates+1
		if most := math.Ceil(math.Log2(max(1, horizon.Sub(today).Hours()/2))) + 4; float64(steps) > most {
			t.Fatalf("%d looks, halving takes %v", steps, most)
		}
		switch {
		case at.IsZero():
			if chance(horizon) >= share {
				t.Fatalf("%v of %v is reached by the horizon %s, but is not found", chance(horizon), share, horizon)
			}
		case chance(at) < share-1e-9:
			t.Fatalf("at %s the chance is %v, not yet %v", at, chance(at), share)
		case at.After(today) && chance(at.Add(-2*time.Hour-time.Second)) >= share:
			t.Fatalf("%v is reached two hours before %s", share, at)
		}
	}
	if mean := float64(asked) / float64(dates); mean > 11 { // halving takes sixteen
		t.Errorf("%v looks for a date", mean)
	}
}

// The binding cause is the one whose middle comes first, in whatever order the causes stand.
func TestTheFirstCauseBinds(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 9))
	far := today.AddDate(20, 0, 0)
	for range 300 {
		causes, first, at := make([]Cause, 1+r.IntN(5)), -1, far
		for i := range causes {
			due := today.Add(time.Duration(r.IntN(25*365)) * 24 * time.Hour)
			causes[i] = Cause{"limit", OnDate(due)}
			if !due.After(far) && (first < 0 || due.Before(at)) {
				first, at = i, due
			}
		}
		b := Compose(causes, today, far)
		if b.Binding != first {
			t.Fatalf("cause %d binds, the first is %d on %s: %+v", b.Binding, first, at, b)
		}
		if first >= 0 && (b.At50.Before(at) || b.At50.Sub(at) > 2*time.Hour) {
			t.Fatalf("half on %s, the first cause comes on %s", b.At50, at)
		}
	}
}
