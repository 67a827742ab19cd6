package main

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/cmd/carryside/desk"
	"carryside/schedule/cohort"
	"carryside/schedule/due"
	"carryside/schedule/life"
	"carryside/schedule/rules"
	"carryside/server/web"
)

// livesOf are the lives of a cohort in days, by splice.
func (l *loop) livesOf(key cohort.Key) map[int64]life.Observation {
	l.t.Helper()
	b, err := l.front.LifeBook(l.t.Context(), assets.JobScope(), 1, "", l.now)
	must(l.t, err)
	out := map[int64]life.Observation{}
	for _, x := range b.Lives {
		if o, ok := x.On(cohort.Days); ok && x.Key == key {
			out[x.SpliceID] = o
		}
	}
	return out
}

// bandByHand is in how many days the chance of failing comes to 10, 50 and 90 % for a splice of an age, by brute force: the likelihood of the lives at
// every point of a fine net over ln shape and ln scale, nothing known beforehand of either, and the chance at each point weighed by it (Lawless 2003,
// Statistical Models and Methods for Lifetime Data, sections 2.2 and 5.1: a failure gives h S, a life cut short S, a failure between two looks the difference of S).
func bandByHand(lives map[int64]life.Observation, ageDays float64) (days [3]float64) {
	const points = 81
	type law struct{ shape, scale, weight float64 }
	var laws []law
	most := math.Inf(-1)
	for i := range points {
		for j := range points {
			w := law{shape: math.Exp(math.Log(0.4) + math.Log(12/0.4)*float64(i)/(points-1)), scale: math.Exp(math.Log(150) + math.Log(3000./150)*float64(j)/(points-1))}
			hazard := func(t float64) float64 { return math.Pow(t/w.scale, w.shape) }
			for _, o := range lives {
				w.weight += hazard(o.Entry)
				switch o.Event {
				case life.Failed:
					w.weight += math.Log(w.shape/w.scale) + (w.shape-1)*math.Log(o.Life/w.scale) - hazard(o.Life)
				case life.Censored:
					w.weight -= hazard(o.Life)
				case life.Interval:
					w.weight += math.Log(math.Exp(-hazard(o.Lower)) - math.Exp(-hazard(o.Upper)))
				}
			}
			most = max(most, w.weight)
			laws = append(laws, w)
		}
	}
	sum := 0.0
	for i := range laws {
		laws[i].weight = math.Exp(laws[i].weight - most)
		sum += laws[i].weight
	}
	laws = slices.DeleteFunc(laws, func(w law) bool { return w.weight < 1e-8*sum })
	for i, share := range []float64{0.1, 0.5, 0.9} {
		lo, hi := 0.0, 20*365.0
		for hi-lo > 0.01 {
			mid, chance := (lo+hi)/2, 0.0
			for _, w := range laws {
				chance -= w.weight / sum * math.Expm1(math.Pow(ageDays/w.scale, w.shape)-math.Pow((ageDays+mid)/w.scale, w.shape))
			}
			if chance < share {
				lo = mid
			} else {
				hi = mid
			}
		}
		days[i] = hi
	}
	return days
}

// standsAtItsDates holds the due band of a splice against the dates by hand, to a day or 2 % of the way, whichever is more: the program averages over
// fewer points and finds a date to two hours.
func (l *loop) standsAtItsDates(when string, f *due.Forecast, lives map[int64]life.Observation, made time.Time) (hand [3]float64) {
	l.t.Helper()
	hand = bandByHand(lives, l.now.Sub(made).Hours()/24)
	for i, at := range []time.Time{f.Band.At10, f.Band.At50, f.Band.At90} {
		if got := at.Sub(l.now).Hours() / 24; math.Abs(got-hand[i]) > max(1, 0.02*hand[i]) {
			l.t.Errorf("%s, splice %d comes due by %d %% in %.1f days (%s), by hand in %.1f", when, f.SpliceID, [3]int{10, 50, 90}[i], got, at.Format(time.DateOnly), hand[i])
		}
	}
	return hand
}

// alone switches the rules of a plant off, so that failing alone brings a splice due.
func (l *loop) alone() {
	l.t.Helper()
	rs, err := l.front.RulesOf(l.t.Context(), assets.PlantScope(1), 1)
	must(l.t, err)
	act := plantdb.Act{PersonID: 4, Origin: plantdb.Screen, Action: "switch rules off", Now: l.now, Plants: []int64{1}, Customers: owners(rs), Company: true}
	must(l.t, l.h.db.Change(l.t.Context(), act, func(c *plantdb.Change) error {
		for _, r := range rs {
			r.Off = true
			if err := orders.SaveRule(c, &r); err != nil {
				return err
			}
		}
		return nil
	}))
}

// owners are the customers whose rules are among some.
func owners(rs []rules.Rule) (ids []int64) {
	for _, r := range rs {
		if r.CustomerID != 0 && !slices.Contains(ids, r.CustomerID) {
			ids = append(ids, r.CustomerID)
		}
	}
	return ids
}

// A splice of a cohort told in days fails: the dates of another of its cohort, before and after, are those that the likelihood of the very lives gives.
// The lives after are those before with one of them turned from sound to failed.
func TestADueBandStandsAtTheDatesThatOneFailureMoreGives(t *testing.T) {
	h := openHouse(t)
	l := &loop{t: t, h: h, now: plantDay.Add(time.Hour)}
	l.front = desk.New(h.db, func() time.Time { return l.now }, nil, "test")
	l.alone()
	before := l.fleet()
	var two []due.Forecast
	for _, f := range before.Forecasts {
		if f.Clock == cohort.Days && f.Key.Form == assets.FormBoltedPlate && len(f.Causes) == 1 && f.NoLife == "" {
			two = append(two, f)
		}
	}
	if len(two) < 2 {
		t.Fatalf("%d splices of the cohort come due by failing alone", len(two))
	}
	failing, other := two[0], two[1]
	was, sp := l.livesOf(failing.Key), spliceOf(t, before, other.SpliceID)
	hand := l.standsAtItsDates("before", &other, was, sp.Made.At.Time())

	old := spliceOf(t, before, failing.SpliceID)
	h.as("M. Okkerdal").submit("/plants/1/emergency", "Record it as done", map[string]string{"target": fmt.Sprintf("s%d", old.ID), "failure_mode": "fasteners pulled out", "hours": "1.5", "shortening_m": "400"}, http.StatusOK)
	is := l.livesOf(failing.Key)
	age := l.now.Sub(old.Made.At.Time()).Hours() / 24
	failed := is[old.ID]
	if at := max(failed.Upper, failed.Life); failed.Event == life.Censored || math.Abs(at-age) > 0.1 {
		t.Errorf("failed, it counts as %+v, want failed by its age of %.1f days", failed, age)
	}
	for id, o := range was {
		if id != old.ID && is[id] != o {
			t.Errorf("splice %d counted as %+v and counts as %+v", id, o, is[id])
		}
	}
	was[old.ID] = failed
	after := forecastOf(l.fleet(), other.SpliceID)
	if after == nil || after.Failures != other.Failures+1 {
		t.Fatalf("after, it rests on %+v, before on %+v", after, other)
	}
	moved := l.standsAtItsDates("after", after, was, sp.Made.At.Time())
	t.Logf("by hand %.1f days before, %.1f after", hand, moved)
}

func spliceOf(t *testing.T, f *web.Fleet, id int64) assets.Splice {
	t.Helper()
	for _, s := range f.Register.Splices {
		if s.ID == id {
			return s
		}
	}
	t.Fatalf("splice %d is not in the register", id)
	return assets.Splice{}
}
