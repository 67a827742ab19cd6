package main

import (
	"strings"
	"testing"

	"carryside/assets/plantdb/plantdbtest"
)

func TestAKeptDemonstrationGoesOnButNotBackwards(t *testing.T) {
	db := plantdbtest.Open(t)
	d := demoCommand{}
	if err := d.fill(t.Context(), db, plantDay); err != nil {
		t.Fatal(err)
	}
	if err := d.fill(t.Context(), db, plantDay.AddDate(0, 0, 1)); err != nil {
		t.Errorf("started again a day later: %v", err)
	}
	if err := d.fill(t.Context(), db, plantDay.AddDate(-6, 0, 0)); err == nil || !strings.Contains(err.Error(), "--keep") {
		t.Errorf("started six years earlier: %v, want one sentence with the way on", err)
	}
}
