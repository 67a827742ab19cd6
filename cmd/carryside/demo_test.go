package main

import (
	"strings"
	"testing"

	"carryside/assets/plantdb/plantdbtest"
	"carryside/schedule/rules"
)

func TestAKeptDemonstrationGoesOnButNotBackwards(t *testing.T) {
	db := plantdbtest.Open(t)
	d := demoCommand{}
	if err := d.fill(t.Context(), db, plantDay); err != nil {
		t.Fatal(err)
	}
	var unnamed int64
	if err := db.SQL(t.Context()).Raw("SELECT (SELECT count(*) FROM stock_movements WHERE person_id = 0) + (SELECT count(*) FROM kit_counts WHERE person_id = 0)").Scan(&unnamed).Error; err != nil || unnamed > 0 {
		t.Errorf("%d lines of stock and kit name nobody who booked them, %v", unnamed, err)
	}
	var noted, sheets int64
	if err := db.SQL(t.Context()).Raw("SELECT count(*) FROM job_entries").Scan(&noted).Error; err != nil {
		t.Fatal(err)
	}
	if err := db.SQL(t.Context()).Raw("SELECT count(*) FROM job_sheets WHERE permit <> ''").Scan(&sheets).Error; err != nil || sheets < 3 || noted < 12*sheets {
		t.Errorf("%d sheets of the demonstration are filled in with %d steps, %v", sheets, noted, err)
	}
	if err := d.fill(t.Context(), db, plantDay.AddDate(0, 0, 1)); err != nil {
		t.Errorf("started again a day later: %v", err)
	}
	if err := d.fill(t.Context(), db, plantDay.AddDate(-6, 0, 0)); err == nil || !strings.Contains(err.Error(), "--keep") {
		t.Errorf("started six years earlier: %v, want one sentence with the way on", err)
	}
}

func TestANewInstallationBeginsWithTheUsualRulesOnce(t *testing.T) {
	db := plantdbtest.Open(t)
	for range 2 {
		if err := firstRules(t.Context(), db, plantDay); err != nil {
			t.Fatal(err)
		}
	}
	var n int
	if err := db.SQL(t.Context()).Raw("SELECT count(*) FROM rules WHERE plant_id = 0 AND customer_id = 0").Scan(&n).Error; err != nil {
		t.Fatal(err)
	}
	if want := len(rules.Defaults(plantDay)); n != want || n == 0 {
		t.Errorf("%d company-wide rules, want the %d usual ones", n, want)
	}
}

func TestAnAddressThatCannotBeListenedOnIsRefusedInOneLine(t *testing.T) {
	for _, address := range []string{"127.0.0.1:99999", "127.0.0.1", "0.0.0.0:8080", "192.168.1.7:8080", "127.0.0.1:http"} {
		if err := loopback(address); err == nil || strings.Contains(err.Error(), "listen tcp") {
			t.Errorf("--listen %s: %v, want one sentence of ours", address, err)
		}
	}
	if err := loopback("[::1]:0"); err != nil {
		t.Errorf("--listen [::1]:0: %v", err)
	}
}
