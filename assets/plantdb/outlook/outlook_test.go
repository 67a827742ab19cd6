package outlook_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/samplefleet"
	"carryside/schedule/clock"
	"carryside/schedule/due"
	"carryside/schedule/rules"

	"github.com/google/go-cmp/cmp"
)

var (
	ctx = context.Background()
	job = assets.JobScope()
)

func demo(t *testing.T) *plantdb.DB {
	t.Helper()
	db := plantdbtest.Open(t)
	if err := fleetdb.Write(ctx, db, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	return db
}

// proposedOn lists what the rules of a plant raise by now, each with its day.
func proposedOn(in rules.Inputs, since func(rules.Rule) time.Time) []string {
	look := rules.NewOutlook(in)
	var out []string
	for _, r := range in.Rules {
		for _, p := range look.Propose(r, since(r), in.Now) {
			out = append(out, fmt.Sprintf("%s | %s | %s | %s", r.Name, p.Target.Name(), p.Cycle, p.DueDay))
		}
	}
	slices.Sort(out)
	return out
}

// Few readings are read, and the days they give are those that all readings give.
func TestFewReadingsGiveTheDaysOfAll(t *testing.T) {
	db := demo(t)
	for plant := int64(1); plant <= 3; plant++ {
		p, err := outlook.Load(ctx, db, job, plant, fleetdb.Day)
		if err != nil {
			t.Fatal(err)
		}
		since := func(r rules.Rule) time.Time { return r.Since(p.Through[r.ID], fleetdb.Day) }
		whole := p.Inputs
		whole.Clocks = allReadings(t, db, p).Rules()
		got, want := proposedOn(p.Inputs, since), proposedOn(whole, since)
		if !slices.Equal(got, want) {
			t.Errorf("plant %d: %v\nwant %v", plant, got, want)
		}
		if len(want) == 0 {
			t.Errorf("plant %d raises nothing: there is nothing to compare", plant)
		}
	}
}

// allReadings makes a plant's clocks of every reading there is.
func allReadings(t *testing.T, db *plantdb.DB, p *outlook.Plant) due.Clocks {
	t.Helper()
	plant := p.Inputs.Plant.ID
	meters, err := clocks.MetersOfPlant(ctx, db, job, plant, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	h := due.History{Register: p.Register, Points: map[int64][]clock.Point{}}
	if h.Calendars, err = clocks.Calendars(ctx, db, job, plant, plantdb.AsOf{}); err != nil {
		t.Fatal(err)
	}
	if h.Conveyors, h.Belts, err = registry.Stretches(ctx, db, job, plant, plantdb.AsOf{}); err != nil {
		t.Fatal(err)
	}
	for _, c := range p.Register.Conveyors {
		readings, err := clocks.Readings(ctx, db, job, c.ID, clocks.Span{}, plantdb.AsOf{})
		if err != nil {
			t.Fatal(err)
		}
		h.Points[c.ID] = clocks.Points(meters[c.ID], readings)
	}
	return due.NewClocks(h)
}

func TestAPreviewSeesWhatEndedInTheYear(t *testing.T) {
	db := demo(t)
	now, err := outlook.Load(ctx, db, job, 1, fleetdb.Day)
	if err != nil {
		t.Fatal(err)
	}
	year, err := outlook.LoadYear(ctx, db, job, 1, fleetdb.Day)
	if err != nil {
		t.Fatal(err)
	}
	ended, yearAgo := 0, assets.InstantOf(fleetdb.Day.AddDate(-1, 0, 0))
	for _, s := range year.Inputs.Splices {
		if s.Ended != nil {
			ended++
			if *s.Ended < yearAgo {
				t.Errorf("splice %d ended before the year", s.ID)
			}
		}
	}
	if ended == 0 || len(year.Inputs.Splices) != len(now.Inputs.Splices)+ended {
		t.Errorf("%d splices, %d of them ended; %d live now", len(year.Inputs.Splices), ended, len(now.Inputs.Splices))
	}
	for _, f := range year.Inputs.Findings {
		if f.FoundAt < yearAgo {
			t.Errorf("finding %d is older than the year", f.ID)
		}
	}
	if len(year.Inputs.Findings) <= len(now.Inputs.Findings) {
		t.Errorf("%d findings of the year, %d still open", len(year.Inputs.Findings), len(now.Inputs.Findings))
	}
}

func TestAPlantOutOfScopeIsNotFound(t *testing.T) {
	db := demo(t)
	if _, err := outlook.Load(ctx, db, assets.PlantScope(2), 1, fleetdb.Day); err == nil {
		t.Error("a plant out of scope is read")
	}
	if _, err := outlook.Load(ctx, db, assets.PlantScope(1), 1, fleetdb.Day); err != nil {
		t.Errorf("a plant in scope: %v", err)
	}
}

// Few readings are read, and splices stand where all readings put them; so they do in what reports read.
func TestFewReadingsGiveTheStandingsOfAll(t *testing.T) {
	db, passed := demo(t), 0
	for plant := int64(1); plant <= 3; plant++ {
		for _, daysAgo := range []int{0, 100, 400} {
			at := assets.InstantOf(fleetdb.Day.AddDate(0, 0, -daysAgo))
			asOf := plantdb.AsOf{Valid: at}
			for name, stand := range map[string]standing{"for screens": outlook.Stand, "for reports": outlook.StandByAge} {
				got, err := stand(ctx, db, job, plant, asOf, at)
				if err != nil {
					t.Fatal(err)
				}
				all := allReadings(t, db, &outlook.Plant{Register: got.Register, Inputs: rules.Inputs{Plant: got.Register.Plant}})
				want := due.Plant(at.Time(), got.Register, got.Rules, all)
				for _, st := range want {
					if !st.ClockedAt.IsZero() && st.ClockedAt.Before(at.Time()) {
						passed++
					}
				}
				if diff := cmp.Diff(want, got.Standings); diff != "" {
					t.Errorf("plant %d %s, %d days ago: %s", plant, name, daysAgo, diff)
				}
			}
		}
	}
	if passed == 0 {
		t.Error("no limit in hours or passes was passed: there is nothing to compare")
	}
}

type standing func(context.Context, *plantdb.DB, assets.Scope, int64, plantdb.AsOf, assets.Instant) (*outlook.Standings, error)
