package press

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// light is a recipe for light thermoplastic belts; its limits are invented, their shape is common practice.
var light = Recipe{
	SetTopC: 180, SetBottomC: 180, ToleranceK: 4, HeatingRate: Band{10, 30}, TimeToTempMax: 12, Dwell: Band{3, 5}, OvershootMaxK: 6,
	PressureBar: 2, PressurePct: 10, SpreadMaxK: 5, CoolingMax: 10, ReleaseMaxC: 50, DurationMax: 25, ExcursionS: 5, ExcursionK: 2,
}

func traceFile(t testing.TB, name string) []byte {
	t.Helper()
	file, err := os.ReadFile(filepath.Join("testdata", "traces", name))
	if err != nil {
		t.Fatal(err)
	}
	return file
}

func judgedFile(t testing.TB, file []byte) Judgement {
	t.Helper()
	trace, err := Read(file)
	if err != nil {
		t.Fatal(err)
	}
	return trace.Judge(light)
}

func criterion(t testing.TB, c Cycle, name string) Criterion {
	t.Helper()
	for _, one := range c.Criteria {
		if one.Name == name {
			return one
		}
	}
	t.Fatalf("no criterion %s", name)
	return Criterion{}
}

// rewritten gives each row of a comma file a new form.
func rewritten(file []byte, heading string, row func(cells []string) string) []byte {
	lines := strings.Split(strings.TrimSpace(string(file)), "\n")
	out := []string{heading}
	for _, l := range lines[1:] {
		out = append(out, row(strings.Split(l, ",")))
	}
	return []byte(strings.Join(out, "\n"))
}

// The same cycle written another way is the same cycle: units, order of columns, time format, line ends, code page.
func TestTheSameCycleWrittenAnotherWay(t *testing.T) {
	file := traceFile(t, "01-good.csv")
	want := judgedFile(t, file)
	f := func(s string, to func(float64) float64) string {
		var v float64
		fmt.Sscan(s, &v)
		return fmt.Sprintf("%.6f", to(v))
	}
	for name, other := range map[string][]byte{
		"kelvin, kPa, minutes, pressure first": rewritten(file, "Pressure kPa;Elapsed min;Temp lower K;Temp upper K", func(c []string) string {
			return strings.ReplaceAll(strings.Join([]string{f(c[3], func(v float64) float64 { return v * 100 }), f(c[0], func(v float64) float64 { return v / 60 }),
				f(c[2], func(v float64) float64 { return v + 273.15 }), f(c[1], func(v float64) float64 { return v + 273.15 })}, ";"), ".", ",")
		}),
		"a column more":                    rewritten(file, "Time (s)\tTemp. top (°C)\tTemp. bottom (°C)\tPress. (bar)\tOperator", func(c []string) string { return strings.Join(c, "\t") + "\tx" }),
		"Windows-1252":                     rewritten(file, "Time [s];Upper [\xb0C];Lower [\xb0C];Pressure [bar]", func(c []string) string { return strings.Join(c, ";") }),
		"carriage returns and blank lines": bytes.ReplaceAll(file, []byte("\n"), []byte("\r\n\r\n")),
		"clock time behind a date": rewritten(file, "Timestamp hh:mm:ss,Top C,Bottom C,P bar", func(c []string) string {
			var s int
			fmt.Sscan(c[0], &s)
			return fmt.Sprintf("2025-03-04T08:%02d:%02d,%s,%s,%s", s/60, s%60, c[1], c[2], c[3])
		}),
	} {
		t.Run(name, func(t *testing.T) {
			got := judgedFile(t, other)
			if len(got.Cycles) != 1 || got.Cycles[0].Overall != want.Cycles[0].Overall {
				t.Fatalf("got %+v", got)
			}
			for i, c := range got.Cycles[0].Criteria {
				w := want.Cycles[0].Criteria[i]
				if c.Verdict != w.Verdict || math.Abs(*c.Value-*w.Value) > 0.011 {
					t.Errorf("%s: %v %v, want %v %v", c.Name, c.Verdict, *c.Value, w.Verdict, *w.Value)
				}
			}
		})
	}
}

// The figures against a second computation: dwell by counting samples, heating rate by least squares between 10 and 90 %.
func TestFiguresAgainstPlainCounting(t *testing.T) {
	for _, name := range []string{"01-good.csv", "02-good-upper-lower.csv", "03-good-fahrenheit.csv", "04-overshoot.csv", "07-lagging-bottom.csv", "17-opened-hot.csv"} {
		t.Run(name, func(t *testing.T) {
			trace, err := Read(traceFile(t, name))
			if err != nil {
				t.Fatal(err)
			}
			c := trace.Judge(light).Cycles[0]
			longest, run := 0, 0
			var x, y []float64
			start := trace.Top[0]
			for i := range trace.AtS {
				if math.Abs(trace.Top[i]-180) <= 4 && math.Abs(trace.Bottom[i]-180) <= 4 {
					run++
					longest = max(longest, run)
				} else {
					run = 0
				}
				if share := (trace.Top[i] - start) / (180 - start); share > 0.1 && share < 0.9 && trace.AtS[i] < 700 {
					x, y = append(x, trace.AtS[i]/60), append(y, trace.Top[i])
				}
			}
			step := trace.AtS[1] - trace.AtS[0]
			if d := *criterion(t, c, DwellTime).Value; math.Abs(d-float64(longest-1)*step/60) > 2*step/60+0.005 {
				t.Errorf("dwell %v, by counting %v", d, float64(longest-1)*step/60)
			}
			if r, ls := *criterion(t, c, HeatingRateTop).Value, slope(x, y); math.Abs(r/ls-1) > 0.02 {
				t.Errorf("heating rate %v, by least squares %v", r, ls)
			}
		})
	}
}

func slope(x, y []float64) float64 {
	var mx, my, sxy, sxx float64
	for i := range x {
		mx, my = mx+x[i]/float64(len(x)), my+y[i]/float64(len(x))
	}
	for i := range x {
		sxy, sxx = sxy+(x[i]-mx)*(y[i]-my), sxx+(x[i]-mx)*(x[i]-mx)
	}
	return sxy / sxx
}

// shape draws a cycle: value of platen and pressure at a second.
func shape(stepS float64, untilS float64, platen func(s float64) (top, bottom float64), leaveOut func(s float64) bool) []byte {
	var b strings.Builder
	b.WriteString("time_s,top_C,bottom_C,pressure_bar\n")
	for s := 0.0; s <= untilS; s += stepS {
		if leaveOut != nil && leaveOut(s) {
			continue
		}
		top, bottom := platen(s)
		p := 2.0
		if s > 1180 || s < 10 {
			p = 0
		}
		fmt.Fprintf(&b, "%g,%.3f,%.3f,%.2f\n", s, top, bottom, p)
	}
	return []byte(b.String())
}

// plain heats by 18 K/min to 180, holds until a second, cools by 20 K/min.
func plain(holdUntil float64) func(s float64) (float64, float64) {
	return func(s float64) (float64, float64) {
		v := min(24+18*s/60, 180)
		if s > holdUntil {
			v = max(30, 180-20*(s-holdUntil)/60)
		}
		return v, v
	}
}

// What a planner would argue about: what is missing is never taken as good, and what is bad for certain is never excused by what is missing.
func TestMissingDataNeverDecidesForTheSplice(t *testing.T) {
	hole := func(from, to float64) func(float64) bool { return func(s float64) bool { return s > from && s < to } }
	reach := (176.0 - 24) / 18 * 60 // seconds until the lower tolerance: 506.7
	for name, tt := range map[string]struct {
		file    []byte
		verdict Verdict
		value   float64 // minutes
	}{
		"whole": {shape(2, 1200, plain(720), nil), Within, (720 + 12 - reach) / 60},
		"rows missing, both parts together too short even if good":      {shape(2, 1200, plain(640), hole(570, 620)), Outside, (570 - reach) / 60},
		"rows missing, could have been enough":                          {shape(2, 1200, plain(720), hole(600, 650)), CannotJudge, (600 - reach) / 60},
		"rows missing, enough before them, but possibly too long":       {shape(2, 1200, plain(880), hole(790, 840)), CannotJudge, (790 - reach) / 60},
		"rows missing, enough before them and not too long in any case": {shape(2, 1200, plain(780), hole(740, 790)), Within, (740 - reach) / 60},
		"rows missing in heating do not matter to the dwell":            {shape(2, 1200, plain(720), hole(200, 250)), Within, (720 + 12 - reach) / 60},
		"a dip of 4 s by 1 K is forgiven": {shape(1, 1200, func(s float64) (float64, float64) {
			v, _ := plain(720)(s)
			if s >= 600 && s <= 602 {
				v = 175
			}
			return v, v
		}, nil), Within, (720 + 12 - reach) / 60},
		"a dip of 4 s by 6 K breaks the dwell": {shape(1, 1200, func(s float64) (float64, float64) {
			v, _ := plain(720)(s)
			if s >= 600 && s <= 602 {
				v = 170
			}
			return v, v
		}, nil), Outside, (732 - 602) / 60.},
	} {
		t.Run(name, func(t *testing.T) {
			c := criterion(t, judgedFile(t, tt.file).Cycles[0], DwellTime)
			if c.Verdict != tt.verdict || c.Value == nil || math.Abs(*c.Value-tt.value) > 0.04 {
				t.Errorf("%s %v (%s), want %s %.2f", c.Verdict, *c.Value, c.Why, tt.verdict, tt.value)
			}
		})
	}
}

func TestFilesThatHoldNoTrace(t *testing.T) {
	for name, tt := range map[string]struct{ file, want string }{
		"empty":        {"", "no heading line names time, the upper platen's temperature, the lower platen's temperature, pressure; give the file a line of headings for time, both platens and pressure"},
		"no pressure":  {"time_s,top,bottom\n0,1,2\n", "no heading line names pressure; give the file a line of headings for time, both platens and pressure"},
		"heading only": {"time_s,top,bottom,p\n", "the file has a heading but no rows of values under it; export the cycle again"},
		"a picture":    {"\x89PNG\r\n\x1a\n\x00\x00", "no heading line names time, the upper platen's temperature, the lower platen's temperature, pressure; give the file a line of headings for time, both platens and pressure"},
	} {
		t.Run(name, func(t *testing.T) {
			if trace, err := Read([]byte(tt.file)); err == nil || err.Error() != tt.want {
				t.Errorf("%v, %v", trace, err)
			}
		})
	}
}

// FuzzJudge holds that no file makes the judge panic, that every criterion is judged once, and that a verdict of within
// or outside never stands without a figure or a word.
func FuzzJudge(f *testing.F) {
	for _, name := range []string{"01-good.csv", "03-good-fahrenheit.csv", "14-truncated.csv", "12-clock-jump-back.csv"} {
		file := traceFile(f, name)
		f.Add(file[:min(len(file), 4000)])
	}
	f.Add([]byte("t,top,bottom,p\n0,NaN,,2\n1,180,180,2\n1,180,180,0\n"))
	f.Add([]byte("t;t1;t2;p\n0;180;180;2\n9;180;180;0\n9;1;1;2\n"))
	vulcanise := light
	vulcanise.Cure = &Cure{145, Band{30, 60}}
	f.Fuzz(func(t *testing.T, file []byte) {
		trace, err := Read(file)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("%q", err)
			}
			return
		}
		for _, by := range []Recipe{light, vulcanise} {
			j := trace.Judge(by)
			rows := 0
			for _, c := range j.Cycles {
				names := map[string]bool{}
				for _, one := range c.Criteria {
					names[one.Name] = true
					if one.Verdict != Within && one.Why == "" || one.Verdict == Within && one.Value == nil {
						t.Fatalf("%+v", one)
					}
					if one.Value != nil && (math.IsNaN(*one.Value) || math.IsInf(*one.Value, 0)) {
						t.Fatalf("%+v", one)
					}
				}
				if len(names) != len(c.Criteria) || len(names) < 11 || c.FirstRow != rows+1 || c.LastRow < c.FirstRow {
					t.Fatalf("%+v", c)
				}
				rows = c.LastRow
			}
			if rows != len(trace.AtS) {
				t.Fatalf("rows %d of %d", rows, len(trace.AtS))
			}
		}
	})
}

// A file with bytes blown away by a bad copy is judged or refused, never a panic (seeded; FuzzJudge goes further).
func TestAFileDamagedOnItsWay(t *testing.T) {
	whole := traceFile(t, "01-good.csv")
	r := rand.New(rand.NewPCG(1, 2))
	judged := 0
	for range 2000 {
		file := bytes.Clone(whole[:200+r.IntN(4000)])
		for range 1 + r.IntN(20) {
			file[r.IntN(len(file))] = byte(r.IntN(256))
		}
		if trace, err := Read(file); err == nil && len(trace.Judge(light).Cycles) > 0 {
			judged++
		}
	}
	if judged < 500 {
		t.Errorf("only %d of 2000 could be judged", judged)
	}
}

// BenchmarkHour judges a trace of an hour at ten samples a second, reading included.
func BenchmarkHour(b *testing.B) {
	file := shape(0.1, 3600, func(s float64) (float64, float64) {
		v, _ := plain(720)(s)
		return v + 0.3*math.Sin(s), v + 0.3*math.Cos(s)
	}, nil)
	b.ReportAllocs()
	for b.Loop() {
		trace, err := Read(file)
		if err != nil {
			b.Fatal(err)
		}
		trace.Judge(light)
	}
}
