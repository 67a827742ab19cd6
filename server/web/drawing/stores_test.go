package drawing

import (
	"strings"
	"testing"
	"time"
)

func noon(d int) time.Time { return time.Date(2026, 12, d, 12, 0, 0, 0, time.UTC) }

func TestALotIsDrawnAsLongAsItIsGood(t *testing.T) {
	got := string(OfShelf(ShelfStrip{Sentence: "lots", From: noon(1), To: noon(31), Now: noon(2), Zone: time.UTC,
		Groups: []ShelfGroup{{Name: "Tie <gum>", Lots: []ShelfLot{{Words: "lot 7710", Until: noon(16), UntilWords: "good to 16 Dec", Takes: []ShelfTake{{At: noon(12)}, {At: noon(20), Missing: true, Words: "415: 11 kg lacking"}}},
			{Words: "lot 1", UntilWords: "does not age"}}}}, Stops: []ShelfStop{{noon(12), "412"}, {noon(12), "413"}}}))
	// The strip runs from 150 to 928 px over 30 days: 15 days are 389 px.
	for _, want := range []string{`<rect class="wash2f" x="150" y="38" width="389" height="14"/>`, `<rect class="wash2f" x="150" y="77" width="778" height="14"/>`, "Tie &lt;gum&gt;", "415: 11 kg lacking", `class="nofit"`, ">412<", `role="img"`} {
		if !strings.Contains(got, want) {
			t.Errorf("%s is not in %s", want, got)
		}
	}
	if strings.Contains(got, ">413<") {
		t.Error("two stops of a day are named over each other")
	}
}

func TestKitIsInOnePlaceAtATime(t *testing.T) {
	got := string(OfWhereabouts(Whereabouts{Sentence: "kit", From: noon(1), To: noon(31), Zone: time.UTC, Rows: []WhereRow{{Name: "Press 1", Home: "workshop",
		Spans: []WhereSpan{{From: noon(3), To: noon(13), Kind: AtCheck, Words: "service"}, {From: noon(10), To: noon(16), Words: "412"}, {From: noon(20), To: noon(22), Kind: NotFree, Words: "not free"}}}}}))
	// 120 to 928 px over 30 days: 26.93 px a day. What overlaps begins where the one before ends: 120 + 12 x 26.93 = 443.2.
	for _, want := range []string{`<rect class="washf" x="120" y="31" width="53.9" height="24"/>`, `<rect class="chalkw" x="173.9" y="31" width="269.3" height="24"/>`, `<rect class="inkf" x="443.2" y="31" width="80.8" height="24"/>`, `class="w-off"`} {
		if !strings.Contains(got, want) {
			t.Errorf("%s is not in %s", want, got)
		}
	}
}

func TestARollShowsWhatIsLeftAndTheNextCutsAtItsEnd(t *testing.T) {
	for _, narrow := range []bool{false, true} {
		got := string(OfUnrolled(Unrolled{Sentence: "roll", Whole: 50, Left: 17.2, Unit: "m", Point: 8, Cuts: []RollCut{{4, "412", true}, {4, "415", false}}, Narrow: narrow}))
		for _, want := range []string{">412<", "32.8 m used", "9.2 m", "order again at 8 m", `class="ask"`} {
			if !strings.Contains(got, want) {
				t.Errorf("narrow %v: %s is not in %s", narrow, want, got)
			}
		}
	}
	// An empty item draws nothing beyond its frame, whatever the figures.
	if got := string(OfUnrolled(Unrolled{})); strings.Contains(got, "NaN") || strings.Contains(got, "Inf") {
		t.Error(got)
	}
}

func TestRollsStandAtOneScale(t *testing.T) {
	got := string(OfRolls(RollsCut{Sentence: "rolls", Longest: 100, Rows: []RollRow{{Head: "26-0311", Length: 100, Cuts: []RollCut{{60, "418: 60 m", true}}, Rest: "40 m kept"}, {Head: "22-0840", Length: 50, Cuts: []RollCut{{49, "x", true}}, Rest: "1 m wasted", Waste: true}}}))
	for _, want := range []string{`width="664" height="14"`, `width="332" height="14"`, "418: 60 m", `class="nofit"`, "40 m kept"} {
		if !strings.Contains(got, want) {
			t.Errorf("%s is not in %s", want, got)
		}
	}
}
