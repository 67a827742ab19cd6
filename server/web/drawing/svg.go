package drawing

import (
	"html/template"
	"math"
	"strconv"
)

// svg writes elements. Numbers are cut to a tenth of a pixel: finer is not seen and costs bytes.
type svg struct{ b []byte }

// num writes a number with at most one decimal, never "-0". A list's page holds some thousands of them, so
// they are written from whole tenths.
func num(x float64) string {
	tenths := math.Round(x * 10)
	if !(math.Abs(tenths) < 1e15) {
		return "0" // nothing of ours lies there
	}
	n := int64(tenths)
	if n%10 == 0 {
		return strconv.FormatInt(n/10, 10)
	}
	var buf [24]byte
	b := buf[:0]
	if n < 0 {
		b, n = append(b, '-'), -n
	}
	b = strconv.AppendInt(b, n/10, 10)
	return string(append(b, '.', byte('0'+n%10)))
}

func escape(s string) string { return template.HTMLEscapeString(s) }

func (s *svg) raw(parts ...string) {
	for _, p := range parts {
		s.b = append(s.b, p...)
	}
}

// open begins a drawing of w by h units. One that is a group of links is described by them, any other is an
// image with one sentence.
func (s *svg) open(class string, w, h float64, group bool, sentence string) {
	role := "img"
	if group {
		role = "group"
	}
	s.raw("<svg")
	if class != "" {
		s.raw(` class="`, class, `"`)
	}
	s.raw(` viewBox="0 0 `, num(w), " ", num(h), `" width="`, num(w), `" height="`, num(h), `" role="`, role, `" aria-label="`, escape(sentence), `">`)
}

func (s *svg) close() { s.raw("</svg>") }

func (s *svg) path(class, d string) { s.raw(`<path class="`, class, `" d="`, d, `"/>`) }

func (s *svg) rect(class string, x, y, w, h float64) {
	s.raw(`<rect class="`, class, `" x="`, num(x), `" y="`, num(y), `" width="`, num(math.Max(w, 0)), `" height="`, num(h), `"/>`)
}

func (s *svg) circle(class string, x, y, r float64) {
	s.raw(`<circle class="`, class, `" cx="`, num(x), `" cy="`, num(y), `" r="`, num(r), `"/>`)
}

// text writes a word; anchor "" is start.
func (s *svg) text(class string, x, y float64, anchor, word string) {
	s.raw(`<text`)
	if class != "" {
		s.raw(` class="`, class, `"`)
	}
	s.raw(` x="`, num(x), `" y="`, num(y), `"`)
	if anchor != "" {
		s.raw(` text-anchor="`, anchor, `"`)
	}
	s.raw(">", escape(word), "</text>")
}

func (s *svg) html() template.HTML { return template.HTML(s.b) }

// wide estimates how many pixels a word needs in the condensed face of drawings at a size.
func wide(word string, size float64) float64 {
	return float64(len([]rune(word))) * size * 0.43
}
