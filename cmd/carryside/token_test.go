package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"carryside/assets/plantdb/tokens"
)

func TestTokenFromTheCommandLine(t *testing.T) {
	p := newPatient(t)
	call := func(args ...string) (int, string, string) {
		var out, errs bytes.Buffer
		code := run(t.Context(), append([]string{"token", "--db", p.path}, args...), &Program{Stdout: &out, Stderr: &errs, Now: func() time.Time { return p.now }})
		return code, out.String(), errs.String()
	}
	code, out, errs := call("S. Ilveth", "--for", "supervision", "--may", "metrics", "--days", "30", "--as", "R. Asquenne")
	if code != 0 || errs != "" || strings.Count(out, "\n") != 1 {
		t.Fatalf("exit %d: %s%s", code, out, errs)
	}
	k, err := tokens.Shown(t.Context(), p.DB, strings.TrimSpace(out))
	if err != nil || k.May != tokens.MayReadMetrics || k.Name != "supervision" || !k.ExpiresAt.Time().Equal(p.now.AddDate(0, 0, 30)) {
		t.Errorf("%+v, %v", k, err)
	}
	var reason string
	must(t, p.DB.SQL(t.Context()).Raw("SELECT reason FROM journal_entries WHERE action = 'make a token'").Scan(&reason).Error)
	if reason != "by R. Asquenne" {
		t.Errorf("the journal says %q", reason)
	}
	for name, tt := range map[string]struct {
		args []string
		code int
		says string
	}{
		"of nobody":       {[]string{"I. Nobody", "--for", "x"}, 1, "nobody who holds a role"},
		"for ten years":   {[]string{"S. Ilveth", "--for", "x", "--days", "3650"}, 2, "--days"},
		"for everything":  {[]string{"S. Ilveth", "--for", "x", "--may", "all"}, 2, "--may"},
		"without a use":   {[]string{"S. Ilveth"}, 2, "--for"},
		"for blanks only": {[]string{"S. Ilveth", "--for", "  "}, 1, "say what the token is for"},
	} {
		if code, out, errs := call(tt.args...); code != tt.code || out != "" || !strings.Contains(errs, tt.says) {
			t.Errorf("%s: exit %d %s%s, want %d and %q", name, code, out, errs, tt.code, tt.says)
		}
	}
}
