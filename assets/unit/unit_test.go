package unit

import (
	"encoding/json"
	"errors"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"testing"
)

// tables is units.json: typed lengths, factors and temperatures worked out in exact fractions from the definitions of
// inch, foot and pound (international agreement of 1959) and of standard gravity (NIST SP 811).
type tables struct {
	Lengths []struct {
		ID        string `json:"id"`
		Typed     string `json:"typed"`
		Inches    string `json:"inches_exact"`
		MM        string `json:"mm"`
		ShownUS   string `json:"shown_us"`
		ShownSI   string `json:"shown_si_mm"`
		ExactBack bool   `json:"exact_back"`
		Error     string `json:"error"`
	} `json:"lengths"`
	Factors []struct {
		ID        string `json:"id"`
		Value     string `json:"value"`
		Unit      string `json:"unit"`
		SIUnit    string `json:"si_unit"`
		SIValue   string `json:"si_value"`
		ShownSI   string `json:"shown_si"`
		ShownBack string `json:"shown_back"`
	} `json:"factors"`
	Temperatures []struct {
		ID         string `json:"id"`
		Value      string `json:"value"`
		Unit       string `json:"unit"`
		Other      string `json:"other_unit"`
		OtherValue string `json:"other_value"`
		ShownOther string `json:"shown_other"`
		ShownBack  string `json:"shown_back"`
	} `json:"temperatures"`
	InUS []struct {
		ID      string `json:"id"`
		MM      string `json:"mm"`
		ShownUS string `json:"shown_us"`
	} `json:"si_shown_in_us"`
	Exact map[string]struct {
		To       string `json:"to"`
		Fraction string `json:"fraction"`
	} `json:"exact_factors"`
}

func readTables(t testing.TB) tables {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", "units.json"))
	if err != nil {
		t.Fatal(err)
	}
	var all tables
	if err := json.Unmarshal(text, &all); err != nil || len(all.Lengths) == 0 || len(all.Factors) == 0 || len(all.Exact) == 0 {
		t.Fatalf("units.json: %v", err)
	}
	return all
}

// same fails unless two texts are the same.
func same(t *testing.T, what, got, want string) {
	t.Helper()
	if got != want {
		t.Errorf("%s: got %s, want %s", what, got, want)
	}
}

// refused fails unless an error is a Refused with a sentence.
func refused(t *testing.T, what string, err error) {
	t.Helper()
	var r *Refused
	if !errors.As(err, &r) || r.Class() != "refused" || r.Error() == "" {
		t.Errorf("%s: got %v, want a refusal", what, err)
	}
}

func TestLengthsOfTheTables(t *testing.T) {
	for _, c := range readTables(t).Lengths {
		t.Run(c.ID+" "+c.Typed, func(t *testing.T) {
			m, err := ParseLength(c.Typed, "")
			if c.Error != "" {
				refused(t, c.Typed, err)
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			mm, err := m.In("mm")
			if err != nil {
				t.Fatal(err)
			}
			inches, _ := new(big.Rat).SetString(c.Inches)
			if got, _ := m.In("in"); got.Cmp(inches) != 0 {
				t.Errorf("got %s in, want %s", got, inches)
			}
			same(t, "mm", Plain(mm, 12), c.MM)
			same(t, "shown in US units", m.US(), c.ShownUS)
			same(t, "shown in mm", Fixed(mm, 1), c.ShownSI)
			if m.InSixteenths() != c.ExactBack {
				t.Errorf("in sixteenths: %v", m.InSixteenths())
			}
			same(t, "typed", m.Typed, c.Typed)
		})
	}
}

func TestFactorsOfTheTables(t *testing.T) {
	all := readTables(t)
	for name, c := range all.Exact {
		got, err := Convert(big.NewRat(1, 1), name, c.To)
		want, _ := new(big.Rat).SetString(c.Fraction)
		if err != nil || got.Cmp(want) != 0 {
			t.Errorf("%s is %v %s, %v; want %s", name, got, c.To, err, want)
		}
	}
	for _, c := range all.Factors {
		t.Run(c.ID+" "+c.Value+" "+c.Unit, func(t *testing.T) {
			m, err := New(c.Value, c.Unit)
			if err != nil {
				t.Fatal(err)
			}
			si, err := m.In(c.SIUnit)
			if err != nil {
				t.Fatal(err)
			}
			shown, err := m.ShownIn(c.SIUnit)
			if err != nil {
				t.Fatal(err)
			}
			same(t, "SI value", Plain(si, 15)[:min(15, len(Plain(si, 15)))], c.SIValue[:min(15, len(c.SIValue))])
			same(t, "shown in SI", shown, c.ShownSI)
			same(t, "shown back", m.Shown(), c.ShownBack)
			back, err := Convert(si, c.SIUnit, c.Unit)
			if err != nil || back.Cmp(m.reading) != 0 {
				t.Errorf("comes back as %v, %v", back, err)
			}
		})
	}
}

func TestTemperaturesOfTheTables(t *testing.T) {
	for _, c := range readTables(t).Temperatures {
		t.Run(c.ID+" "+c.Value+" "+c.Unit, func(t *testing.T) {
			m, err := New(c.Value, c.Unit)
			if err != nil {
				t.Fatal(err)
			}
			other, err := m.In(c.Other)
			if err != nil {
				t.Fatal(err)
			}
			same(t, "other value", Plain(other, 12), c.OtherValue)
			if c.ShownOther == "" { // a difference has no display of its own
				return
			}
			here, there, err := m.ShownTemperatures(c.Other)
			if err != nil {
				t.Fatal(err)
			}
			same(t, "shown in the other unit", there, c.ShownOther)
			same(t, "shown back", here, c.ShownBack)
		})
	}
}

func TestStoredMillimetresShownInUS(t *testing.T) {
	for _, c := range readTables(t).InUS {
		m, err := New(c.MM, "mm")
		if err != nil {
			t.Fatal(err)
		}
		same(t, c.MM+" mm", m.US(), c.ShownUS)
	}
}

func TestLengthsAsPeopleTypeThem(t *testing.T) {
	for typed, inches := range map[string]string{
		`5½"`: "11/2", `5 ½ in`: "11/2", `5-½″`: "11/2", `½"`: "1/2", `5'-3 -1/2"`: "127/2", `5’-3½”`: "127/2", `5ʹ3ʺ`: "63", `5''`: "5", `5´ 3''`: "63",
		`1⁄2"`: "1/2", `5 ft. 3 in.`: "63", `5FT 3IN`: "63", `5 Feet`: "60", `1 foot`: "12", `0 inch`: "0", `1 inch`: "1",
		`5' - 3"`: "63", `5'-1/2"`: "121/2", `5' 1/2`: "121/2", `5'-0.5"`: "121/2", `5.5'`: "66", `1/2'`: "6", `5 1/2 ft`: "66",
		`−5'-3"`: "-63", `-0"`: "0", `- 1/2 "`: "-1/2", `.5"`: ".5", `5."`: "5", `9/8"`: "9/8", `0'-11 15/16"`: "191/16",
		`⅛"`: "1/8", `2⅞"`: "23/8", `25.4 mm`: "1", `2.54cm`: "1", `0.3048 m`: "12", `1 524 mm`: "60", "1\u00a0524\u202fmm": "60",
		"1\u00a0524.0\u00a0mm": "60", `1524 millimetres`: "60", "5'-3\u00a01/2\"": "127/2", "1\u00a0200'-0\"": "14400", `007"`: "7", `010"`: "10", `0 1/010"`: "1/10", `010 09/010"`: "109/10", `010.5'`: "126", `00.5"`: "1/2", `0025.4 mm`: "1",
	} {
		want, _ := new(big.Rat).SetString(inches)
		m, err := ParseLength(typed, "")
		if err != nil {
			t.Errorf("%s: %v", typed, err)
			continue
		}
		if got, _ := m.In("in"); got.Cmp(want) != 0 {
			t.Errorf("%s: got %s in, want %s", typed, got, want)
		}
	}
}

func TestLengthsRefused(t *testing.T) {
	for _, typed := range []string{
		``, ` `, `"`, `'`, `'"`, `-`, `-"`, `5'-12"`, `5'-11 16/16"`, `0' 12.0"`, `5'-13`, `3/0"`, `0/0"`, `1 3/0"`, `3 8"`, `5.5 1/2"`, `5 1.5/2"`,
		`18`, `1 9/8"`, `1 8/8"`, `abc"`, `abc`, `1e3"`, `1E3 mm`, `1e999999999"`, `2x10^3 mm`, `5'-3'`, `5" 3'`, `5'-3" 2`, `5"3"`, `5'--3"`, `--5"`,
		`5.5'-3"`, `1/2' 3"`, `1,5 mm`, `1,200"`, `5 furlongs`, `5 kg`, `5 ft/min`, `1/2/3"`, `1//2"`, `5'-3 1/2 1/4"`, `½½"`, `1½½"`, `+5"`,
		`1 m 20 cm`, `12 34 mm`, `NaN mm`, `Inf"`, `0x10"`, `1_000"`, `99999999999999999999 m`, `99999999999999999999'`, "5\x00\"", "\xff\"", `1.2.3"`, `5'-.`, `٥"`,
		`111111111111111111111111111111111111111111111111111111111111111111111111111111111111111"`,
	} {
		if m, err := ParseLength(typed, ""); err == nil {
			t.Errorf("%q was read as %s m", typed, m.Stored())
		} else {
			refused(t, typed, err)
		}
	}
}

func TestUnitsOfANumberAlone(t *testing.T) {
	for _, tt := range []struct{ typed, field, metres string }{
		{"18", "in", "0.4572"}, {"18", "mm", "0.018"}, {"18", "m", "18"}, {"18", "ft", "5.4864"}, {"18", FeetInches, "5.4864"},
		{"5 3/8", "in", "0.136525"}, {"5'-3 1/2", "mm", "1.6129"}, {"1 200", "mm", "1.2"}, {"24 in", "mm", "0.6096"}, {"600 mm", "in", "0.6"},
	} {
		m, err := ParseLength(tt.typed, tt.field)
		if err != nil {
			t.Errorf("%s in a field of %s: %v", tt.typed, tt.field, err)
			continue
		}
		want, _ := new(big.Rat).SetString(tt.metres)
		if m.Stored().Cmp(want) != 0 {
			t.Errorf("%s in a field of %s: got %s m, want %s", tt.typed, tt.field, m.Stored(), tt.metres)
		}
	}
	for _, tt := range []struct{ typed, field string }{{"3 8", "in"}, {"12 6", FeetInches}, {"1/2", "mm"}, {"18", "furlong"}} {
		_, err := ParseLength(tt.typed, tt.field)
		refused(t, tt.typed+" in a field of "+tt.field, err)
	}
}

func TestConversionsRefused(t *testing.T) {
	one := big.NewRat(1, 1)
	for _, tt := range []struct{ from, to string }{{"psi", "m/s"}, {"furlong", "m"}, {"m", "furlong"}, {"degF", "K"}, {"", ""}} {
		_, err := Convert(one, tt.from, tt.to)
		refused(t, tt.from+" to "+tt.to, err)
	}
	for _, value := range []string{"", "abc", "1e3", "1e999999999", "1,5", "NaN", "--1", "1 2"} {
		_, err := New(value, "psi")
		refused(t, value, err)
	}
	_, err := New("1", "furlong")
	refused(t, "furlong", err)
}

func TestUnitsByOtherSpellings(t *testing.T) {
	for _, tt := range []struct{ value, from, to, want string }{
		{"220", "PIW", "N/mm", "38.53"}, {"356", "°F", "°C", "180"}, {"100", "fpm", "m/s", "0.508"}, {"14.5", "lbf/in2", "MPa", "0.100"},
		{"5", "gal/min", "l/min", "18.9"}, {"150", "mm", "m", "0.1500"}, {"6", "m/min", "m/s", "0.100"},
	} {
		m, err := New(tt.value, tt.from)
		if err != nil {
			t.Errorf("%s %s: %v", tt.value, tt.from, err)
			continue
		}
		got, err := m.ShownIn(tt.to)
		if err != nil || got != tt.want {
			t.Errorf("%s %s in %s: got %s, %v; want %s", tt.value, tt.from, tt.to, got, err, tt.want)
		}
	}
	m, err := New("24", "in")
	if err != nil || m.MM() != 609.6 {
		t.Errorf("24 in is %v mm, %v", m.MM(), err)
	}
	if m, err = New("24", "psi"); err != nil || !math.IsNaN(m.MM()) {
		t.Errorf("24 psi is %v mm, %v", m.MM(), err)
	}
}

func TestDecimals(t *testing.T) {
	for _, tt := range []struct {
		value  string
		places int
		want   string
	}{
		{"1200.15", 1, "1200.2"}, {"-1200.15", 1, "-1200.2"}, {"0.05", 1, "0.1"}, {"0.049999", 1, "0.0"}, {"-0.04", 1, "0.0"}, {"-0.4", 0, "0"},
		{"2.5", 0, "3"}, {"-2.5", 0, "-3"}, {"1/3", 12, "0.333333333333"}, {"999.95", 1, "1000.0"},
	} {
		r, _ := new(big.Rat).SetString(tt.value)
		same(t, tt.value, Fixed(r, tt.places), tt.want)
	}
	same(t, "thousands", Grouped("-20628.3185"), "-20"+HardSpace+"628.3185")
	same(t, "hundreds", Grouped("628"), "628")
	same(t, "millions", Grouped("1234567"), "1"+HardSpace+"234"+HardSpace+"567")
	if Exact(609.6).Cmp(big.NewRat(3048, 5)) != 0 {
		t.Errorf("609.6 is %s", Exact(609.6))
	}
	if got := MillimetresOf(0.6096); got != 609.6 {
		t.Errorf("0.6096 m is %v mm", got)
	}
	if got := MetresOf(9100.3); got != 9.1003 {
		t.Errorf("9100.3 mm is %v m", got)
	}
}
