package main

import (
	"bytes"
	"context"
	"errors"
	"strconv"
	"strings"
	"testing"
)

// A study of few draws already shows what it is for: bands of three failures and more hold most of what they promise, and
// the shape's bias shrinks with the number of lives.
func TestStudyOfSimulatedCohorts(t *testing.T) {
	var out bytes.Buffer
	if err := runStudy(context.Background(), environment{stdout: &out, stderr: &out}, []string{"life", "--draws", "40"}); err != nil {
		t.Fatal(err)
	}
	rows := 0
	for line := range strings.Lines(out.String()) {
		cells := strings.Fields(line)
		if len(cells) != 10 {
			continue
		}
		lives, err := strconv.Atoi(cells[0])
		if err != nil {
			continue
		}
		rows++
		holds, err := strconv.ParseFloat(cells[8], 64)
		if err != nil || holds < 55 || holds > 97 {
			t.Errorf("%d lives: the band holds %s %%", lives, cells[8])
		}
	}
	if rows != 7 {
		t.Errorf("%d lines:\n%s", rows, out.String())
	}
}

func TestAStudyNobodyKnows(t *testing.T) {
	for _, args := range [][]string{nil, {"belts"}, {"life", "--draws", "1"}, {"life", "more"}} {
		if err := runStudy(context.Background(), environment{stdout: &bytes.Buffer{}, stderr: &bytes.Buffer{}}, args); !errors.Is(err, errUsage) {
			t.Errorf("%v: %v", args, err)
		}
	}
}
