package calendar

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// readCases reads a file of check cases. The files in testdata give their source case by case: RFC 5545, the documented
// behaviour of the cron library over the zone data base 2025b, or plain arithmetic.
func readCases[T any](t testing.TB, name string) []T {
	t.Helper()
	document, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	var cases []T
	if err := json.Unmarshal(document, &cases); err != nil {
		t.Fatal(err)
	}
	if len(cases) == 0 {
		t.Fatalf("%s holds no case", name)
	}
	return cases
}

// mustZone loads a zone that the test names.
func mustZone(t testing.TB, name string) Zone {
	t.Helper()
	z, err := LoadZone(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// mustLocal reads a wall time that the test names.
func mustLocal(t testing.TB, s string) Local {
	t.Helper()
	l, err := ParseLocal(s)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// mustTime reads an instant that the test names.
func mustTime(t testing.TB, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// difficultZones change their clock in every way a plant may meet: by an hour, by half an hour, at midnight, in the
// southern hemisphere, never, and once by a whole day over the date line.
var difficultZones = []string{
	"Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "America/Santiago", "Africa/Cairo",
	"Australia/Sydney", "Asia/Kolkata", "Pacific/Apia", "UTC", "Africa/Casablanca", "Asia/Beirut",
}
