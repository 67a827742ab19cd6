package reports_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/keyfigures"
	"carryside/schedule/workorder"
)

// WorkAt is five orders of October: two placed and done inside their stop, one done a day late without a stop, one that ended a failed splice, and one
// that waits.
func (s *smallPlant) WorkAt(context.Context, int64, time.Time) (reports.Work, error) {
	on := func(day, hour int) assets.Instant {
		return assets.InstantOf(time.Date(2026, 10, day, hour, 0, 0, 0, time.UTC))
	}
	stop := assets.StopWindow{Version: assets.Version{ID: 5}, Start: on(10, 6), End: on(10, 18)}
	order := func(id int64, kind workorder.Kind, state workorder.State, latest assets.Day, planned bool, done assets.Instant, hours float64) workorder.Order {
		o := workorder.Order{Version: assets.Version{ID: id}, Kind: kind, State: state, LatestDay: latest, RaisedAt: on(1, 6), AcceptedAt: on(2, 6), DoneAt: done, DoneHours: hours, WorkHours: 4}
		if planned {
			o.WindowID, o.PlacedAt = 5, on(3, 6)
		}
		return o
	}
	until := on(21, 3)
	return reports.Work{Conveyors: []assets.Conveyor{{Tag: "C1"}, {Version: assets.Version{ID: 2}, Tag: "C2"}},
		Standstills: []assets.Standstill{{FromAt: on(21, 0), UntilAt: &until, Cause: assets.CauseSplice, OrderID: 4}}, Windows: map[int64]assets.StopWindow{5: stop}, Failures: map[int64]bool{4: true}, Chains: s.plant.Chains, Orders: []workorder.Order{
			order(1, workorder.KindResplice, workorder.Signed, "2026-10-20", true, on(10, 12), 8),
			order(2, workorder.KindInspection, workorder.Done, "2026-10-12", true, on(10, 17), 2),
			order(3, workorder.KindInspection, workorder.Done, "2026-10-14", false, on(15, 9), 2),
			order(4, workorder.KindResplice, workorder.Signed, "", false, on(21, 3), 8),
			order(5, workorder.KindResplice, workorder.Accepted, "2026-10-25", false, 0, 0)}}, nil
}

// The values are the formulas of the key figures done by hand: 10 of 20 h were planned, 8 of 20 h ended a failed splice, both orders of the stop were done in it, one of
// two inspections was in time and the other within its day of grace, 4 h wait and are overdue. Two conveyors without a calendar are required 2 x 745 h (31 days and an hour
// more in Berlin); 3 h stood by the failure and 12 h for the stop leave 1475 h: 98.99 % (EN 15341: up time / required time).
func TestKeyFiguresOfAMonthByHand(t *testing.T) {
	entry := must(reports.Find("key-figures"))
	r := must(entry.Build(t.Context(), reports.Inputs{Source: newSmallPlant(), Built: built, By: "N. Corvane", Version: "1.0", Zone: berlin, Period: reports.Period{From: "2026-10-01", To: "2026-10-31"}}, ""))
	var b bytes.Buffer
	must(r.WriteCSV(t.Context(), &b))
	got := map[string]string{}
	for _, rec := range must(csv.NewReader(&b).ReadAll())[1:] {
		got[rec[2]] = rec[3] + " " + rec[4]
		if rec[5] == "" || rec[6] == "" {
			t.Errorf("%s stands without its formula or what it rests on", rec[2])
		}
	}
	for figure, want := range map[string]string{"Planned work": "50.0 %", "Planned work, by number of orders": "50.0 %", "Reactive work": "40.0 %", "Schedule compliance, by orders": "100.0 %",
		"Inspections on time": "50.0 %", "Inspections on time, with grace": "100.0 %", "Backlog": "4.0 h", "Overdue": "1.0 orders",
		"Availability": "98.99 %", "Availability, failures only": "99.8 %", "Mean time to restoration": "3.0 h", "Mean time between failures": "1475.0 h", "Mean repair work": "8.0 h",
		"Availability of C1": "97.99 %"} {
		if strings.ReplaceAll(got[figure], ".0", "") != strings.ReplaceAll(want, ".0", "") {
			t.Errorf("%s is %q, want %q", figure, got[figure], want)
		}
	}
}

// A standstill inside a stop counts as the failure it was, the rest of the stop as planned; what has not ended counts until the period's end, and a failed splice
// that nobody recorded a standstill for stands beside the figure.
func TestKeyFiguresOfStandstillsInStopsAndWithoutEnd(t *testing.T) {
	plant := openPlant{newSmallPlant()}
	entry := must(reports.Find("key-figures"))
	r := must(entry.Build(t.Context(), reports.Inputs{Source: plant, Built: built, By: "N. Corvane", Version: "1.0", Zone: berlin, Period: reports.Period{From: "2026-10-01", To: "2026-10-31"}}, ""))
	var b bytes.Buffer
	must(r.WriteCSV(t.Context(), &b))
	text := b.String()
	// C1 stood 4 h of its stop of 12 h by a failure; C2 has stood since the last day at noon, 11 h of the period in UTC and Berlin's winter time.
	for _, want := range []string{"4.0 of 745.0 h required", "11.0 of 745.0 h required", "15.0 h down by failures, 8.0 h for planned work", "not ended: 1", "without a recorded standstill, not in it: 1"} {
		if !strings.Contains(text, want) {
			t.Errorf("the figures do not say %q:\n%s", want, text)
		}
	}
}

type openPlant struct{ *smallPlant }

func (s openPlant) WorkAt(ctx context.Context, id int64, at time.Time) (reports.Work, error) {
	w, err := s.smallPlant.WorkAt(ctx, id, at)
	until := assets.InstantOf(time.Date(2026, 10, 10, 12, 0, 0, 0, time.UTC))
	w.Standstills = []assets.Standstill{{FromAt: assets.InstantOf(time.Date(2026, 10, 10, 8, 0, 0, 0, time.UTC)), UntilAt: &until, Cause: assets.CauseDrive},
		{ConveyorID: 2, FromAt: assets.InstantOf(time.Date(2026, 10, 31, 12, 0, 0, 0, time.UTC)), Cause: assets.CauseBelt}}
	return w, err
}

type crewedPlant struct{ *smallPlant }

func (s crewedPlant) WorkAt(ctx context.Context, id int64, at time.Time) (reports.Work, error) {
	w, err := s.smallPlant.WorkAt(ctx, id, at)
	late := assets.InstantOf(time.Date(2026, 10, 16, 9, 0, 0, 0, time.UTC)) // a day and a half after its latest date
	w.Orders[2].DoneAt = late
	w.Orders[2].ID, w.Intervals = 3, map[int64]time.Duration{3: 20 * 24 * time.Hour}
	w.Orders = append(w.Orders, workorder.Order{Version: assets.Version{ID: 6}, Kind: workorder.KindResplice, State: workorder.Placed, WorkHours: 8, RaisedAt: w.Orders[0].RaisedAt, AcceptedAt: w.Orders[0].RaisedAt, PlacedAt: w.Orders[0].PlacedAt})
	w.Crew = keyfigures.Crew{People: 2, HoursPerWeek: 24, AvailableShare: 1}
	return w, err
}

// An inspection every 20 days has two days of grace, a tenth of its interval. 4 h accepted and 8 h placed wait for two people of 24 h a week: 0.25 weeks of work, 0.17 of
// it ready.
func TestKeyFiguresTellTheBacklogInWeeksOfTheCrew(t *testing.T) {
	entry := must(reports.Find("key-figures"))
	r := must(entry.Build(t.Context(), reports.Inputs{Source: crewedPlant{newSmallPlant()}, Built: built, By: "N. Corvane", Version: "1.0", Zone: berlin, Period: reports.Period{From: "2026-10-01", To: "2026-10-31"}}, ""))
	var b bytes.Buffer
	must(r.WriteCSV(t.Context(), &b))
	got := map[string][]string{}
	for _, rec := range must(csv.NewReader(&b).ReadAll())[1:] {
		got[rec[2]] = rec
	}
	for figure, want := range map[string]string{"Inspections on time": "50", "Inspections on time, with grace": "100", "Backlog": "12", "Backlog, in crew-weeks": "0.25", "Backlog that is ready": "8", "Backlog that is ready, in crew-weeks": "0.17"} {
		if rec := got[figure]; len(rec) < 7 || strings.TrimSuffix(rec[3], ".0") != want {
			t.Errorf("%s: %v, want %s", figure, rec, want)
		}
	}
	if rests := got["Backlog, in crew-weeks"][6]; !strings.Contains(rests, "48.0 h a week") {
		t.Errorf("the weeks rest on %q", rests)
	}
}

type decadePlant struct{ *smallPlant }

func (s decadePlant) WorkAt(ctx context.Context, id int64, at time.Time) (reports.Work, error) {
	w, err := s.smallPlant.WorkAt(ctx, id, at)
	w.Orders = w.Orders[:1]
	w.Orders[0].DoneAt, w.Orders[0].RaisedAt = 0, assets.InstantOf(time.Date(2016, 10, 1, 0, 0, 0, 0, time.UTC))
	return w, err
}

// 3 h of some 88 000 h are 0.003 %: rounded it would be 100 %, which it was not.
func TestAConveyorThatStoodWasNotAvailableForAllOfItsTime(t *testing.T) {
	entry := must(reports.Find("key-figures"))
	r := must(entry.Build(t.Context(), reports.Inputs{Source: decadePlant{newSmallPlant()}, Built: built, By: "N. Corvane", Version: "1.0", Zone: berlin, Period: reports.Period{To: "2026-10-31"}}, ""))
	var b bytes.Buffer
	must(r.WriteCSV(t.Context(), &b))
	for _, rec := range must(csv.NewReader(&b).ReadAll())[1:] {
		if strings.HasPrefix(rec[2], "Availability") && rec[3] != "99.99" {
			t.Errorf("%s is %s, want 99.99 (%s)", rec[2], rec[3], rec[6])
		}
	}
}
