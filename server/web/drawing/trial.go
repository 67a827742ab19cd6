package drawing

import (
	"fmt"
	"html/template"
)

// Trial is how many records a list would make, change, leave and how many rows it holds back or refuses.
type Trial struct{ Made, Changed, Same, Held, Refused int }

const (
	trialW = 640.0
	trialH = 20.0
)

// OfTrial draws the rows of a list as one bar: filled, hatched, open, chalk, crossed. What is there is at
// least wide enough to be seen.
func OfTrial(t Trial) template.HTML {
	parts := []struct {
		n    int
		kind string
	}{{t.Made, "inkf"}, {t.Changed, "hatch"}, {t.Same, "win"}, {t.Held, "chalkf"}, {t.Refused, "nofit"}}
	all, there := 0, 0
	for _, p := range parts {
		all += p.n
		if p.n > 0 {
			there++
		}
	}
	if all == 0 {
		return ""
	}
	var s svg
	s.open("", trialW, trialH, false, fmt.Sprintf("%d new, %d changed, %d the same, %d held, %d refused", t.Made, t.Changed, t.Same, t.Held, t.Refused))
	const least, gap = 8.0, 3.0
	room := trialW - 2 - float64(there)*(least+gap)
	x := 1.0
	for _, p := range parts {
		if p.n == 0 {
			continue
		}
		w := least + room*float64(p.n)/float64(all)
		s.trialPart(p.kind, x, w)
		x += w + gap
	}
	s.close()
	return s.html()
}

func (s *svg) trialPart(kind string, x, w float64) {
	switch kind {
	case "hatch":
		s.rect("win", x, 1, w, 18)
		d := ""
		for h := x; h+7 <= x+w; h += 7 {
			d += "M" + num(h) + " 19l7-18"
		}
		s.path("thin", d)
	case "nofit":
		s.rect("nofit", x, 1, w, 18)
		s.path("thin nof", "M"+num(x)+" 1L"+num(x+w)+" 19M"+num(x)+" 19L"+num(x+w)+" 1")
	default:
		s.rect(kind, x, 1, w, 18)
	}
}
