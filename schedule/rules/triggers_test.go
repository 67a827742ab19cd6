package rules

import (
	"encoding/json"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// Check values of cron expressions in plants' zones, calendar/testdata/cron.json: documented cron semantics of
// robfig/cron v3.0.1; skipped and repeated wall times after RFC 5545 section 3.3.5. Each planned local date
// and time is one occurrence, whatever the clock does.
func TestCronRaisesEachPlannedLocalTimeOnce(t *testing.T) {
	var cases []struct {
		ID, Name, Cron, Zone string
		After                time.Time `json:"after_utc"`
		Until                time.Time `json:"until_utc"`
		Expected             []struct {
			Planned string    `json:"planned_local"`
			At      time.Time `json:"at_utc"`
		}
	}
	readJSON(t, "../calendar/testdata/cron.json", &cases)
	if len(cases) < 20 {
		t.Fatalf("only %d cases read", len(cases))
	}
	for _, c := range cases {
		in := terminal(t, "2027-01-01")
		in.Plant.Zone = c.Zone
		r := rule(1, utc(t, "2000-01-01"), Scope{Target: TargetConveyor, Conveyors: []int64{10}}, Trigger{Kind: TriggerCron, Cron: c.Cron}, workorder.KindInspection)
		got := NewOutlook(in).Propose(r, c.After, c.Until)
		if len(got) != len(c.Expected) {
			t.Errorf("%s %s: %d occurrences, want %d: %v", c.ID, c.Name, len(got), len(c.Expected), lines(got))
			continue
		}
		for i, want := range c.Expected {
			if got[i].Cycle != want.Planned || !got[i].DueAt.Equal(want.At) {
				t.Errorf("%s %s: %s at %v, want %s at %v", c.ID, c.Name, got[i].Cycle, got[i].DueAt, want.Planned, want.At)
			}
		}
	}
}

// Lord Howe Island moves its clock by half an hour, Oslo by a whole one (the zones' own rules).
func TestWhatAClockChangeDoesToAPlannedTimeIsSaid(t *testing.T) {
	tests := []struct{ zone, cron, after, until, want string }{
		{"Europe/Oslo", "30 2 * * *", "2026-03-28T12:00", "2026-03-29T12:00", "every day at 02:30, planned for 29 Mar 2026 at 02:30 plant time, which the clock skips: 03:30 by the clock"},
		{"Australia/Lord_Howe", "15 2 * * *", "2026-10-03T02:00", "2026-10-04T02:00", "every day at 02:15, planned for 4 Oct 2026 at 02:15 plant time, which the clock skips: 02:45 by the clock"},
		{"Europe/Oslo", "30 2 * * *", "2026-10-24T12:00", "2026-10-25T12:00", "every day at 02:30, planned for 25 Oct 2026 at 02:30 plant time, the first of two by the clock"},
		{"Europe/Oslo", "0 6 * * 2", "2026-11-23T12:00", "2026-11-24T12:00", "every Tuesday at 06:00, planned for 24 Nov 2026 at 06:00 plant time"},
	}
	for _, tt := range tests {
		in := terminal(t, tt.until)
		in.Plant.Zone = tt.zone
		r := rule(1, utc(t, "2020-01-01"), Scope{Target: TargetConveyor, Conveyors: []int64{10}}, Trigger{Kind: TriggerCron, Cron: tt.cron}, workorder.KindInspection)
		got := NewOutlook(in).Propose(r, utc(t, tt.after), utc(t, tt.until))
		if want := "rule under test: " + tt.want + " (class P)"; len(got) != 1 || got[0].Why != want {
			t.Errorf("%s: %v, want %q", tt.zone, got, want)
		}
	}
}

func readJSON(t *testing.T, file string, into any) {
	t.Helper()
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(raw, into); err != nil {
		t.Fatal(err)
	}
}

func TestIntervals(t *testing.T) {
	q3 := Scope{Target: TargetConveyor, Conveyors: []int64{10}}
	tests := []struct {
		name, zone   string
		trigger      Trigger
		after, until string
		want         []string
	}{
		// Arithmetic; clamping to the month's last day is common practice.
		{"monthly from 31 January: clamped, never drifting", "Europe/Berlin",
			Trigger{Kind: TriggerInterval, Every: 1, Unit: "month", CountedFrom: FromPlan, AnchorDay: "2025-01-31", TimeOfDay: "06:00"},
			"2025-02-01", "2025-05-01", []string{"2025-02-28T06:00", "2025-03-31T06:00", "2025-04-30T06:00"}},
		{"every day at 02:30 over the gap", "Europe/Berlin",
			Trigger{Kind: TriggerInterval, Every: 1, Unit: "day", CountedFrom: FromPlan, AnchorDay: "2026-03-27", TimeOfDay: "02:30"},
			"2026-03-27T12:00", "2026-03-30T12:00", []string{"2026-03-28T02:30", "2026-03-29T02:30", "2026-03-30T02:30"}},
		{"every day at 02:30 over the doubled hour", "Europe/Berlin",
			Trigger{Kind: TriggerInterval, Every: 1, Unit: "day", CountedFrom: FromPlan, AnchorDay: "2025-10-20", TimeOfDay: "02:30"},
			"2025-10-25T12:00", "2025-10-27T12:00", []string{"2025-10-26T02:30", "2025-10-27T02:30"}},
	}
	for _, tt := range tests {
		in := terminal(t, tt.until)
		in.Plant.Zone = tt.zone
		r := rule(1, utc(t, "2020-01-01"), q3, tt.trigger, workorder.KindInspection)
		var got []string
		for _, p := range NewOutlook(in).Propose(r, utc(t, tt.after), utc(t, tt.until)) {
			got = append(got, p.Cycle)
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}

func TestIntervalFromTheLastCompletion(t *testing.T) {
	in := terminal(t, "2026-11-25")
	in.Plant.Zone = "Australia/Sydney"
	r := rule(1, utc(t, "2024-12-15"), Scope{Target: TargetConveyor, Conveyors: []int64{10}},
		Trigger{Kind: TriggerInterval, Every: 1, Unit: "month", CountedFrom: FromCompletion, TimeOfDay: "06:00"}, workorder.KindInspection)
	first := NewOutlook(in).Propose(r, utc(t, "2024-01-01"), in.Now)
	if want := []string{"Q3 conveyor | start | 2025-01-14T19:00:00Z"}; !slices.Equal(lines(first), want) {
		t.Fatalf("first time counts from the rule's start: %v, want %v", lines(first), want)
	}
	order := raised(&in, first[0], 412)
	if again := NewOutlook(in).Propose(r, utc(t, "2024-01-01"), in.Now); len(again) != 0 {
		t.Fatalf("while its order is open: %v, want nothing", lines(again))
	}
	// 22:30 UTC on 30 January is 09:30 on 31 January in Sydney: one month on is 28 February, clamped.
	order.State, order.DoneAt = workorder.Done, assets.InstantOf(utc(t, "2025-01-30T22:30:00Z"))
	next := NewOutlook(in).Propose(r, utc(t, "2024-01-01"), in.Now)
	if want := []string{"Q3 conveyor | order 412 | 2025-02-27T19:00:00Z"}; !slices.Equal(lines(next), want) {
		t.Errorf("after its completion: %v, want %v", lines(next), want)
	}
	order.DoneAt = assets.InstantOf(utc(t, "2025-02-10T22:30:00Z"))
	moved := NewOutlook(in).Propose(r, utc(t, "2024-01-01"), in.Now)
	if want := []string{"Q3 conveyor | order 412 | 2025-03-10T19:00:00Z"}; !slices.Equal(lines(moved), want) {
		t.Errorf("its date corrected: %v, want the due date moved and the key kept, %v", lines(moved), want)
	}
}

func TestCountedFromASplicesOwnDate(t *testing.T) {
	everySplice := Scope{Target: TargetSplice}
	after4 := Trigger{Kind: TriggerInterval, Every: 4, Unit: "year", CountedFrom: FromMade}
	in := terminal(t, "2026-11-25T06:40")
	start := utc(t, "2026-01-01")
	got := NewOutlook(in).Propose(rule(1, start, everySplice, after4, workorder.KindResplice), start.Add(-1), in.Now)
	// Made on 10 May 2022 without a time: four years are over at the end of 10 May 2026, 22:00 UTC in Oslo.
	if want := []string{"Q3 splice 1 | splice 31:1 | 2026-05-10T22:00:00Z"}; !slices.Equal(lines(got), want) || got[0].DueDay != "2026-05-10" {
		t.Errorf("made four years ago: %v, want %v on its own day", lines(got), want)
	}
	late := utc(t, "2026-11-01")
	stands := NewOutlook(in).Propose(rule(1, late, everySplice, after4, workorder.KindResplice), late.Add(-time.Microsecond), in.Now)
	if len(stands) != 1 || !stands[0].RaiseAt.Equal(late) {
		t.Errorf("a limit passed before the rule began stands and is raised at its start: %v", stands)
	}
	unknown := Scope{Target: TargetSplice, AgeUnknown: true}
	after24 := Trigger{Kind: TriggerInterval, Every: 24, Unit: "day", CountedFrom: FromMade}
	got = NewOutlook(in).Propose(rule(2, start, unknown, after24, workorder.KindInspection), start, in.Now)
	if want := []string{"L1 splice 2 | splice 34:1 | 2026-10-04T08:00:00Z"}; !slices.Equal(lines(got), want) {
		t.Errorf("age not known counts from the day of entry for a rule about such splices only: %v, want %v", lines(got), want)
	}
}

func TestEveryMonthSinceMade(t *testing.T) {
	in := terminal(t, "2026-11-25")
	start := utc(t, "2026-08-20")
	r := rule(1, start, Scope{Target: TargetBelt, Conveyors: []int64{10}}, Trigger{Kind: TriggerInterval, Every: 1, Unit: "month", CountedFrom: FromMade, Repeats: true}, workorder.KindInspection)
	got := NewOutlook(in).Propose(r, start, in.Now)
	// Fitted on 10 May 2022: months 52 to 54 end with 10 Sep, 10 Oct and 10 Nov 2026 in Oslo.
	want := []string{"Q3 belt | belt 20:52 | 2026-09-10T22:00:00Z", "Q3 belt | belt 20:53 | 2026-10-10T22:00:00Z", "Q3 belt | belt 20:54 | 2026-11-10T23:00:00Z"}
	if !slices.Equal(lines(got), want) {
		t.Errorf("%v, want %v", lines(got), want)
	}
}

func TestRunningHoursSinceMade(t *testing.T) {
	in := terminal(t, "2026-11-25T06:40")
	start := utc(t, "2026-01-01")
	r := rule(1, start, Scope{Target: TargetSplice, Conveyors: []int64{10}}, Trigger{Kind: TriggerHours, Hours: 2500, CountedFrom: FromMade}, workorder.KindResplice)
	r.Template.LeadDays, r.Template.LatestDays = 14, 7
	got := NewOutlook(in).Propose(r, start, utc(t, "2027-01-01"))
	// Ten hours a day: 2500 h are 250 days after the end of 2 March 2026 (23:00 UTC).
	// Splice 1, from 2022, passed its 2500 h before the rule began: raised at its start, outside (start, ...].
	if want := []string{"Q3 splice 2 | splice 32:1 | 2026-11-07T23:00:00Z"}; !slices.Equal(lines(got), want) {
		t.Fatalf("%v, want %v", lines(got), want)
	}
	p := got[0]
	if want := utc(t, "2026-10-24T22:00:00Z"); !p.RaiseAt.Equal(want) {
		t.Errorf("raised %v, want fourteen plant days before, at the same wall time over the clock change: %v", p.RaiseAt, want)
	}
	if p.DueDay != "2026-11-08" || p.LatestDay != "2026-11-15" {
		t.Errorf("due %s, latest %s; want 2026-11-08 and a week later", p.DueDay, p.LatestDay)
	}
	if want := "rule under test: 2\u00a0673 of 2\u00a0500 running hours since it was made on 2 Mar 2026, reached on 8 Nov 2026 (class P)"; p.Why != want {
		t.Errorf("why: %q, want %q", p.Why, want)
	}
	if at := NewOutlook(in).Propose(r, start.Add(-time.Microsecond), start); len(at) != 1 || at[0].Target.ID != 31 {
		t.Errorf("at the rule's start: %v, want splice 1, whose limit was passed", lines(at))
	}
}

func TestRunningHoursRepeatAndSinceLastDone(t *testing.T) {
	in := terminal(t, "2026-11-25")
	start := utc(t, "2026-03-01")
	every := rule(1, start, Scope{Target: TargetSplice, Conveyors: []int64{10}}, Trigger{Kind: TriggerHours, Hours: 1000, Repeats: true, CountedFrom: FromMade}, workorder.KindInspection)
	got := NewOutlook(in).Propose(every, start, in.Now)
	// Splice 1: made at the end of 10 May 2022; 1000 h are 100 days. k = 14 falls on 10 Mar 2026, 15 on 18 Jun, 16 on 26 Sep.
	want := []string{
		"Q3 splice 1 | splice 31:14 | 2026-03-10T22:00:00Z",
		"Q3 splice 2 | splice 32:1 | 2026-06-10T23:00:00Z",
		"Q3 splice 1 | splice 31:15 | 2026-06-18T22:00:00Z",
		"Q3 splice 2 | splice 32:2 | 2026-09-18T23:00:00Z",
		"Q3 splice 1 | splice 31:16 | 2026-09-26T22:00:00Z",
	}
	if !slices.Equal(lines(got), want) {
		t.Errorf("every 1000 h: %s\nwant %s", strings.Join(lines(got), "\n"), strings.Join(want, "\n"))
	}

	since := rule(2, start, Scope{Target: TargetSplice, Conveyors: []int64{10}}, Trigger{Kind: TriggerHours, Hours: 1000, CountedFrom: FromCompletion}, workorder.KindInspection)
	first := NewOutlook(in).Propose(since, start, utc(t, "2026-06-15"))
	if want := []string{"Q3 splice 2 | splice 32:1 | 2026-06-10T23:00:00Z"}; !slices.Equal(lines(first), want) {
		t.Fatalf("since last done, never done: %v, want counted from its making, %v", lines(first), want)
	}
	o := raised(&in, first[0], 7)
	o.State, o.DoneAt = workorder.Signed, assets.InstantOf(utc(t, "2026-06-20T12:00:00Z"))
	next := NewOutlook(in).Propose(since, utc(t, "2026-06-20"), in.Now)
	if want := []string{"Q3 splice 2 | order 7:1 | 2026-09-28T12:00:00Z"}; !slices.Equal(lines(next), want) {
		t.Errorf("since last done on 20 June: %v, want %v", lines(next), want)
	}
}

// The light line of the belt handbook arithmetic: v 0.5 m/s, L 20.6283185 m give 87.26 passes an hour, so that
// 1 000 000 passes take 11 460 h (arithmetic, passes = 3600 v h / L).
func TestPassesOfALightLine(t *testing.T) {
	in := terminal(t, "2027-01-01")
	in.Splices = in.Splices[2:3]
	in.Splices[0].Made = exactly(t, "2024-01-01T00:00:00Z")
	r := rule(1, utc(t, "2024-01-01"), Scope{}, Trigger{Kind: TriggerPasses, Passes: 1e6, CountedFrom: FromMade}, workorder.KindResplice)
	got := NewOutlook(in).Propose(r, utc(t, "2024-01-01"), utc(t, "2027-01-01"))
	if len(got) != 1 {
		t.Fatalf("%v, want one remake", lines(got))
	}
	hours := got[0].DueAt.Sub(utc(t, "2024-01-01")).Hours() / 24 * 16
	if hours < 11459.5 || hours > 11460.5 {
		t.Errorf("a million passes after %.1f running hours, want 11 460", hours)
	}
	// From 1 July 2024 at twice the speed: 182 days at 87.26 an hour, the rest in half the hours.
	in.Clocks.Paces[21] = []Pace{{PassesPerHour: 3600 * 0.5 / 20.6283185}, {From: assets.InstantOf(utc(t, "2024-07-01")), PassesPerHour: 3600 / 20.6283185}}
	faster := NewOutlook(in).Propose(r, utc(t, "2024-01-01"), utc(t, "2027-01-01"))
	ran := 182*16 + (11460-182*16)/2.0
	if hours := faster[0].DueAt.Sub(utc(t, "2024-01-01")).Hours() / 24 * 16; hours < ran-1 || hours > ran+1 {
		t.Errorf("with the speed doubled in July after %.1f h, want %.1f", hours, ran)
	}
}

func TestHoursThatBeginAfterTheSplice(t *testing.T) {
	in := terminal(t, "2026-11-25")
	in.Clocks.Lines[10] = steady{utc(t, "2026-01-01"), 10} // the meter came later than splice 1
	r := rule(1, utc(t, "2025-01-01"), Scope{Conveyors: []int64{10}, Bonds: []assets.Bond{assets.BondHotVulcanised}}, Trigger{Kind: TriggerHours, Hours: 3000}, workorder.KindResplice)
	got := NewOutlook(in).Propose(r, utc(t, "2025-01-01"), in.Now)
	if want := []string{"Q3 splice 1 | splice 31:1 | 2026-10-28T00:00:00Z"}; !slices.Equal(lines(got), want) {
		t.Fatalf("%v, want counted from where its hours begin, %v", lines(got), want)
	}
	if !strings.Contains(got[0].Why, "at least 3\u00a0280 of 3\u00a0000 running hours") {
		t.Errorf("why %q does not say that it is at least that", got[0].Why)
	}
	delete(in.Clocks.Lines, 10)
	if got := NewOutlook(in).Propose(r, utc(t, "2025-01-01"), in.Now); len(got) != 0 {
		t.Errorf("without any clock: %v, want nothing made up", lines(got))
	}
}

func TestEvents(t *testing.T) {
	in := terminal(t, "2026-11-25")
	day := Trigger{Kind: TriggerEvent, Event: EventSpliceMade, AfterHours: 24}
	tests := []struct {
		name    string
		starts  string
		trigger Trigger
		want    []string
	}{
		{"24 h after a splice was made, old ones left out", "2026-04-01", day, []string{"L1 splice 1 | splice 33:1 | 2026-10-02T10:00:00Z"}},
		{"in force when the older one was made too", "2026-03-01", day,
			[]string{"Q3 splice 2 | splice 32:1 | 2026-03-03T23:00:00Z", "L1 splice 1 | splice 33:1 | 2026-10-02T10:00:00Z"}},
		{"100 running hours at 16 h a day", "2026-04-01", Trigger{Kind: TriggerEvent, Event: EventSpliceMade, AfterHours: 100, RunningHours: true},
			[]string{"L1 splice 1 | splice 33:1 | 2026-10-07T16:00:00Z"}},
		{"7 days after a belt was fitted", "2024-01-01", Trigger{Kind: TriggerEvent, Event: EventBeltFitted, AfterHours: 168},
			[]string{"L1 belt | belt 21:1 | 2024-01-08T23:00:00Z"}},
	}
	for _, tt := range tests {
		r := rule(1, utc(t, tt.starts), Scope{}, tt.trigger, workorder.KindRunIn)
		got := NewOutlook(in).Propose(r, utc(t, tt.starts), in.Now)
		if !slices.Equal(lines(got), tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, lines(got), tt.want)
		}
	}
}

func finding(id, splice int64, grade int, at time.Time) assets.Finding {
	return assets.Finding{Version: assets.Version{ID: id}, PlantID: 1, ConveyorID: 10, BeltID: 20, SpliceID: splice,
		FoundAt: assets.InstantOf(at), FoundDay: assets.DayOf(at), Category: "splice opening", Grade: &grade}
}

func TestFindings(t *testing.T) {
	in := terminal(t, "2026-11-25")
	start := utc(t, "2026-11-01")
	before, after := utc(t, "2026-10-20T09:00:00Z"), utc(t, "2026-11-24T09:00:00Z")
	answered, refused := finding(5, 32, 4, after), finding(6, 32, 4, after)
	answered.FollowUpOrderID, refused.RefusedBy = 412, 1
	gone := finding(7, 99, 4, after)
	in.Findings = []assets.Finding{
		finding(1, 32, 3, after), finding(2, 32, 2, after), answered, refused, gone,
		finding(3, 31, 3, before), finding(4, 32, 3, before), finding(8, 32, 1, before.Add(48*time.Hour)),
	}
	r := rule(1, start, Scope{}, Trigger{Kind: TriggerGrade, Grade: 3}, workorder.KindInspection)
	r.Template.LatestDays = 14
	got := NewOutlook(in).Propose(r, start.Add(-time.Microsecond), in.Now)
	// Finding 3 stands since before the rule; 4 was found better two days later; 2 is of grade 2; 5 and 6 are
	// answered; what 7 was about is gone.
	want := []string{"Q3 splice 1 | 3 | 2026-10-20T09:00:00Z", "Q3 splice 2 | 1 | 2026-11-24T09:00:00Z"}
	if !slices.Equal(lines(got), want) {
		t.Fatalf("%v, want %v", lines(got), want)
	}
	if !got[0].RaiseAt.Equal(start) || got[0].LatestDay != "2026-11-15" || got[1].LatestDay != "2026-12-08" || got[1].Target.SpliceID != 32 || got[1].Order(in.Now).FindingID != 1 {
		t.Errorf("raised %v, latest %s and %s, order %+v; want the old one's latest date counted from the rule's start", got[0].RaiseAt, got[0].LatestDay, got[1].LatestDay, got[1].Order(in.Now))
	}
}

func TestTakeUpAtItsEnd(t *testing.T) {
	in := terminal(t, "2026-11-25")
	r := rule(1, utc(t, "2026-01-01"), Scope{Target: TargetBelt}, Trigger{Kind: TriggerTakeUp, ResplicesLeft: 2}, workorder.KindInsertPiece)
	in.Resplices = map[int64]int{20: 1, 21: 2}
	got := NewOutlook(in).Propose(r, utc(t, "2025-12-31"), in.Now)
	if want := []string{"Q3 belt | limit 2 after splice 32 | 2026-03-02T23:00:00Z"}; !slices.Equal(lines(got), want) {
		t.Errorf("%v, want %v: fewer than two, not two", lines(got), want)
	}
	raised(&in, got[0], 5)
	s := in.Splices[1]
	s.ID, s.Number, s.Made = 40, "3", exactly(t, "2026-11-20T10:00:00Z")
	in.Splices, in.Resplices = append(in.Splices, s), map[int64]int{20: 0}
	if next := NewOutlook(in).Propose(r, utc(t, "2025-12-31"), in.Now); len(next) != 1 || next[0].Cycle != "limit 2 after splice 40" {
		t.Errorf("after the next re-splice: %v, want it free again", lines(next))
	}
}

// Re-splices left = floor(2 x |now - new| / shortening) with shortening = cut-out + overlap (common practice): steps of
// 3 x 0.25 m take 1.5 m out of the loop, so that 2.4 m of travel used allow three.
func TestReSplicesLeft(t *testing.T) {
	c := assets.Conveyor{TakeUpTravelM: 6}
	c.ID = 10
	noted := 0.8
	b := assets.Belt{ConveyorID: 10, TakeUpUsedM: &noted, Fitted: exactly(t, "2024-01-01T00:00:00Z")}
	splices := []assets.Splice{{Form: assets.FormStepped, StepLengthM: 0.25, Steps: 3}, {Form: assets.FormFinger, FingerLengthM: 0.08}}
	measured := func(m float64, at string) assets.Finding {
		return assets.Finding{ConveyorID: 10, Quantity: TakeUpTravel, Measurement: &m, FoundAt: assets.InstantOf(utc(t, at))}
	}
	tests := []struct {
		name     string
		findings []assets.Finding
		want     int
	}{
		{"as noted when fitted", nil, 1},
		{"measured since", []assets.Finding{measured(2.4, "2026-05-01"), measured(1.0, "2025-05-01")}, 3},
		{"measured on the belt before", []assets.Finding{measured(5, "2023-05-01")}, 1},
	}
	for _, tt := range tests {
		if got, ok := ResplicesLeft(c, b, splices, tt.findings); !ok || got != tt.want {
			t.Errorf("%s: %d %v, want %d", tt.name, got, ok, tt.want)
		}
	}
	c.TakeUpTravelM = 0
	if _, ok := ResplicesLeft(c, b, splices, nil); ok {
		t.Error("travel not known, and still counted")
	}
}
