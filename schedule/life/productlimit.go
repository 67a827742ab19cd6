package life

import (
	"math"
	"slices"
)

// ProductLimitRow is one step of the product-limit estimate of the survival (Kaplan and Meier 1958).
type ProductLimitRow struct {
	Time     float64 `json:"time"`    // age of at least one exact failure
	AtRisk   int64   `json:"at_risk"` // lives with entry < time <= life
	Failures int64   `json:"failures"`
	Survival float64 `json:"survival"`
	StdError Figure  `json:"std_error"` // Greenwood 1926; none once the survival is 0
}

// ending is one age at which lives leave the risk set.
type ending struct {
	age    float64
	left   int64 // lives, failed or not
	failed int64
}

// ProductLimit is the product-limit estimate with late entry, for lives without intervals: at each distinct age of failure
// survival = product of (1 - failures/at risk), standard error = survival sqrt(sum failures/(at risk (at risk - failures))).
//
// A life censored at an age is still at risk there. Late entry can empty the risk set early; the survival then stays 0.
// Observations have passed Check; intervals of some width are left out, the caller does not ask for them.
func ProductLimit(lives []Observation) []ProductLimitRow {
	endings := make([]ending, 0, len(lives))
	var entries []ending
	atRisk := int64(0)
	for _, o := range lives {
		o = o.plain()
		if o.Event == Interval {
			continue
		}
		e := ending{age: o.Life, left: o.Count}
		if o.Event == Failed {
			e.failed = o.Count
		}
		endings = append(endings, e)
		if o.Entry > 0 {
			entries = append(entries, ending{age: o.Entry, left: o.Count})
		} else {
			atRisk += o.Count
		}
	}
	byAge := func(a, b ending) int { // ages are finite: half the time of cmp.Compare
		switch {
		case a.age < b.age:
			return -1
		case a.age > b.age:
			return 1
		}
		return 0
	}
	slices.SortFunc(endings, byAge)
	slices.SortFunc(entries, byAge)
	return stepDown(endings, entries, atRisk)
}

// stepDown walks the ages in order.
func stepDown(endings, entries []ending, atRisk int64) []ProductLimitRow {
	rows := []ProductLimitRow{}
	survival, greenwood := 1.0, 0.0
	for i, entered := 0, 0; i < len(endings); {
		age, left, failed := endings[i].age, int64(0), int64(0)
		for ; i < len(endings) && endings[i].age == age; i++ {
			left += endings[i].left
			failed += endings[i].failed
		}
		for ; entered < len(entries) && entries[entered].age < age; entered++ {
			atRisk += entries[entered].left
		}
		if failed > 0 {
			y, d := float64(atRisk), float64(failed)
			survival *= (y - d) / y
			greenwood += d / (y * (y - d))
			row := ProductLimitRow{Time: age, AtRisk: atRisk, Failures: failed, Survival: survival, StdError: Figure(survival * math.Sqrt(greenwood))}
			if survival == 0 {
				row.StdError = None
			}
			rows = append(rows, row)
		}
		atRisk -= left
	}
	return rows
}
