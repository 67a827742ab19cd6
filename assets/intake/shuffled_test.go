package intake_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"carryside/assets/intake"
)

// listColumn is a column that a made list may have: headings by language and how a value is written.
type listColumn struct {
	key   string
	heads [3]string
	write func(rt *rapid.T, l *madeList) (text string, value any)
}

// madeList is a list in the making: language, separator and sign of decimals.
type madeList struct {
	language  int
	separator string
	comma     bool
}

func (l *madeList) number(v float64, places int) string {
	s := strconv.FormatFloat(v, 'f', places, 64)
	if l.comma {
		s = strings.Replace(s, ".", ",", 1)
	}
	return s
}

var listColumns = []listColumn{
	{"conveyor_name", [3]string{"Name", "Bezeichnung", "Nombre"}, func(rt *rapid.T, _ *madeList) (string, any) {
		s := rapid.StringMatching(`[A-Z][a-z]{2,8}`).Draw(rt, "name") + " feed"
		return s, s
	}},
	{"width_m", [3]string{"Belt width (mm)", "Gurtbreite [mm]", "Ancho/mm"}, func(rt *rapid.T, _ *madeList) (string, any) {
		n := rapid.IntRange(100, 999).Draw(rt, "width")
		if rapid.Bool().Draw(rt, "own unit") {
			return fmt.Sprintf("%d cm", n/10), float64(n/10) / 100
		}
		return fmt.Sprint(n), float64(n) / 1000
	}},
	{"loop_length_m", [3]string{"Belt length m", "Gurtlänge in m", "Longitud (m)"}, func(rt *rapid.T, l *madeList) (string, any) {
		n := float64(rapid.IntRange(51, 9999).Draw(rt, "length")) / 10
		return l.number(n, 1), n
	}},
	{"speed_m_per_s", [3]string{"Speed [m/min]", "Geschw. (m/min)", "Velocidad (m/min)"}, func(rt *rapid.T, l *madeList) (string, any) {
		n := float64(rapid.IntRange(11, 999).Draw(rt, "speed")) / 10
		return l.number(n, 1), n / 60
	}},
	{"specification", [3]string{"Belt type", "Gurttyp", "Tipo de banda"}, func(rt *rapid.T, _ *madeList) (string, any) {
		s := fmt.Sprintf("EP %d/%d", 100*rapid.IntRange(2, 9).Draw(rt, "strength"), rapid.IntRange(2, 5).Draw(rt, "plies"))
		return s, s
	}},
	{"fitted_on", [3]string{"Fitted", "aufgelegt am", "Fecha de montaje"}, func(rt *rapid.T, _ *madeList) (string, any) {
		y, m, d := rapid.IntRange(1980, 2025).Draw(rt, "year"), rapid.IntRange(1, 12).Draw(rt, "month"), rapid.IntRange(1, 28).Draw(rt, "day")
		iso := fmt.Sprintf("%04d-%02d-%02d", y, m, d)
		return rapid.SampledFrom([]string{iso, fmt.Sprintf("%02d.%02d.%04d", d, m, y), fmt.Sprintf("%04d/%02d/%02d", y, m, d)}).Draw(rt, "date"), iso
	}},
}

// TestListsInAnyOrder makes lists in three languages, with columns in any order, any separator and either sign of decimals:
// what is written is what is read, whatever the order.
func TestListsInAnyOrder(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		l := &madeList{language: rapid.IntRange(0, 2).Draw(rt, "language"), separator: rapid.SampledFrom([]string{";", "\t", ","}).Draw(rt, "separator")}
		l.comma = l.separator != "," && rapid.Bool().Draw(rt, "comma")
		cols := rapid.Permutation(listColumns).Draw(rt, "columns")[:rapid.IntRange(2, len(listColumns)).Draw(rt, "how many")]
		at := rapid.IntRange(0, len(cols)).Draw(rt, "tag at")
		rows := rapid.IntRange(1, 8).Draw(rt, "rows")
		var text strings.Builder
		write := func(cell func(i int) string, tag string) {
			for i := range len(cols) + 1 {
				if i > 0 {
					text.WriteString(l.separator)
				}
				switch {
				case i < at:
					text.WriteString(cell(i))
				case i == at:
					text.WriteString(tag)
				default:
					text.WriteString(cell(i - 1))
				}
			}
			text.WriteString("\n")
		}
		write(func(i int) string { return cols[i].heads[l.language] }, [3]string{"Tag", "Band-Nr.", "Cinta"}[l.language])
		want := make([]map[string]any, rows)
		for r := range rows {
			want[r] = map[string]any{}
			write(func(i int) string {
				s, v := cols[i].write(rt, l)
				want[r][cols[i].key] = v
				return s
			}, fmt.Sprintf("CV-%02d", r+1))
		}
		out, err := importData(&memory{}, "made.csv", []byte(text.String()), intake.CSVOptions{}, intake.Options{Now: today, Plant: "P"}, true)
		if err != nil {
			rt.Fatalf("%v\n%s", err, text.String())
		}
		if len(out.Refused)+len(out.Skipped) > 0 || out.Counts[intake.KindConveyor].Created != rows {
			rt.Fatalf("%+v %+v\n%s", out.Refused, out.Skipped, text.String())
		}
		got := make([]map[string]any, rows)
		for _, rec := range out.Records {
			if rec.Kind != intake.KindConveyor && rec.Kind != intake.KindBelt {
				continue
			}
			if got[rec.Row-2] == nil {
				got[rec.Row-2] = map[string]any{}
			}
			for _, f := range rec.Fields {
				got[rec.Row-2][f.Name] = f.Value
			}
		}
		for r := range rows {
			belt := want[r]["width_m"] != nil || want[r]["loop_length_m"] != nil || want[r]["specification"] != nil
			for key, v := range want[r] {
				if key == "fitted_on" && !belt {
					continue // a date alone is no belt
				}
				g := got[r][key]
				if n, ok := v.(float64); ok {
					if m, ok := g.(float64); !ok || math.Abs(n-m) > 1e-9*math.Max(1, n) {
						rt.Errorf("row %d %s is %v, want %v\n%s", r+2, key, g, v, text.String())
					}
				} else if fmt.Sprint(g) != fmt.Sprint(v) {
					rt.Errorf("row %d %s is %v, want %v\n%s", r+2, key, g, v, text.String())
				}
			}
		}
	})
}
