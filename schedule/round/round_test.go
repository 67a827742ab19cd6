package round_test

import (
	"slices"
	"testing"
	"time"

	"carryside/assets"
	"carryside/schedule/round"
	"carryside/schedule/workorder"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

func TestTheProgramsTimeIsThePhonesLessItsOffset(t *testing.T) {
	two, none := 48*time.Hour, time.Duration(0)
	tests := []struct {
		name  string
		c     round.Clocks
		want  time.Time
		apart bool
	}{
		{"right clock, sent an hour later", round.Clocks{Phone: noon, Offset: &none, Arrived: noon.Add(time.Hour)}, noon, false},
		{"two days fast", round.Clocks{Phone: noon.Add(two), Offset: &two, SentOffset: two, Arrived: noon.Add(time.Hour)}, noon, true},
		{"two days fast, never in contact before", round.Clocks{Phone: noon.Add(two), SentOffset: two, Arrived: noon.Add(time.Hour)}, noon, true},
		{"two days slow", round.Clocks{Phone: noon.Add(-two), SentOffset: -two, Arrived: noon.Add(time.Hour)}, noon, true},
		{"put right between entering and sending", round.Clocks{Phone: noon.Add(two), Offset: &two, Arrived: noon.Add(time.Hour)}, noon, true},
		{"put forward after the last contact", round.Clocks{Phone: noon.Add(two), Offset: &none, SentOffset: two, Arrived: noon.Add(time.Hour)}, noon.Add(time.Hour), true},
		{"five minutes to the second", round.Clocks{Phone: noon, SentOffset: 5 * time.Minute, Arrived: noon}, noon.Add(-5 * time.Minute), false},
		{"a second more", round.Clocks{Phone: noon, SentOffset: 5*time.Minute + time.Second, Arrived: noon}, noon.Add(-5*time.Minute - time.Second), true},
	}
	for _, tt := range tests {
		if got := tt.c.Program(); !got.Equal(tt.want) {
			t.Errorf("%s: %s by the program, want %s", tt.name, got, tt.want)
		}
		if got := tt.c.Apart(); got != tt.apart {
			t.Errorf("%s: asked %v, want %v", tt.name, got, tt.apart)
		}
	}
}

func TestAConveyorIsWalkedSplicesFirstInTheOrderOfTheLines(t *testing.T) {
	reg := &assets.Register{}
	conveyor := func(id, line int64, tag string) {
		c := assets.Conveyor{LineID: line, Tag: tag, TagKey: assets.TagKey(tag)}
		c.ID = id
		reg.Conveyors = append(reg.Conveyors, c)
	}
	conveyor(1, 10, "Q1")
	conveyor(2, 20, "T2")
	conveyor(3, 20, "T3")
	reg.Conveyors[2].Status = assets.ConveyorRetired
	b := assets.Belt{ConveyorID: 1}
	b.ID = 5
	sp := assets.Splice{BeltID: 5, ConveyorID: 1, Number: "1"}
	sp.ID = 7
	gone := assets.Splice{BeltID: 5, ConveyorID: 1, Number: "2", Ended: new(assets.Instant)}
	gone.ID = 8
	reg.Belts, reg.Splices = []assets.Belt{b}, []assets.Splice{sp, gone}
	reg.Arrange()
	open := []workorder.Order{
		{Number: 4, Kind: workorder.KindInspection, ConveyorID: 1}, {Number: 3, Kind: workorder.KindInspection, ConveyorID: 1, SpliceID: 7},
		{Number: 2, Kind: workorder.KindResplice, ConveyorID: 1, SpliceID: 7},
		{Version: assets.Version{ID: 50}, Number: 5, Kind: workorder.KindInspection, LatestDay: "2026-11-30", RaisedAt: assets.InstantOf(noon)}, // a rule's, of line 10
		{Version: assets.Version{ID: 60}, Number: 6, Kind: workorder.KindInspection, LatestDay: "2026-11-28", RaisedAt: assets.InstantOf(noon)}, // of the plant
		{Version: assets.Version{ID: 70}, Number: 7, Kind: workorder.KindInspection},                                                            // of a line not walked
	}
	wide := round.Wide{50: {10}, 60: {round.WholePlant}, 70: {30}}
	points := round.Points(reg, []int64{20, 10, 99}, open, wide)
	var got []string
	for _, p := range points {
		got = append(got, p.Key)
		for key, want := range map[string][]int64{"s7": {3, 4, 5, 6}, "belt1": {4, 5, 6}, "head2": {6}} {
			if p.Key == key && !slices.Equal(p.Orders, want) {
				t.Errorf("%s has the inspections %v, want %v", p.Key, p.Orders, want)
			}
		}
	}
	found := []assets.Finding{{ConveyorID: 1, SpliceID: 7, FoundAt: assets.InstantOf(noon.Add(time.Hour))}, {ConveyorID: 1, Target: "head", FoundAt: assets.InstantOf(noon.Add(-time.Hour))}}
	type line struct {
		number       int64
		points, seen int
	}
	var due []line
	for _, d := range round.DueOf(points, open, found) {
		due = append(due, line{d.Order.Number, d.Points, d.Seen})
	}
	if want := []line{{6, 5, 1}, {5, 4, 1}, {4, 4, 2}, {3, 1, 1}}; !slices.Equal(due, want) {
		t.Errorf("due are %v, want %v", due, want)
	}
	if want := []string{"head2", "s7", "belt1", "take-up1", "head1"}; !slices.Equal(got, want) {
		t.Errorf("walked %v, want %v", got, want)
	}
}
