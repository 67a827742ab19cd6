package drawing

import (
	"strings"
	"testing"
)

func TestWordsUnderANarrowRowAreBrokenAndNotCut(t *testing.T) {
	says := "No stop fits: isolated together with T2 and G1, which no stop in front stops too"
	lines := underLines(says)
	if len(lines) < 2 || strings.Join(lines, " ") != says {
		t.Fatalf("%q", lines)
	}
	for _, line := range lines {
		if w := wide(line, 14); w > 319 {
			t.Errorf("%q is %.0f wide; the sheet has 319 from its words on", line, w)
		}
	}
	short, long := HorizonBelt{Says: "18 Jan would fit"}, HorizonBelt{Says: "x", Under: says}
	if narrowRow(&short) != 44 || narrowRow(&long) <= 44 {
		t.Errorf("rows %.0f and %.0f high", narrowRow(&short), narrowRow(&long))
	}
}
