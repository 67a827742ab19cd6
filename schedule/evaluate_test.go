package schedule_test

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"carryside/assets"
	"carryside/schedule"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

var quiet = slog.New(slog.DiscardHandler)

// memory is a store of plants that each have one conveyor and one daily rule; it serves what a database cannot be
// made to do on demand: failing, and saying what it was asked.
type memory struct {
	plants  []int64
	broken  map[int64]error
	panics  bool
	marks   map[int64]string
	through map[int64]time.Time
	raised  []string
	loads   []int64
	runs    []schedule.Run
	taken   bool
}

func (m *memory) Places(context.Context) ([]schedule.Place, error) {
	if m.panics {
		panic("a fault of our own")
	}
	var out []schedule.Place
	for _, p := range m.plants {
		out = append(out, schedule.Place{PlantID: p, Mark: m.marks[p]})
	}
	return out, nil
}

func (m *memory) Load(_ context.Context, plant int64, now time.Time) (schedule.Loaded, error) {
	m.loads = append(m.loads, plant)
	if err := m.broken[plant]; err != nil {
		return schedule.Loaded{}, err
	}
	in := rules.Inputs{Now: now, Plant: assets.Plant{Version: assets.Version{ID: plant}, Zone: "Europe/Oslo"},
		Conveyors: []assets.Conveyor{{Version: assets.Version{ID: plant * 10}, PlantID: plant, Tag: "C1", Status: assets.ConveyorInUse}},
		Rules: []rules.Rule{{Version: assets.Version{ID: 1}, Name: "every morning", Class: assets.ClassP, Scope: rules.Scope{Target: rules.TargetConveyor},
			Trigger: rules.Trigger{Kind: rules.TriggerCron, Cron: "0 6 * * *"}, Template: rules.Template{Kind: workorder.KindInspection}, StartsAt: 1}}}
	return schedule.Loaded{Inputs: in, Through: map[int64]time.Time{1: m.through[plant]}}, nil
}

func (m *memory) Raise(_ context.Context, plant int64, ps []rules.Proposal, through map[int64]time.Time, _ time.Time) (schedule.Raised, error) {
	for _, p := range ps {
		m.raised = append(m.raised, p.Cycle)
	}
	if at, ok := through[1]; ok {
		m.through[plant] = at
	}
	return schedule.Raised{Orders: len(ps)}, nil
}

func (m *memory) StartRun(_ context.Context, r schedule.Run) (int64, bool, error) {
	if !m.taken {
		m.runs = append(m.runs, r)
	}
	return int64(len(m.runs)), !m.taken, nil
}

func (m *memory) EndRun(_ context.Context, r schedule.Run) error {
	m.runs[len(m.runs)-1] = r
	return nil
}

func at(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return t
}

func twoPlants(through string) *memory {
	return &memory{plants: []int64{1, 2}, marks: map[int64]string{}, broken: map[int64]error{}, through: map[int64]time.Time{1: at(through), 2: at(through)}}
}

func TestAPlantThatFailsDoesNotHoldUpTheOthers(t *testing.T) {
	m := twoPlants("2026-11-24T12:00:00Z")
	m.broken[1] = errors.New("its zone cannot be read")
	e := schedule.NewEvaluator(m, quiet)
	got, err := e.Evaluate(t.Context(), at("2026-11-25T12:00:00Z"))
	if err == nil || !strings.Contains(err.Error(), "plant 1: its zone cannot be read") {
		t.Errorf("error %v, want plant 1 named with its reason", err)
	}
	if got.Orders != 1 || got.Plants != 2 {
		t.Errorf("%+v, want the order of plant 2 raised", got)
	}
	delete(m.broken, 1)
	again, err := e.Evaluate(t.Context(), at("2026-11-25T12:01:00Z"))
	if err != nil || again.Orders != 1 || again.Skipped != 1 {
		t.Errorf("%+v %v, want plant 1 made up for and plant 2 passed over", again, err)
	}
}

func TestPlantsAreLookedAtWhenSomethingCanFallOrChanged(t *testing.T) {
	m := twoPlants("2026-11-24T12:00:00Z")
	e := schedule.NewEvaluator(m, quiet)
	steps := []struct {
		now, change string
		want        []int64
	}{
		{"2026-11-25T12:00:00Z", "", []int64{1, 2}},
		{"2026-11-25T12:01:00Z", "", nil},
		{"2026-11-25T12:02:00Z", "a reading at plant 2", []int64{2}},
		{"2026-11-26T04:59:00Z", "", nil},
		{"2026-11-26T05:00:00Z", "", []int64{1, 2}}, // 06:00 in Oslo
		{"2026-11-26T05:01:00Z", "", nil},
	}
	for _, s := range steps {
		m.loads = nil
		if s.change != "" {
			m.marks[2] = s.change
		}
		if _, err := e.Evaluate(t.Context(), at(s.now)); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(m.loads, s.want) {
			t.Errorf("at %s after %q: looked at %v, want %v", s.now, s.change, m.loads, s.want)
		}
	}
	if want := []string{"2026-11-25T06:00", "2026-11-25T06:00", "2026-11-26T06:00", "2026-11-26T06:00"}; !slices.Equal(m.raised, want) {
		t.Errorf("raised %v, want %v", m.raised, want)
	}
}

func TestARunSaysWhatWentWrong(t *testing.T) {
	now := at("2026-11-25T12:00:20Z")
	clock := func() time.Time { return now.Add(time.Second) }
	m := twoPlants("2026-11-24T12:00:00Z")
	m.broken[1] = errors.New("its zone\ncannot be read")
	if err := schedule.EvaluationJob(schedule.NewEvaluator(m, quiet), m, clock).Do(t.Context(), now); err == nil {
		t.Error("the job hides the failure from the log")
	}
	if r := m.runs[0]; r.Error != "evaluate plant 1: its zone cannot be read" || r.Raised.Orders != 1 || r.Plants != 2 || !r.DueAt.Equal(at("2026-11-25T12:00:00Z")) || r.Ended != clock() {
		t.Errorf("run %+v, want its tick, its counts and one line of what failed", r)
	}
	m.panics = true
	if err := schedule.EvaluationJob(schedule.NewEvaluator(m, quiet), m, clock).Do(t.Context(), now); err == nil || !strings.Contains(m.runs[1].Error, "a fault of our own") {
		t.Errorf("a panic left the run %+v (%v), want it closed with its reason", m.runs[1], err)
	}
	m.taken, m.loads = true, nil
	if err := schedule.EvaluationJob(schedule.NewEvaluator(m, quiet), m, clock).Do(t.Context(), now); err != nil || len(m.loads) > 0 {
		t.Errorf("a tick that another server has: %v, looked at %v; want nothing done", err, m.loads)
	}
}

func TestAStoppedServerLeavesTheRestToTheNextStart(t *testing.T) {
	m := twoPlants("2026-11-24T12:00:00Z")
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := schedule.NewEvaluator(m, quiet).Evaluate(ctx, at("2026-11-25T12:00:00Z")); !errors.Is(err, context.Canceled) || len(m.raised) > 0 {
		t.Errorf("%v, raised %v; want it stopped before the first plant", err, m.raised)
	}
}

func TestATickIsPassedOverWhileTheJobStillRuns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		var starts []time.Duration
		slow := schedule.Job{Name: "slow", Spec: "* * * * *", Do: func(_ context.Context, now time.Time) error {
			starts = append(starts, now.Sub(began))
			time.Sleep(150 * time.Second)
			return errors.New("every time")
		}}
		ctx, stop := context.WithTimeout(t.Context(), 10*time.Minute)
		defer stop()
		if err := schedule.NewRunner(quiet, time.Now, slow).Run(ctx); err != nil {
			t.Fatal(err)
		}
		if want := []time.Duration{0, 3 * time.Minute, 6 * time.Minute, 9 * time.Minute}; !slices.Equal(starts, want) {
			t.Errorf("started after %v, want %v", starts, want)
		}
		if ran := time.Since(began); ran != 11*time.Minute+30*time.Second {
			t.Errorf("ended after %v, want the last run waited for", ran)
		}
	})
}
