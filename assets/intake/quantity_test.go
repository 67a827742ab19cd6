package intake

import (
	"math"
	"testing"

	"carryside/assets"
)

// Factors: 1 in = 25.4 mm, 1 ft = 304.8 mm (international yard and pound agreement, 1959), 1 lbf = 4.4482216152605 N.
func TestReadQuantity(t *testing.T) {
	for _, c := range []struct {
		text  string
		dim   dimension
		told  *unitOf
		style decimals
		want  float64
	}{
		{"600", length, unitMM, decimalOpen, 0.6},
		{"610 mm", length, unitIn, decimalOpen, 0.61},
		{`24"`, length, nil, decimalOpen, 0.6096},
		{"24”", length, nil, decimalOpen, 0.6096},
		{"24″", length, unitMM, decimalOpen, 0.6096},
		{"24''", length, nil, decimalOpen, 0.6096},
		{"3/8 in", length, nil, decimalOpen, 0.009525},
		{`1 1/2"`, length, nil, decimalOpen, 0.0381},
		{"½ in", length, nil, decimalOpen, 0.0127},
		{"1½\"", length, nil, decimalOpen, 0.0381},
		{"3/8", length, unitIn, decimalOpen, 0.009525},
		{"1-1/2", length, unitIn, decimalOpen, 0.0381},
		{`5'-3 1/2"`, length, nil, decimalOpen, 1.6129},
		{"5’ 3 1/2”", length, nil, decimalOpen, 1.6129},
		{"8 ft 6 in", length, nil, decimalOpen, 2.5908},
		{"4 ft 0 1/4 in", length, nil, decimalOpen, 1.22555},
		{"1 1/2 ft", length, nil, decimalOpen, 0.4572},
		{"4'", length, nil, decimalOpen, 1.2192},
		{`164'-6"`, length, unitFt, decimalOpen, 50.1396},
		{"1,480", length, unitFt, decimalOpen, 451.104},
		{"1,480 ft", length, nil, decimalOpen, 451.104},
		{"98.5", length, unitFt, decimalOpen, 30.0228},
		{"1.000", length, unitMM, decimalComma, 1},
		{"1.040,5", length, unitM, decimalWeak, 1040.5},
		{"62,4", length, unitM, decimalOpen, 62.4},
		{"1 200", length, unitMM, decimalOpen, 1.2},
		{"1'200", length, unitMM, decimalOpen, 1.2},
		{"1 234,5 mm", length, nil, decimalOpen, 1.2345},
		{"650 mm", length, unitM, decimalComma, 0.65},
		{"60", length, unitCM, decimalOpen, 0.6},
		{"24 in (610 mm)", length, nil, decimalOpen, 0.6096},
		{"610 mm [24\"]", length, nil, decimalOpen, 0.61},
		{"300 fpm", speed, nil, decimalOpen, 1.524},
		{"300", speed, unitFtMin, decimalOpen, 1.524},
		{"1.5 m/s", speed, unitFtMin, decimalOpen, 1.5},
		{"24", speed, unitMMin, decimalOpen, 0.4},
		{"90 m / min", speed, nil, decimalOpen, 1.5},
		{"330", tension, unitPIW, decimalOpen, 57791.855631337},
		{"220 lb/in", tension, nil, decimalOpen, 38527.903754225},
		{"39 N/mm", tension, unitPIW, decimalOpen, 39000},
		{"39 kN/m", tension, nil, decimalOpen, 39000},
		{"22°", angle, nil, decimalOpen, 22},
	} {
		q, f := readQuantity(c.text, c.dim, c.told, c.style)
		if f != "" || math.Abs(q.si-c.want) > 1e-9*math.Max(1, c.want) {
			t.Errorf("%q is %v (%s), want %v", c.text, q.si, f, c.want)
		}
	}
}

func TestQuantitiesThatCannotBeRead(t *testing.T) {
	for text, want := range map[string]fault{
		"18": faultNoUnit, "42 in / 48 in": faultSeveral, "600/800": faultNoUnit, "approx 30": faultNotANumber, "slow": faultNotANumber, "3 of 40": faultNotANumber, "600 furlongs": faultNotANumber,
		"600 mm; 800 mm": faultSeveral, "24 in (800 mm)": faultSeveral, "600 mm (new)": faultNotANumber, "600 and 800 mm": faultSeveral, `24" or 30"`: faultSeveral, "0.3 - 0.5 m": faultSeveral, "": faultNotANumber, "1e3 mm": faultNotANumber, "600 kg": faultNotANumber, `5'-14"`: faultNotANumber,
	} {
		_, f := readQuantity(text, length, nil, decimalOpen)
		if text == "600/800" {
			if _, f = readQuantity(text, length, unitMM, decimalOpen); f != faultSeveral {
				t.Errorf("%q is %q, want several values", text, f)
			}
			continue
		}
		if f != want {
			t.Errorf("%q is %q, want %q", text, f, want)
		}
	}
}

func TestReadHours(t *testing.T) {
	for _, c := range []struct {
		text  string
		style decimals
		want  float64
		fault fault
	}{
		{"12,790", decimalOpen, 12790, ""}, {"11,720 h", decimalOpen, 11720, ""}, {"11 720 hrs", decimalOpen, 11720, ""}, {"00340", decimalOpen, 340, ""}, {"30,400.5", decimalOpen, 30400.5, ""},
		{"12.450", decimalOpen, 0, faultOpenNumber}, {"12.450", decimalWeak, 12450, ""}, {"12.450", decimalComma, 12450, ""}, {"12.450", decimalPoint, 12.45, ""}, {"12,450", decimalWeak, 0, faultOpenNumber},
		{"12.450,5", decimalOpen, 12450.5, ""}, {"1.234.567", decimalOpen, 1234567, ""}, {"21499.5", decimalOpen, 21499.5, ""}, {"-40", decimalOpen, -40, ""}, {"12\u2009450", decimalOpen, 12450, ""},
		{"see shift book", decimalOpen, 0, faultNotANumber}, {"no access", decimalOpen, 0, faultNotANumber}, {"5210 / 5220", decimalOpen, 0, faultSeveral}, {"1,2345", decimalOpen, 1.2345, ""}, {"12 34", decimalOpen, 0, faultNotANumber},
		{"1,234", decimalMixed, 0, faultOpenNumber}, {"2.500 Std.", decimalComma, 2500, ""},
	} {
		q, f := readHours(c.text, c.style)
		if f != c.fault || math.Abs(q.si-c.want) > 1e-9 && f == "" {
			t.Errorf("%q is %v (%s), want %v (%s)", c.text, q.si, f, c.want, c.fault)
		}
	}
}

func TestMeasurements(t *testing.T) {
	for text, want := range map[string]struct {
		n    float64
		unit string
	}{`3/8"`: {0.009525, ""}, "1.5 mm": {0.0015, ""}, "65 ShA": {65, "ShA"}, "80 °C": {80, "°C"}, "12 %": {12, "%"}, "40mm": {0.04, ""}} {
		q, f := readMeasured(text, nil, decimalOpen)
		if f != "" || math.Abs(q.si-want.n) > 1e-12 || q.other != want.unit {
			t.Errorf("%q is %v %q (%s), want %v %q", text, q.si, q.other, f, want.n, want.unit)
		}
	}
	if _, f := readMeasured("3 of 40", nil, decimalOpen); f != faultNotANumber {
		t.Errorf("'3 of 40' is %q, want not a number", f)
	}
}

// What is stored equals what is written when, in the file's unit and rounded to the digits written, it is the same.
func TestStoredValueEqualsTheWrittenOne(t *testing.T) {
	width := fieldNamed["width"]
	for _, c := range []struct {
		text   string
		told   *unitOf
		stored float64
		same   bool
	}{
		{"24", unitIn, 0.610, true}, {`24"`, nil, 0.610, true}, {"251.0", unitM, 252.4, false}, {"610", unitMM, 0.6096, true}, {"600", unitMM, 0.6096, false}, {"3/8 in", nil, 0.0095, true}, {`5'-3 1/2"`, nil, 1.6129, true}, {"18.40", unitM, 18.41, false},
	} {
		q, f := readQuantity(c.text, length, c.told, decimalPoint)
		if f != "" {
			t.Fatal(c.text, f)
		}
		v := value{set: true, num: q.si, step: q.step}
		if got := v.sameAsStored(width, value{set: true, num: c.stored}); got != c.same {
			t.Errorf("%s beside a stored %v m: same is %v", c.text, c.stored, got)
		}
	}
}

func TestSpliceKinds(t *testing.T) {
	for text, want := range map[string]string{
		"finger": "finger", "Z": "finger", "Z-joint": "finger", "Finger": "finger", "dedos": "finger", "finger over finger": "finger-over-finger", "Finger-over-finger": "finger-over-finger",
		"stepped": "stepped", "step": "stepped", "gestuft": "stepped", "Stufen": "stepped", "escalonado": "stepped", "hot vulc": "hot-vulcanised", "hot vulcanised": "hot-vulcanised", "hot vulcanized": "hot-vulcanised",
		"vulkanisiert heiß": "hot-vulcanised", "vulcanizado en caliente": "hot-vulcanised", "vulcanizado": "hot-vulcanised", "cold": "cold-bonded", "cold bond": "cold-bonded", "kalt geklebt": "cold-bonded", "en frío": "cold-bonded",
		"mechanical": "mechanical", "lacing": "mechanical", "fasteners": "mechanical", "mechanisch": "mechanical", "grapas": "mechanical", "skived": "skived-overlap", "overlap": "skived-overlap", "geschäftet": "skived-overlap", "solape": "skived-overlap",
		"butt": "butt", "stumpf": "butt", "a tope": "butt", "stepped, hot vulcanised": "stepped", "hot vulc. stepped": "stepped", "hot pressed": "hot-pressed", "as before": "", "finger / lacing": "",
	} {
		k, ok := readSpliceKind(text)
		if ok != (want != "") || k.word != want {
			t.Errorf("%q is %q (%v), want %q", text, k.word, ok, want)
		}
	}
	if k, _ := readSpliceKind("stepped, hot vulcanised"); k.form != assets.FormStepped || k.bond != assets.BondHotVulcanised {
		t.Errorf("both halves are %v", k)
	}
	if k, _ := readSpliceKind("lacing"); k.bond != assets.BondNone {
		t.Errorf("a mechanical splice has the bond %q", k.bond)
	}
}

func TestReasonsStatusAndEvents(t *testing.T) {
	for text, want := range map[string]assets.RetiredWhy{
		"failed": "failed", "tips opened on the tail pulley": "failed", "ripped open, tray under the belt": "failed", "tore": "failed", "pulled out": "failed", "broke": "failed", "gerissen": "failed", "aufgegangen": "failed", "roto": "failed", "abierto": "failed",
		"planned, with belt wash": "planned", "scheduled": "planned", "PM": "planned", "geplant": "planned", "programado": "planned", "belt change": "belt-removed", "new belt": "belt-removed", "Gurtwechsel": "belt-removed", "cambio de banda": "belt-removed",
		"conveyor scrapped": "conveyor-scrapped", "dismantled": "conveyor-scrapped", "verschrottet": "conveyor-scrapped", "desguace": "conveyor-scrapped", "nobody knows": "", "unplanned": "",
	} {
		if got, ok := readReason(text); got != want || ok != (want != "") {
			t.Errorf("reason %q is %q, want %q", text, got, want)
		}
	}
	for text, want := range map[string]assets.ConveyorStatus{
		"in use": "in_use", "scrapped 2021": "retired", "out of use": "retired", "removed": "retired", "decommissioned": "retired", "stillgelegt 2020": "retired", "verschrottet": "retired", "baja": "retired", "retirada": "retired", "en servicio": "in_use", "in Betrieb": "in_use", "nein": "retired", "standby": "",
	} {
		if got, ok := readStatus(text); got != want || ok != (want != "") {
			t.Errorf("status %q is %q, want %q", text, got, want)
		}
	}
	for text, want := range map[string]meterEvent{
		"new meter fitted 30 March, old one read 44,930": newMeter, "meter replaced": newMeter, "Zähler getauscht": newMeter, "horómetro nuevo": newMeter, "rolled over": rolledOver, "übergelaufen": rolledOver, "vuelta a cero": rolledOver, "Zähler defekt": noEvent, "new belt": noEvent, "": noEvent,
	} {
		if got := readEvent(text, false); got != want {
			t.Errorf("remark %q is %d, want %d", text, got, want)
		}
	}
}

func FuzzReadQuantity(f *testing.F) {
	for _, s := range []string{`5'-3 1/2"`, "1.040,5", "½ in", "42 in / 48 in", "--3", "1,,2", "1/0 in", "'", "9999999999999999999999999999999"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, style := range []decimals{decimalOpen, decimalPoint, decimalComma, decimalWeak, decimalMixed} {
			for _, u := range []*unitOf{nil, unitMM, unitIn, unitFt} {
				if q, f := readQuantity(s, length, u, style); f == "" && (math.IsNaN(q.si) || math.IsInf(q.si, 0)) {
					t.Errorf("%q is %v", s, q.si)
				}
			}
			readHours(s, style)
			readMeasured(s, nil, style)
			readGrade(s)
		}
	})
}
