package jobsheet

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/schedule/press"
	"carryside/schedule/workorder"
)

func inSI(v float64, unit string) string { return fmt.Sprintf("%g %s", v, unit) }

func find(t *testing.T, figures []Figure, what string) Figure {
	t.Helper()
	for _, f := range figures {
		if strings.HasPrefix(f.What, what) {
			return f
		}
	}
	t.Fatalf("no figure %q in %+v", what, figures)
	return Figure{}
}

// The step table of DIN 22102-3, as a belt maker's splicing procedure quotes it (from memory of the trade's handbooks): 1000/5 has steps of
// 250 mm, 4 of them, 1 000 mm of splice without bias. With 0.4 x width of bias and no trim a belt 1 000 mm wide takes 1 400 mm.
func TestSteppedSpliceTakesStepsBiasAndTrim(t *testing.T) {
	got, missing := Compute(Job{Form: assets.FormStepped, Bond: assets.BondColdBonded, WidthM: 1, Plies: 5, StepM: 0.25, MassKGPerM2: 14}, inSI)
	if f := find(t, got, "Steps"); f.Value != 4 {
		t.Errorf("%v steps, want 4", f.Value)
	}
	if f := find(t, got, "Bias offset"); f.Value != 0.4 || f.Class != assets.ClassD || !strings.Contains(f.How, "nobody gave it") {
		t.Errorf("bias %+v, want 0.4 m and that it is a guess", f)
	}
	if f := find(t, got, "Belt one splice takes"); math.Abs(f.Value-1.4) > 1e-9 {
		t.Errorf("takes %v m, want 1.4", f.Value)
	}
	if f := find(t, got, "Mass"); math.Abs(f.Value-70) > 1e-9 || !strings.Contains(f.Look, "hoist") {
		t.Errorf("mass %+v, want 70 kg by hoist", f)
	}
	if len(missing) != 0 {
		t.Errorf("missing %v", missing)
	}
}

// Width 600 at fingers of 20 mm: 30 fingers, nothing left over (common practice table of finger splices: 20 x 80 mm).
func TestFingersAcrossTheWidth(t *testing.T) {
	got, _ := Compute(Job{Form: assets.FormFinger, Bond: assets.BondHotPressed, WidthM: 0.6, FingerPitchM: 0.02, FingerLengthM: 0.08, TrimEachEndM: 0.02}, inSI)
	if f := find(t, got, "Whole fingers"); f.Value != 30 || f.Look != "" {
		t.Errorf("%+v, want 30 whole fingers", f)
	}
	if f := find(t, got, "Belt one splice takes"); math.Abs(f.Value-0.12) > 1e-12 {
		t.Errorf("takes %v m, want 0.12", f.Value)
	}
	got, _ = Compute(Job{Form: assets.FormFinger, Bond: assets.BondHotPressed, WidthM: 0.605, FingerPitchM: 0.02, FingerLengthM: 0.08}, inSI)
	if f := find(t, got, "Whole fingers"); f.Look == "" {
		t.Error("5 mm left at the edge of a finger of 20 mm is not pointed out")
	}
}

func TestCutLengthIsOnlySaidOfANewBeltAndOnlyWhenItIsKnown(t *testing.T) {
	belt := Job{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, WidthM: 1, Plies: 4, StepM: 0.25, PathM: 100, FitStretchPercent: 0.5, Splices: 2, WholeBelt: true, Recipe: &press.Recipe{SetTopC: 145, SetBottomC: 145, HeatingRate: press.Band{Min: 2, Max: 4}, Dwell: press.Band{Min: 35, Max: 45}, ReleaseMaxC: 60}, AmbientC: 25}
	got, _ := Compute(belt, inSI)
	// 100 / 1.005 + 2 x (3 x 0.25 + 0.4)
	if f := find(t, got, "Cut length"); math.Abs(f.Value-(100/1.005+2.3)) > 1e-6 {
		t.Errorf("cut length %v m, want %v", f.Value, 100/1.005+2.3)
	}
	if f := find(t, got, "Expected press cycle"); math.Abs(f.Value-117.5) > 1e-9 { // 40 up at 3 K/min, 35, 42.5 down at 2 K/min
		t.Errorf("cycle %v min, want 117.5", f.Value)
	}
	belt.PathM = 0
	_, missing := Compute(belt, inSI)
	if !slices.ContainsFunc(missing, func(s string) bool { return strings.Contains(s, "where the pulleys are") }) {
		t.Errorf("a cut length without a path: missing %v", missing)
	}
	belt.WholeBelt = false
	got, _ = Compute(belt, inSI)
	for _, f := range got {
		if strings.HasPrefix(f.What, "Cut length") {
			t.Error("a re-splice is told a cut length for the whole belt")
		}
	}
}

// A light belt is pressed in about half an hour (common practice). 20 to 175 degC at 20 K/min, 4 min held; at the 2 K/min of an uncooled press down to 50
// degC took 62 min, four times what the recipe allows: the press is one that cools, and the recipe's 15 min bound it.
func TestAPressThatMustCoolQuicklyByItsRecipeIsNotExpectedToCoolForAnHour(t *testing.T) {
	light := Job{Form: assets.FormFinger, Bond: assets.BondHotPressed, AmbientC: 20, RecipeName: "Finger 175, version 2",
		Recipe: &press.Recipe{SetTopC: 175, SetBottomC: 175, HeatingRate: press.Band{Min: 10, Max: 30}, Dwell: press.Band{Min: 4, Max: 6}, ReleaseMaxC: 50, CoolingMax: 15}}
	got, _ := Compute(light, inSI)
	if f := find(t, got, "Expected press cycle"); math.Abs(f.Value-26.75) > 1e-9 || !strings.Contains(f.How, "by Finger 175, version 2") || !strings.Contains(f.How, "nobody gave") {
		t.Errorf("%+v, want 7.75 + 4 + 15 min and by which recipe", f)
	}
	light.CoolingKMin = 25
	got, _ = Compute(light, inSI)
	if f := find(t, got, "Expected press cycle"); math.Abs(f.Value-16.75) > 1e-9 {
		t.Errorf("cooled at 25 K/min: %+v, want 7.75 + 4 + 5 min", f)
	}
}

// The order of a finger splice, as it is taught: squaring and clamping in the cutter, fingers from the middle outwards, release cloth, closing,
// recipe, heating, cooling under pressure, opening, flexing, tracking, run-in (common practice).
func TestFingerSpliceIsMadeInItsOrder(t *testing.T) {
	steps := Usual(workorder.KindResplice, assets.FormFinger, assets.BondHotPressed)
	want := []string{"isolated", "take_up", "clamped", "squared", "fingers", "set", "cloth", "closed", "recipe", "heated", "cooled", "release", "unlocked", "flexed", "tracking", "run_in"}
	at := -1
	for _, key := range want {
		i := slices.IndexFunc(steps, func(s assets.JobStep) bool { return s.Key == key })
		if i <= at {
			t.Fatalf("%s stands at %d, want it after %d", key, i, at)
		}
		at = i
	}
}

func TestEveryKindOfWorkHasItsStepsAndNoKeyTwice(t *testing.T) {
	for _, kind := range workorder.Kinds {
		for _, form := range append([]assets.Form{""}, assets.Forms...) {
			for _, bond := range append([]assets.Bond{""}, assets.Bonds...) {
				seen := map[string]bool{}
				for _, s := range Usual(kind, form, bond) {
					if seen[s.Key] || s.Words == "" {
						t.Errorf("%s, %s, %s: step %q stands twice or says nothing", kind, form, bond, s.Key)
					}
					seen[s.Key] = true
				}
				if !seen["isolated"] {
					t.Errorf("%s, %s, %s: nothing is isolated", kind, form, bond)
				}
			}
		}
	}
}
