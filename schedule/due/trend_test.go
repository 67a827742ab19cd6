package due_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// gaps are splice gaps in mm of splice 30, so many days before now.
func gaps(now time.Time, points ...[2]float64) []assets.Finding {
	var out []assets.Finding
	for i, p := range points {
		m := p[1] / 1000
		f := assets.Finding{SpliceID: 30, FoundAt: assets.InstantOf(now.Add(-time.Duration(p[0] * 24 * float64(time.Hour)))), Category: "opening along the seam",
			Quantity: "splice gap", Measurement: &m, MeasurementUnit: "m"}
		f.ID = int64(i + 1)
		out = append(out, f)
	}
	return out
}

func gapLimit(mm float64, c assets.Class) []assets.SpliceKind {
	return []assets.SpliceKind{{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Values: []assets.CatalogueValue{{Quantity: due.MaxSpliceGap, Value: mm / 1000, Unit: "m", Class: c, Source: "its makers' sheet"}}}}
}

// A gap that grows by 0.01 mm a day exactly, 3.0 mm today, meets 4 mm in 100 days; the margin is 0.2 mm / 0.01 mm a day.
func TestAGapMeetsItsLimitOnTheLine(t *testing.T) {
	reg, _ := grainPlant()
	now := local("2026-11-25T12:00")
	got := due.Trends(now, reg, gapLimit(4, assets.ClassA), gaps(now, [2]float64{0, 3.0}, [2]float64{40, 2.6}, [2]float64{80, 2.2}, [2]float64{120, 1.8}))
	if len(got) != 1 || got[0].Crossing == nil {
		t.Fatalf("%+v", got)
	}
	c := got[0].Crossing
	if days := c.At.Sub(now).Hours() / 24; math.Abs(days-100) > 0.01 {
		t.Errorf("met in %.2f days, want 100", days)
	}
	if days := c.Margin.Hours() / 24; math.Abs(days-20) > 0.01 {
		t.Errorf("margin of %.2f days, want 20", days)
	}
	if c.Spread > time.Hour {
		t.Errorf("points on one line leave a spread of %v", c.Spread)
	}
	if want := "splice gap 3\u00a0mm on 25 Nov 2026, growing 0.3\u00a0mm a month over 4 measurements, limit 4\u00a0mm (class A), met about 5 Mar 2027; margin 20 days"; c.Words != want {
		t.Errorf("says %q\nwant %q", c.Words, want)
	}
}

// The take-up readings of a published-style case with R's own interval: times 1500, 3000, 4500 (taken here as days), values
// 260, 330, 396, limit 774. R 4.2.2 (lm, predict, interval = "confidence") at 80 %; one standard deviation lies inside it.
func TestTheSpreadIsInsideTheIntervalOfR(t *testing.T) {
	reg, _ := grainPlant()
	now := local("2026-11-25T12:00")
	got := due.Trends(now, reg, gapLimit(774, assets.ClassC), gaps(now, [2]float64{0, 396}, [2]float64{1500, 330}, [2]float64{3000, 260}))
	c := got[0].Crossing
	if c == nil {
		t.Fatal(got[0].Why)
	}
	// Theil and Sen: slope 0.0453333, intercept 192 at 0; 4500 is now: met at 12838.24 - 4500.
	if days := c.At.Sub(now).Hours() / 24; math.Abs(days-8338.2353) > 0.01 {
		t.Errorf("met in %.3f days, want 8338.235", days)
	}
	if one := c.Spread.Hours() / 24; one < 14.7 || one > 500 {
		t.Errorf("spread %.1f days", one) // no less than what robust line and least squares differ by: 12838.24 - 12823.53
	}
}

func TestMeasurementsThatSetNoDate(t *testing.T) {
	reg, _ := grainPlant()
	now := local("2026-11-25T12:00")
	for name, tt := range map[string]struct {
		kinds []assets.SpliceKind
		found []assets.Finding
		why   string
	}{
		"no limit given": {nil, gaps(now, [2]float64{0, 3}), "the catalogues give no limit for it"},
		"two only":       {gapLimit(4, assets.ClassD), gaps(now, [2]float64{0, 3}, [2]float64{30, 2}), "2 measurements of the three that make a trend"},
		"falling":        {gapLimit(4, assets.ClassD), gaps(now, [2]float64{0, 1}, [2]float64{30, 2}, [2]float64{60, 3}), "do not head for it for sure"},
		"scattered":      {gapLimit(4, assets.ClassD), gaps(now, [2]float64{0, 2.1}, [2]float64{30, 1}, [2]float64{60, 3}, [2]float64{90, 1.9}, [2]float64{120, 2}), "do not head for it for sure"},
		"all one day":    {gapLimit(4, assets.ClassD), gaps(now, [2]float64{5, 1}, [2]float64{5, 2}, [2]float64{5, 3}), "all measurements were taken at one time"},
	} {
		t.Run(name, func(t *testing.T) {
			got := due.Trends(now, reg, tt.kinds, tt.found)
			if len(got) != 1 || got[0].Crossing != nil || !strings.HasSuffix(strings.TrimSuffix(got[0].Why, "; a trend needs two times"), tt.why) {
				t.Errorf("%+v", got)
			}
		})
	}
}

func TestALimitThatIsPassedIsPassedWhereItWasSeen(t *testing.T) {
	reg, _ := grainPlant()
	now := local("2026-11-25T12:00")
	got := due.Trends(now, reg, gapLimit(4, assets.ClassP), gaps(now, [2]float64{10, 4.2}))
	if c := got[0].Crossing; c == nil || !c.At.Equal(now.AddDate(0, 0, -10)) || !strings.Contains(c.Words, "past its limit 4\u00a0mm (class P)") {
		t.Errorf("%+v", got[0])
	}
}

func TestCoverIsHeldAgainstTheLeastThatMayBeLeft(t *testing.T) {
	reg, _ := grainPlant()
	reg.Specifications[0].Values = []assets.CatalogueValue{{Quantity: due.MinCoverThickness, Value: 0.0015, Unit: "m", Class: assets.ClassD}}
	now := local("2026-11-25T12:00")
	found := gaps(now, [2]float64{0, 3}, [2]float64{100, 4}, [2]float64{200, 5})
	for i := range found {
		found[i].Quantity = "cover thickness"
	}
	got := due.Trends(now, reg, nil, found)
	if len(got) != 1 || got[0].Crossing == nil || math.Abs(got[0].Crossing.At.Sub(now).Hours()/24-150) > 0.1 {
		t.Fatalf("%+v", got)
	}
}

func TestAFindingDemandsItsDate(t *testing.T) {
	reg, _ := grainPlant()
	now := local("2026-11-25T12:00")
	graded := func(grade int, daysAgo int) assets.Finding {
		f := assets.Finding{SpliceID: 30, FoundAt: assets.InstantOf(now.AddDate(0, 0, -daysAgo)), Category: "opening along the seam", Grade: &grade}
		f.ID = int64(100 + daysAgo)
		return f
	}
	rule := func(class assets.Class, days int, kind workorder.Kind) rules.Rule {
		r := rules.Rule{Name: "Remake from grade 3", Class: class, Trigger: rules.Trigger{Kind: rules.TriggerGrade, Grade: 3}, Template: rules.Template{Kind: kind, LatestDays: days}}
		r.ID = 9
		return r
	}
	for name, tt := range map[string]struct {
		found []assets.Finding
		rules []rules.Rule
		days  int // from now; -1000: no demand
		says  string
	}{
		"grade 3 by common practice":      {[]assets.Finding{graded(3, 10)}, nil, 20, "within 30 days, common practice"},
		"grade 4 at once":                 {[]assets.Finding{graded(3, 10), graded(4, 1)}, nil, -1, "at once"},
		"grade 2 demands nothing":         {[]assets.Finding{graded(2, 10)}, nil, -1000, ""},
		"the plant's own rule":            {[]assets.Finding{graded(3, 10)}, []rules.Rule{rule(assets.ClassP, 14, workorder.KindResplice)}, 4, "within 14 days by rule \"Remake from grade 3\" (class P)"},
		"a rule of thumb does not bind":   {[]assets.Finding{graded(3, 10)}, []rules.Rule{rule(assets.ClassD, 14, workorder.KindResplice)}, 20, "common practice"},
		"a closer look remakes nothing":   {[]assets.Finding{graded(3, 10)}, []rules.Rule{rule(assets.ClassP, 3, workorder.KindInspection)}, 20, "common practice"},
		"found better since":              {[]assets.Finding{graded(3, 10), graded(1, 2)}, nil, -1000, ""},
		"found better before, not better": {[]assets.Finding{graded(1, 20), graded(3, 10)}, nil, 20, "common practice"},
	} {
		t.Run(name, func(t *testing.T) {
			got, is := due.Demands(now, reg, tt.rules, tt.found)[30]
			if is != (tt.days != -1000) {
				t.Fatalf("%+v", got)
			}
			if is && (math.Abs(got.By.Sub(now).Hours()/24-float64(tt.days)) > 0.1 || !strings.Contains(got.Words, tt.says)) {
				t.Errorf("%v, %q", got.By, got.Words)
			}
		})
	}
}

// A cover of 3 mm today that lost 1 mm in each hundred days meets 1.5 mm in 150 days; a depth repeats to 0.2 mm, 20 days of it.
// What was measured on the belt before this one does not count.
func TestABeltsCoverSetsTheDateOfTheBeltNotOfItsSplices(t *testing.T) {
	reg, clocks := grainPlant()
	reg.Specifications[0].Values = []assets.CatalogueValue{{Quantity: due.MinCoverThickness, Value: 0.0015, Unit: "m", Class: assets.ClassB}}
	reg.Belts[0].Fitted = onDay("2023-09-14")
	now := local("2026-11-25T12:00")
	found := gaps(now, [2]float64{0, 3}, [2]float64{100, 4}, [2]float64{200, 5}, [2]float64{1500, 1})
	for i := range found {
		found[i].Quantity, found[i].SpliceID, found[i].BeltID, found[i].ConveyorID = "cover thickness", 0, 20, 10
	}
	trends := due.BeltTrends(now, reg, found)
	belts := due.Belts(now, reg, nil, due.Clocks{}, trends, nil)
	if len(belts) != 1 || belts[0].BeltID != 20 || belts[0].Overdue || belts[0].Advice.By != due.ByTrend || belts[0].Advice.Class != assets.ClassB {
		t.Fatalf("%+v of %+v", belts, trends)
	}
	if days := belts[0].Advice.At.Sub(now).Hours() / 24; math.Abs(days-130) > 0.1 {
		t.Errorf("in %.1f days, want 150 less 20", days)
	}
	if crossings := due.CrossingsOf(trends); len(crossings) != 0 || len(due.Trends(now, reg, nil, found)) != 0 {
		t.Errorf("the belt's cover moves a splice: %v", crossings)
	}
	if st := due.Plant(now, reg, nil, clocks)[0]; st.DueDay != "" {
		t.Errorf("splice due %s", st.DueDay)
	}
}

// Travel used grows by 1 mm a day, 0.9 m today of 1.0 m: met in 100 days. Readings of before the re-splice of 60 days ago count no more.
func TestATakeUpIsLookedAtSinceTheLastResplice(t *testing.T) {
	reg, _ := grainPlant()
	now := local("2026-11-25T12:00")
	reg.Conveyors[0].TakeUpTravelM = 1
	reg.Belts[0].Fitted, reg.Belts[0].ValidFrom = onDay("2023-09-14"), assets.InstantOf(now.AddDate(0, 0, -60))
	found := gaps(now, [2]float64{0, 900}, [2]float64{20, 880}, [2]float64{50, 850}, [2]float64{70, 990})
	for i := range found {
		found[i].Quantity, found[i].SpliceID, found[i].ConveyorID = due.TakeUpTravel, 0, 10
	}
	got := due.BeltTrends(now, reg, found)
	if len(got) != 1 || len(got[0].Values) != 3 || got[0].Crossing == nil || math.Abs(got[0].Crossing.At.Sub(now).Hours()/24-100) > 0.1 {
		t.Errorf("%+v", got)
	}
}

func TestAFindingOnTheBeltDemandsItsDate(t *testing.T) {
	reg, _ := grainPlant()
	now := local("2026-11-25T12:00")
	graded := func(belt int64, grade, daysAgo int) assets.Finding {
		f := assets.Finding{BeltID: belt, ConveyorID: 10, FoundAt: assets.InstantOf(now.AddDate(0, 0, -daysAgo)), Category: "edge damage", Grade: &grade}
		return f
	}
	got := due.Belts(now, reg, nil, due.Clocks{}, nil, due.BeltDemands(now, reg, nil, []assets.Finding{graded(20, 3, 10), graded(21, 1, 2)}))
	if len(got) != 1 || got[0].Advice.By != due.ByFinding || math.Abs(got[0].Advice.At.Sub(now).Hours()/24-20) > 0.1 {
		t.Errorf("%+v", got)
	}
	if got = due.Belts(now, reg, nil, due.Clocks{}, nil, due.BeltDemands(now, reg, nil, []assets.Finding{graded(20, 3, 10), graded(20, 1, 2)})); len(got) != 0 {
		t.Errorf("found better since, yet %+v", got)
	}
}

// Of a normal spread 10 % lie 1.2816 standard deviations below its middle (table of the normal distribution); each side has its own.
func TestDatesOfACrossingFollowItsSpreads(t *testing.T) {
	at, day := time.Date(2026, 12, 13, 0, 0, 0, 0, time.UTC), 24*time.Hour
	for _, c := range []struct {
		crossing    due.Crossing
		early, late float64 // days
	}{{due.Crossing{At: at, Spread: 10 * day, Late: 20 * day}, 12.816, 25.631}, {due.Crossing{At: at, Spread: 10 * day}, 12.816, 12.816}, {due.Crossing{At: at}, 0, 0}} {
		at10, at50, at90 := c.crossing.Dates()
		early, late := at50.Sub(at10).Hours()/24, at90.Sub(at50).Hours()/24
		if !at50.Equal(at) || math.Abs(early-c.early) > 0.001 || math.Abs(late-c.late) > 0.001 {
			t.Errorf("%+v: %.3f days before and %.3f after, want %.3f and %.3f", c.crossing, early, late, c.early, c.late)
		}
	}
}

// By hand: fitted on 14 September 2023, four years are up with the end of 14 September 2027. 339 012 passes so far leave 160 988 to
// half a million, 360 a day: 447.2 days. A rule of thumb, one about splices and one about belts with another kind of splice set nothing.
func TestARuleForBeltChangesBindsTheBelt(t *testing.T) {
	reg, clocks := grainPlant()
	reg.Belts[0].Fitted = onDay("2023-09-14")
	reg.Arrange()
	now := local("2026-11-25T12:00")
	ofBelts := func(r rules.Rule) rules.Rule {
		r.Scope.Target, r.Template.Kind = rules.TargetBelt, workorder.KindBeltChange
		return r
	}
	of := func(r rules.Rule, f assets.Form) rules.Rule {
		r.Scope.Forms = []assets.Form{f}
		return r
	}
	years, passes := ofBelts(monthsLimit(1, 48)), ofBelts(passesLimit(2, 500_000))
	got := due.Belts(now, reg, []rules.Rule{passes, of(years, assets.FormStepped)}, clocks, nil, nil)
	if len(got) != 1 || got[0].Advice.Day != "2027-09-14" || got[0].Advice.By != due.ByRule || got[0].Advice.Class != assets.ClassP || !strings.Contains(got[0].Advice.Reason, "(48 months) since 14 Sep 2023 (class P)") {
		t.Fatalf("%+v", got)
	}
	if at50 := got[0].Band.At50; at50.Sub(got[0].Advice.At).Abs() > 3*time.Hour {
		t.Errorf("half have come due on %v, the rule's day ends at %v", at50, got[0].Advice.At)
	}
	got = due.Belts(now, reg, []rules.Rule{passes, thumb(years), monthsLimit(3, 12), of(ofBelts(monthsLimit(4, 12)), assets.FormFinger)}, clocks, nil, nil)
	if len(got) != 1 || math.Abs(got[0].Advice.At.Sub(now).Hours()/24-447.2) > 0.1 {
		t.Errorf("%+v", got)
	}
	if st := due.Plant(now, reg, []rules.Rule{passes, years}, clocks)[0]; st.Limit != nil || st.DueDay != "" {
		t.Errorf("a rule for the belt limits the splice: %+v", st)
	}
	if got = due.Belts(now, reg, []rules.Rule{ofBelts(monthsLimit(1, 24))}, clocks, nil, nil); len(got) != 1 || !got[0].Overdue {
		t.Errorf("three years old, to be changed after two: %+v", got)
	}
}
