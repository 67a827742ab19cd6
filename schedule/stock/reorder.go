package stock

import (
	"errors"
	"math"

	"carryside/assets"
)

// Jobs is the demand of unplanned jobs of one size: how many are expected a day and what each takes.
type Jobs struct {
	PerDay float64         // expected number, 1/d
	Each   assets.Quantity // taken by one
}

// Level is a reorder point with what it is made of, so that a screen can show its working.
type Level struct {
	Planned      assets.Quantity // of planned work in the lead time
	Unplanned    assets.Quantity // so much is not exceeded, at the service level
	Expected     assets.Quantity // mean of the unplanned demand in the lead time
	Spare        assets.Quantity // stays on hand
	Point        assets.Quantity // Planned + Unplanned + Spare
	ServiceLevel float64
	LeadTimeDays int
}

// ErrServiceLevel is a service level that is no chance.
var ErrServiceLevel = errors.New("the service level is a chance from 50 to 99.99 %")

// Reorder returns the level below which an item is ordered, so that it does not run out before the supply comes with at
// least the service level:
//
//	point = planned + q + spare,  q the smallest with P(U <= q) >= service level
//	U = sum over sizes of (Poisson(rate × lead time) × size)
//
// Planned work in the lead time is known and counts as it stands; unplanned jobs come by themselves (a Poisson process),
// each taking its size, so their sum is compound Poisson. The service level is that of the cycle: the chance of not
// running out while a supply is awaited.
//
//	planned       demand of planned work that falls within the lead time
//	unplanned     sizes with their rates; rates 0 or more
//	leadTimeDays  0 or more
//	level         in [0.5, 0.9999]
//	spare         what must be there even then; 0 for none
//
// Source: compound Poisson by the recursion of H. H. Panjer, ASTIN Bulletin 12 (1981) 22-26; reorder point and cycle
// service as in any handbook of inventory control (continuous review, one order under way). What it ignores: a lead time
// that varies, and failures that come together.
func Reorder(planned assets.Quantity, unplanned []Jobs, leadTimeDays int, level float64, spare assets.Quantity) (Level, error) {
	if !(level >= 0.5 && level <= 0.9999) {
		return Level{}, ErrServiceLevel
	}
	days := float64(max(0, leadTimeDays))
	q, mean := quantile(unplanned, days, level)
	return Level{Planned: planned, Unplanned: q, Expected: mean, Spare: spare, Point: planned + q + spare, ServiceLevel: level, LeadTimeDays: leadTimeDays}, nil
}

// mostSteps bounds the recursion; sizes are put on a coarser grid, upwards, where exact ones would take more.
const mostSteps = 20000

// quantile returns the smallest demand that the compound Poisson sum does not exceed with the chance, and its mean.
func quantile(jobs []Jobs, days, level float64) (q, mean assets.Quantity) {
	sizes := map[assets.Quantity]float64{}
	total, sum := 0.0, 0.0
	for _, j := range jobs {
		if j.Each > 0 && j.PerDay > 0 && !math.IsInf(j.PerDay, 0) {
			sizes[j.Each] += j.PerDay * days
			total += j.PerDay * days
			sum += j.PerDay * days * float64(j.Each)
		}
	}
	mean = assets.Quantity(math.Round(sum))
	if total == 0 {
		return 0, 0
	}
	step := grid(sizes, sum, total)
	rates := make([]float64, 0)
	for size, rate := range sizes {
		k := int((size + step - 1) / step)
		for len(rates) <= k {
			rates = append(rates, 0)
		}
		rates[k] += rate
	}
	return assets.Quantity(panjer(rates, total, level)) * step, mean
}

// grid is the largest step that every size is a multiple of, or a coarser one where the sum would take too many steps.
func grid(sizes map[assets.Quantity]float64, sum, total float64) assets.Quantity {
	var step assets.Quantity
	largest := assets.Quantity(0)
	for s := range sizes {
		step = gcd(step, s)
		largest = max(largest, s)
	}
	far := sum + 6*math.Sqrt(total)*float64(largest) + float64(largest)
	if least := assets.Quantity(math.Ceil(far / mostSteps)); step < least {
		return least
	}
	return step
}

func gcd(a, b assets.Quantity) assets.Quantity {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// panjer returns the smallest n with P(sum <= n) >= level for a compound Poisson sum; rates[k] is the rate of jobs of k
// steps. p(0) = exp(-total), p(n) = 1/n · sum over k of k · rates[k] · p(n-k). It works with logarithms of scale so that a
// large total does not vanish.
func panjer(rates []float64, total, level float64) int {
	p := []float64{1} // times exp(-logScale)
	logScale := total
	cumulative := 1.0
	for n := 0; ; n++ {
		if n > 0 {
			v := 0.0
			for k := 1; k < len(rates) && k <= n; k++ {
				v += float64(k) * rates[k] * p[n-k]
			}
			p = append(p, v/float64(n))
			cumulative += p[n]
			if cumulative > 1e200 {
				rescale(p, &cumulative, &logScale)
			}
		}
		if math.Log(cumulative)-logScale >= math.Log(level) || n >= 50*mostSteps {
			return n
		}
	}
}

func rescale(p []float64, cumulative, logScale *float64) {
	const by = 1e-150
	for i := range p {
		p[i] *= by
	}
	*cumulative *= by
	*logScale += math.Log(by)
}

// Pack rounds a quantity up to whole packs.
func Pack(q, pack assets.Quantity) assets.Quantity {
	if pack <= 0 || q <= 0 {
		return max(0, q)
	}
	return (q + pack - 1) / pack * pack
}
