package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// planCase is the name of a case of the planner's test data.
func planCase(name string) string { return filepath.Join("planfile", "testdata", name+".json") }

func TestPlanExitCodes(t *testing.T) {
	for name, tt := range map[string]struct {
		args   []string
		code   int
		stdout string
		stderr string
	}{
		"planned":           {[]string{"plan", planCase("cases/h01"), "--seed", "4"}, 0, `"status":"optimal","cost":230,"bound":230,"gap":0`, "progress "},
		"no jobs":           {[]string{"plan", planCase("bad/b07")}, 0, `"jobs":[],"unplaced":[]`, "progress "},
		"refused":           {[]string{"plan", planCase("bad/b02")}, 1, "", "job J2: window W9"},
		"not there":         {[]string{"plan", planCase("bad/b99")}, 1, "", "cannot be read"},
		"locks contradict":  {[]string{"plan", planCase("cases/h15")}, 3, `"conflict":["job J1`, ""},
		"no case named":     {[]string{"plan"}, 2, "", "case.json"},
		"no such flag":      {[]string{"plan", planCase("cases/h01"), "--fast"}, 2, "", "--fast"},
		"time of nothing":   {[]string{"plan", planCase("cases/h01"), "--time", "0"}, 2, "", "time"},
		"time no number":    {[]string{"plan", planCase("cases/h01"), "--time", "NaN"}, 2, "", "time"},
		"negative steps":    {[]string{"plan", planCase("cases/h01"), "--steps=-1"}, 2, "", "steps"},
		"seed of minus one": {[]string{"plan", planCase("cases/h01"), "--seed=-1"}, 2, "", "seed"},
	} {
		t.Run(name, func(t *testing.T) {
			code, stdout, stderr := called(t, tt.args...)
			if code != tt.code || !strings.Contains(stdout, tt.stdout) || !strings.Contains(stderr, tt.stderr) {
				t.Errorf("exit %d, stdout %q, stderr %q", code, stdout, stderr)
			}
			if code == 1 && strings.Count(stderr, "\n") != 1 || code != 0 && code != 3 && stdout != "" {
				t.Errorf("a refusal is one line and nothing else: %q, %q", stdout, stderr)
			}
		})
	}
}

// progressLine is the form of a line of progress.
var progressLine = regexp.MustCompile(`^progress \d+\.\d s cost \d+ bound \d+ gap \d+\.\d\d % placed \d+ of \d+$`)

func TestAnInterruptedPlanIsPrinted(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	var out, errs bytes.Buffer
	heard := make(chan struct{})
	go func() {
		<-heard
		cancel()
	}()
	w := &firstWrite{Writer: &errs, heard: heard}
	if code := run(ctx, []string{"plan", planCase("cases/l1"), "--time", "600"}, &Program{Stdout: &out, Stderr: w, Now: time.Now}); code != 0 {
		t.Fatalf("exit %d: %s", code, errs.String())
	}
	var p struct {
		Status string
		Jobs   []json.RawMessage
	}
	if err := json.Unmarshal(out.Bytes(), &p); err != nil || p.Status != "feasible" || len(p.Jobs) < 150 {
		t.Errorf("status %s, %d jobs: %v", p.Status, len(p.Jobs), err)
	}
	for line := range strings.Lines(errs.String()) {
		if !progressLine.MatchString(strings.TrimSuffix(line, "\n")) {
			t.Errorf("progress line %q", line)
		}
	}
}

// A firstWrite tells when something is written for the first time.
type firstWrite struct {
	Writer io.Writer
	heard  chan struct{}
}

// Write passes on.
func (w *firstWrite) Write(b []byte) (int, error) {
	if w.heard != nil {
		close(w.heard)
		w.heard = nil
	}
	return w.Writer.Write(b)
}

func TestSameStepsSamePlanByteForByte(t *testing.T) {
	args := []string{"plan", planCase("cases/l1"), "--steps", "1500", "--time", "300", "--seed", "3"}
	seconds := regexp.MustCompile(`"seconds":[0-9.]+`)
	code, first, _ := called(t, args...)
	_, second, _ := called(t, args...)
	if a, b := seconds.ReplaceAllString(first, ""), seconds.ReplaceAllString(second, ""); code != 0 || a != b {
		t.Errorf("exit %d; two runs differ:\n%s\n%s", code, a, b)
	}
}
