package stock

import (
	"context"
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// everyWay tries every roll, or none, for every piece.
func everyWay(rolls []Roll, pieces []Piece, rules CuttingRules) Cost {
	on := make([]int, len(pieces))
	best := Cost{Uncut: 1 << 60}
	var try func(i int)
	try = func(i int) {
		if i < len(pieces) {
			for r := -1; r < len(rolls); r++ {
				on[i] = r
				try(i + 1)
			}
			return
		}
		if c, ok := costByHand(rolls, pieces, rules, on); ok && c.Less(best) {
			best = c
		}
	}
	try(0)
	return best
}

// costByHand reckons a way of cutting from its definition, without the code that is tested.
func costByHand(rolls []Roll, pieces []Piece, rules CuttingRules, on []int) (c Cost, ok bool) {
	for r, roll := range rolls {
		left, any := roll.LengthMM, false
		for i, p := range pieces {
			if on[i] != r {
				continue
			}
			any = true
			left -= p.LengthMM + rules.TrimMM
			if p.WidthMM > roll.WidthMM || left < 0 {
				return c, false
			}
			c.Waste += (roll.WidthMM-p.WidthMM)*p.LengthMM + rules.TrimMM*roll.WidthMM
		}
		if !any {
			continue
		}
		if left < rules.KeepMM {
			c.Waste += left * roll.WidthMM
		}
		if !roll.Offcut {
			c.Begun++
		}
		c.Spread += roll.LengthMM*roll.LengthMM - left*left
	}
	for i, p := range pieces {
		if on[i] < 0 {
			c.Uncut += p.Weight
		}
	}
	return c, true
}

func drawCutting(rt *rapid.T) ([]Roll, []Piece, CuttingRules) {
	roll := rapid.Custom(func(rt *rapid.T) Roll {
		return Roll{LengthMM: rapid.Int64Range(1, 60).Draw(rt, "length"), WidthMM: rapid.Int64Range(3, 5).Draw(rt, "width"), Offcut: rapid.Bool().Draw(rt, "offcut")}
	})
	piece := rapid.Custom(func(rt *rapid.T) Piece {
		return Piece{LengthMM: rapid.Int64Range(5, 30).Draw(rt, "length"), WidthMM: rapid.Int64Range(3, 5).Draw(rt, "width"), Weight: rapid.Int64Range(1, 2).Draw(rt, "weight")}
	})
	return rapid.SliceOfN(roll, 1, 3).Draw(rt, "rolls"), rapid.SliceOfN(piece, 2, 6).Draw(rt, "pieces"),
		CuttingRules{KeepMM: rapid.Int64Range(0, 12).Draw(rt, "keep"), TrimMM: rapid.Int64Range(0, 1).Draw(rt, "trim")}
}

func TestBestCuttingIsAsGoodAsEveryWayTried(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		rolls, pieces, rules := drawCutting(rt)
		got, err := BestCutting(context.Background(), rolls, pieces, rules)
		if err != nil || !got.Proven {
			rt.Fatalf("proven %v, error %v", got.Proven, err)
		}
		if want := everyWay(rolls, pieces, rules); got.Cost != want {
			rt.Fatalf("found %+v, every way tried gives %+v", got.Cost, want)
		}
		holdsWhatItSays(rt, rolls, pieces, rules, got)
		quick := newCutProblem(rolls, pieces, rules).greedy()
		holdsWhatItSays(rt, rolls, pieces, rules, quick)
		if quick.Cost.Less(got.Cost) || quick.Proven {
			rt.Fatalf("the quick way %+v is better than the proven best %+v", quick.Cost, got.Cost)
		}
	})
}

// holdsWhatItSays reckons the cost of the cuts as given and finds each piece once.
func holdsWhatItSays(rt *rapid.T, rolls []Roll, pieces []Piece, rules CuttingRules, c Cutting) {
	on := make([]int, len(pieces))
	seen := make([]int, len(pieces))
	for i := range on {
		on[i] = -1
	}
	for _, cut := range c.Cuts {
		left := rolls[cut.Roll].LengthMM
		for _, i := range cut.Pieces {
			on[i] = cut.Roll
			seen[i]++
			left -= pieces[i].LengthMM + rules.TrimMM
		}
		if left != cut.RestMM || cut.Kept != (left > 0 && left >= rules.KeepMM) {
			rt.Fatalf("roll %d keeps %d mm, says %d mm, kept %v", cut.Roll, left, cut.RestMM, cut.Kept)
		}
	}
	for _, i := range c.Uncut {
		seen[i]++
	}
	for i, n := range seen {
		if n != 1 {
			rt.Fatalf("piece %d stands %d times", i, n)
		}
	}
	if cost, ok := costByHand(rolls, pieces, rules, on); !ok || cost != c.Cost {
		rt.Fatalf("the cuts cost %+v (possible: %v), they say %+v", cost, ok, c.Cost)
	}
}

// A plant's own case by hand: 62 m and 41 m of belt, pieces of 40, 35 and 24 m, ends from 3 m kept. 40 from the 41 m roll
// leaves 1 m of waste and 35 + 24 from the other 3 m kept; 40 from the 62 m roll leaves 22 m, and then 35 from the 41 m roll
// leaves 6 m, but the 24 m piece is not to be had. So 1 m × 800 mm is the least waste with all cut.
func TestThreePiecesFromTwoRolls(t *testing.T) {
	rolls := []Roll{{LotID: 1, LengthMM: 62000, WidthMM: 800}, {LotID: 2, LengthMM: 41000, WidthMM: 800}}
	pieces := []Piece{{LengthMM: 40000, WidthMM: 800, Weight: 1}, {LengthMM: 35000, WidthMM: 800, Weight: 1}, {LengthMM: 24000, WidthMM: 800, Weight: 1}}
	c, err := BestCutting(context.Background(), rolls, pieces, CuttingRules{KeepMM: 3000})
	if err != nil || len(c.Uncut) != 0 || c.Cost.Waste != 1000*800 || c.Cost.Begun != 2 {
		t.Errorf("%+v, %v; want all cut, 0.8 m² wasted", c, err)
	}
}

// Martello and Toth's way of making an optimum known: rolls are cut up into pieces at random, so that all can be cut with no
// waste at all.
func TestSizesOfAPlantAreProvenQuickly(t *testing.T) {
	rng := uint64(7)
	next := func(n int64) int64 { rng = rng*6364136223846793005 + 1442695040888963407; return int64(rng>>33) % n }
	var rolls []Roll
	var pieces []Piece
	for r := range 5 {
		a, b := 20000+next(30000), 25000+next(30000)
		rolls = append(rolls, Roll{LotID: int64(r + 1), LengthMM: a + b + 4000, WidthMM: 1000})
		pieces = append(pieces, Piece{LengthMM: a, WidthMM: 1000, Weight: 1}, Piece{LengthMM: b, WidthMM: 1000, Weight: 1}, Piece{LengthMM: 4000, WidthMM: 1000, Weight: 1})
	}
	begun := time.Now()
	ctx, stop := context.WithTimeout(context.Background(), 10*time.Second)
	defer stop()
	c, err := BestCutting(ctx, rolls, pieces, CuttingRules{KeepMM: 3000})
	if err != nil || !c.Proven || c.Cost.Uncut != 0 || c.Cost.Waste != 0 {
		t.Errorf("%+v, %v; want 15 pieces cut from 5 rolls with no waste, proven", c, err)
	}
	t.Logf("15 pieces from 5 rolls: %v", time.Since(begun).Round(time.Millisecond))
}

func TestManyEqualPiecesStayProven(t *testing.T) {
	rolls := []Roll{{LengthMM: 50000, WidthMM: 1000}, {LengthMM: 17200, WidthMM: 1000, Offcut: true}, {LengthMM: 50000, WidthMM: 1000}}
	pieces := make([]Piece, 25)
	for i := range pieces {
		pieces[i] = Piece{LengthMM: 4000, WidthMM: 1000, Weight: 1}
	}
	c, err := BestCutting(context.Background(), rolls, pieces, CuttingRules{KeepMM: 500})
	// 4 from the offcut (1.2 m kept), then 12 + 9 from the others.
	if err != nil || !c.Proven || c.Cost.Uncut != 0 || c.Cost.Waste != 0 || c.Cost.Begun != 2 {
		t.Errorf("%+v, %v", c, err)
	}
}

func TestCuttingStopsWhenAskedTo(t *testing.T) {
	var rolls []Roll
	var pieces []Piece
	for i := range int64(18) {
		rolls = append(rolls, Roll{LengthMM: 400000 + i, WidthMM: 1000})
		pieces = append(pieces, Piece{LengthMM: 20000 + 137*i, WidthMM: 1000, Weight: 1})
	}
	ctx, stop := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer stop()
	begun := time.Now()
	c, err := BestCutting(ctx, rolls, pieces, CuttingRules{KeepMM: 2000})
	if err != nil || c.Proven || c.Cost.Uncut != 0 {
		t.Errorf("%+v, %v; want all cut and nothing claimed as proven", c.Cost, err)
	}
	if took := time.Since(begun); took > 2*time.Second {
		t.Errorf("came back after %v", took)
	}
}

func TestFiguresThatCannotBeCutAreRefused(t *testing.T) {
	roll, piece := Roll{LengthMM: 10, WidthMM: 10}, Piece{LengthMM: 5, WidthMM: 5, Weight: 1}
	for name, c := range map[string]struct {
		roll  Roll
		piece Piece
		rules CuttingRules
	}{
		"no length":      {Roll{WidthMM: 10}, piece, CuttingRules{}},
		"endless roll":   {Roll{LengthMM: 1 << 62, WidthMM: 10}, piece, CuttingRules{}},
		"negative piece": {roll, Piece{LengthMM: -5, WidthMM: 5, Weight: 1}, CuttingRules{}},
		"no weight":      {roll, Piece{LengthMM: 5, WidthMM: 5}, CuttingRules{}},
		"negative trim":  {roll, piece, CuttingRules{TrimMM: -1}},
	} {
		if _, err := BestCutting(context.Background(), []Roll{c.roll}, []Piece{c.piece}, c.rules); err != ErrRollFigures {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func BenchmarkBestCutting(b *testing.B) {
	for _, n := range []int{8, 12, 15} {
		b.Run(fmt.Sprintf("%d pieces from 6 rolls", n), func(b *testing.B) {
			rolls := make([]Roll, 6)
			for i := range rolls {
				rolls[i] = Roll{LengthMM: 90000 + int64(i)*7300, WidthMM: 1000}
			}
			pieces := make([]Piece, n)
			for i := range pieces {
				pieces[i] = Piece{LengthMM: 18000 + int64(i)*4100, WidthMM: 1000, Weight: 1}
			}
			for b.Loop() {
				if c, err := BestCutting(context.Background(), rolls, pieces, CuttingRules{KeepMM: 3000}); err != nil || !c.Proven {
					b.Fatal(c.Proven, err)
				}
			}
		})
	}
}
