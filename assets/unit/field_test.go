package unit

import (
	"math"
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"carryside/assets"
)

const (
	si = assets.UnitsSI
	us = assets.UnitsUS
)

// allFields are the fields of the product, by the name a failure prints.
var allFields = map[string]Field{
	"Width": Width, "Diameter": Diameter, "Travel": Travel, "Step": Step, "Finger": Finger, "Opening": Opening, "Thickness": Thickness, "LoopLength": LoopLength, "Distance": Distance,
	"BeltSpeed": BeltSpeed, "BeltTension": BeltTension, "TensionPerM": TensionPerM, "AreaMass": AreaMass, "BeltMass": BeltMass, "Heat": Heat,
	"HeatStep": HeatStep, "HeatRate": HeatRate, "Slope": Slope, "PlatePress": PlatePress, "Tightening": Tightening, "RunningHours": RunningHours, "SurfaceArea": SurfaceArea,
}

// soft writes hard spaces as underlines, so that a wrong one shows.
func soft(s string) string { return strings.ReplaceAll(s, HardSpace, "_") }

func TestFieldsShowStoredValues(t *testing.T) {
	for _, tt := range []struct {
		field  Field
		stored float64
		system assets.UnitSystem
		want   string
	}{
		{Width, 1.4, si, "1_400_mm"}, {Width, 0.6096, si, "609.6_mm"}, {Width, 0.6096, us, `24"`}, {Width, 0.6, us, `23_5/8"`}, {Width, 1.4, "", "1_400_mm"},
		{Thickness, 0.015, si, "15.0_mm"}, {Thickness, 0.003175, si, "3.18_mm"}, {Thickness, 0.003175, us, "0.125_in"},
		{LoopLength, 20.6283, si, "20.628_m"}, {LoopLength, 302.01, si, "302.01_m"}, {LoopLength, 20.6283, us, `67'-8_1/8"`}, {Distance, 9.1, si, "9.1_m"},
		{BeltSpeed, 0.508, us, "100_ft/min"}, {BeltSpeed, 2.6, si, "2.6_m/s"}, {BeltSpeed, 0.33, si, "0.33_m/s"},
		{BeltTension, 38527.903754224803, us, "220_lbf/in"}, {BeltTension, 25000, si, "25_N/mm"}, {TensionPerM, 25000, si, "25_000_N/m"},
		{AreaMass, 14.4, si, "14.4_kg/m²"}, {BeltMass, 22.6796185, us, "50_lb"}, {BeltMass, 7900, si, "7_900_kg"},
		{Heat, 180, us, "356_°F"}, {Heat, 145.5, si, "145.5_°C"}, {Heat, -40, us, "-40_°F"}, {HeatStep, 10, us, "18_°F"}, {HeatRate, 3, us, "5.4_°F/min"},
		{Slope, 13.4, si, "13.4°"}, {PlatePress, 689475.729316836, us, "100_psi"}, {PlatePress, 1e6, si, "10_bar"}, {Tightening, 54.23272, us, "40_lbf·ft"}, {Tightening, 54.2, si, "54.2_N·m"}, {RunningHours, 12340.5, us, "12_340.5_h"},
		{Width, -0.0127, us, `-1/2"`}, {Width, 0, us, `0"`}, {Width, math.NaN(), si, "not a number"}, {Width, math.Inf(1), us, "not a number"},
	} {
		if got := soft(tt.field.Show(tt.stored, tt.system)); got != tt.want {
			t.Errorf("%v %s in %s: got %s, want %s", tt.stored, tt.field.Dimension, tt.system, got, tt.want)
		}
	}
	if got := soft(Width.Number(1.4, si)); got != "1_400" {
		t.Errorf("number alone: %s", got)
	}
}

func TestFieldsKeepWhatWasTyped(t *testing.T) {
	for _, tt := range []struct {
		field        Field
		typed        string
		system       assets.UnitSystem
		same, across string // shown in the system it was typed in, and in the other
	}{
		{Width, `47 1/4`, us, `47_1/4"`, "1_200.2_mm"},
		{Width, `1/3"`, us, `1/3"`, "8.5_mm"},
		{Width, "0.1", us, `0.1"`, "2.5_mm"},
		{LoopLength, `67'-8 1/8"`, us, `67'-8_1/8"`, "20.628_m"},
		{LoopLength, "100", us, `100'-0"`, "30.48_m"},
		{Width, "1 400", si, "1_400_mm", `55_1/8"`},
		{Width, "609.65 mm", si, "609.65_mm", `24"`},
		{BeltSpeed, "98.4", us, "98.4_ft/min", "0.5_m/s"},
		{BeltSpeed, "0.330", si, "0.330_m/s", "65_ft/min"},
		{Heat, "356", us, "356_°F", "180_°C"},
		{Heat, "98.6 °F", us, "98.6_°F", "37_°C"},
		{PlatePress, "7 kgf/cm2", si, "6.86_bar", "99.6_psi"},
		{Tightening, "40 ft-lbf", si, "54.2_N·m", "40_lbf·ft"},
		{BeltTension, "220 PIW", us, "220_lbf/in", "38.53_N/mm"},
		{HeatStep, "18", us, "18_°F", "10_K"},
		{Thickness, "0.1875", us, `3/16"`, "4.76_mm"},
	} {
		m, err := tt.field.Parse(tt.typed, tt.system)
		if err != nil {
			t.Errorf("%s: %v", tt.typed, err)
			continue
		}
		if m.Typed != tt.typed {
			t.Errorf("%q was kept as %q", tt.typed, m.Typed)
		}
		other := us
		if tt.system == us {
			other = si
		}
		if got := soft(tt.field.ShowTyped(m.SI(), tt.typed, tt.system)); got != tt.same {
			t.Errorf("%s shown in its own system: got %s, want %s", tt.typed, got, tt.same)
		}
		if got := soft(m.Show(tt.field, other)); got != tt.across {
			t.Errorf("%s shown in the other system: got %s, want %s", tt.typed, got, tt.across)
		}
		if got := tt.field.Entry(m.SI(), tt.typed, tt.system); got != tt.typed {
			t.Errorf("%s opened again reads %s", tt.typed, got)
		}
	}
	if got := soft(Width.ShowTyped(1.2, `47 1/4"`, us)); got != `47_1/4"` {
		t.Errorf("a text that no longer stands for the value: %s", got) // 1.2 m is 47.24 in: to a sixteenth the same, and still not the text
	}
	if got := Width.Entry(1.2, `47 1/4"`, us); got == `47 1/4"` {
		t.Error("an entry gave back a text that no longer stands for the value")
	}
}

func TestFieldsRefuse(t *testing.T) {
	for name, f := range allFields {
		for _, typed := range []string{"", " ", "abc", "1e3", "1,5", "1.2.3", "--1", "5 furlongs", "12 34", "5 5", "NaN", "Inf", strings.Repeat("1", 100), "1\x00"} {
			for _, system := range []assets.UnitSystem{si, us} {
				if m, err := f.Parse(typed, system); err == nil {
					t.Errorf("%s: %q in %s was read as %s", name, typed, system, m.Stored())
				} else {
					refused(t, name+" "+typed, err)
				}
			}
		}
	}
	_, err := BeltSpeed.Parse("5 kg", si)
	refused(t, "mass in a field of speed", err)
	if err != nil && !strings.Contains(err.Error(), "m/s") {
		t.Errorf("the refusal does not say which unit is right: %v", err)
	}
}

// TestAnEntryLeftUntouchedChangesNothing opens stored values in a form and saves them again.
func TestAnEntryLeftUntouchedChangesNothing(t *testing.T) {
	for name, f := range allFields {
		t.Run(name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				stored := rapid.Float64Range(1e-6, 1e6).Draw(t, "stored")
				if rapid.Bool().Draw(t, "negative") {
					stored = -stored
				}
				if rapid.Bool().Draw(t, "round") {
					stored = math.Round(stored*1000) / 1000
				}
				system := rapid.SampledFrom([]assets.UnitSystem{si, us}).Draw(t, "system")
				text := f.Entry(stored, "", system)
				m, err := f.Parse(text, system)
				if err != nil || m.SI() != stored {
					t.Fatalf("%v opens as %q, which reads as %v, %v", stored, text, m, err)
				}
			})
		})
	}
}

func TestEverySixteenthComesBackAsTyped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(-400000, 400000).Draw(t, "sixteenths")
		metres := new(big.Rat).Mul(big.NewRat(n, 16), frac("0.0254"))
		for _, text := range []string{Inches(metres), FeetAndInches(metres)} {
			m, err := ParseLength(text, "")
			if err != nil {
				t.Fatalf("%s: %v", text, err)
			}
			if m.Stored().Cmp(metres) != 0 || m.US() != text || !m.InSixteenths() {
				t.Fatalf("%s comes back as %s", text, m.US())
			}
			if kept := Exact(m.SI()); !closeTo(kept, metres) || m.US() != text {
				t.Fatalf("%s is kept as %s m", text, kept)
			}
		}
	})
}

// closeTo allows for the rounding to a float64.
func closeTo(a, b *big.Rat) bool {
	x, _ := a.Float64()
	y, _ := b.Float64()
	return x == y
}

// FuzzParseLength holds that any text is read or refused, that what is read is bounded and can be shown, and that the
// shown form is read back to the nearest sixteenth.
func FuzzParseLength(f *testing.F) {
	for _, c := range readTables(f).Lengths {
		f.Add(c.Typed)
	}
	for _, seed := range []string{"1 524 mm", "5½″", "−3'", "1\u00a0200 mm", "1e9\"", "\xff'", "0/008", "20000000000000000"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, typed string) {
		for _, field := range []string{"", "mm", "m", "in", "ft", FeetInches} {
			m, err := ParseLength(typed, field)
			if err != nil {
				refused(t, typed, err)
				continue
			}
			if m.Typed != typed {
				t.Fatalf("%q was kept as %q", typed, m.Typed)
			}
			again, err := ParseLength(m.US(), "")
			if err != nil {
				t.Fatalf("%q is shown as %s, which is refused: %v", typed, m.US(), err)
			}
			apart := new(big.Rat).Sub(again.Stored(), m.Stored())
			if apart.Abs(apart).Cmp(quotient(inch, frac("32"))) > 0 {
				t.Fatalf("%q is shown as %s, %s m away", typed, m.US(), apart.FloatString(6))
			}
			for _, system := range []assets.UnitSystem{si, us} {
				if m.Show(Width, system) == "" || m.Show(LoopLength, system) == "" {
					t.Fatalf("%q is shown as nothing", typed)
				}
			}
		}
	})
}
