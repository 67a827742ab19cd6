package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/PuerkitoBio/goquery"

	"carryside/assets"
)

// twoPulleys is the shortest list: 320 and 400 mm at 8 m centres, belt of no thickness. Its length is the
// open-belt closed form of machine handbooks, L = 2 √(C² − (R−r)²) + π (R+r) + 2 (R−r) asin((R−r)/C):
// 15 999.6 + 1 131.0 + 0.4 = 17 131.2 mm.
func twoPulleys() url.Values {
	return url.Values{"rows": {"2"}, "p1_role": {"tail"}, "p1_x": {"0"}, "p1_y": {"0"}, "p1_diameter": {"320"}, "p2_role": {"head"}, "p2_x": {"8"}, "p2_y": {"0"}, "p2_diameter": {"400"}, "thickness": {"0"}}
}

// resultOf is the value beside a result of the calculator.
func resultOf(d *goquery.Document, what string) string {
	found := "not there"
	d.Find("td.tag").Each(func(_ int, s *goquery.Selection) {
		if strings.ReplaceAll(s.Text(), nb, " ") == what {
			found = strings.ReplaceAll(s.Next().Text(), nb, " ")
		}
	})
	return found
}

func TestCutLengthOfAPulleyList(t *testing.T) {
	v := as(t, skarrow(), assets.RoleTechnician)
	form := twoPulleys()
	form.Set("stretch", "0.2")
	form.Set("allowance", "300")
	form.Set("splices", "1")
	d := v.post("/plants/3/calculator", form, http.StatusOK)
	if got := resultOf(d, "Round the pulleys"); got != "17.131 m" {
		t.Errorf("the loop is %s, want 17.131 m", got)
	}
	// 17 131.2 / 1.002 + 300 = 17 397.0 mm by hand.
	if got := resultOf(d, "Cut"); got != "17.397 m" {
		t.Errorf("cut %s, want 17.397 m", got)
	}
	if words := text(d, "section svg"); !strings.Contains(words, "1 tail") || !strings.Contains(words, "2 head") {
		t.Errorf("the loop is not drawn with its numbers: %q", words)
	}
	if d.Find(".caution li").Length() == 0 {
		t.Error("no caution beside the figures")
	}
}

func TestWrongInputOfTheCalculatorKeepsWhatWasTyped(t *testing.T) {
	v := as(t, skarrow(), assets.RoleTechnician)
	form := twoPulleys()
	form.Set("p2_x", "eight")
	form.Set("fi_width", "-4")
	form.Set("across", "1480")
	v.refused("/plants/3/calculator", form, "p2_x", "fi_width")
	form.Set("p2_x", "0.1") // pulleys that overlap are not a field's fault
	form.Set("fi_width", "1400")
	d := v.post("/plants/3/calculator", form, http.StatusOK)
	if got := text(d, ".note.bad"); !strings.Contains(got, "overlap") {
		t.Errorf("pulleys in each other: %q", got)
	}
}

// TestPartsOfTheCalculator: fingers of 60 mm in 1 400 mm leave 20 mm, less than half a finger; a roll of
// 1 480 mm on a 350 mm core with 15 mm belt holds π (1.48² − 0.35²) / (4 × 0.015) = 108.275 m; 25.6 kg/m² over
// 1.4 m and 10 m are 358.4 kg; a take-up 2.02 m used, 1.36 m shortening leaves floor(2 × 2.02 / 1.36) = 2;
// four plies of 250 mm steps make 750 mm (sums by hand).
func TestPartsOfTheCalculator(t *testing.T) {
	v := as(t, skarrow(), assets.RoleAuditor)
	form := url.Values{"fi_width": {"1400"}, "pitch": {"60"}, "finger": {"800"}, "fi_trim": {"50"},
		"across": {"1480"}, "core": {"350"}, "ro_thick": {"15"}, "ma_width": {"1400"}, "ma_length": {"10"}, "ma_area": {"25.6"},
		"ta_new": {"0"}, "ta_now": {"2020"}, "ta_end": {"3400"}, "ta_cut": {"800"}, "ta_over": {"560"},
		"plies": {"4"}, "step": {"250"}, "st_width": {"1400"}, "bias": {"0"}}
	d := v.post("/plants/3/calculator", form, http.StatusOK)
	for what, want := range map[string]string{"Fingers": "23", "Left over at the edge": "20 mm outside", "Belt on it": "108.275 m", "Mass": "358.4 kg", "Re-splices left": "2",
		"Splice along the belt": "750 mm", "Adds to the cut length": "750 mm", "The lift": "needs a plan", "A re-splice shortens the loop by": "1 700 mm"} {
		if got := resultOf(d, what); got != want {
			t.Errorf("%s is %q, want %q", what, got, want)
		}
	}
	d.Find("td.small .why").Each(func(_ int, s *goquery.Selection) {
		if !strings.Contains("ABCDP", s.Text()[:1]) {
			t.Errorf("a result rests on %q", s.Text())
		}
	})
}

func TestTheCalculatorFillsInFromAConveyor(t *testing.T) {
	v := as(t, skarrow(), assets.RolePlanner)
	d := v.get("/plants/3/calculator?conveyor=q3")
	if got := text(d, "title"); !strings.HasPrefix(got, "Calculator, Q3") {
		t.Errorf("title %q", got)
	}
	if got := d.Find("#f-ta_now").AttrOr("value", ""); got != "2020" {
		t.Errorf("take-up now %q, measured 2.02 m", got)
	}
	if got := d.Find("#f-ma_width").AttrOr("value", ""); got != "1400" {
		t.Errorf("width %q", got)
	}
	if got := text(d, ".note.bad"); !strings.HasPrefix(got, "Give x and y of every pulley") {
		t.Errorf("without places it says %q", got)
	}
	if d = v.get("/plants/3/calculator?empty=yes"); d.Find("#f-ma_width").AttrOr("value", "") != "" {
		t.Error("the empty page is not empty")
	}
}

func TestTheCalculatorInInches(t *testing.T) {
	f := skarrow()
	f.frames[0].Plant.UnitSystem = assets.UnitsUS
	v := as(t, f, assets.RolePlanner)
	d := v.post("/plants/3/calculator", url.Values{"fi_width": {"24"}, "pitch": {"1"}, "finger": {"3 1/2"}}, http.StatusOK)
	if got := resultOf(d, "Fingers"); got != "24" { // 609.6 / 25.4, exactly
		t.Errorf("%s fingers, want 24", got)
	}
}
