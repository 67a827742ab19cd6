package horizon

import (
	"strings"
	"testing"
	"time"

	"carryside/assets"
)

// A stop after the latest date takes the order once that is put off to the day named, and not to the day before.
func TestAStopAfterTheLatestDateSaysToWhichDayItHasToBePutOff(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants[0].Orders = in.Plants[0].Orders[:1]
	o := &in.Plants[0].Orders[0]
	o.LatestDay = "2026-12-20"
	a := Lay(in).Ask(t.Context(), Placements{}, Move{OrderID: 1, StopID: 102})
	if help := strings.Join(a.Help, "; "); a.Fits || help != "its latest date put off to 25 Dec 2026 or later, with a reason" {
		t.Fatalf("fits %v, why %q, help %q", a.Fits, a.Why, help)
	}
	if why := a.Why[0]; !strings.Contains(why, "would end after its latest date, that is after 21 Dec 00:00") {
		t.Errorf("the reason is %q", why)
	}
	for day, want := range map[assets.Day]bool{"2026-12-24": false, "2026-12-25": true} {
		o.LatestDay = day
		if got := Lay(in).Ask(t.Context(), Placements{}, Move{OrderID: 1, StopID: 102}); got.Fits != want {
			t.Errorf("put off to %s it fits %v, want %v: %v", day, got.Fits, want, got.Why)
		}
	}
}

// One of two splicers is away and 3 of 9 kg of rubber lie on the shelf: neither by itself makes room, both together do, and the answer names both
// with the least that is enough.
func TestWhereOneThingIsNotEnoughTheAnswerNamesTwo(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	lacking := func(people int, kg int64) *Inputs {
		in := quay(z)
		in.Plants[0].Orders = in.Plants[0].Orders[:1]
		in.Plants[0].Orders[0].Stock = []StockNeed{{Item: 61, Quantity: 9000}}
		in.Stock = []Item{{ID: 61, Name: "rubber", Unit: assets.UnitKilogram, OnHand: kg * 1000}}
		in.People = in.People[:people]
		return in
	}
	ask := func(in *Inputs) Answer { return Lay(in).Ask(t.Context(), Placements{}, Move{OrderID: 1, StopID: 101}) }
	a := ask(lacking(1, 3))
	if help := strings.ReplaceAll(strings.Join(a.Help, "; "), "\u00a0", " "); a.Fits || help != "one more person who may work as splice, together with 6 kg of rubber by 12 Dec 06:00" {
		t.Fatalf("fits %v, why %q, help %q", a.Fits, a.Why, help)
	}
	for _, tt := range []struct {
		people int
		kg     int64
		help   string // "": it fits
	}{{1, 9, "one more person who may work as splice"}, {2, 3, "6 kg of rubber by 12 Dec 06:00"}, {2, 8, "1 kg of rubber by 12 Dec 06:00"}, {2, 9, ""}} {
		got := ask(lacking(tt.people, tt.kg))
		if help := strings.ReplaceAll(strings.Join(got.Help, "; "), "\u00a0", " "); help != tt.help || got.Fits != (tt.help == "") {
			t.Errorf("with %d people and %d kg: fits %v, help %q, want %q", tt.people, tt.kg, got.Fits, help, tt.help)
		}
	}
}

// Two people are asked for and none holds the ticket any more on that day: two are named, not one.
func TestACrewThatLapsedAsAWholeIsNamedAsAWhole(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants[0].Orders = in.Plants[0].Orders[:1]
	for i := range in.People {
		in.People[i].Tickets = []Ticket{{ID: 7, Name: "splice", To: at(z, "2026-12-12 00:00").Add(-time.Minute)}}
	}
	a := Lay(in).Ask(t.Context(), Placements{}, Move{OrderID: 1, StopID: 101})
	if help := strings.Join(a.Help, "; "); a.Fits || help != "2 more people who may work as splice" {
		t.Errorf("fits %v, why %q, help %q", a.Fits, a.Why, help)
	}
}
