package crew

import (
	"fmt"
	"testing"
	"time"

	"carryside/assets"
)

func TestPeopleWithTheSameVisitsShareAVan(t *testing.T) {
	day := func(d, h int) time.Time { return time.Date(2026, 12, d, h, 0, 0, 0, time.UTC) }
	visits := []Visit{
		{PlantID: 8, WindowID: 81, Start: day(11, 6), End: day(11, 14), People: []int64{1, 2}},
		{PlantID: 7, WindowID: 71, Start: day(8, 6), End: day(8, 16), People: []int64{1, 2, 3}},
		{PlantID: 9, WindowID: 91, Start: day(8, 22), End: day(9, 5), People: []int64{1, 2}},
	}
	members := []assets.CrewMember{{PersonID: 3, HomePlantID: 7}}
	ways := []assets.TravelTime{{ToPlantID: 7, Minutes: 185}, {FromPlantID: 7, ToPlantID: 9, Minutes: 60}, {FromPlantID: 9, ToPlantID: 7, Minutes: 75}, {ToPlantID: 9, Minutes: 90}}
	routes := Routes(visits, members, ways)
	if len(routes) != 2 || fmt.Sprint(routes[0].People, routes[1].People) != "[1 2] [3]" || len(routes[0].Visits) != 3 || len(routes[1].Visits) != 1 {
		t.Fatalf("routes %+v", routes)
	}
	var legs []string
	for _, l := range routes[0].Legs {
		legs = append(legs, fmt.Sprintf("%d-%d %d %v before %d", l.From, l.To, l.Minutes, l.Known, l.Before))
	}
	want := "[0-7 185 true before 0 7-9 60 true before 1 9-0 90 true before 2 0-8 0 false before 2 8-0 0 false before 3]"
	if got := fmt.Sprint(legs); got != want {
		t.Errorf("ways %s, want %s", got, want)
	}
	if len(routes[1].Legs) != 0 {
		t.Errorf("somebody at home at the plant travels: %+v", routes[1].Legs)
	}
}
