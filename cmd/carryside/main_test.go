package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// called runs the program as from a shell.
func called(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	now := func() time.Time { return time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC) }
	code = run(t.Context(), args, &Program{Stdout: &out, Stderr: &errs, Now: now})
	return code, out.String(), errs.String()
}

// file writes a file of cases and returns its name.
func file(t *testing.T, content string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "cases.json")
	if err := os.WriteFile(name, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

func TestExitCodes(t *testing.T) {
	good := file(t, `[{"id": "M-1", "what": "belt mass", "input": {"width_mm": 1000, "length_m": 1, "mass_per_area_kg_m2": 2}}]`)
	refused := file(t, `[{"what": "belt mass", "input": {"width_mm": -1, "length_m": 1, "mass_per_area_kg_m2": 2}}]`)
	missing := file(t, `[{"id": "M-1", "what": "belt mass", "input": {"width_mm": 1000, "length_m": 1}}]`)
	broken := file(t, "[{\n\"id\": 1,\n]")
	for name, tt := range map[string]struct {
		args   []string
		code   int
		stdout string // what it must hold
		stderr string // what its one line must hold
	}{
		"answered":                   {[]string{"calc", "cutting", good}, 0, `[{"id":"M-1","result":{"above_25_kg_lift_plan":false,"mass_kg":2}}]`, ""},
		"a refused case is answered": {[]string{"calc", "cutting", refused}, 0, `"error":"bad_input"`, ""},
		"field missing":              {[]string{"calc", "cutting", missing}, 1, "", "case M-1: the field input.mass_per_area_kg_m2"},
		"not JSON":                   {[]string{"calc", "loop", broken}, 1, "", "line 3"},
		"no such file":               {[]string{"calc", "loop", good + ".gone"}, 1, "", "cannot be read"},
		"a folder":                   {[]string{"calc", "loop", filepath.Dir(good)}, 1, "", "cannot be read"},
		"unknown kind":               {[]string{"calc", "gearbox", good}, 2, "", "gearbox"},
		"unknown kind and no file":   {[]string{"calc", "gearbox", good + ".gone"}, 2, "", "gearbox"},
		"orders nobody asked for":    {[]string{"calc", "loop", good, "--orders", good}, 2, "", "--orders"},
		"no command":                 {nil, 2, "", "--help"},
		"unknown command":            {[]string{"weld"}, 2, "", "weld"},
		"unknown flag":               {[]string{"calc", "loop", good, "--fast"}, 2, "", "--fast"},
		"no file named":              {[]string{"calc", "loop"}, 2, "", "cases.json"},
		"one argument too many":      {[]string{"calc", "loop", good, good}, 2, "", "unexpected"},
		"help":                       {[]string{"--help"}, 0, "calc", ""},
		"help of a command":          {[]string{"calc", "--help"}, 0, "two-pulleys", ""},
		"version":                    {[]string{"--version"}, 0, "carryside ", ""},
	} {
		t.Run(name, func(t *testing.T) {
			code, stdout, stderr := called(t, tt.args...)
			if code != tt.code {
				t.Errorf("exit %d, want %d", code, tt.code)
			}
			if !strings.Contains(stdout, tt.stdout) || tt.code != 0 && stdout != "" {
				t.Errorf("printed %q, want %q", stdout, tt.stdout)
			}
			if !strings.Contains(stderr, tt.stderr) || tt.code == 0 && stderr != "" {
				t.Errorf("complained %q, want %q", stderr, tt.stderr)
			}
			if tt.code != 0 && (strings.Count(stderr, "\n") != 1 || !strings.HasSuffix(stderr, "\n")) {
				t.Errorf("%q is not one line", stderr)
			}
		})
	}
}
