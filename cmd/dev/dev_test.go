package main

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestCheckNamesTheFailingStep(t *testing.T) {
	var out bytes.Buffer
	env := environment{stdout: &out, stderr: &out}
	ran := 0
	steps := []step{
		{"oil", func(context.Context, environment) error { ran++; return errors.New("dry") }},
		{"grease", func(context.Context, environment) error { ran++; return nil }},
	}
	err := runSteps(t.Context(), env, steps)
	if err == nil || !strings.Contains(err.Error(), "oil") || strings.Contains(err.Error(), "grease") {
		t.Errorf("the error %v does not name the one failing step", err)
	}
	if ran != 2 {
		t.Errorf("%d steps ran, want both: one call shows all that is wrong", ran)
	}
	if err := runSteps(t.Context(), env, steps[1:]); err != nil {
		t.Errorf("sound steps fail: %v", err)
	}
	if !strings.Contains(out.String(), "check passed: 1 steps") {
		t.Errorf("no clear last line in %q", out.String())
	}
}

func TestCheckFormat(t *testing.T) {
	root := t.TempDir()
	write(t, filepath.Join(root, "ok", "ok.go"), "package ok\n")
	write(t, filepath.Join(root, "ok", "testdata", "odd.go"), "package   odd\n")
	write(t, filepath.Join(root, ".cache", "odd.go"), "package   odd\n")
	env := environment{root: root}
	if err := checkFormat(t.Context(), env); err != nil {
		t.Errorf("test data and dotfolders are not ours to format: %v", err)
	}
	write(t, filepath.Join(root, "bad", "bad.go"), "package   bad\n")
	if err := checkFormat(t.Context(), env); err == nil || !strings.Contains(err.Error(), "bad.go") {
		t.Errorf("want the badly formatted file named, got %v", err)
	}
}

func TestBrokenCompilerFallsBackAloud(t *testing.T) {
	t.Setenv("CGO_ENABLED", "1")
	t.Setenv("CC", filepath.Join(t.TempDir(), "no-such-compiler"))
	var out bytes.Buffer
	env := environment{stdout: &out, stderr: &out}
	tools, err := chooseToolchain(t.Context(), env, raceAuto)
	if err != nil || tools.race || strings.Join(tools.env, " ") != "CGO_ENABLED=0" {
		t.Errorf("got %+v, %v; want no race detector and no cgo", tools, err)
	}
	if strings.Count(out.String(), "\n") != 1 || !strings.Contains(out.String(), "pure Go SQLite driver") {
		t.Errorf("want one line that says so, got %q", out.String())
	}
	if _, err := chooseToolchain(t.Context(), env, raceRequire); err == nil || !strings.Contains(err.Error(), "required") {
		t.Errorf("a required race detector that cannot run must fail, got %v", err)
	}
}

func TestNewMigrationMakesAPair(t *testing.T) {
	root := t.TempDir()
	write(t, filepath.Join(root, "migrations", "sqlite", "0007_belts.sql"), "-- +goose Up\n")
	write(t, filepath.Join(root, "migrations", "postgres", "0007_belts.sql"), "-- +goose Up\n")
	var out bytes.Buffer
	env := environment{root: root, stdout: &out}
	if err := runNewMigration(t.Context(), env, []string{"belt_width"}); err != nil {
		t.Fatal(err)
	}
	for _, dialect := range dialects {
		text, err := os.ReadFile(filepath.Join(root, "migrations", dialect, "0008_belt_width.sql"))
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(text), "-- +goose Up\n") || !strings.Contains(string(text), "Why:") {
			t.Errorf("%s: heading or goose mark missing in %q", dialect, text)
		}
	}
}

func TestNewMigrationRefusesLeavingNothing(t *testing.T) {
	root := t.TempDir()
	write(t, filepath.Join(root, "migrations", "sqlite", "0002_only_here.sql"), "")
	env := environment{root: root, stdout: &bytes.Buffer{}}
	if err := runNewMigration(t.Context(), env, []string{"belt_width"}); err == nil || !strings.Contains(err.Error(), "postgres at 0000") {
		t.Errorf("unequal dialects must be named, got %v", err)
	}
	if err := runNewMigration(t.Context(), env, []string{"Belt Width"}); !errors.Is(err, errUsage) {
		t.Errorf("a bad name is wrong usage, got %v", err)
	}
	if made, _ := filepath.Glob(filepath.Join(root, "migrations", "*", "*belt*")); len(made) > 0 {
		t.Errorf("a refused call left %v", made)
	}
}

func TestExitStatus(t *testing.T) {
	tests := map[string]struct {
		args []string
		want int
	}{
		"no arguments":       {nil, 0},
		"unknown subcommand": {[]string{"paint"}, 2},
		"unknown flag":       {[]string{"check", "--paint"}, 2},
		"bad race answer":    {[]string{"check", "--race=maybe"}, 2},
		"bad migration name": {[]string{"new-migration", "9lives"}, 2},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if got := mainStatus(t.Context(), tt.args, &bytes.Buffer{}, &bytes.Buffer{}); got != tt.want {
				t.Errorf("exit status %d, want %d", got, tt.want)
			}
		})
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}
