package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestUpgradeFromTheCommandLine(t *testing.T) {
	dsn := smallInstallation(t)
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"--db", dsn}, exitDone, "at this program's schema"},
		{[]string{"--db", filepath.Join(t.TempDir(), "none.db")}, exitRefused, "none.db"},
	} {
		var out, errs strings.Builder
		code := run(t.Context(), append([]string{"upgrade"}, c.args...), &Program{Stdout: &out, Stderr: &errs, Now: func() time.Time { return exportNow }})
		if code != c.code || !strings.Contains(out.String()+errs.String(), c.says) {
			t.Errorf("%q: exit %d, %q, %q; want %d and %q", c.args, code, out.String(), errs.String(), c.code, c.says)
		}
	}
	if strings.Contains(dsn, "://") {
		return // there a role may serve: a test of the storage shows what it can do
	}
	var out, errs strings.Builder
	if code := run(t.Context(), []string{"upgrade", "--db", dsn, "--serve-as", "belts"}, &Program{Stdout: &out, Stderr: &errs, Now: func() time.Time { return exportNow }}); code != exitRefused || !strings.Contains(errs.String(), "no roles") {
		t.Errorf("a role for a file: exit %d, %q", code, errs.String())
	}
}
