package due_test

import (
	"testing"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/rules"
)

// BenchmarkPlant looks at a plant of 300 conveyors and 450 splices under six rules.
func BenchmarkPlant(b *testing.B) {
	reg, clocks := grainPlant()
	splice, conveyor, belt := reg.Splices[0], reg.Conveyors[0], reg.Belts[0]
	line, duty := clocks.Lines[10], clocks.Duties[20]
	reg.Splices, reg.Conveyors, reg.Belts = nil, nil, nil
	for i := range int64(300) {
		conveyor.ID, belt.ID, belt.ConveyorID = i, i, i
		clocks.Lines[i], clocks.Duties[i] = line, duty
		reg.Conveyors, reg.Belts = append(reg.Conveyors, conveyor), append(reg.Belts, belt)
	}
	for i := range int64(450) {
		splice.ID, splice.ConveyorID, splice.BeltID = i, i%300, i%300
		reg.Splices = append(reg.Splices, splice)
	}
	rs := []rules.Rule{passesLimit(1, 364000), passesLimit(2, 500000), passesLimit(3, 700000), monthsLimit(4, 36), monthsLimit(5, 60), monthsLimit(6, 84)}
	reg.Arrange()
	now := assets.InstantOf(local("2026-11-25T12:00")).Time()
	for b.Loop() {
		if got := due.Plant(now, reg, rs, clocks); len(got) != 450 {
			b.Fatal(len(got))
		}
	}
}
