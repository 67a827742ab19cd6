package drawing

import (
	"html/template"
	"math"
	"strconv"
)

// Used is the life used of a splice: its age on the deciding clock over the age that sets its date.
type Used struct {
	Share   float64 // 1.06 is 106 %
	Known   bool    // false: no date it was made, or nothing that sets its date
	AtLeast bool    // the age is a lower bound: shown as 'at least', counted in the band it reaches
	Says    string  // in place of the percentage: "no rule", "S2 106 %"
	Name    string  // put before the percentage: "S2"
}

// Band is a step of the seam ramp.
type Band int

// Bands, from hardly used to past; Unknown stands aside.
const (
	Tight Band = iota
	Settled
	Opening
	Past
	Unknown
)

// bounds are the lower ends of the bands; a share on a bound is in the higher band.
var bounds = [...]float64{Settled: 0.5, Opening: 0.8, Past: 1}

// Band returns the step of the ramp.
func (u Used) Band() Band {
	if !u.Known || math.IsNaN(u.Share) {
		return Unknown
	}
	band := Tight
	for b := Settled; b <= Past; b++ {
		// The percentage beside the mark is rounded; 79.96 % reads 80 % and must not look like less.
		if math.Round(u.Share*100) >= bounds[b]*100 {
			band = b
		}
	}
	return band
}

var tokens = [...]string{"tight", "settled", "opening", "past", "unknown"}
var bandWords = [...]string{"under 50\u00a0%", "50 to 80\u00a0%", "80 to 100\u00a0%", "past best age or rule", "age not known"}

// Token is the band's name in the style sheet.
func (b Band) Token() string { return tokens[b] }

// Word says the band.
func (b Band) Word() string { return bandWords[b] }

// Token is the name of the mark's band in the style sheet.
func (u Used) Token() string { return u.Band().Token() }

// Percent is the share as shown: "106 %", "at least 40 %".
func (u Used) Percent() string {
	if !u.Known || math.IsNaN(u.Share) {
		return "not known"
	}
	p := strconv.Itoa(int(math.Round(math.Min(u.Share, 99)*100))) + "\u00a0%"
	if u.AtLeast {
		return "at least " + p
	}
	return p
}

// Text stands beside the mark.
func (u Used) Text() string {
	text := u.Says
	if text == "" {
		text = u.Percent()
	}
	if u.Name != "" {
		return u.Name + " " + text
	}
	return text
}

// shapes are the marks; a belt runs along x, a mark stands across it.
var shapes = [...]string{
	`<circle r="3.1"/>`,
	`<path d="M-1.1-4.2A4.2 4.2 0 0 0-1.1 4.2ZM1.1-4.2A4.2 4.2 0 0 1 1.1 4.2Z"/>`,
	`<path d="M-1.5-5.2V5.2L-7 0ZM1.5-5.2V5.2L7 0Z"/>`,
	`<path d="M-2.6-6V6L-9.4 0ZM2.6-6V6L9.4 0ZM-1-8.5H1V8.5H-1Z"/>`,
	`<circle r="3.8"/>`,
}

// Mark is the mark alone, for a table or a key.
func (u Used) Mark() template.HTML { return marks[u.Band()] }

// marks are drawn once: a list shows hundreds of them.
var marks = func() (m [len(shapes)]template.HTML) {
	for b := range shapes {
		m[b] = template.HTML(`<svg class="mark" width="26" height="22" viewBox="-13 -11 26 22" aria-hidden="true"><g class="seam k-` +
			tokens[b] + `"><g transform="scale(1.15)">` + shapes[b] + `</g></g></svg>`)
	}
	return m
}()

// Ramp is the key of the seam ramp: every band with its word.
func Ramp() []Used {
	return []Used{
		{Known: true, Share: 0.2, Says: Tight.Word()}, {Known: true, Share: 0.6, Says: Settled.Word()},
		{Known: true, Share: 0.9, Says: Opening.Word()}, {Known: true, Share: 1.1, Says: Past.Word()},
		{Says: Unknown.Word()},
	}
}

// seam draws a mark on a belt at a place, turned with it; angle in degrees, clockwise on the page.
func (s *svg) seam(u Used, x, y, angle, scale float64) {
	b := u.Band()
	s.raw(`<g class="seam k-`, tokens[b], `" transform="translate(`, num(x), " ", num(y), ")")
	if a := num(angle); a != "0" && b != Tight && b != Unknown { // those two are round
		s.raw(" rotate(", a, ")")
	}
	s.raw(" scale(", strconv.FormatFloat(scale, 'f', -1, 64), `)">`, shapes[b], "</g>")
}
