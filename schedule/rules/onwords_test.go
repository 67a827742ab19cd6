package rules

import (
	"testing"
	"time"

	"carryside/assets"
)

// A day stands for its end, which is midnight of the next: the sentence names the day itself.
func TestADateIsNamedByItsOwnDay(t *testing.T) {
	oslo, err := time.LoadLocation("Europe/Oslo")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	o := NewOutlook(Inputs{Now: now, Plant: assets.Plant{Zone: "Europe/Oslo"}})
	for _, tt := range []struct {
		earliest, latest assets.Day
		words, want      string
		lower            bool
	}{
		{"", "2023-12-31", "before 2024", "(before 2024, counted from 31 Dec 2023)", true},
		{"2023-03-01", "2023-05-31", "spring 2023", "(spring 2023, counted from 1 Mar 2023)", false},
		{"2023-09-14", "2023-09-14", "", "on 14 Sep 2023", false},
		{"", "", "not known", "(not known, counted from 25 Nov 2026)", false},
	} {
		w, err := assets.Between(tt.earliest, tt.latest, tt.words, oslo, now)
		if err != nil {
			t.Fatal(err)
		}
		if got := o.onWords(w); got != tt.want || onlyLatest(w) != tt.lower {
			t.Errorf("%q, lower bound %v; want %q, %v", got, onlyLatest(w), tt.want, tt.lower)
		}
	}
	if got := o.onWords(assets.Exactly(time.Date(2023, 9, 14, 23, 30, 0, 0, time.UTC), oslo)); got != "on 15 Sep 2023" {
		t.Errorf("%q, want the day in the plant's time", got)
	}
}
