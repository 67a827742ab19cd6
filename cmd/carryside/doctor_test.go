package main

import (
	"bytes"
	"encoding/json"
	"os"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/accounts"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/tokens"
)

// patient is an installation in good order: an administrator, rules evaluated a minute ago, a backup of yesterday.
type patient struct {
	*plantdbtest.Site
	t    *testing.T
	path string
	now  time.Time
}

func newPatient(t *testing.T) *patient {
	t.Helper()
	path := plantdbtest.SQLiteFile(t)
	p := &patient{Site: plantdbtest.PlantIn(t, plantdbtest.Again(t, path), "Hollin Quarry"), t: t, path: path, now: plantdbtest.Noon.Add(time.Hour)}
	door := accounts.Door{DB: p.DB, Now: func() time.Time { return p.now.Add(-time.Minute) }}
	code := assets.SignUpCode{CodeHash: "c", Purpose: assets.CodeFirst, MadeAt: assets.InstantOf(p.now), EndsAt: assets.InstantOf(p.now.Add(time.Hour))}
	must(t, door.MakeCode(t.Context(), &code))
	_, err := door.OpenFirst(t.Context(), code.ID, "S. Ilveth", &assets.Account{SignInName: "ilveth", PasswordHash: "x", Handle: "h"})
	must(t, err)
	p.evaluated(time.Minute, "")
	must(t, p.DB.SetMeta(t.Context(), lastBackup, p.now.Add(-24*time.Hour).Format(time.RFC3339)))
	return p
}

// evaluated notes a run of the rules that ended so long ago.
func (p *patient) evaluated(ago time.Duration, failed string) {
	p.t.Helper()
	must(p.t, p.DB.InTx(p.t.Context(), func(tx *plantdb.DB) error {
		return tx.SQL(p.t.Context()).Exec("DELETE FROM job_runs").Error
	}))
	at := assets.InstantOf(p.now.Add(-ago))
	r := orders.Run{Job: "raise", DueAt: at, StartedAt: at}
	_, err := orders.BeginRun(p.t.Context(), p.DB, &r)
	must(p.t, err)
	r.EndedAt, r.Plants, r.Error = at, 1, failed
	must(p.t, orders.EndRun(p.t.Context(), p.DB, r))
}

// examined is what the doctor says.
func (p *patient) examined(args ...string) (code int, out, errs string) {
	p.t.Helper()
	var stdout, stderr bytes.Buffer
	code = run(p.t.Context(), append([]string{"doctor", "--db", p.path}, args...), &Program{Stdout: &stdout, Stderr: &stderr, Now: func() time.Time { return p.now }})
	return code, stdout.String(), stderr.String()
}

func TestDoctorFindsNothingWrong(t *testing.T) {
	p := newPatient(t)
	code, out, errs := p.examined()
	if code != 0 || errs != "" || strings.Contains(out, "look ") || strings.Contains(out, "bad ") {
		t.Errorf("exit %d, %s%s", code, out, errs)
	}
	for _, name := range []string{"program", "time zones", "database", "disk", "file", "writes", "journal", "clock", "evaluation", "held readings", "administrator", "tokens", "backup"} {
		if !strings.Contains(out, "ok    "+name) {
			t.Errorf("says nothing of %s:\n%s", name, out)
		}
	}
	_, out, _ = p.examined("--json")
	var e examination
	if err := json.Unmarshal([]byte(out), &e); err != nil || len(e.Points) != 13 || e.Points[0].State != stateOK || e.At == "" {
		t.Errorf("%v: %s", err, out)
	}
}

func TestDoctorFindsWhatIsWrong(t *testing.T) {
	for name, tt := range map[string]struct {
		spoil func(*patient)
		want  string // beginning of a line
		says  string // on it
	}{
		"clock set back by a day": {func(p *patient) { p.now = p.now.AddDate(0, 0, -1) }, "bad   clock", "behind the newest entry"},
		"a server that hangs":     {func(p *patient) { p.evaluated(3*time.Hour, "") }, "look  evaluation", "3 hours ago"},
		"rules that fail":         {func(p *patient) { p.evaluated(time.Minute, "Hollin Quarry: a rule could not be read") }, "bad   evaluation", "could not be read"},
		"an old backup": {func(p *patient) {
			must(p.t, p.DB.SetMeta(p.t.Context(), lastBackup, p.now.AddDate(0, 0, -30).Format(time.RFC3339)))
		}, "look  backup", "30 days ago"},
		"no backup": {func(p *patient) { must(p.t, p.DB.SetMeta(p.t.Context(), lastBackup, "")) }, "look  backup", "none was made"},
		"a file everybody reads": {func(p *patient) {
			must(p.t, os.Chmod(p.path, 0o644))
		}, "look  file", "chmod 600"},
		"a reading that contradicts another": {func(p *patient) {
			p.Change(p.t, p.now, func(c *plantdb.Change) error {
				for _, shown := range []float64{500, 20} {
					at := assets.InstantOf(p.now.Add(time.Duration(-shown) * time.Minute))
					if _, err := clocks.AddReading(c, clocks.Entered{ConveyorID: p.Conveyor.ID, At: at, ShownH: shown}); err != nil {
						return err
					}
				}
				return nil
			})
		}, "look  held readings", "one waits"},
		"a token about to end": {func(p *patient) {
			k := tokens.Token{PersonID: 7, Name: "control room", May: tokens.MayRead, ExpiresAt: assets.InstantOf(p.now.AddDate(0, 0, 3))}
			act := plantdb.Act{PersonID: 7, Origin: plantdb.Screen, Action: "make a token", Now: p.now, Company: true}
			must(p.t, p.DB.Change(p.t.Context(), act, func(c *plantdb.Change) error { _, err := tokens.Make(c, &k); return err }))
		}, "look  tokens", "1 of 1"},
	} {
		t.Run(name, func(t *testing.T) {
			p := newPatient(t)
			tt.spoil(p)
			code, out, errs := p.examined()
			line := ""
			for l := range strings.Lines(out) {
				if strings.HasPrefix(l, tt.want) {
					line = l
				}
			}
			if code != 1 || !strings.Contains(line, tt.says) || strings.Count(errs, "\n") != 1 || !strings.Contains(errs, "need") {
				t.Errorf("exit %d, want a line %q with %q:\n%s%s", code, tt.want, tt.says, out, errs)
			}
		})
	}
}

// What somebody changed in the file past the program: a word of a journal entry, an entry taken out, a number of a newer
// program.
func TestDoctorFindsATamperedFile(t *testing.T) {
	for name, tt := range map[string]struct{ sql, want, says string }{
		"a changed entry":          {"UPDATE journal_entries SET action = 'nothing' WHERE chain_id = 1 AND position = (SELECT max(position) FROM journal_entries WHERE chain_id = 1)", "bad   journal", "was changed after it was written"},
		"a missing entry":          {"DELETE FROM journal_entries WHERE chain_id = 2 AND position = 1", "bad   journal", "is missing"},
		"a head that was set back": {"UPDATE chains SET head_position = head_position - 1 WHERE id = 1", "bad   journal", "is missing"},
		"a newer program's number": {"INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)", "bad   database", "newer Carryside"},
	} {
		t.Run(name, func(t *testing.T) {
			p := newPatient(t)
			must(t, p.DB.InTx(t.Context(), func(tx *plantdb.DB) error { return tx.SQL(t.Context()).Exec(tt.sql).Error }))
			must(t, p.DB.Close()) // its journal is broken on purpose: it is not to be proved at the end
			code, out, _ := p.examined()
			if code != 1 || !strings.Contains(out, tt.want) || !strings.Contains(out, tt.says) {
				t.Errorf("exit %d, want %q with %q:\n%s", code, tt.want, tt.says, out)
			}
		})
	}
}

func TestSpansOfTime(t *testing.T) {
	for d, want := range map[time.Duration]string{time.Second: "1 second", 90 * time.Second: "90 seconds", 5 * time.Minute: "5 minutes", 90 * time.Minute: "90 minutes",
		26 * time.Hour: "26 hours", 72 * time.Hour: "3 days", -time.Hour: "0 seconds"} {
		if got := span(d); got != want {
			t.Errorf("%s is said as %q, want %q", d, got, want)
		}
	}
}
