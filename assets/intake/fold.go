package intake

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// fold returns a text as headings and words are compared: lower case, without accents, ß as ss, every run of other
// signs one blank. "Gurt-\nLänge" and "gurt lange" are the same.
func fold(s string) string {
	if ascii(s) {
		return foldASCII(s)
	}
	var b strings.Builder
	gap := false
	for _, r := range norm.NFKD.String(s) {
		switch {
		case unicode.Is(unicode.Mn, r):
			continue
		case r == 'ß':
			gap = glue(&b, gap)
			b.WriteString("ss")
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			gap = glue(&b, gap)
			b.WriteRune(unicode.ToLower(r))
		default:
			gap = true
		}
	}
	return b.String()
}

// glue writes the one blank that stands for a run of signs and returns that none is owed any more.
func glue(b *strings.Builder, gap bool) bool {
	if gap && b.Len() > 0 {
		b.WriteByte(' ')
	}
	return false
}

func ascii(s string) bool {
	for i := range len(s) {
		if s[i] >= 0x80 {
			return false
		}
	}
	return true
}

// foldASCII is fold for the plain texts that most cells hold.
func foldASCII(s string) string {
	out := make([]byte, 0, len(s))
	gap := false
	for i := range len(s) {
		c := s[i]
		switch {
		case 'A' <= c && c <= 'Z':
			c += 'a' - 'A'
		case 'a' <= c && c <= 'z', '0' <= c && c <= '9':
		default:
			gap = true
			continue
		}
		if gap && len(out) > 0 {
			out = append(out, ' ')
		}
		gap = false
		out = append(out, c)
	}
	return string(out)
}

// trimmed takes blanks of every kind off both ends, tabs and line ends included.
func trimmed(s string) string { return strings.TrimFunc(s, unicode.IsSpace) }

// kept is a text as the register keeps it: without blanks at its ends, but with a tab or line end that begins it, because
// what begins like a formula is data too.
func kept(s string) string {
	return strings.TrimRightFunc(strings.TrimLeft(s, " \u00a0"), unicode.IsSpace)
}

// emptyWords stand for a cell with nothing in it.
var emptyWords = set("n a", "na", "tbc", "tba", "k a", "s d", "unknown", "unbekannt", "desconocido", "desconocida", "not known", "nicht bekannt", "sin dato", "sin datos", "none", "nil")

// noWord tells whether a text stands for an empty cell: nothing, dashes, question marks, or one of the words for it.
func noWord(s string) bool {
	s = trimmed(s)
	if s == "" {
		return true
	}
	if len(s) > 24 {
		return false
	}
	if strings.Trim(s, "-–—?. /") == "" {
		return true
	}
	return emptyWords[fold(s)]
}

func set(words ...string) map[string]bool {
	m := make(map[string]bool, len(words))
	for _, w := range words {
		m[w] = true
	}
	return m
}
