package due_test

import (
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/clock"
	"carryside/schedule/due"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// reading is a point of a straight-line clock.
type reading struct {
	at time.Time
	h  float64
}

// line is a clock for tests: straight between its readings and on at the last one's rate, hours a day.
type line struct {
	readings  []reading
	rateAfter float64
}

func (l line) Begins() (time.Time, bool) {
	if len(l.readings) == 0 {
		return time.Time{}, false
	}
	return l.readings[0].at, true
}

func (l line) HoursAt(t time.Time) (float64, bool) {
	if len(l.readings) == 0 || t.Before(l.readings[0].at) {
		return 0, false
	}
	for i := 1; i < len(l.readings); i++ {
		a, b := l.readings[i-1], l.readings[i]
		if !t.After(b.at) {
			return a.h + (b.h-a.h)*float64(t.Sub(a.at))/float64(b.at.Sub(a.at)), true
		}
	}
	last := l.readings[len(l.readings)-1]
	return last.h + t.Sub(last.at).Hours()/24*l.rateAfter, true
}

func (l line) HoursReachedAt(h float64) (time.Time, bool) {
	for i := 1; i < len(l.readings); i++ {
		a, b := l.readings[i-1], l.readings[i]
		if h <= b.h && b.h > a.h {
			return a.at.Add(time.Duration((h - a.h) / (b.h - a.h) * float64(b.at.Sub(a.at)))), true
		}
	}
	last := l.readings[len(l.readings)-1]
	if l.rateAfter <= 0 {
		return time.Time{}, false
	}
	return last.at.Add(time.Duration((h - last.h) / l.rateAfter * 24 * float64(time.Hour))), true
}

var berlin = mustZone("Europe/Berlin")

func mustZone(name string) *time.Location {
	l, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return l
}

func local(s string) time.Time {
	t, err := time.ParseInLocation("2006-01-02T15:04", s, berlin)
	if err != nil {
		panic(err)
	}
	return t.UTC()
}

func onDay(d string) assets.When {
	w, err := assets.OnDay(assets.Day(d), berlin, local("2026-11-25T12:00"))
	if err != nil {
		panic(err)
	}
	return w
}

func limit(id int64, class assets.Class, t rules.Trigger) rules.Rule {
	r := rules.Rule{PlantID: 1, Name: "age limit", Class: class, Trigger: t}
	r.ID, r.Template.Kind = id, workorder.KindResplice
	return r
}

func passesLimit(id int64, n float64) rules.Rule {
	return limit(id, assets.ClassC, rules.Trigger{Kind: rules.TriggerPasses, Passes: n})
}

func monthsLimit(id int64, n int) rules.Rule {
	return limit(id, assets.ClassP, rules.Trigger{Kind: rules.TriggerInterval, CountedFrom: "made", Every: n, Unit: "month"})
}

// thumb is the same rule as a rule of thumb.
func thumb(r rules.Rule) rules.Rule {
	r.Class = assets.ClassD
	return r
}

// grainPlant is one conveyor Q3 with one belt and one splice made on 14 September 2023, looked at on
// 25 November 2026 at noon.
//
// By hand: the day of making ends at 15 September 00:00; from there 3 years (1 096 days, 2024 was a leap
// year) to 15 September 2026 and 15 + 31 + 25 = 71 days to 25 November: 1 167 days. The meter showed
// 10 000 h then and 19 417 h now: 9 417 h. At 0.5 m/s on a loop of 50 m a splice passes 3600 x 0.5 / 50 =
// 36 times an hour: 339 012 passes; two plain bends and one reverse: 1 017 036 flexes, 339 012 of them reverse.
func grainPlant() (*assets.Register, due.Clocks) {
	c := assets.Conveyor{LineID: 3, Tag: "Q3", SpeedMPS: 0.5, Pulleys: []assets.Pulley{{Role: assets.PulleyTail}, {Role: assets.PulleyHead}, {Role: assets.PulleySnub, OuterFace: true}}}
	c.ID = 10
	b := assets.Belt{ConveyorID: 10, SpecificationID: 5, LoopLengthM: 50}
	b.ID = 20
	s := assets.Splice{ConveyorID: 10, BeltID: 20, Number: "2", Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Made: onDay("2023-09-14")}
	s.ID = 30
	p := assets.Plant{CustomerID: 2, Name: "Skarrow Grain Terminal", Zone: "Europe/Berlin"}
	p.ID = 1
	spec := assets.Specification{Family: "RB-EP"}
	spec.ID = 5
	reg := &assets.Register{Plant: p, Conveyors: []assets.Conveyor{c}, Belts: []assets.Belt{b}, Splices: []assets.Splice{s}, Specifications: []assets.Specification{spec}}
	reg.Arrange()
	l := line{readings: []reading{{local("2023-09-15T00:00"), 10000}, {local("2026-11-25T12:00"), 19417}}, rateAfter: 10}
	return reg, due.Clocks{
		Lines:  map[int64]due.Line{10: l},
		Duties: map[int64]clock.Duty{20: due.Duty(reg.Conveyors, reg.Belts)},
	}
}

func one(t *testing.T, reg *assets.Register, clocks due.Clocks, rs ...rules.Rule) due.Standing {
	t.Helper()
	got := due.Plant(local("2026-11-25T12:00"), reg, rs, clocks)
	if len(got) != 1 {
		t.Fatalf("%d standings of a plant with one live splice", len(got))
	}
	return got[0]
}

func figure(v float64) due.Figure { return due.Figure{Value: v, Known: true} }

func near(a, b due.Figure) bool {
	d := a.Value - b.Value
	return a.Known == b.Known && a.AtLeast == b.AtLeast && d < 1e-6*(1+b.Value) && -d < 1e-6*(1+b.Value)
}

func TestAgeOnFourClocks(t *testing.T) {
	reg, clocks := grainPlant()
	got := one(t, reg, clocks).Age
	if !got.Known || !got.Exact || got.Days != 1167 || got.AtLeastDays != 1167 {
		t.Errorf("age %+v, want 1 167 days", got)
	}
	for name, c := range map[string][2]due.Figure{
		"running hours":  {got.RunHours, figure(9417)},
		"passes":         {got.Passes, figure(339012)},
		"flexes":         {got.Flexes, figure(1017036)},
		"reverse flexes": {got.ReverseFlexes, figure(339012)},
	} {
		if !near(c[0], c[1]) {
			t.Errorf("%s %+v, want %+v", name, c[0], c[1])
		}
	}
}

// The limit of 364 000 passes is 10 111.1 h from making, 694.1 h from now: at 10 h a day 69.4 days, the
// evening of 2 February 2027.
func TestPassesRuleFallsDueFirst(t *testing.T) {
	reg, clocks := grainPlant()
	got := one(t, reg, clocks, monthsLimit(1, 48), passesLimit(2, 364000))
	if want := "339\u00a0012 of 364\u00a0000 passes since 14 Sep 2023 (class C)"; got.Reason != want {
		t.Errorf("reason %q, want %q", got.Reason, want)
	}
	if got.DueDay != "2027-02-02" || got.Overdue || got.Limit.RuleID != 2 || got.Limit.Clock != due.Passes {
		t.Errorf("due %s by %+v, want 2 Feb 2027 by rule 2 on passes", got.DueDay, got.Limit)
	}
	if !near(got.Used, figure(339012.0/364000)) || got.Band != due.Band80to100 {
		t.Errorf("used %+v, band %q", got.Used, got.Band)
	}
}

// A rule of thumb of 36 months was passed on 14 September 2026; the binding one of 364 000 passes is to come.
func TestARuleOfThumbSetsNoDateAndStandsBeside(t *testing.T) {
	reg, clocks := grainPlant()
	got := one(t, reg, clocks, thumb(monthsLimit(1, 36)), passesLimit(2, 364000))
	if got.DueDay != "2027-02-02" || got.Overdue || got.Limit == nil || got.Limit.RuleID != 2 || got.Band != due.Band80to100 || got.By != due.ByRule {
		t.Errorf("due %s by %s %+v, band %q; want 2 Feb 2027 by rule 2", got.DueDay, got.By, got.Limit, got.Band)
	}
	h := got.Hint
	if h == nil || h.Limit.RuleID != 1 || h.Day != "2026-09-14" || !h.Past || !(h.Used.Value > 1.06 && h.Used.Value < 1.07) {
		t.Fatalf("hint %+v, want rule 1 passed on 14 Sep 2026 at 106 %%", h)
	}
	if want := "1\u00a0167 of 1\u00a0096 days (36 months) since 14 Sep 2023 (class D, a rule of thumb: a reminder, not an order)"; h.Words != want {
		t.Errorf("hint %q, want %q", h.Words, want)
	}
}

func TestARuleOfThumbAloneSetsNothing(t *testing.T) {
	reg, clocks := grainPlant()
	got := one(t, reg, clocks, thumb(passesLimit(2, 300000)), thumb(monthsLimit(1, 48)))
	if got.DueDay != "" || got.Overdue || got.Limit != nil || got.Used.Known || got.Band != due.BandNoLimit || got.By != "" {
		t.Errorf("due %q by %+v, used %+v, band %q: a rule of thumb bound", got.DueDay, got.Limit, got.Used, got.Band)
	}
	if got.Reason != "no rule that binds sets a date, only a rule of thumb" || got.Hint == nil || got.Hint.Limit.RuleID != 2 || !got.Hint.Past {
		t.Errorf("reason %q, hint %+v; want the passes, which are past", got.Reason, got.Hint)
	}
	clocks.Lines = nil
	if got = one(t, reg, clocks, thumb(passesLimit(2, 300000))); got.Reason != "no rule in force sets a date" || got.Hint != nil {
		t.Errorf("reason %q, hint %+v where nobody reads the clock", got.Reason, got.Hint)
	}
}

func TestAPlantsOwnRuleInMonthsFallsDueFirst(t *testing.T) {
	reg, clocks := grainPlant()
	got := one(t, reg, clocks, monthsLimit(1, 36), passesLimit(2, 364000))
	if want := "1\u00a0167 of 1\u00a0096 days (36 months) since 14 Sep 2023 (class P)"; got.Reason != want {
		t.Errorf("reason %q, want %q", got.Reason, want)
	}
	if got.DueDay != "2026-09-14" || !got.Overdue || got.Band != due.BandPastRule {
		t.Errorf("due %s, overdue %v, band %q; want past 14 Sep 2026", got.DueDay, got.Overdue, got.Band)
	}
	if want := local("2026-09-15T00:00"); !got.DueAt.Equal(want) {
		t.Errorf("due at %s, want the end of that day, %s", got.DueAt, want)
	}
}

func TestUnknownDateHasNoAge(t *testing.T) {
	reg, clocks := grainPlant()
	entered := local("2025-11-25T12:00")
	reg.Splices[0].Made = assets.When{At: assets.InstantOf(entered), AsWritten: "not known"}
	aboutThem := monthsLimit(1, 36)
	aboutThem.Scope.AgeUnknown = true
	got := one(t, reg, clocks, aboutThem, passesLimit(2, 364000))
	if got.Age != (due.Age{}) || got.Used.Known || got.Band != due.BandUnknown || !got.From.IsZero() {
		t.Errorf("a splice without a date got age %+v, used %+v, band %q", got.Age, got.Used, got.Band)
	}
	if !strings.Contains(got.Reason, "since it was recorded on 25 Nov 2025, its date is not known") {
		t.Errorf("reason %q does not say what it counts from", got.Reason)
	}
	if got = one(t, reg, clocks, passesLimit(2, 364000)); got.DueDay != "" || got.Limit != nil {
		t.Errorf("a date was made up: %s by %+v", got.DueDay, got.Limit)
	}
}

// "spring 2022" counts from the end of 1 March; the splice is at least as old as if made on 31 May.
// By hand: 2 March 2022 to 2 March 2026 is 1 461 days, to 25 November 29+30+31+30+31+31+30+31+25 = 268:
// 1 729. From 1 June 2022 to 1 June 2026 1 461, to 25 November 29+31+31+30+31+25 = 177: 1 638.
func TestApproximateDateIsAtLeast(t *testing.T) {
	reg, clocks := grainPlant()
	w, err := assets.Between("2022-03-01", "2022-05-31", "spring 2022", berlin, local("2026-11-25T12:00"))
	if err != nil {
		t.Fatal(err)
	}
	reg.Splices[0].Made = w
	got := one(t, reg, clocks, monthsLimit(1, 36))
	if got.Age.Days != 1729 || got.Age.AtLeastDays != 1638 || got.Age.Exact {
		t.Errorf("age %+v, want 1 729 days, at least 1 638", got.Age)
	}
	if !strings.Contains(got.Reason, "since spring 2022, counted from 1 Mar 2022") {
		t.Errorf("reason %q", got.Reason)
	}
	if got.Age.RunHours != (due.Figure{Value: 9417, Known: true, AtLeast: true}) {
		t.Errorf("hours %+v: the meter was first read after making, so they are at least 9 417", got.Age.RunHours)
	}
}

func TestWhichRulesLimit(t *testing.T) {
	yes := true
	inspection, off, otherPlant, later := passesLimit(2, 1), passesLimit(2, 1), passesLimit(2, 1), passesLimit(2, 1)
	inspection.Template.Kind = workorder.KindInspection
	off.Off, otherPlant.PlantID, later.StartsAt = true, 99, assets.InstantOf(local("2027-01-01T00:00"))
	scoped := func(sc rules.Scope) rules.Rule { r := passesLimit(2, 1); r.Scope = sc; return r }
	for name, c := range map[string]struct {
		rule    rules.Rule
		governs bool
	}{
		"a plain limit":                   {passesLimit(2, 1), true},
		"an inspection":                   {inspection, false},
		"switched off":                    {off, false},
		"another plant's":                 {otherPlant, false},
		"starting next year":              {later, false},
		"its own line":                    {scoped(rules.Scope{Lines: []int64{3}}), true},
		"another line":                    {scoped(rules.Scope{Lines: []int64{4}}), false},
		"its form":                        {scoped(rules.Scope{Forms: []assets.Form{assets.FormStepped}}), true},
		"another bond":                    {scoped(rules.Scope{Bonds: []assets.Bond{assets.BondColdBonded}}), false},
		"its belt family":                 {scoped(rules.Scope{Families: []string{"RB-EP"}}), true},
		"another belt family":             {scoped(rules.Scope{Families: []string{"LT-PVC"}}), false},
		"wash-down conveyors only":        {scoped(rules.Scope{WashDown: &yes}), false},
		"splices without a date only":     {scoped(rules.Scope{AgeUnknown: true}), false},
		"looking at life used itself":     {scoped(rules.Scope{UsedFrom: 0.8}), false},
		"about belts, not splices":        {scoped(rules.Scope{Target: rules.TargetBelt}), false},
		"every year from the plan's date": {limit(2, assets.ClassP, rules.Trigger{Kind: rules.TriggerInterval, CountedFrom: "plan", Every: 1, Unit: "year"}), false},
	} {
		t.Run(name, func(t *testing.T) {
			reg, clocks := grainPlant()
			got := one(t, reg, clocks, c.rule)
			if (got.Limit != nil) != c.governs {
				t.Errorf("governs %v, want %v", got.Limit != nil, c.governs)
			}
			if !c.governs && (got.Reason != "no rule in force sets a date" || got.Band != due.BandNoLimit) {
				t.Errorf("reason %q, band %q", got.Reason, got.Band)
			}
		})
	}
}

func TestRuleOnAClockNobodyReads(t *testing.T) {
	reg, clocks := grainPlant()
	clocks.Lines = nil
	got := one(t, reg, clocks, passesLimit(2, 364000))
	if got.Age.RunHours.Known || got.Age.Passes.Known || got.Age.Days != 1167 {
		t.Errorf("age %+v, want days alone", got.Age)
	}
	if got.DueDay != "" || got.Reason != `rule "age limit" cannot be counted: its clock is not known here` {
		t.Errorf("due %q, reason %q", got.DueDay, got.Reason)
	}
}

func TestBeltThatStandsStillIsNeverDueByPasses(t *testing.T) {
	reg, clocks := grainPlant()
	l := clocks.Lines[10].(line)
	l.rateAfter = 0
	clocks.Lines[10] = l
	got := one(t, reg, clocks, passesLimit(2, 364000))
	if got.DueDay != "" || got.Overdue || !got.Used.Known {
		t.Errorf("due %q, used %+v: the share is known, a date is not", got.DueDay, got.Used)
	}
	got = one(t, reg, clocks, passesLimit(2, 364000), monthsLimit(1, 120))
	if got.Limit.RuleID != 1 || got.DueDay != "2033-09-14" {
		t.Errorf("due %q by rule %d, want the dated rule", got.DueDay, got.Limit.RuleID)
	}
}

func TestEdgesOfBandsCountInTheHigher(t *testing.T) {
	for passes, want := range map[float64]due.Band{
		339012 / 0.49: due.BandUnder50, 339012 * 2: due.Band50to80, 339012 / 0.79: due.Band50to80,
		339012 / 0.8: due.Band80to100, 339012: due.BandPastRule, 300000: due.BandPastRule,
	} {
		reg, clocks := grainPlant()
		if got := one(t, reg, clocks, passesLimit(2, passes)).Band; got != want {
			t.Errorf("of %.0f passes: %q, want %q", passes, got, want)
		}
	}
}
