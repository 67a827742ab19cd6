package intake

import (
	"testing"
	"time"

	"carryside/assets"
)

// Seasons are meteorological ones of the northern half of the earth: spring is March to May.
func TestDatesOfLifeAsPeopleTypeThem(t *testing.T) {
	oslo, err := time.LoadLocation("Europe/Oslo")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 11, 25, 5, 40, 0, 0, time.UTC)
	for _, tt := range []struct {
		text             string
		earliest, latest assets.Day
		written          string
	}{
		{"2026-11-24", "2026-11-24", "2026-11-24", ""},
		{" 24 Nov 2026 ", "2026-11-24", "2026-11-24", ""},
		{"spring 2022", "2022-03-01", "2022-05-31", "spring 2022"},
		{"2019", "2019-01-01", "2019-12-31", "2019"},
		{"before 2018", "", "2017-12-31", "before 2018"},
		{"not known", "", "", "not known"},
		{"2026-11-20 14:30", "2026-11-20", "2026-11-20", ""},
	} {
		w, err := ReadWhen(tt.text, oslo, now)
		if err != nil || w.Earliest != tt.earliest || w.Latest != tt.latest || w.AsWritten != tt.written || w.At == 0 {
			t.Errorf("%q: %+v, %v", tt.text, w, err)
		}
	}
	if w, err := ReadWhen("2026-11-20 14:30", oslo, now); err != nil || !w.Timed || w.At.Time() != time.Date(2026, 11, 20, 13, 30, 0, 0, time.UTC) {
		t.Errorf("with a time: %+v, %v", w, err)
	}
	for _, text := range []string{"31.02.2024", "soonish", "03/04/2025", "2027-01-01", "2026-03-29 02:30", "spring"} {
		if w, err := ReadWhen(text, oslo, now); err == nil {
			t.Errorf("%q is read as %+v", text, w)
		}
	}
}
