//go:build soak

package main

import (
	"bytes"
	"strings"
	"testing"
	"time"
)

// TestEverythingAtOnce is a short hour: the full one is 'go run ./cmd/dev soak load'.
func TestEverythingAtOnce(t *testing.T) {
	c, _ := crashTest(t)
	var out bytes.Buffer
	s := loadSoak{lasts: 15 * time.Second}
	s.program, s.self, s.selfEnv, s.dir, s.dsn, s.seed, s.out = c.program, c.self, c.selfEnv, c.dir, c.dsn, c.seed, &out
	if err := s.run(t.Context()); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "nobody was told") {
		t.Errorf("the soak says %q", out.String())
	}
	t.Log(out.String())
}

func TestLinesThatSpeakOfALockAreFound(t *testing.T) {
	var heard told
	for _, line := range []string{"level=INFO msg=request status=200\n", "level=ERROR msg=\"request failed\" error=\"plant.db is locked by another program\"\n"} {
		if _, err := heard.Write([]byte(line)); err != nil {
			t.Fatal(err)
		}
	}
	if found := heard.lines("locked"); len(found) != 1 || !strings.Contains(found[0], "request failed") {
		t.Errorf("found %v", found)
	}
}

func TestSharesOfLatencies(t *testing.T) {
	var l latencies
	for ms := 100; ms >= 1; ms-- {
		l.add(time.Duration(ms) * time.Millisecond)
	}
	for share, want := range map[float64]int{0.5: 51, 0.99: 100, 1: 100} {
		if got := l.at(share); got != time.Duration(want)*time.Millisecond {
			t.Errorf("%v of 1 to 100 ms: %v, want %d ms", share, got, want)
		}
	}
}
