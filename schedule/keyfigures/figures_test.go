package keyfigures

import (
	"testing"
	"time"

	"carryside/schedule/calendar"
)

func at(s string) time.Time {
	t, err := time.Parse("2006-01-02T15:04", s)
	if err != nil {
		panic(err)
	}
	return t
}

func utc(t *testing.T) calendar.Zone {
	z, err := calendar.LoadZone("UTC")
	if err != nil {
		t.Fatal(err)
	}
	return z
}

var june = Period{at("2025-06-01T00:00"), at("2025-07-01T00:00")}

func TestEdgesOfAPeriod(t *testing.T) {
	for name, tt := range map[string]struct {
		order Order
		holds func(f Figures) bool
	}{
		"done exactly at the window's end is kept": {
			Order{State: Signed, WindowFrom: at("2025-06-10T06:00"), WindowTo: at("2025-06-10T10:00"), Done: at("2025-06-10T10:00")},
			func(f Figures) bool { return f.ScheduledDoneInWindow == 1 }},
		"done a minute late is not": {
			Order{State: Signed, WindowFrom: at("2025-06-10T06:00"), WindowTo: at("2025-06-10T10:00"), Done: at("2025-06-10T10:01")},
			func(f Figures) bool { return f.Scheduled == 1 && f.ScheduledDoneInWindow == 0 }},
		"withdrawn after publishing counts as not done": {
			Order{State: Withdrawn, WindowFrom: at("2025-06-10T06:00"), WindowTo: at("2025-06-10T10:00")},
			func(f Figures) bool { return f.Scheduled == 1 && *f.ComplianceOrdersPercent == 0 }},
		"a weekly round a day late is inside its grace": {
			Order{State: Signed, Inspection: true, Latest: at("2025-06-10T22:00"), Interval: 7 * 24 * time.Hour, Done: at("2025-06-11T22:00")},
			func(f Figures) bool { return *f.OnTimePercent == 0 && *f.OnTimeWithGracePercent == 100 }},
		"the period's end belongs to the next one": {
			Order{State: Signed, Done: at("2025-07-01T00:00"), WorkedH: 3},
			func(f Figures) bool { return f.WorkedH == 0 && f.PlannedWorkPercent == nil }},
		"done after the end waited at the end": {
			Order{State: Signed, Raised: at("2025-06-20T00:00"), Latest: at("2025-06-28T00:00"), Done: at("2025-07-02T00:00"), EstimatedH: 4},
			func(f Figures) bool { return f.BacklogH == 4 && f.Overdue == 1 }},
		"only raised is not backlog yet": {
			Order{State: Raised, Raised: at("2025-06-20T00:00"), EstimatedH: 4},
			func(f Figures) bool { return f.BacklogH == 0 }},
	} {
		t.Run(name, func(t *testing.T) {
			if f := Compute([]Order{tt.order}, june, Crew{4, 40, 0.75}); !tt.holds(f) {
				t.Errorf("%+v", f)
			}
		})
	}
}

// A day of 25 hours has 25 required hours where the plant runs around the clock, and as many as ever where it runs by the
// wall clock (Europe/Berlin, 26 October 2025; time zone database).
func TestRequiredHoursOnTheDayTheClockGoesBack(t *testing.T) {
	berlin, err := calendar.LoadZone("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	day := Period{at("2025-10-25T22:00"), at("2025-10-26T23:00")}
	for _, tt := range []struct {
		from, to int
		want     float64
	}{{0, 24, 25}, {6, 22, 16}, {2, 4, 3}} {
		p := Plant{Name: "P", Conveyors: []string{"C"}, Days: []time.Weekday{time.Sunday}, From: calendar.At(tt.from, 0), To: calendar.At(tt.to, 0), Zone: berlin}
		if got := Measure(nil, []Plant{p}, day).All.RequiredH; got != tt.want {
			t.Errorf("%v to %v: %v h, want %v", tt.from, tt.to, got, tt.want)
		}
	}
}

func TestAConveyorWithoutFailureHasNoMean(t *testing.T) {
	p := Plant{Name: "P", Conveyors: []string{"C"}, Days: []time.Weekday{0, 1, 2, 3, 4, 5, 6}, To: calendar.At(24, 0), Zone: utc(t)}
	r := Measure(nil, []Plant{p}, june).All
	if r.UpBetweenFailuresH != nil || r.RestorationH != nil || r.RequiredH != 720 || *r.AvailabilityPercent != 100 {
		t.Errorf("%+v", r)
	}
}

// A failure that runs over the period's end counts inside it for the standstill and whole for the restoration.
func TestAFailureOverThePeriodsEnd(t *testing.T) {
	p := Plant{Name: "P", Conveyors: []string{"C"}, Days: []time.Weekday{0, 1, 2, 3, 4, 5, 6}, To: calendar.At(24, 0), Zone: utc(t)}
	o := Order{Plant: "P", Conveyor: "C", Failure: true, DownFrom: at("2025-06-30T20:00"), DownTo: at("2025-07-01T06:00")}
	r := Measure([]Order{o}, []Plant{p}, june).All
	if r.DownFailuresH != 4 || *r.RestorationH != 10 || r.Failures != 1 {
		t.Errorf("%+v", r)
	}
}
