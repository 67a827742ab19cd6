package due_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"
	"time"

	"pgregory.net/rapid"

	"carryside/assets"
	"carryside/schedule/clock"
	"carryside/schedule/due"
	"carryside/schedule/rules"
)

// change is a value that holds from a wall time on.
type change struct {
	From           string
	Value          float64
	Plain, Reverse int
}

// TestPassesAgainstCheckValues recomputes the table of passes and flexes.
//
// Source of testdata/passes.json: exact fractions, passes = 3600 v dH / L summed over the stretches in
// which v, L and the bends are constant (arithmetic; to count passes so is common practice).
func TestPassesAgainstCheckValues(t *testing.T) {
	var cases []struct {
		ID, Name, Zone string
		Readings       []struct {
			At     string
			ValueH float64 `json:"value_h"`
		}
		Speed    []change `json:"speed_m_s"`
		Loop     []change `json:"loop_length_m"`
		Bends    []change
		From, To string
		Expected struct {
			RunningHours  float64 `json:"running_hours"`
			Passes        float64
			Flexes        float64
			ReverseFlexes float64 `json:"reverse_flexes"`
		}
	}
	data, err := os.ReadFile("testdata/passes.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &cases); err != nil {
		t.Fatal(err)
	}
	if len(cases) < 7 {
		t.Fatalf("%d cases, want at least 7", len(cases))
	}
	for _, c := range cases {
		t.Run(c.Name, func(t *testing.T) {
			zone := mustZone(c.Zone)
			at := func(s string) time.Time {
				w, err := time.ParseInLocation("2006-01-02T15:04", s, zone)
				if err != nil {
					t.Fatal(err)
				}
				return w.UTC()
			}
			var l line
			for _, r := range c.Readings {
				l.readings = append(l.readings, reading{at(r.At), r.ValueH})
			}
			duty := due.Duty(conveyorVersions(c.Speed, c.Bends, at), beltVersions(c.Loop, at))
			s := assets.Splice{ConveyorID: 1, BeltID: 1, Made: assets.Exactly(at(c.From), zone)}
			reg := &assets.Register{Plant: assets.Plant{Zone: c.Zone}, Splices: []assets.Splice{s}}
			got := due.Plant(at(c.To), reg, nil, due.Clocks{Lines: map[int64]due.Line{1: l}, Duties: map[int64]clock.Duty{1: duty}})[0].Age
			for _, f := range []struct {
				name string
				got  due.Figure
				want float64
			}{
				{"running hours", got.RunHours, c.Expected.RunningHours}, {"passes", got.Passes, c.Expected.Passes},
				{"flexes", got.Flexes, c.Expected.Flexes}, {"reverse flexes", got.ReverseFlexes, c.Expected.ReverseFlexes},
			} {
				if !f.got.Known || f.got.AtLeast || math.Abs(f.got.Value-f.want) > 1e-9*math.Max(1, f.want)+5e-7 {
					t.Errorf("%s %s: %+v, want %f", c.ID, f.name, f.got, f.want)
				}
			}
		})
	}
}

// conveyorVersions writes changes of speed and bends as a register keeps them: a version for each.
func conveyorVersions(speed, bends []change, at func(string) time.Time) []assets.Conveyor {
	var out []assets.Conveyor
	for _, from := range append(append([]change{}, speed...), bends...) {
		v := assets.Conveyor{}
		v.ValidFrom = assets.InstantOf(at(from.From))
		for _, s := range speed {
			if s.From <= from.From || v.SpeedMPS == 0 {
				v.SpeedMPS = s.Value
			}
		}
		for i, b := range bends {
			if i == 0 || b.From <= from.From {
				v.Pulleys = make([]assets.Pulley, b.Plain+b.Reverse)
				for k := range b.Reverse {
					v.Pulleys[k].OuterFace = true
				}
			}
		}
		out = append(out, v)
	}
	return out
}

func beltVersions(loop []change, at func(string) time.Time) []assets.Belt {
	var out []assets.Belt
	for _, c := range loop {
		b := assets.Belt{LoopLengthM: c.Value}
		b.ValidFrom = assets.InstantOf(at(c.From))
		out = append(out, b)
	}
	return out
}

// Looking later never makes a splice younger, on no clock and not over a change of the clock.
func TestLaterNeverLowersAnAge(t *testing.T) {
	reg, clocks := grainPlant()
	from := local("2023-09-14T02:30")
	rapid.Check(t, func(t *rapid.T) {
		made := from.Add(time.Duration(rapid.Int64Range(0, 3*365*24*60).Draw(t, "made, minutes on")) * time.Minute)
		reg.Splices[0].Made = assets.Exactly(made, berlin)
		early := made.Add(time.Duration(rapid.Int64Range(0, 4*365*24*60).Draw(t, "minutes old")) * time.Minute)
		late := early.Add(time.Duration(rapid.Int64Range(0, 60*24*3).Draw(t, "minutes later")) * time.Minute)
		a, b := due.Plant(early, reg, nil, clocks)[0].Age, due.Plant(late, reg, nil, clocks)[0].Age
		if b.Days < a.Days || b.AtLeastDays < a.AtLeastDays || b.RunHours.Value < a.RunHours.Value || b.Passes.Value < a.Passes.Value || b.Flexes.Value < a.Flexes.Value {
			t.Fatalf("at %s %+v, at %s %+v", early, a, late, b)
		}
	})
}

// The date a limit on passes sets is the date on which the passes are that many.
func TestDueDateIsWhereTheLimitIsReached(t *testing.T) {
	reg, clocks := grainPlant()
	slower := reg.Conveyors[0]
	slower.SpeedMPS, slower.ValidFrom = 0.25, assets.InstantOf(local("2025-03-01T06:00"))
	clocks.Duties = map[int64]clock.Duty{20: due.Duty(append(reg.Conveyors, slower), reg.Belts)}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Float64Range(1000, 600000).Draw(t, "limit, passes")
		st := due.Plant(local("2026-11-25T12:00"), reg, []rules.Rule{passesLimit(1, n)}, clocks)[0]
		at := due.Plant(st.DueAt, reg, nil, clocks)[0].Age.Passes.Value
		if math.Abs(at-n) > 0.01 {
			t.Fatalf("%f passes on %s, the limit is %f", at, st.DueAt, n)
		}
		if st.Overdue != (st.Used.Value >= 1) {
			t.Fatalf("overdue %v at %f of the limit", st.Overdue, st.Used.Value)
		}
	})
}
