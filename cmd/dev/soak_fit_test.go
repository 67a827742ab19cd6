//go:build soak

package main

import (
	"bytes"
	"strings"
	"testing"
)

// TestTheFitIsNeverBeaten is a part of the full size, 'go run ./cmd/dev soak fit', with other cohorts than the package's own test.
func TestTheFitIsNeverBeaten(t *testing.T) {
	root, err := moduleRoot()
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := soakFit(t.Context(), environment{root: root, stdout: &out, stderr: &out}, []string{"--cohorts", "300", "--first", "20000"}); err != nil {
		t.Errorf("%v: %s", err, out.String())
	}
	if !strings.HasPrefix(out.String(), "300 cohorts, ") {
		t.Errorf("the soak says %q", out.String())
	}
	t.Log(out.String())
}
