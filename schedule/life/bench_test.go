package life

import (
	"fmt"
	"math/rand/v2"
	"syscall"
	"testing"
)

// rightCensored draws lives of a law, a share of them still sound at a horizon and a third watched from a later age on.
func rightCensored(r *rand.Rand, n int) []Observation {
	law := Weibull{Shape: 1.2 + 2*r.Float64(), Scale: 4000 + 8000*r.Float64()}
	lives := make([]Observation, 0, n)
	for len(lives) < n {
		o := Observation{Event: Failed, Life: law.Quantile(r.Float64()), Count: 1}
		if stop := law.Quantile(0.2 + 0.7*r.Float64()); o.Life > stop {
			o.Event, o.Life = Censored, stop
		}
		if r.IntN(3) == 0 {
			o.Entry = 0.4 * law.Scale * r.Float64()
		}
		if o.Life > o.Entry {
			lives = append(lives, o)
		}
	}
	return lives
}

// BenchmarkFleet fits 300,000 lives in 5,000 cohorts with all limits and tables.
func BenchmarkFleet(b *testing.B) {
	r := rand.New(rand.NewPCG(5, 2))
	cohorts := make([]Cohort, 5000)
	for i := range cohorts {
		cohorts[i] = Cohort{fmt.Sprint("cohort ", i), rightCensored(r, 60)}
	}
	benchmarkFit(b, cohorts)
}

// BenchmarkOneLargeCohort fits a million lives in one cohort.
func BenchmarkOneLargeCohort(b *testing.B) {
	benchmarkFit(b, []Cohort{{"all", rightCensored(rand.New(rand.NewPCG(5, 3)), 1_000_000)}})
}

func benchmarkFit(b *testing.B, cohorts []Cohort) {
	used := processorSeconds(b)
	runs := 0
	for b.Loop() {
		runs++
		report, err := Fit(cohorts, Settings{Confidence: 0.95, Quantiles: []float64{0.1}})
		if err != nil || report.Cohorts[0].Method != MaximumLikelihood {
			b.Fatalf("%+v, %v", report, err)
		}
	}
	b.ReportMetric((processorSeconds(b)-used)/float64(runs), "cpu-s/op")
}

// processorSeconds is what this process has used of the processor so far: on a busy machine the wall clock says little.
func processorSeconds(b *testing.B) float64 {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}
