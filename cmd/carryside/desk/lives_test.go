package desk_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/samplefleet"
	"carryside/cmd/carryside/desk"
	"carryside/schedule/due"
	"carryside/server/web"
)

// The demo's terminal from the database: a forecast for every live splice, gaps held against the catalogue's limit, a finding
// of grade 3 that sets the date, and what a dearer failure moves.
func TestTheDeskForeseesAPlant(t *testing.T) {
	ctx := context.Background()
	db := plantdbtest.Again(t, plantdbtest.Address(t))
	if err := fleetdb.Write(ctx, db, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	now := fleetdb.Day.Add(time.Hour)
	d := desk.New(db, func() time.Time { return now }, nil, "test")
	fl, err := d.Fleet(ctx, assets.PlantScope(1), 1, now)
	if err != nil {
		t.Fatal(err)
	}
	if len(fl.Forecasts) == 0 || len(fl.Forecasts) != len(fl.Standings) {
		t.Fatalf("%d forecasts of %d splices", len(fl.Forecasts), len(fl.Standings))
	}
	crossing := 0
	for _, tr := range fl.Trends {
		if tr.Limit.Quantity != due.MaxSpliceGap || tr.Limit.Value != 0.004 {
			t.Fatalf("%+v is not held against the catalogue's 4 mm", tr)
		}
		if tr.Crossing != nil {
			crossing++
		}
	}
	if crossing == 0 {
		t.Errorf("none of %d gaps heads for its limit", len(fl.Trends))
	}
	s := fl.Register.Splices[0]
	demandsADate(t, db, d, s, now)
	movesByADearerFailure(t, d, fl, now)
}

func demandsADate(t *testing.T, db *plantdb.DB, d *desk.Desk, s assets.Splice, now time.Time) {
	t.Helper()
	grade := 4
	f := assets.Finding{PlantID: 1, ConveyorID: s.ConveyorID, SpliceID: s.ID, FoundAt: assets.InstantOf(now), FoundDay: assets.DayOf(now), Category: "fabric pulled", Grade: &grade}
	act := plantdb.Act{PersonID: 1, Origin: plantdb.Screen, Action: "record a finding", Now: now, Plants: []int64{1}}
	if err := db.Change(t.Context(), act, func(c *plantdb.Change) error { _, err := registry.AddFinding(c, &f); return err }); err != nil {
		t.Fatal(err)
	}
	fl, err := d.Fleet(t.Context(), assets.PlantScope(1), 1, now.Add(time.Minute))
	if err != nil {
		t.Fatal(err)
	}
	for _, one := range fl.Forecasts {
		if one.SpliceID == s.ID && (one.Advice.By != "finding" || !strings.Contains(one.Advice.Reason, "grade 4") || one.Advice.At.After(now)) {
			t.Errorf("after a finding of grade 4: %+v", one.Advice)
		}
	}
}

func movesByADearerFailure(t *testing.T, d *desk.Desk, fl *web.Fleet, now time.Time) {
	t.Helper()
	kinds, err := d.SpliceKinds(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	moved, seen := 0, map[int64]bool{}
	for _, k := range kinds {
		dearer := k
		dearer.Values = append([]assets.CatalogueValue{{Quantity: due.UnplannedStopH, Value: 400, Unit: "h", Class: assets.ClassP}}, k.Values...)
		moves, err := d.WhatMoves(t.Context(), assets.PlantScope(1), 1, now.Add(time.Minute), web.LifeChange{Kind: &dearer})
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range moves.Rows {
			s, _ := fl.Register.Splice(m.SpliceID)
			if s.Form != k.Form || s.Bond != k.Bond || seen[m.SpliceID] {
				t.Errorf("%s %s moves splice %d of another kind, or twice", k.Form, k.Bond, m.SpliceID)
			}
			seen[m.SpliceID] = true
			if m.After.Best.Known && m.Before.Best.Known && m.After.Best.Age >= m.Before.Best.Age {
				t.Errorf("a dearer failure makes the best age of splice %d later: %v to %v", m.SpliceID, m.Before.Best.Age, m.After.Best.Age)
			}
			moved++
		}
		if same, err := d.WhatMoves(t.Context(), assets.PlantScope(1), 1, now.Add(time.Minute), web.LifeChange{Kind: &k}); err != nil || len(same.Rows) != 0 {
			t.Errorf("what stays the same moves %d splices, %v", len(same.Rows), err)
		}
	}
	if moved == 0 {
		t.Error("a failure of 400 hours moves nothing")
	}
}

// The finger kinds run at two plants of two customers: whoever may see both is shown what moves at both, whoever may see one that one.
func TestADefaultOfTheCompanyMovesEveryPlantThatMayBeSeen(t *testing.T) {
	ctx := context.Background()
	db := plantdbtest.Again(t, plantdbtest.Address(t))
	if err := fleetdb.Write(ctx, db, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	now := fleetdb.Day.Add(time.Hour)
	d := desk.New(db, func() time.Time { return now }, nil, "test")
	kinds, err := d.SpliceKinds(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range kinds {
		if k.Form != assets.FormFinger {
			continue
		}
		k.Values = append([]assets.CatalogueValue{{Quantity: due.UnplannedStopH, Value: 400, Unit: "h", Class: assets.ClassP}}, k.Values...)
		for name, tt := range map[string]struct {
			scope assets.Scope
			want  []int64
		}{"both": {assets.JobScope(), []int64{2, 3}}, "one": {assets.PlantScope(3), []int64{3}}, "neither": {assets.PlantScope(1), nil}} {
			m, err := d.WhatMoves(ctx, tt.scope, 3, now, web.LifeChange{Kind: &k})
			if err != nil {
				t.Fatal(err)
			}
			at := map[int64]int{}
			for _, one := range m.Rows {
				at[one.PlantID]++
			}
			if len(at) != len(tt.want) || m.Plants != len(tt.want) || len(m.Left) != 0 {
				t.Errorf("%s: moves at %v of %d plants, want %v", name, at, m.Plants, tt.want)
			}
			for _, p := range tt.want {
				if at[p] == 0 {
					t.Errorf("%s: nothing moves at plant %d", name, p)
				}
			}
			if len(m.Rows) > 0 && m.Rows[0].PlantID != 3 {
				t.Errorf("%s: plant %d comes before the one looked at", name, m.Rows[0].PlantID)
			}
		}
	}
}

// A planner states since when failures are on record: the observations of that plant, and of no other, say so at once. Confirming
// the plant's settings before that moved nothing.
func TestAPlantStatesItsHistory(t *testing.T) {
	ctx := context.Background()
	db := plantdbtest.Again(t, plantdbtest.Address(t))
	if err := fleetdb.Write(ctx, db, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	now := fleetdb.Day.Add(time.Hour)
	d := desk.New(db, func() time.Time { return now }, nil, "test")
	since := func() (at time.Time, stated bool, late int) {
		b, err := d.LifeBook(ctx, assets.PlantScope(1), 1, "", now)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range b.Lives {
			at, stated = l.Record.Since, l.Record.Stated
			if l.Late {
				late++
			}
		}
		return at, stated, late
	}
	read, stated, late := since()
	if stated {
		t.Fatal("nothing is stated yet")
	}
	alter := func(h assets.History) error {
		plant, err := registry.Plant(ctx, db, assets.PlantScope(1), 1)
		if err != nil {
			t.Fatal(err)
		}
		plant.History = h
		act := plantdb.Act{PersonID: 1, Origin: plantdb.Screen, Action: "change plant", Now: now, Plants: []int64{1}}
		return db.Change(ctx, act, func(c *plantdb.Change) error { return registry.AlterPlant(c, &plant, assets.InstantOf(now)) })
	}
	if err := alter(assets.History{}); err != nil {
		t.Fatal(err)
	}
	if again, _, n := since(); !again.Equal(read) || n != late {
		t.Errorf("on record since %v, %d late; before the settings were confirmed %v, %d", again, n, read, late)
	}
	for name, h := range map[string]assets.History{"no reason": {From: "2022-01-01"}, "to come": {From: "2030-01-01", Why: "log book"}, "no day": {From: "2022", Why: "log book"}} {
		if err := alter(h); !errors.As(err, new(assets.Invalid)) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := alter(assets.History{From: "2022-01-01", Why: "the log book begins then"}); err != nil {
		t.Fatal(err)
	}
	if at, stated, n := since(); !stated || at.Format("2006-01-02") != "2021-12-31" && at.Format("2006-01-02") != "2022-01-01" || n <= late {
		t.Errorf("on record since %v, stated %v, %d late where %d were", at, stated, n, late)
	}
}
