package due_test

import (
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/cohort"
	"carryside/schedule/due"
	"carryside/schedule/life"
	"carryside/schedule/rules"
)

var grainKey = cohort.Key{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Family: "RB-EP", Duty: "plain"}

// grainLaw is a law with the shape known to be 2, from five failures at 400,000 passes and the splice itself, still
// running at 339,012 passes.
func grainLaw(t *testing.T) cohort.Law {
	t.Helper()
	lives := []life.Observation{{Event: life.Failed, Life: 400_000, Count: 5}, {Event: life.Censored, Life: 339_012, Count: 1}}
	p, err := life.Predict(lives, &life.Prior{LogShape: math.Log(2)})
	if err != nil {
		t.Fatal(err)
	}
	return cohort.Law{Key: grainKey, Clock: cohort.Passes, Predictive: p, Own: life.Fitted{RestsOn: life.Tally{Lives: 6, Failures: 5}}, Class: assets.ClassC}
}

// One splice by hand, from inputs to date.
//
// Splice 2 of conveyor Q3 was made on 14 September 2023. Since then the meter ran 19,417 - 10,000 = 9,417 h. The belt runs
// 0.5 m/s on a loop of 50 m: 3600 x 0.5 / 50 = 36 passes an hour, so it has made 339,012 passes. From now on it runs 10 h
// a day, 360 passes.
//
// Its cohort: five failures at 400,000 passes and this one, shape 2. With D failures and total risk s = sum of life²,
// the chance of failing within x more passes at age a is 1 - (s / (s + (a+x)² - a²))^D (gamma likelihood of the rate;
// Lawless 2003). s = 5 x 400,000² + 339,012² = 9.149e11.
//
//	10 %: s (0.9^(-1/5) - 1) = 1.948e10, so x = sqrt(a² + 1.948e10) - a =  27,602 passes =  76.7 days
//	50 %: s (0.5^(-1/5) - 1) = 1.360e11,                               x = 161,965 passes = 449.9 days
//	90 %: s (0.1^(-1/5) - 1) = 5.352e11,                               x = 467,297 passes = 1,298.0 days
func TestOneSpliceByHandFromInputsToDate(t *testing.T) {
	reg, clocks := grainPlant()
	now := local("2026-11-25T12:00")
	f := due.Forecasts(now, reg, nil, clocks, due.LifeModel{Laws: []cohort.Law{grainLaw(t)}})[0]
	if f.Key != grainKey || f.Clock != cohort.Passes || math.Abs(f.Age-339_012) > 1 || f.NoLife != "" || f.Failures != 5 {
		t.Fatalf("%+v", f)
	}
	const a, d = 339_012.0, 5.0
	s := 5*400_000.0*400_000 + a*a
	for _, tt := range []struct {
		share, handDays float64
		at              time.Time
	}{{0.1, 76.7, f.Band.At10}, {0.5, 449.9, f.Band.At50}, {0.9, 1298.0, f.Band.At90}} {
		x := math.Sqrt(a*a+s*(math.Pow(1-tt.share, -1/d)-1)) - a
		if math.Abs(x/360-tt.handDays) > 0.1 {
			t.Fatalf("the comment says %v days, the formula %v", tt.handDays, x/360)
		}
		if got := tt.at.Sub(now).Hours() / 24; math.Abs(got-tt.handDays) > 0.01*tt.handDays {
			t.Errorf("%v %% at %.1f days, by hand %.1f", 100*tt.share, got, tt.handDays)
		}
	}
	if f.Band.Binding != 0 || !strings.HasPrefix(f.Causes[0], "failing, by 5 failures among 6 lives") {
		t.Errorf("binds %d of %q", f.Band.Binding, f.Causes)
	}
	if !f.Advice.At.IsZero() || !strings.HasPrefix(f.Best.Words, "what a failure costs here is not known") {
		t.Errorf("%+v, %+v", f.Advice, f.Best)
	}
}

// Planners look at one kept forecast at once; what it lays as it is asked must not be written by one while another reads.
func TestAKeptForecastIsAskedByManyAtOnce(t *testing.T) {
	reg, clocks := grainPlant()
	now := local("2026-11-25T12:00")
	forecast := func() due.Forecast {
		return due.Forecasts(now, reg, nil, clocks, due.LifeModel{Laws: []cohort.Law{grainLaw(t)}})[0]
	}
	alone, shared := forecast(), forecast()
	var want []float64
	for week := range 60 {
		p, _ := alone.Chances(now.AddDate(0, 0, 7*week+3))
		want = append(want, p)
	}
	var planners sync.WaitGroup
	for range 8 {
		planners.Go(func() {
			for week, p := range want {
				if got, _ := shared.Chances(now.AddDate(0, 0, 7*week+3)); got != p {
					t.Errorf("in week %d: %v, alone %v", week, got, p)
				}
			}
		})
	}
	planners.Wait()
}

// The best age against a plain search: C(T) = (cp R + cf F) / (integral of R) by trapezoids at every thousand passes.
func TestTheBestAgeSetsTheDate(t *testing.T) {
	reg, clocks := grainPlant()
	now := local("2026-11-25T12:00")
	cost := func(*assets.Splice) (due.Cost, bool) {
		return due.Cost{Costs: life.Costs{Planned: 40_000, Unplanned: 400_000}, Words: "planned 40 000, unplanned 400 000"}, true
	}
	law := grainLaw(t)
	f := due.Forecasts(now, reg, nil, clocks, due.LifeModel{Laws: []cohort.Law{law}, Cost: cost})[0]
	best, least, area := 0.0, math.Inf(1), 0.0
	w := law.Predictive.Best
	r := func(x float64) float64 { return math.Exp(-w.CumulativeHazard(x)) }
	for x := 1000.0; x < 2e6; x += 1000 {
		area += (r(x-1000) + r(x)) / 2 * 1000
		if c := (40_000*r(x) + 400_000*(1-r(x))) / area; c < least {
			best, least = x, c
		}
	}
	if !f.Best.Known || math.Abs(f.Best.Age-best) > 1500 {
		t.Errorf("best age %v, by search %v", f.Best.Age, best)
	}
	if !f.Advice.At.Equal(now) || !strings.HasPrefix(f.Advice.Reason, "best age ") { // 339,012 passes are beyond it
		t.Errorf("%+v", f.Advice)
	}
}

func TestWhatComesFirstBinds(t *testing.T) {
	reg, clocks := grainPlant()
	now := local("2026-11-25T12:00")
	m := due.LifeModel{Laws: []cohort.Law{grainLaw(t)}}
	for name, tt := range map[string]struct {
		rules  []rules.Rule
		change func(*due.LifeModel)
		advice string
		binds  string
		at     time.Time // zero: not looked at
	}{
		"a rule of class C ahead of failing": {rules: []rules.Rule{passesLimit(7, 364_000)}, advice: "339\u00a0012 of 364\u00a0000 passes", binds: "limit of 364\u00a0000 passes",
			at: now.Add(time.Duration((364_000 - 339_012) / 360. * 24 * float64(time.Hour)))},
		"a rule of thumb binds nothing": {rules: []rules.Rule{thumb(monthsLimit(8, 40))}, advice: "", binds: "failing"},
		"a trend with its margin": {change: func(m *due.LifeModel) {
			m.Trends = map[int64][]due.Crossing{30: {{Words: "splice gap", At: now.AddDate(0, 0, 100), Spread: 24 * time.Hour, Margin: 30 * 24 * time.Hour}}}
		}, advice: "splice gap", binds: "splice gap", at: now.AddDate(0, 0, 70)},
		"a finding that demands work": {rules: []rules.Rule{passesLimit(7, 364_000)}, change: func(m *due.LifeModel) {
			m.Findings = map[int64]due.Demand{30: {By: now.AddDate(0, 0, 7), Words: "finding, grade 3"}}
		}, advice: "finding, grade 3", binds: "limit of 364\u00a0000 passes", at: now.AddDate(0, 0, 7)},
	} {
		t.Run(name, func(t *testing.T) {
			m := m
			if tt.change != nil {
				tt.change(&m)
			}
			f := due.Forecasts(now, reg, tt.rules, clocks, m)[0]
			if !strings.HasPrefix(f.Advice.Reason, tt.advice) || tt.advice == "" && f.Advice.Reason != "" {
				t.Errorf("advised by %q", f.Advice.Reason)
			}
			if f.Band.Binding < 0 || !strings.HasPrefix(f.Causes[f.Band.Binding], tt.binds) {
				t.Errorf("bound by %d of %q", f.Band.Binding, f.Causes)
			}
			if d := f.Advice.At.Sub(tt.at); !tt.at.IsZero() && (d > 2*time.Hour || d < -2*time.Hour) {
				t.Errorf("advised for %v, want %v", f.Advice.At, tt.at)
			}
		})
	}
}

func TestASpliceTheLifeModelCannotTell(t *testing.T) {
	now := local("2026-11-25T12:00")
	none := cohort.Law{Key: grainKey, Clock: cohort.Passes, Own: life.Fitted{RestsOn: life.Tally{Lives: 40}}}
	for name, tt := range map[string]struct {
		change func(*assets.Register, *due.Clocks)
		laws   []cohort.Law
		want   string
	}{
		"no date made":           {func(r *assets.Register, _ *due.Clocks) { r.Splices[0].Made = assets.When{At: assets.InstantOf(now)} }, []cohort.Law{grainLaw(t)}, "the date it was made is not known"},
		"no reading":             {func(_ *assets.Register, c *due.Clocks) { delete(c.Lines, 10) }, []cohort.Law{grainLaw(t)}, "lives of its cohort are told in passes, which are not known here"},
		"no failure yet":         {nil, []cohort.Law{none}, "none of the 40 lives of its cohort has ended by failure"},
		"a kind nobody has seen": {nil, nil, "no life of its cohort can be used"},
	} {
		t.Run(name, func(t *testing.T) {
			reg, clocks := grainPlant()
			if tt.change != nil {
				tt.change(reg, &clocks)
			}
			f := due.Forecasts(now, reg, nil, clocks, due.LifeModel{Laws: tt.laws})[0]
			if f.NoLife != tt.want || f.Band.Binding != -1 || !f.Band.At10.IsZero() || f.Best.Known {
				t.Errorf("%q, %+v", f.NoLife, f)
			}
		})
	}
}

// BenchmarkForecasts forecasts a plant of 450 splices of one cohort, a rule beside it.
func BenchmarkForecasts(b *testing.B) {
	lives := make([]life.Observation, 60)
	for i := range lives {
		lives[i] = life.Observation{Event: life.Censored, Life: 200_000 + 3_000*float64(i), Count: 1}
		if i%5 == 0 {
			lives[i].Event = life.Failed
		}
	}
	p, err := life.Predict(lives, nil)
	if err != nil {
		b.Fatal(err)
	}
	law := cohort.Law{Key: grainKey, Clock: cohort.Passes, Predictive: p, Own: life.Fitted{RestsOn: life.Tally{Lives: 60, Failures: 12}}}
	reg, clocks := grainPlant()
	one := reg.Splices[0]
	for i := range 449 {
		s := one
		s.ID = int64(1000 + i)
		reg.Splices = append(reg.Splices, s)
	}
	now := local("2026-11-25T12:00")
	b.ReportAllocs()
	for b.Loop() {
		due.Forecasts(now, reg, []rules.Rule{passesLimit(7, 364_000)}, clocks, due.LifeModel{Laws: []cohort.Law{law}})
	}
}
