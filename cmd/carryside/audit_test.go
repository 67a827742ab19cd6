package main

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/attached"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
)

// auditedInstallation is the small installation with an auditor and a planner of its plant, in which S1 failed on 10 January 2026 and
// was remade in the same place, with a finding at it whose follow-up was refused, a photo, an order withdrawn, and a reading corrected ten days after
// the first of March.
func auditedInstallation(t *testing.T) string {
	t.Helper()
	dsn := smallInstallation(t)
	db := plantdbtest.Again(t, dsn)
	change := func(what, reason string, by int64, at time.Time, fn func(*plantdb.Change) error) {
		t.Helper()
		act := plantdb.Act{Origin: plantdb.Screen, PersonID: by, Action: what, Reason: reason, Now: at, Plants: []int64{1}}
		must(t, db.Change(t.Context(), act, fn))
	}
	ids := map[assets.Role]int64{}
	must(t, db.Change(t.Context(), plantdb.Act{Origin: plantdb.Command, Action: "add people", Now: exportNow, Company: true, Plants: []int64{1}}, func(c *plantdb.Change) error {
		for name, role := range map[string]assets.Role{"N. Corvane": assets.RoleAuditor, "I. Vanterel": assets.RolePlanner} {
			p := assets.Person{Name: name, Role: role}
			if err := registry.AddPerson(c, &p); err != nil {
				return err
			}
			ids[role] = p.ID
			if err := registry.GiveGrant(c, &assets.Grant{PersonID: p.ID, Role: role, PlantID: 1}); err != nil {
				return err
			}
		}
		return nil
	}))
	planner, later := ids[assets.RolePlanner], exportNow.AddDate(0, 0, 1)
	old, err := registry.PlantAsOf(t.Context(), db, assets.PlantScope(1), 1, plantdb.AsOf{})
	must(t, err)
	first := old.Splices[0]
	grade := 3
	found := assets.Finding{SpliceID: first.ID, Category: "edge open", Grade: &grade, FoundAt: assets.InstantOf(time.Date(2026, 1, 9, 8, 0, 0, 0, time.UTC))}
	change("record a finding", "", planner, later, func(c *plantdb.Change) error {
		if _, err := registry.AddFinding(c, &found); err != nil {
			return err
		}
		photo := assets.Attachment{PlantID: 1, OfKind: assets.AttachedToSplice, OfID: first.ID, Name: "press.csv"}
		_, err := attached.Add(c, &photo, []byte("time,temperature\n0,20\n1,30\n"))
		return err
	})
	change("refuse a follow-up", "", planner, later.Add(time.Hour), func(c *plantdb.Change) error {
		return registry.RefuseFollowUp(c, found.ID, 0, "remade on the next day anyway")
	})
	change("remake a splice", "", planner, later.Add(2*time.Hour), func(c *plantdb.Change) error {
		at := assets.Exactly(time.Date(2026, 1, 10, 9, 30, 0, 0, time.UTC), old.Plant.Location())
		if err := registry.RetireSplice(c, first.ID, 0, registry.Retirement{When: at, Why: assets.RetiredFailed, FailureMode: "fingers torn"}); err != nil {
			return err
		}
		o := workorder.Order{PlantID: 1, ConveyorID: first.ConveyorID, Kind: workorder.KindResplice, Title: "remake S1 at once"}
		if err := orders.RaiseByHand(c, &o); err != nil {
			return err
		}
		made := assets.Splice{BeltID: first.BeltID, Number: first.Number, Form: first.Form, Bond: first.Bond, Made: at, MadeOrderID: o.ID}
		if err := registry.MakeSplice(c, &made); err != nil {
			return err
		}
		ch, err := c.PlantChain(1)
		if err != nil {
			return err
		}
		step := assets.JobEntry{PlantID: 1, OrderID: o.ID, StepKey: "locked-out", State: "done", PersonID: planner, At: made.Made.At, EnteredAt: c.Now(), ClientID: "sheet-1", KnownFrom: ch.Position}
		if step.ID, err = c.NewIDs(ch, "job_entries", 1); err != nil {
			return err
		}
		if err := plantdb.Insert(c, ch, step.ID, &step); err != nil {
			return err
		}
		pressed := assets.PressRecord{PlantID: 1, SpliceID: made.ID, OrderID: o.ID, Press: "small press", PressedAt: made.Made.At, Verdict: "within", RecordedBy: planner, RecordedAt: c.Now()}
		return plantdb.Create(c, ch, &pressed)
	})
	change("raise and withdraw an order", "", planner, later.Add(3*time.Hour), func(c *plantdb.Change) error {
		o := workorder.Order{PlantID: 1, ConveyorID: first.ConveyorID, Kind: workorder.KindResplice, Title: "remake S1"}
		if err := orders.RaiseByHand(c, &o); err != nil {
			return err
		}
		next, event, err := workorder.Withdraw(o, workorder.Actor{PersonID: planner, Roles: []assets.Role{assets.RolePlanner}}, c.Now().Time(), c.Now().Time(), "2026-03-02", workorder.Withdrawal{Why: "it had been remade already", InError: true})
		if err != nil {
			return err
		}
		return orders.Step(c, &next, event)
	})
	correctReading(t, dsn, 5300, exportNow.AddDate(0, 0, 10), "misread by a digit")
	return dsn
}

// auditRow is what the tests below read of a row of the extract.
type auditRow struct {
	Part, Plant, Conveyor, Splice, At, Who, What, Thing, Before, After, Reason, Hash string
	FromWhere                                                                        string `json:"from_where"`
	PressRecords                                                                     int64  `json:"press_records"`
	Chain, Entry, Findings, Attachments, Steps, Readings                             int64
}

// extracted makes an extract on 1 April 2026 and returns its rows.
func extracted(t *testing.T, dsn string, args ...string) []auditRow {
	t.Helper()
	name := filepath.Join(t.TempDir(), "audit.json")
	code, errs := extract(t, append([]string{"audit", "--db", dsn, "--out", name}, args...)...)
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	var doc struct{ Rows []auditRow }
	data, err := os.ReadFile(name)
	must(t, err)
	must(t, json.Unmarshal(data, &doc))
	return doc.Rows
}

func extract(t *testing.T, args ...string) (int, string) {
	t.Helper()
	var out, errs strings.Builder
	p := &Program{Stdout: &out, Stderr: &errs, Now: func() time.Time { return exportNow.AddDate(0, 1, 0) }}
	return run(t.Context(), append([]string{"export"}, args...), p), out.String() + errs.String()
}

func only(rows []auditRow, part string) (out []auditRow) {
	for _, r := range rows {
		if r.Part == part {
			out = append(out, r)
		}
	}
	return out
}

// TestAnAuditorTakesHomeWhatWasDoneWithItsEvidence holds each part of the extract to what was done at the plant.
func TestAnAuditorTakesHomeWhatWasDoneWithItsEvidence(t *testing.T) {
	dsn := auditedInstallation(t)
	rows := extracted(t, dsn, "--as", "N. Corvane", "--from", "2026-01-01", "--to", "2026-03-31")
	one := func(part string) auditRow {
		t.Helper()
		if found := only(rows, part); len(found) == 1 {
			return found[0]
		}
		t.Fatalf("%d rows of %q", len(only(rows, part)), part)
		return auditRow{}
	}
	// S1 lived from 14 September 2023 to 10 January 2026; of its conveyor's four readings three lie in that time.
	failed := one("splice failed")
	if failed.Conveyor != "Q3" || failed.Splice != "S1" || failed.Reason != "fingers torn" || failed.Findings != 1 || failed.Attachments != 1 || failed.Readings != 3 || failed.At != "2026-01-10T09:30:00Z" {
		t.Errorf("the failure reads %+v", failed)
	}
	remade := one("re-spliced")
	if remade.Splice != "S1" || remade.Findings != 0 || remade.Readings != 1 || remade.PressRecords != 1 || remade.Steps != 1 || failed.PressRecords != 0 || failed.Steps != 0 || remade.What != "hot vulcanised, stepped" {
		t.Errorf("the re-splice reads %+v", remade)
	}
	if got := only(rows, "splice made"); len(got) != 0 {
		t.Errorf("splices of years before stand in the period: %+v", got)
	}
	withdrawn := one("order withdrawn")
	if withdrawn.Who != "I. Vanterel" || withdrawn.Reason != "it had been remade already" || withdrawn.Conveyor != "Q3" || withdrawn.Thing != "order 2" {
		t.Errorf("the withdrawal reads %+v", withdrawn)
	}
	refused := one("follow-up refused")
	if refused.Who != "I. Vanterel" || refused.Reason != "remade on the next day anyway" || refused.Splice != "S1" {
		t.Errorf("the refusal reads %+v", refused)
	}
	corrected := one("correction")
	if corrected.What != "correct a reading" || corrected.Reason != "misread by a digit" || corrected.FromWhere != "command" || corrected.Before != "at 2024-11-30T23:00:00Z; shown_h 5100" || corrected.After != "at 2024-11-30T23:00:00Z; shown_h 5300" || corrected.Conveyor != "Q3" {
		t.Errorf("the correction reads %+v", corrected)
	}
	entries := only(rows, "journal entry")
	if len(entries) == 0 {
		t.Fatal("no entries of the journal")
	}
	for _, e := range entries {
		if e.Entry == 0 || e.Chain == 0 || len(e.Hash) != 64 || e.What == "" || e.At == "" {
			t.Errorf("an entry reads %+v", e)
		}
	}
	if last := only(rows, "checkpoint"); len(last) != 6 {
		t.Errorf("%d checkpoints of two chains, each at three moments: %+v", len(last), last)
	}
}

// TestACheckpointOfAnExtractProvesTheJournal gives verify what the extract tells.
func TestACheckpointOfAnExtractProvesTheJournal(t *testing.T) {
	dsn := auditedInstallation(t)
	var lines []string
	for _, c := range only(extracted(t, dsn, "--as", "N. Corvane"), "checkpoint") {
		lines = append(lines, c.After)
	}
	kept := filepath.Join(t.TempDir(), "kept.txt")
	must(t, os.WriteFile(kept, []byte(strings.Join(lines, "\n")+"\n"), 0o600))
	var out, errs strings.Builder
	if code := run(t.Context(), []string{"verify", "--db", dsn, "--checkpoint", kept}, &Program{Stdout: &out, Stderr: &errs, Now: time.Now}); code != exitDone {
		t.Errorf("exit %d: %s %s\n%s", code, out.String(), errs.String(), lines)
	}
}

// TestAnExtractIsMadeForWhoMayReadTheJournal asks for it as the operator of the machine, as a planner, as somebody unknown and as the auditor.
func TestAnExtractIsMadeForWhoMayReadTheJournal(t *testing.T) {
	dsn := auditedInstallation(t)
	for name, tt := range map[string]struct {
		as   []string
		code int
		says string
	}{
		"the operator":        {nil, exitDone, "rows"},
		"the operator, named": {[]string{"--as", operator()}, exitDone, "rows"},
		"a planner":           {[]string{"--as", "I. Vanterel"}, exitRefused, "may not read the journal"},
		"somebody unknown":    {[]string{"--as", "M. Okkerdal"}, exitRefused, "nobody of this installation is called"},
		"the plant's auditor": {[]string{"--as", "n. corvane"}, exitDone, "rows"},
	} {
		out := filepath.Join(t.TempDir(), "audit.csv")
		code, says := extract(t, append([]string{"audit", "--db", dsn, "--out", out}, tt.as...)...)
		if code != tt.code || !strings.Contains(says, tt.says) {
			t.Errorf("%s: exit %d, %q", name, code, says)
		}
		if _, err := os.Stat(out); (err == nil) != (tt.code == exitDone) {
			t.Errorf("%s: the file is there: %v", name, !errors.Is(err, os.ErrNotExist))
		}
	}
	if !people.May(assets.RoleLead, people.ReadJournal) {
		t.Error("a lead may not have it")
	}
}

// TestAnExtractIsBuiltAgainByteForByte writes on after the extract was issued: built again from its basis it is the same.
func TestAnExtractIsBuiltAgainByteForByte(t *testing.T) {
	dsn := auditedInstallation(t)
	dir := t.TempDir()
	for _, ending := range []string{".xlsx", ".csv", ".json", ".html"} {
		name := filepath.Join(dir, "issued"+ending)
		if code, says := extract(t, "audit", "--db", dsn, "--as", "N. Corvane", "--from", "2026-01-01", "--known-at", "2026-03-05", "--out", name); code != exitDone {
			t.Fatalf("%s: exit %d: %s", ending, code, says)
		}
	}
	correctReading(t, dsn, 5400, exportNow.AddDate(0, 2, 0), "misread again")
	for _, ending := range []string{".xlsx", ".csv", ".json", ".html"} {
		again := filepath.Join(dir, "again"+ending)
		code, says := extract(t, "--db", dsn, "--as", "N. Corvane", "--basis", filepath.Join(dir, "issued"+ending+proofEnding), "--out", again)
		if code != exitDone || !strings.Contains(says, "byte for byte the same") {
			t.Errorf("%s: exit %d: %s", ending, code, says)
		}
	}
	if code, says := extract(t, "--db", dsn, "--as", "I. Vanterel", "--basis", filepath.Join(dir, "issued.csv"+proofEnding), "--out", filepath.Join(dir, "third.csv")); code != exitRefused {
		t.Errorf("built again for a planner: exit %d: %s", code, says)
	}
}

// TestAnOperatorsExtractSaysByWhatRightItWasRead makes it without naming a person: its basis and its proof say so, and it is built again
// byte for byte; one made for a person says no such thing.
func TestAnOperatorsExtractSaysByWhatRightItWasRead(t *testing.T) {
	dsn := auditedInstallation(t)
	dir := t.TempDir()
	issue := func(name string, args ...string) (page, proof string) {
		t.Helper()
		out := filepath.Join(dir, name)
		if code, says := extract(t, append([]string{"audit", "--db", dsn, "--out", out}, args...)...); code != exitDone {
			t.Fatalf("%s: exit %d: %s", name, code, says)
		}
		file, err := os.ReadFile(out)
		must(t, err)
		beside, err := os.ReadFile(out + proofEnding)
		must(t, err)
		return string(file), string(beside)
	}
	page, proof := issue("operator.html")
	if !strings.Contains(page, byHolding) || !strings.Contains(page, operator()) || !strings.Contains(proof, byHolding) {
		t.Errorf("the operator's extract does not say by what right it was read: %s", proof)
	}
	code, says := extract(t, "--db", dsn, "--basis", filepath.Join(dir, "operator.html"+proofEnding), "--out", filepath.Join(dir, "again.html"))
	if code != exitDone || !strings.Contains(says, "byte for byte the same") {
		t.Errorf("built again: exit %d: %s", code, says)
	}
	if page, proof = issue("auditor.html", "--as", "N. Corvane"); strings.Contains(page+proof, byHolding) {
		t.Error("an extract made for the auditor claims the operator's right")
	}
	_, says = extract(t, "splice-age", "--db", dsn, "--out", filepath.Join(dir, "register.html"))
	if register, err := os.ReadFile(filepath.Join(dir, "register.html")); err != nil || strings.Contains(string(register), byHolding) {
		t.Errorf("the register, which every reader may have, claims a right: %v, %s", err, says)
	}
}

// TestAnExtractAsKnownThenTellsTheCorrectionSince looks back at what was known before the reading was corrected.
func TestAnExtractAsKnownThenTellsTheCorrectionSince(t *testing.T) {
	dsn := auditedInstallation(t)
	name := filepath.Join(t.TempDir(), "then.json")
	if code, says := extract(t, "audit", "--db", dsn, "--as", "N. Corvane", "--known-at", "2026-03-05", "--out", name); code != exitDone {
		t.Fatalf("exit %d: %s", code, says)
	}
	var doc struct {
		Rows  []auditRow
		Since struct {
			Rows []map[string]string
		} `json:"corrections_since"`
	}
	data, err := os.ReadFile(name)
	must(t, err)
	must(t, json.Unmarshal(data, &doc))
	if got := only(doc.Rows, "correction"); len(got) != 0 {
		t.Errorf("the correction was not known then: %+v", got)
	}
	told := false
	for _, r := range doc.Since.Rows {
		told = told || strings.HasPrefix(r["says"], "not known then: correction, 2, ") && r["conveyor"] == "Q3" && strings.Contains(r["reason"], "misread by a digit")
	}
	if !told {
		t.Errorf("corrections since tell %v", doc.Since.Rows)
	}
}

// TestTheCommandLineRefusesDaysToComeByTheirFlag asks on 1 April 2026 for what has not come yet, and for a period of a report that has none.
func TestTheCommandLineRefusesDaysToComeByTheirFlag(t *testing.T) {
	dsn := auditedInstallation(t)
	for name, tt := range map[string]struct {
		args []string
		says string
	}{
		"as of tomorrow":               {[]string{"splice-age", "--as-of", "2026-04-02"}, "--as-of: this day has not come yet"},
		"as known tomorrow":            {[]string{"splice-age", "--known-at", "2026-04-02"}, "--known-at: this day has not come yet"},
		"as known an hour from now":    {[]string{"splice-age", "--known-at", "2026-04-01T12:00:01Z"}, "--known-at: 2026-04-01T12:00:01Z has not come yet"},
		"a period that begins later":   {[]string{"audit", "--as", "N. Corvane", "--from", "2026-04-02"}, "--from: this day has not come yet"},
		"a period of a single day's":   {[]string{"splice-age", "--from", "2026-01-01"}, "--from: this report looks at one day"},
		"a flag that is spelt wrongly": {[]string{"splice-age", "--asof", "2026-01-01"}, "unknown flag --asof"},
	} {
		code, says := extract(t, append(tt.args, "--db", dsn, "--out", filepath.Join(t.TempDir(), "x.csv"))...)
		if code != exitUsage || !strings.Contains(says, tt.says) {
			t.Errorf("%s: exit %d: %s", name, code, says)
		}
	}
}
