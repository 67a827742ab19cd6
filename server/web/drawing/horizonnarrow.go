package drawing

import (
	"html/template"
	"strings"
)

// OfHorizonNarrow draws the sheet for a telephone: tag and taper, the words under each row.
func OfHorizonNarrow(h Horizon) template.HTML {
	const head = 28.0
	z := hzSheet{h: &h, width: 358}
	z.a = axis{from: h.Now, until: h.Until, left: 34, right: 350}
	foot := 30.0
	for i := range h.Groups {
		foot += head + narrowRows(h.Groups[i].Belts)
	}
	z.open("hz narrow", 358, foot+4, true, h.Sentence)
	z.path("st-ink", "M34 26V"+num(foot))
	z.text("b s", 31, 20, "end", "now")
	z.monthNames(20, 8, 30)
	z.path("thin", "M34 30H350")
	y := 30.0
	for i := range h.Groups {
		g := &h.Groups[i]
		y += head
		z.text("l b halo", 0, y-4, "", g.Name)
		z.path("thin", "M0 "+num(y)+"H358")
		for k := range g.Stops {
			if st := &g.Stops[k]; st.From.Before(z.a.until) && st.To.After(z.a.from) {
				x, w := z.box(st.From, st.To, 7)
				class := "win"
				if st.Asked {
					class = "ask"
				}
				z.rect(class, x, y-2, w, narrowRows(g.Belts))
			}
		}
		for k := range g.Belts {
			z.narrowBelt(&g.Belts[k], y)
			y += narrowRow(&g.Belts[k])
		}
	}
	z.close()
	return z.html()
}

// narrowLine is the height of a line of words below a row of the narrow sheet.
const narrowLine = 15.0

// narrowRow is the height of a belt's row with the words below it.
func narrowRow(b *HorizonBelt) float64 {
	return 44 + narrowLine*float64(len(underLines(b.under()))-1)
}

func narrowRows(belts []HorizonBelt) float64 {
	y := 0.0
	for i := range belts {
		y += narrowRow(&belts[i])
	}
	return y
}

// under is what stands below a row of the narrow sheet.
func (b *HorizonBelt) under() string {
	if b.Under != "" {
		return b.Under
	}
	return b.Says
}

// underLines breaks the words below a row where the narrow sheet ends.
func underLines(says string) []string {
	out := []string{""}
	for _, word := range strings.Fields(says) {
		last := &out[len(out)-1]
		switch {
		case *last == "":
			*last = word
		case wide(*last+" "+word, 14) > 314:
			out = append(out, word)
		default:
			*last += " " + word
		}
	}
	return out
}

// narrowTag draws a tag of five or six letters narrower, so that it ends before the line of now. A longer one stands over it.
func narrowTag(tag string) string {
	if n := len([]rune(tag)); n < 5 || n > 6 {
		return ""
	}
	return ` textLength="32" lengthAdjust="spacingAndGlyphs"`
}

func (z *hzSheet) narrowBelt(b *HorizonBelt, y float64) {
	z.raw(`<a class="hot" href="`, escape(b.To), `"><rect class="ring" x="0" y="`, num(y+2), `" width="30" height="40" fill-opacity="0"/><text class="b l halo" x="0" y="`, num(y+21), `"`, narrowTag(b.Tag), `>`, escape(b.Tag), `</text></a>`)
	z.course(b, y+16)
	says := b.under()
	for i := range b.Works {
		z.work(&b.Works[i], y+16, hzBlock, false)
	}
	lines := underLines(says)
	switch {
	case b.Alarm && len(lines) == 1:
		z.rect("inkf", 36, y+29, wide(says, 14)+10, 14)
		z.text("onink b s", 40, y+41, "", says)
	case b.Alarm:
		z.rect("inkf", 36, y+29, 318, 14+narrowLine*float64(len(lines)-1))
		for i, line := range lines {
			z.text("onink b s", 40, y+41+narrowLine*float64(i), "", line)
		}
	default:
		for i, line := range lines {
			z.text("d s halo", 39, y+41+narrowLine*float64(i), "", line)
		}
	}
	z.path("hairl", "M0 "+num(y+narrowRow(b))+"H358")
}
