package main

import (
	"bytes"
	"context"
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
)

// A study of few draws already shows what it is for: bands hold most of what they promise whatever they rest on, and those that rest
// on ten failures and more hold it to three points and what so few draws leave open.
func TestStudyOfSimulatedCohorts(t *testing.T) {
	var out bytes.Buffer
	if err := runStudy(context.Background(), environment{stdout: &out, stderr: &out}, []string{"life", "--draws", "40"}); err != nil {
		t.Fatal(err)
	}
	rows, byFailures := 0, 0
	for line := range strings.Lines(out.String()) {
		cells := strings.Fields(line)
		if strings.HasPrefix(line, "From 10 failures up") {
			if holds, err := strconv.ParseFloat(cells[8], 64); err != nil || math.Abs(holds-80) > 3+4*math.Sqrt(80*20/400) {
				t.Errorf("%s", line)
			}
		}
		if len(cells) == 5 {
			if holds, err := strconv.ParseFloat(cells[1], 64); err == nil {
				byFailures++
				if holds < 55 || holds > 97 {
					t.Errorf("%s failures: the band holds %s %%", cells[0], cells[1])
				}
			}
		}
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
	if rows != 7 || byFailures != 10 || !strings.Contains(out.String(), "From 10 failures up the due band holds ") {
		t.Errorf("%d and %d lines:\n%s", rows, byFailures, out.String())
	}
}

func TestAStudyNobodyKnows(t *testing.T) {
	for _, args := range [][]string{nil, {"belts"}, {"life", "--draws", "1"}, {"life", "more"}} {
		if err := runStudy(context.Background(), environment{stdout: &bytes.Buffer{}, stderr: &bytes.Buffer{}}, args); !errors.Is(err, errUsage) {
			t.Errorf("%v: %v", args, err)
		}
	}
}
