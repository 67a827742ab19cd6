package web

import (
	"strings"
	"testing"
	"time"

	"carryside/assets"
)

func TestWhatAHeldReadingContradictsIsAskedAnewInPlantTime(t *testing.T) {
	oslo, err := time.LoadLocation("Europe/Oslo")
	if err != nil {
		t.Fatal(err)
	}
	f := Format{Zone: oslo, Units: assets.UnitsSI, Now: morning}
	at := func(day, hour int) assets.Instant {
		return assets.InstantOf(time.Date(2026, 11, day, hour, 0, 0, 0, time.UTC))
	}
	read := func(day, hour int, shown float64) assets.Reading {
		return assets.Reading{At: at(day, hour), ShownH: shown}
	}
	replaced := []assets.Meter{{Why: assets.MeterReplaced, FromAt: at(9, 0), StartH: 0, OffsetH: 12000}}
	for _, tt := range []struct {
		name   string
		meters []assets.Meter
		near   []assets.Reading
		want   string
	}{
		// 23:30 in UTC is the next day in Oslo.
		{"falls", nil, []assets.Reading{read(9, 23, 12000.5)}, "902 h contradicts 12 000.5 h of 10 Nov 2026, 00:00: the hours would fall. Was the meter replaced, did it roll over, or is one of them wrong?"},
		{"too fast", nil, []assets.Reading{read(9, 23, 100)}, "902 h contradicts 100 h of 10 Nov 2026, 00:00: more hours than have passed between. Was the meter replaced, or is one of them wrong?"},
		{"same moment", nil, []assets.Reading{read(20, 11, 900)}, "902 h contradicts 900 h at the same moment, 20 Nov 2026, 12:00. Which one is right?"},
		{"across a change", replaced, []assets.Reading{read(8, 23, 12900)}, "902 h contradicts 0 h of 9 Nov 2026, 01:00: more hours than have passed between. Was the meter replaced, or is one of them wrong?"},
		{"across a rollover", []assets.Meter{{Why: assets.MeterRolledOver, FromAt: at(9, 12), OffsetH: 10000}}, []assets.Reading{read(9, 0, 9990)}, "10 902 running hours contradict 9 990 running hours of 9 Nov 2026, 01:00: more hours than have passed between. Was the meter replaced, or is one of them wrong?"},
		{"nothing any more", nil, []assets.Reading{read(19, 11, 890)}, "902 h contradicts nothing any more: what it contradicted was corrected since. Is it right, or left out?"},
		{"nothing accepted", nil, nil, "902 h contradicts nothing any more: what it contradicted was corrected since. Is it right, or left out?"},
	} {
		h := assets.HeldReading{At: at(20, 11), ShownH: 902, Class: "backwards", Question: "902.0 h contradicts 10000.0 h at 0001-01-01T04:56:02Z"}
		if got := strings.ReplaceAll(f.question(tt.meters, tt.near, h), nb, " "); got != tt.want {
			t.Errorf("%s: %q", tt.name, got)
		}
	}
}

func TestHeldPagesShowNoStoredSentence(t *testing.T) {
	f := skarrow()
	f.office().waiting[0].Question = "412.0 h contradicts 10380.0 h at 2026-11-10T23:00:00Z: the hours would fall"
	v := as(t, f, assets.RolePlanner)
	for _, path := range []string{"/plants/3/readings", "/plants/3/held/5", "/plants/3/conveyors/3/readings"} {
		got := text(v.get(path), "body")
		if strings.Contains(got, "10380.0 h") || strings.Contains(got, "T23:00") || !strings.Contains(got, "412 h contradicts 10 408.5 h of 25 Nov 2026, 01:00") {
			t.Errorf("%s says %q", path, got)
		}
	}
}
