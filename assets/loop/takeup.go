package loop

import (
	"math/big"

	"carryside/assets/unit"
)

// TakeUp is a take-up's scale, which may run either way, and what one re-splice takes out of the loop.
type TakeUp struct {
	NewBeltMM float64 // reading with a new belt
	NowMM     float64
	EndMM     float64 // reading at the end of travel
	CutOutMM  float64 // length cut out with the old splice
	OverlapMM float64 // overlap of the new splice
}

// Budget is what a take-up has left.
type Budget struct {
	UsedPercent   float64 // below zero when tighter than with a new belt
	ShortenedMM   float64 // by one re-splice, of the loop
	TravelMM      float64 // that one re-splice gives back
	ResplicesLeft int
}

// Budget gives used = (now - new) / (end - new), shortening = cut-out + overlap, half of it in travel, and re-splices
// left = floor(2 x |now - new| / shortening), in exact decimals; none when the take-up stands tighter than with a new
// belt, for then there is nothing to give back. Formula common practice; orders are usually raised at 60 and 85 %
// used, common practice too.
//
// It returns a Refused for a scale without length, and a shortening that is not above zero.
func (t TakeUp) Budget() (Budget, error) {
	if err := t.check(); err != nil {
		return Budget{}, err
	}
	start, now, end := unit.Exact(t.NewBeltMM), unit.Exact(t.NowMM), unit.Exact(t.EndMM)
	given := new(big.Rat).Sub(now, start)
	share := new(big.Rat).Quo(given, end.Sub(end, start))
	shortening := new(big.Rat).Add(unit.Exact(t.CutOutMM), unit.Exact(t.OverlapMM))
	left := new(big.Rat)
	if share.Sign() > 0 {
		left.Quo(given.Abs(given), shortening).Mul(left, big.NewRat(2, 1))
	}
	count := floorOf(left)
	if count > maxResplices {
		return Budget{}, bad("cut_out_mm", "a shortening of %g mm leaves more than a million re-splices; correct the cut-out or the overlap", t.CutOutMM+t.OverlapMM)
	}
	b := Budget{ResplicesLeft: int(count)}
	b.UsedPercent, _ = share.Mul(share, big.NewRat(100, 1)).Float64()
	b.ShortenedMM, _ = shortening.Float64()
	b.TravelMM, _ = shortening.Mul(shortening, big.NewRat(1, 2)).Float64()
	return b, nil
}

const maxResplices = 1_000_000

func (t TakeUp) check() error {
	if err := first(
		inRange("position_new_belt_mm", "the new-belt position", t.NewBeltMM),
		inRange("position_now_mm", "the position now", t.NowMM),
		inRange("end_of_travel_mm", "the end of travel", t.EndMM),
		atLeast0("cut_out_mm", "the length cut out", t.CutOutMM),
		atLeast0("splice_overlap_mm", "the splice's overlap", t.OverlapMM),
	); err != nil {
		return err
	}
	if t.EndMM == t.NewBeltMM {
		return bad("end_of_travel_mm", "the take-up's travel is zero; its end must differ from the new-belt position")
	}
	if t.CutOutMM+t.OverlapMM == 0 {
		return bad("cut_out_mm", "a re-splice takes something out of the loop; give the length cut out or the overlap")
	}
	return nil
}

// FingerResplice is what remaking a finger splice takes out of the loop: one finger length and the trim of both ends
// are cut out, and the new fingers overlap by their length. Common practice; what was really cut out is asked for when
// the work is closed.
//
// It returns a Refused for a finger length that is not above zero or a trim below it.
func FingerResplice(fingerLengthMM, trimEachEndMM float64) (cutOutMM, overlapMM float64, err error) {
	err = first(above("finger_length_mm", "the finger length", fingerLengthMM), atLeast0("trim_each_end_mm", "the trim", trimEachEndMM))
	if err != nil {
		return 0, 0, err
	}
	return fingerLengthMM + 2*trimEachEndMM, fingerLengthMM, nil
}

// SteppedResplice is what remaking a stepped splice takes out of the loop: the whole old splice and the trim of both
// ends are cut out along its bias, and the new splice overlaps by its steps. Common practice.
//
// It returns a Refused for splice lengths that are not above zero or a trim below it.
func SteppedResplice(oldSpliceMM, newSpliceMM, trimEachEndMM float64) (cutOutMM, overlapMM float64, err error) {
	err = first(
		above("old_splice_mm", "the old splice's length", oldSpliceMM),
		above("new_splice_mm", "the new splice's length", newSpliceMM),
		atLeast0("trim_each_end_mm", "the trim", trimEachEndMM),
	)
	if err != nil {
		return 0, 0, err
	}
	return oldSpliceMM + 2*trimEachEndMM, newSpliceMM, nil
}
