package workbook

import (
	"bytes"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Any text comes back as it was written. Characters that XML cannot hold become the replacement character: the
// file stays whole.
func TestAnyTextComesBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		texts := rapid.SliceOfN(rapid.OneOf(rapid.String(), rapid.StringMatching(`_x00[0-9A-F]{2}_`), rapid.StringMatching(`[ \t\n=&<>"']{1,8}`)), 1, 6).Draw(rt, "texts")
		w, err := NewWriter(Properties{Title: "x", Made: made})
		if err != nil {
			rt.Fatal(err)
		}
		defer w.Close()
		s, err := w.AddSheet("S", []Column{{Heading: "a", Wrap: true}}, Layout{})
		if err != nil {
			rt.Fatal(err)
		}
		for _, text := range texts {
			s.Text(text)
			if err := s.EndRow(); err != nil {
				rt.Fatal(err)
			}
		}
		var b bytes.Buffer
		if _, err := w.WriteTo(&b); err != nil {
			rt.Fatal(err)
		}
		f := open(t, b.Bytes())
		for i, text := range texts {
			got, err := f.GetCellValue("S", cellName(i+2))
			if err != nil {
				rt.Fatal(err)
			}
			if want := strings.Map(whole, strings.ToValidUTF8(text, "\ufffd")); got != want {
				rt.Fatalf("%q came back as %q, want %q", text, got, want)
			}
		}
	})
}

func cellName(row int) string { return "A" + string(rune('0'+row)) }

// whole is what XML 1.0 (section 2.2) lets a character be; a line is ended by a line feed (section 2.11).
func whole(r rune) rune {
	switch {
	case r == '\t' || r == '\n' || r == '\r' || r >= 0x20 && r <= 0xd7ff || r >= 0xe000 && r <= 0xfffd || r >= 0x10000:
		return r
	}
	return 0xfffd
}

func TestHeightFollowsTheLinesOfText(t *testing.T) {
	for text, want := range map[string]int{
		"": 1, "short": 1, "two words": 2, "a\nb\nc": 3, "abcdefghijklmnopqrstuvwxyz": 4, "one two three four": 3,
	} {
		if got := wrapped(text, 8); got != want {
			t.Errorf("%q stands on %d lines of 8 letters, want %d", text, got, want)
		}
	}
}
