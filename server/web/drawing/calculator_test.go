package drawing

import (
	"strings"
	"testing"

	"carryside/assets/loop"
)

func TestLoopOfTheCalculator(t *testing.T) {
	l := loop.Loop{Sense: loop.Clockwise, ThicknessMM: 10, Pulleys: []loop.Pulley{{DiameterMM: 500, Face: loop.Inner}, {XMM: 20000, DiameterMM: 500, Face: loop.Inner}}}
	got, larger := OfLoop(l, "two pulleys")
	if !larger || strings.Count(string(got), `class="carry"`) != 1 || strings.Count(string(got), `class="ret"`) != 3 || strings.Count(string(got), `class="inkf"`) != 2 {
		t.Errorf("larger %v, drawn %s", larger, got)
	}
	l.Pulleys[1].XMM = 700 // enlarged they would overlap, the belt still goes round
	if got, _ = OfLoop(l, "close"); got == "" {
		t.Error("a short loop is not drawn")
	}
	if got, _ = OfLoop(loop.Loop{Sense: loop.Clockwise}, "none"); got != "" {
		t.Error("no pulleys are drawn")
	}
}

func TestFingersAndRoll(t *testing.T) {
	got := string(OfFingers(Fingers{Sentence: "f", Full: 23, Remnant: 20.0 / 60, Words: "23 and 20 mm"}))
	if strings.Count(got, "L") < 2*23 || !strings.Contains(got, "outm") {
		t.Errorf("drawn %s", got)
	}
	if got = string(OfFingers(Fingers{Full: 28, Allowed: true})); strings.Contains(got, "outm") {
		t.Error("a width used up is crossed")
	}
	if got = string(OfRoll(0.24, 38, "108.3 m", "core", "roll")); strings.Count(got, "<circle") != 25 {
		t.Errorf("%d circles", strings.Count(got, "<circle"))
	}
}
