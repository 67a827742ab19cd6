package kit

import (
	"math"
	"testing"

	"carryside/assets"

	"pgregory.net/rapid"
)

func counter(id int64, of assets.Wear, part string, count, limit, perJob float64, up bool) Counter {
	return Counter{assets.KitCounter{Version: assets.Version{ID: id}, Counts: of, Part: part, Limit: limit, PerJob: perJob, InUse: up}, count}
}

// cutter is a step cutter with its pad's side A spent and B up, as a workshop would have it.
func cutter() []Counter {
	return []Counter{
		counter(1, assets.WearPadCutsA, "pad 6", 300, 300, 60, false),
		counter(2, assets.WearPadCutsB, "pad 6", 180, 300, 60, true),
		counter(3, assets.WearBladeCuts, "blades 9", 1860, 2000, 60, false),
	}
}

// By hand: 140 cuts left, 60 a job: lasts for two jobs and 20 are left, not enough for the third.
func TestForWhichJobsBladesLast(t *testing.T) {
	jobs := []Job{{1, 412, "2026-12-12"}, {2, 415, "2026-12-25"}, {3, 421, "2026-12-28"}, {4, 420, "2027-01-30"}}
	l := cutter()[2].Last(jobs)
	if len(l.For) != 2 || l.Left != 20 || l.Past == nil || l.Past.Number != 421 {
		t.Errorf("%+v; want 412 and 415, 20 left, not 421", l)
	}
	if l := counter(1, assets.WearPressCycles, "", 215, 400, 0, false).Last(jobs); l.For != nil || l.Past != nil || l.Left != 185 {
		t.Errorf("without a figure for a job: %+v", l)
	}
	if l := counter(1, assets.WearPressCycles, "", 215, 0, 1, false).Last(jobs); !math.IsInf(l.Left, 1) || l.Past != nil {
		t.Errorf("without a limit: %+v", l)
	}
}

func TestAJobCountsOnTheSideThatIsUp(t *testing.T) {
	done := OfJob(cutter(), assets.JobCounted{Wear: map[assets.Wear]float64{assets.WearBladeCuts: 72}})
	if len(done) != 2 || done[0] != (Done{2, 60}) || done[1] != (Done{3, 72}) {
		t.Errorf("%+v; want 60 on side B and the 72 counted on the blades", done)
	}
}

func TestCutsStayOnTheSideOnWhichTheyWereCountedWhenThePadWasTurnedBeforeTheSheetArrived(t *testing.T) {
	done := OfJob(cutter(), assets.JobCounted{Counters: map[int64]float64{1: 48}}) // side A was up at the conveyor, B is now
	if len(done) != 2 || done[0] != (Done{1, 48}) || done[1] != (Done{3, 60}) {
		t.Errorf("%+v; want the 48 on side A, none on side B, and the blades as usual", done)
	}
}

func TestEachTimeALimitIsReachedIsItsOwnCycle(t *testing.T) {
	for count, want := range map[float64]int{0: 0, 399: 0, 400: 1, 799.5: 1, 800: 2} {
		if got := counter(1, assets.WearPressCycles, "", count, 400, 1, false).Cycle(); got != want {
			t.Errorf("%g of 400: cycle %d, want %d", count, got, want)
		}
	}
	if counter(1, assets.WearPressCycles, "", 10, 0, 1, false).Cycle() != 0 {
		t.Error("a counter without a limit has a cycle")
	}
}

func TestTheLastCalibrationSaysWhenTheNextIsDue(t *testing.T) {
	all := []assets.Calibration{
		{Version: assets.Version{ID: 1}, OnDay: "2025-03-02", DueDay: "2026-03-02"},
		{Version: assets.Version{ID: 2}, OnDay: "2026-03-02", DueDay: "2027-03-02", Certificate: "K-77"},
		{Version: assets.Version{ID: 3}, OnDay: "2026-09-01", DueDay: "2030-01-01", Withdrawn: true},
	}
	if d := CalibrationDue(all, "2026-11-25"); d.Day != "2027-03-02" || d.Overdue || !d.Seen {
		t.Errorf("%+v", d)
	}
	if d := CalibrationDue(all, "2027-03-03"); !d.Overdue {
		t.Error("not overdue the day after")
	}
	if d := CalibrationDue(all, "2027-03-02"); d.Overdue {
		t.Error("overdue on its own day")
	}
	if d := CalibrationDue(nil, "2027-03-02"); d.Last != nil || d.Overdue {
		t.Errorf("without any: %+v", d)
	}
}

func TestTheUsualOrderOfChecks(t *testing.T) {
	answers := map[Check]Answer{}
	for i, want := range Checks {
		s, err := Next(cutter(), 1, 2, answers)
		if err != nil || s.Check != want || s.Ask == "" {
			t.Fatalf("check %d is %+v (%v), want %s", i+1, s, err, want)
		}
		if want == CheckSide && (s.Skip != "the other side is spent as well" || s.Why != "pad 6 side B: 180 of 300 cuts") {
			t.Errorf("turning the pad: %+v", s)
		}
		answers[want] = Still
	}
	if s, err := Next(cutter(), 1, 2, answers); err != nil || s.Check != CheckNone || s.Solved != "" || s.Ask == "" {
		t.Errorf("after all four: %+v, %v; want it sent to service", s, err)
	}
	answers[CheckBlade] = Through
	if s, err := Next(cutter(), 1, 2, answers); err != nil || s.Solved != CheckBlade {
		t.Errorf("%+v, %v", s, err)
	}
	if _, err := Next(cutter(), 1, 2, map[Check]Answer{CheckBlade: Through}); err == nil {
		t.Error("new blades were taken before the pad was turned")
	}
	if _, err := Next(cutter(), 1, 2, map[Check]Answer{CheckSide: "perhaps"}); err == nil {
		t.Error("an answer that is none was taken")
	}
	if s, err := Next(cutter(), 0, 2, map[Check]Answer{CheckSide: Skipped}); err != nil || s.Skip != "no pad is on hand here" {
		t.Errorf("without a spare pad: %+v, %v", s, err)
	}
}

// Whatever the counters, answering 'still not' goes through each check once and ends.
func TestTheChecksAlwaysEnd(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var counters []Counter
		for i := range rapid.IntRange(0, 5).Draw(rt, "counters") {
			counters = append(counters, counter(int64(i+1), rapid.SampledFrom(assets.Wears).Draw(rt, "counts"), rapid.SampledFrom([]string{"pad 1", "pad 2"}).Draw(rt, "part"),
				rapid.Float64Range(0, 500).Draw(rt, "count"), rapid.Float64Range(0, 400).Draw(rt, "limit"), 10, rapid.Bool().Draw(rt, "up")))
		}
		answers := map[Check]Answer{}
		var asked []Check
		for range 6 {
			s, err := Next(counters, rapid.IntRange(0, 1).Draw(rt, "pads"), rapid.IntRange(0, 1).Draw(rt, "blades"), answers)
			if err != nil {
				rt.Fatal(err)
			}
			if s.Check == CheckNone {
				if len(asked) != len(Checks) {
					rt.Fatalf("ended after %v", asked)
				}
				return
			}
			asked = append(asked, s.Check)
			answers[s.Check] = rapid.SampledFrom([]Answer{Still, Skipped}).Draw(rt, "answer")
		}
		rt.Fatalf("never ended: %v", asked)
	})
}
