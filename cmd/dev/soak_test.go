package main

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"
)

// childVariable makes this test binary the process that a soak kills.
const childVariable = "CARRYSIDE_DEV_TEST_CHILD"

func TestMain(m *testing.M) {
	if os.Getenv(childVariable) != "" {
		os.Exit(mainStatus(context.Background(), os.Args[1:], os.Stdout, os.Stderr))
	}
	os.Exit(m.Run())
}

// Two hundred times an evaluation is killed at a random moment, two at a time on one database; the full size is 'go run ./cmd/dev soak raise'.
func TestAKilledEvaluationRaisesEachOnce(t *testing.T) {
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	kills := 200
	if testing.Short() {
		kills = 20
	}
	var out bytes.Buffer
	s := raiseSoak{program: program, env: []string{childVariable + "=1"}, dir: t.TempDir(), kills: kills, seed: 25, out: &out}
	if err := s.run(t.Context()); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "none lost") {
		t.Errorf("the soak says %q", out.String())
	}
	t.Log(out.String())
}
