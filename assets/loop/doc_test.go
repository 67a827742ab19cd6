package loop_test

import (
	"fmt"

	"carryside/assets/loop"
)

// A tail, a head and a snub under the head that bends the belt in reverse.
func ExampleLoop_Measure() {
	path, err := loop.Loop{Sense: loop.Clockwise, ThicknessMM: 6, Pulleys: []loop.Pulley{
		{DiameterMM: 320, Face: loop.Inner},
		{XMM: 8000, DiameterMM: 400, Face: loop.Inner},
		{XMM: 7550, YMM: -120, DiameterMM: 160, Face: loop.Outer},
	}}.Measure()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f mm, %d bends, %d of them reverse\n", path.LengthMM, path.Bends, path.ReverseBends)
	place, _ := path.At(4000)
	fmt.Printf("4 m from the zero mark a splice stands at x = %.0f mm, y = %.0f mm\n", place.XMM, place.YMM)
	// Output:
	// 17183.1 mm, 3 bends, 1 of them reverse
	// 4 m from the zero mark a splice stands at x = 3999 mm, y = 183 mm
}

// A pulley typed twice.
func ExampleRefused() {
	tail := loop.Pulley{DiameterMM: 320, Face: loop.Inner}
	_, err := loop.Loop{Sense: loop.Clockwise, Pulleys: []loop.Pulley{tail, tail}}.Measure()
	fmt.Println(err)
	// Output:
	// pulleys 1 and 2 overlap; correct a centre or a diameter
}
