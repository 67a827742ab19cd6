package calc

import (
	"encoding/json"
	"strings"
	"testing"
)

// FuzzAnswer holds that no document makes a kind panic, that a failure is one line, and that every answer is a result or a class with
// a sentence.
func FuzzAnswer(f *testing.F) {
	for _, seed := range []string{
		`[]`, `{}`, `null`, `[{` + mass + `}]`, `{"lengths": [{"id": 1, "typed": "5'-3 1/2\""}], "factors": [{"value": "1", "unit": "psi", "si_unit": "MPa"}]}`,
		`{"temperatures": [{"value": "32", "unit": "degF", "other_unit": "degC"}], "si_shown_in_us": [{"mm": "600"}]}`,
		`[{"input": {"arrangement": "crossed", "centre_distance_mm": 3000, "diameter_large_mm": 250, "diameter_small_mm": 250, "belt_thickness_mm": 4}}]`,
		`[{"input": {"sense": "clockwise", "belt_thickness_mm": 1e-320, "pulleys": [{"x_mm": 0, "y_mm": 0, "diameter_mm": 300, "face": "inner"}, {"x_mm": 1e9, "y_mm": -0, "diameter_mm": 1e-320, "face": "outer"}]}}]`,
		`[{"what": "take-up", "input": {"position_new_belt_mm": 60, "position_now_mm": 420, "end_of_travel_mm": 900, "cut_out_mm": 1e-320, "splice_overlap_mm": 0}}]`,
		`[{"what": "fingers across the width", "input": {"width_mm": 1e9, "pitch_mm": 5e-324, "finger_length_mm": 80}}]`,
		`[{"what": "stepped splice", "input": {"plies": 1e15, "step_mm": 200, "width_mm": 1000, "bias_per_width": 1e300, "trim_each_end_mm": 0}}]`,
		`[{"what": "roll length from turns", "input": {"outer_mm": 620, "core_mm": 110, "turns": 85}}]`,
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, document []byte) {
		for _, kind := range []string{"loop", "two-pulleys", "cutting", "units"} {
			answers, err := Answer(kind, document, Beside{})
			if err != nil {
				if strings.Contains(err.Error(), "\n") || answers != nil {
					t.Fatalf("%s: %q with %v", kind, err, answers)
				}
				continue
			}
			for _, a := range answers {
				if (a.Class == "") != (a.Text == "") || (a.Class == "") == (a.Result == nil) {
					t.Fatalf("%s: half an answer: %+v", kind, a)
				}
				if _, err := json.Marshal(a); err != nil {
					t.Fatalf("%s: an answer that cannot be written: %v", kind, err)
				}
			}
		}
	})
}
