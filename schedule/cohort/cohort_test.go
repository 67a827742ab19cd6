package cohort

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/life"
)

var (
	zone    = calendar.Zone{}
	watched = at("2015-01-01T00:00")
	today   = at("2025-11-25T12:00")
)

func at(s string) time.Time {
	t, err := time.Parse("2006-01-02T15:04", s)
	if err != nil {
		panic(err)
	}
	return t
}

// twelve hours a day, a loop of 90 m at 2.5 m/s: 100 passes an hour.
func steady(_, _ int64, from, to time.Time) (hours, passes float64) {
	h := to.Sub(from).Hours() / 2
	return h, 100 * h
}

func day(t *testing.T, s string) assets.When {
	t.Helper()
	w, err := assets.OnDay(assets.Day(s), time.UTC, today)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func about(t *testing.T, from, to, words string) assets.When {
	t.Helper()
	w, err := assets.Between(assets.Day(from), assets.Day(to), words, time.UTC, today)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func splice(made assets.When, retired assets.When, why assets.RetiredWhy, mode string) Splice {
	s := Splice{Key: Key{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Family: "RB-EP", Duty: "abrasive"}, Zone: zone, Record: &Record{Since: watched}}
	s.Made = made
	if why != "" {
		e := retired.At
		s.Ended, s.Retired, s.RetiredWhy, s.FailureMode = &e, retired, why, mode
	}
	return s
}

// Each splice of the plant as the life model has to see it (section on observations of the product's reference).
func TestWhatASpliceCountsAs(t *testing.T) {
	exact := day(t, "2020-01-01")
	for name, tt := range map[string]struct {
		s        Splice
		outcome  Outcome
		days     life.Observation // lower, upper, life, entry in days
		reason   string
		question bool
	}{
		"failed": {splice(exact, day(t, "2023-09-27"), assets.RetiredFailed, "opened"), Failed,
			life.Observation{Event: life.Failed, Life: 1365}, "failed (opened) on 27 September 2023 after 1\u00a0365 days", false},
		"still running": {splice(exact, assets.When{}, "", ""), Sound,
			life.Observation{Event: life.Censored, Life: 2154.5}, "still running, sound at 2\u00a0155 days", false},
		"replaced sound": {splice(exact, day(t, "2021-01-01"), assets.RetiredPlanned, ""), Sound,
			life.Observation{Event: life.Censored, Life: 366}, "replaced sound on 1 January 2021, sound at 366 days", false},
		"ended, nobody knows why": {splice(exact, day(t, "2021-01-01"), assets.RetiredUnknown, ""), Sound,
			life.Observation{Event: life.Censored, Life: 366}, "ended, why not known; counts as sound until its end at 366 days", true},
		"failed between two rounds": {splice(exact, about(t, "2021-01-01", "2021-01-15", "found open on 15 January"), assets.RetiredFailed, "opened"), FailedWithin,
			life.Observation{Event: life.Interval, Lower: 366, Upper: 380}, "failed (opened) at an age of 366 to 380 days: made 1 January 2020, failed found open on 15 January", false},
		"made in spring": {splice(about(t, "2020-03-01", "2020-05-31", "spring 2020"), day(t, "2021-05-31"), assets.RetiredFailed, "opened"), FailedWithin,
			life.Observation{Event: life.Interval, Lower: 365, Upper: 456}, "failed (opened) at an age of 365 to 456 days: made spring 2020, failed 31 May 2021", false},
		"made before 2018 and failed": {splice(about(t, "", "2017-12-31", "before 2018"), day(t, "2021-12-31"), assets.RetiredFailed, ""), Sound,
			life.Observation{Event: life.Censored, Life: 1461}, "failed, at what age is open: made before 2018; counts as sound until 1\u00a0461 days", true},
		"made before endings were recorded": {splice(day(t, "2012-12-31"), day(t, "2016-01-01"), assets.RetiredFailed, "opened"), Failed,
			life.Observation{Event: life.Failed, Life: 1096, Entry: 730},
			"failed (opened) on 1 January 2016 after 1\u00a0096 days; made before 1 January 2015, when endings began to be recorded here, as read off the register: watched from 730 days on", false},
		"ended before endings were recorded": {splice(day(t, "2010-01-01"), day(t, "2014-01-01"), assets.RetiredFailed, ""), LeftOut, life.Observation{}, "left out: it ended before", false},
		"no date made":                       {splice(assets.When{}, assets.When{}, "", ""), LeftOut, life.Observation{}, "left out: the date it was made is not known", true},
		"dates the wrong way round":          {splice(exact, day(t, "2019-01-01"), assets.RetiredFailed, ""), LeftOut, life.Observation{}, "left out: it ended no later than it was made", true},
	} {
		t.Run(name, func(t *testing.T) {
			l := Observe(tt.s, steady, today)
			if l.Outcome != tt.outcome || !strings.HasPrefix(l.Reason, tt.reason) || (l.Question != "") != tt.question {
				t.Fatalf("%s: %q, asks %q", l.Outcome, l.Reason, l.Question)
			}
			o, known := l.On(Days)
			if tt.outcome == LeftOut {
				if known {
					t.Error("left out, and still known")
				}
				return
			}
			tt.days.Count = 1
			if o != tt.days {
				t.Errorf("in days %+v, want %+v", o, tt.days)
			}
			if p, ok := l.On(Passes); !ok || math.Abs(p.Life-tt.days.Life*1200) > 1e-6 || math.Abs(p.Entry-tt.days.Entry*1200) > 1e-6 {
				t.Errorf("in passes %+v", p)
			}
		})
	}
}

func TestAnotherFailureModeCountsAsSound(t *testing.T) {
	s := splice(day(t, "2020-01-01"), day(t, "2021-01-01"), assets.RetiredFailed, "torn by tramp iron")
	if l := Observe(s, steady, today).For("opened"); l.Outcome != Sound || !strings.HasPrefix(l.Reason, "failed in another way (torn by tramp iron) after 366 days") {
		t.Errorf("%+v", l)
	}
	if l := Observe(s, steady, today).For("torn by tramp iron"); l.Outcome != Failed {
		t.Errorf("%+v", l)
	}
	// Between two dates it was sound in another way until the first of them; where that is its making, nothing was seen of it.
	s.Retired = about(t, "2020-06-01", "2021-01-01", "winter 2020")
	one := Observe(s, steady, today)
	o, _ := one.For("opened").On(Days)
	if o.Event != life.Censored || math.Abs(o.Life-152) > 1e-9 || o.Check() != nil {
		t.Errorf("%+v", o)
	}
	if ways := (Cohort{Lives: For("opened", []Life{one, one})}).Ways(); len(ways) != 1 || ways[0] != (Way{"torn by tramp iron", 2}) {
		t.Errorf("%+v", ways)
	}
	s.Made = about(t, "2020-01-01", "2020-06-01", "spring 2020")
	if l := Observe(s, steady, today).For("opened"); l.Outcome != LeftOut {
		t.Errorf("%s: %s", l.Outcome, l.Reason)
	}
}

// Found failed by a look, a splice failed since the look before.
func TestFoundFailedByALook(t *testing.T) {
	s := splice(day(t, "2020-01-01"), day(t, "2021-02-01"), assets.RetiredFailed, "opened")
	s.Found = &Found{Sound: at("2020-12-01T23:59").Add(time.Minute), At: at("2021-01-01T00:00").AddDate(0, 0, 1)}
	l := Observe(s, steady, today)
	if o, _ := l.On(Days); o.Event != life.Interval || o.Lower != 335 || o.Upper != 366 || l.Outcome != FailedWithin {
		t.Errorf("%+v: %s", o, l.Reason)
	}
	if o, _ := l.On(Passes); o.Lower != 335*1200 || o.Upper != 366*1200 || !strings.Contains(l.Reason, "at the look of 1 December 2020, found at the look of 1 January 2021") {
		t.Errorf("%+v: %s", o, l.Reason)
	}
}

// drawn are splices of one cohort whose lives follow a law of the passes, on belts of very different pace.
func drawn(t *testing.T, seed uint64, key Key, n int, law life.Weibull, watchedYears float64) []Life {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 7))
	var lives []Life
	for i := range n {
		pace := []float64{20, 100, 600}[i%3] // passes an hour
		usage := func(_, _ int64, from, to time.Time) (hours, passes float64) {
			h := to.Sub(from).Hours() / 2
			return h, pace * h
		}
		made := today.Add(-time.Duration(watchedYears * float64(i) / float64(n) * 365.25 * 24 * float64(time.Hour)))
		days := law.Scale * math.Pow(-math.Log(1-r.Float64()), 1/law.Shape) / pace / 12
		s := splice(assets.Exactly(made, time.UTC), assets.When{}, "", "")
		s.Key = key
		if end := made.Add(time.Duration(days * 24 * float64(time.Hour))); end.Before(today) {
			s = splice(assets.Exactly(made, time.UTC), assets.Exactly(end, time.UTC), assets.RetiredFailed, "opened")
			s.Key = key
		}
		lives = append(lives, Observe(s, usage, today))
	}
	return lives
}

func TestSplicesThatWearByPassesAreToldByPasses(t *testing.T) {
	key := Key{Form: assets.FormFinger, Bond: assets.BondHotPressed, Family: "LT-PVC", Duty: "plain"}
	all := Sort(drawn(t, 1, key, 300, life.Weibull{Shape: 2.5, Scale: 3e6}, 8))
	laws, err := Study(all)
	if err != nil {
		t.Fatal(err)
	}
	l := laws[0]
	if l.Clock != Passes || l.Compared[0].Clock != Passes || l.Compared[1].Short < 20 {
		t.Fatalf("told by %s: %+v", l.Clock, l.Compared)
	}
	if lim := l.Own.Limits; !(float64(lim.Shape[0]) < 2.5 && 2.5 < float64(lim.Shape[1]) && float64(lim.Scale[0]) < 3e6 && 3e6 < float64(lim.Scale[1])) {
		t.Errorf("shape %v %v, scale %v %v", l.Own.Shape, lim.Shape, l.Own.Scale, lim.Scale)
	}
	if l.Class != assets.ClassC || l.Prior != nil || l.Predictive == nil {
		t.Errorf("%+v", l)
	}
}

func TestAThinCohortBorrowsTheShapeOfItsKind(t *testing.T) {
	rich := Key{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Family: "RB-EP", Duty: "abrasive"}
	thin, none := rich, rich
	thin.Duty, none.Duty = "outdoor", "plain"
	lives := drawn(t, 2, rich, 200, life.Weibull{Shape: 3, Scale: 4e6}, 9)
	lives = append(lives, drawn(t, 3, thin, 4, life.Weibull{Shape: 3, Scale: 1e6}, 4)...)
	lives = append(lives, drawn(t, 4, none, 5, life.Weibull{Shape: 3, Scale: 9e7}, 4)...)
	laws, err := Study(Sort(lives))
	if err != nil {
		t.Fatal(err)
	}
	own := lawOf(t, laws, rich)
	l := lawOf(t, laws, thin)
	if l.Own.RestsOn.Failures == 0 || l.Own.RestsOn.Failures >= 10 || len(l.Lent) != 1 || l.Lent[0] != rich || l.LentBy.Level != ByFamily {
		t.Fatalf("%d failures, lent by %v in %q", l.Own.RestsOn.Failures, l.Lent, l.LentBy.Words())
	}
	if b := l.Predictive.Best.Shape; math.Abs(b/float64(own.Own.Shape)-1) > 0.35 {
		t.Errorf("shape %v borrowed from %v", b, own.Own.Shape)
	}
	l = lawOf(t, laws, none)
	if l.Predictive != nil || l.Own.Method != life.LowerBound || l.Class != assets.ClassD {
		t.Errorf("a cohort without failure: %+v", l)
	}
	// At the shape lent, not at the rule of thumb: scale >= (sum of life^b / -ln 0.05)^(1/b).
	b, sum := float64(own.Own.Shape), 0.0
	for _, one := range Sort(lives) {
		for _, o := range one.On(l.Clock) {
			if one.Key == none {
				sum += math.Pow(o.Life, b)
			}
		}
	}
	if want := math.Pow(sum/-math.Log(0.05), 1/b); math.Abs(float64(l.Own.Limits.Scale[0])/want-1) > 1e-6 || math.Abs(float64(l.Own.Shape)/b-1) > 1e-6 {
		t.Errorf("bound %v at shape %v, want %v at %v", l.Own.Limits.Scale[0], l.Own.Shape, want, b)
	}
}

func TestKeysAndTheirParents(t *testing.T) {
	k := Key{Form: assets.FormStepped, Family: "RB-EP", Duty: "hot"}
	var words []string
	for _, p := range append([]Key{k}, k.Parents()...) {
		words = append(words, p.Words())
		if !p.Holds(k) {
			t.Errorf("%s does not hold its own", p.Words())
		}
	}
	if got := strings.Join(words, " < "); got != "stepped, on RB-EP, hot < stepped, on RB-EP < stepped < all stepped < all splices" {
		t.Error(got)
	}
	hot := 60.0
	if d := DutyOf(assets.Conveyor{Abrasive: true, Outdoor: true, ProductC: &hot}); d != "abrasive, hot, outdoor" {
		t.Error(d)
	}
}

// The band of one splice by hand: chance of failing by the exponential law (shape 1, mean 1000 days) beside a limit that
// falls due on a date. Without the limit 10, 50 and 90 % are at -1000 ln(0.9), ln(0.5), ln(0.1) days: 105.4, 693.1, 2302.6.
func TestADueBandByHand(t *testing.T) {
	law := life.Weibull{Shape: 1, Scale: 1000}
	days := func(t time.Time) (float64, float64) { return t.Sub(today).Hours() / 24, 0 }
	fails := Cause{"failing", FailsBy(func(x float64) float64 { return law.FailsWithin(500, x) }, days, 1, 5000)}
	far := today.AddDate(20, 0, 0)
	band := Compose([]Cause{fails}, today, far)
	for _, tt := range []struct {
		at   time.Time
		want float64
	}{{band.At10, 105.4}, {band.At50, 693.1}, {band.At90, 2302.6}} {
		if got := tt.at.Sub(today).Hours() / 24; math.Abs(got-tt.want) > 0.01*tt.want {
			t.Errorf("%v days, want %v", got, tt.want)
		}
	}
	limit := Cause{"rule", OnDate(today.AddDate(0, 0, 400))}
	both := Compose([]Cause{fails, limit}, today, far)
	if both.At10.Sub(band.At10).Abs() > 4*time.Hour || both.At50.Sub(limitDay(both)) > 2*time.Hour || both.Binding != 1 || !both.At50.Equal(both.At90) {
		t.Errorf("%+v", both)
	}
	if b := Compose(nil, today, far); b.Binding != -1 || !b.At10.IsZero() {
		t.Errorf("no cause, and %+v", b)
	}
}

func limitDay(b DueBand) time.Time { return today.AddDate(0, 0, 400) }

// What will be run is uncertain: the spread widens the band on both sides and leaves its middle where a limit is.
func TestTheSpreadOfUsageWidensTheBand(t *testing.T) {
	width := func(share float64) time.Duration {
		ran := func(t time.Time) (float64, float64) {
			h := t.Sub(today).Hours() / 2
			return h, share * h
		}
		b := Compose([]Cause{{"limit", PassesBy(5000, ran)}}, today, today.AddDate(20, 0, 0))
		if mid := b.At50.Sub(today).Hours() / 2; math.Abs(mid-5000) > 5 {
			t.Errorf("middle at %v h", mid)
		}
		return b.At90.Sub(b.At10)
	}
	narrow, wide := width(0.02), width(0.1)
	if narrow <= 0 || wide < 4*narrow || wide > 6*narrow {
		t.Errorf("%v and %v", narrow, wide)
	}
}

func ExampleObserve() {
	made, _ := assets.OnDay("2020-01-01", time.UTC, today)
	s := Splice{Zone: zone, Record: &Record{Since: watched}}
	s.Made = made
	fmt.Println(Observe(s, steady, today).Reason)
	// Output: still running, sound at 2 155 days
}

// lawOf is the law of a cohort.
func lawOf(t *testing.T, laws []Law, k Key) Law {
	t.Helper()
	for _, l := range laws {
		if l.Key == k {
			return l
		}
	}
	t.Fatalf("no law of %s", k.Words())
	return Law{}
}

// What a plant states since when its failures are on record goes before what the register shows, and the reason says so.
func TestAPlantStatesSinceWhenItsFailuresAreOnRecord(t *testing.T) {
	failed := splice(day(t, "2016-01-01"), day(t, "2019-01-01"), assets.RetiredFailed, "opened")
	entered := time.Date(2022, 5, 10, 8, 0, 0, 0, time.UTC)
	plant := assets.Plant{Name: "Skarrow"}
	plant.ID = 1
	read := RecordOf(plant, []assets.Splice{failed.Splice}, entered, zone)
	if want := time.Date(2019, 1, 1, 0, 0, 0, 0, time.UTC); !read.Since.Equal(want) || read.Stated || read.Why != "the month of the first ending in the register" {
		t.Errorf("read off the register: %+v", read)
	}
	if none := RecordOf(plant, nil, entered, zone); !none.Since.Equal(entered) || none.Why != "the plant was entered then, and no ending before it is in the register" {
		t.Errorf("without an ending: %+v", none)
	}
	plant.History = assets.History{From: "2017-07-01", Why: "the log book begins then"}
	stated := RecordOf(plant, []assets.Splice{failed.Splice}, entered, zone)
	if !stated.Stated || stated.Since.Format("2006-01-02") != "2017-07-01" || stated.Why != "the log book begins then" {
		t.Fatalf("stated: %+v", stated)
	}
	entries := map[*Record]float64{}
	for _, r := range []*Record{read, stated} {
		failed.Record = r
		l := Observe(failed, steady, today)
		o, known := l.On(Days)
		if !known || !l.Late {
			t.Fatalf("%+v", l)
		}
		entries[r] = o.Entry
		if says := map[bool]string{true: "as the plant states", false: "as read off the register"}[r.Stated]; !strings.Contains(l.Reason, says) {
			t.Errorf("%q does not say %q", l.Reason, says)
		}
	}
	// From the end of 1 January 2016: to 1 January 2019 1 095 days, to 1 July 2017 546.
	if entries[read] != 1095 || entries[stated] != 546 {
		t.Errorf("entered at %v and %v days, want 1095 and 546", entries[read], entries[stated])
	}
	failed.Record = &Record{Since: time.Date(2019, 6, 1, 0, 0, 0, 0, time.UTC), Stated: true}
	if l := Observe(failed, steady, today); l.Outcome != LeftOut || !strings.Contains(l.Reason, "it ended before 1 June 2019, when endings began to be recorded here, as the plant states") {
		t.Errorf("%s: %q", l.Outcome, l.Reason)
	}
}
