//go:build soak

package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// crashTest is a soak of processes that are killed, in a size for every day; the full size is 'go run ./cmd/dev soak crash'.
func crashTest(t *testing.T) (*crashSoak, *bytes.Buffer) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	program, err := buildProgram(t.Context(), repositoryRoot(t), dir, "carryside")
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	return &crashSoak{program: program, self: self, selfEnv: []string{childVariable + "=1"}, dir: dir, dsn: filepath.Join(dir, "killed.db"), servers: 1, kills: 60, seed: 26, out: &out}, &out
}

func TestKilledServerLosesNothingItAnswered(t *testing.T) {
	s, out := crashTest(t)
	if err := s.run(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Log(out.String())
}

// TestControlLosesWhatItAnswered holds that a server that answers before it has written is found out.
func TestControlLosesWhatItAnswered(t *testing.T) {
	s, out := crashTest(t)
	if err := controlLoses(t.Context(), environment{root: repositoryRoot(t), stdout: out}, s, s.dir); err != nil {
		t.Fatal(err)
	}
	t.Log(out.String())
}
