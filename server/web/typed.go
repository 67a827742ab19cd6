package web

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"carryside/assets"
)

// This file holds what is asked of every field alike, whatever its form is of.

// The most characters a field takes: a line of text, a line as wide as the form, several lines. Our own choice,
// far above any name or note that a person types.
const (
	mostOfLine = 200
	mostOfWide = 1000
	mostOfArea = 4000
)

// most is how many characters the field takes; 0: it is not typed.
func (fd *Field) most() int {
	switch {
	case fd.Kind == "area":
		return mostOfArea
	case fd.Kind == "text" && fd.Wide:
		return mostOfWide
	case fd.Kind == "text", fd.Kind == "number", fd.Kind == "date", fd.Kind == "datetime-local", fd.Kind == "password":
		return mostOfLine
	}
	return 0
}

// unfit says why what was typed cannot be kept, whatever it means; "" when it can. A control character shows
// as nothing or as a box, and not every database keeps it.
func (fd *Field) unfit() string {
	most := fd.most()
	if n := utf8.RuneCountInString(fd.Value); most > 0 && n > most {
		return fmt.Sprintf("this has %d characters and takes %d at most; shorten it", n, most)
	}
	if !utf8.ValidString(fd.Value) {
		return "this is no text in UTF-8; type it again"
	}
	for _, c := range fd.Value {
		if unicode.IsControl(c) && !(fd.Kind == "area" && strings.ContainsRune("\r\n\t", c)) {
			return fmt.Sprintf("this holds the control character U+%04X, which cannot be shown; delete it and type the text again", c)
		}
	}
	return ""
}

// touched tells whether something else stands in the field than was shown; blanks and line ends do not count,
// because a browser sends them its own way.
func (fd *Field) touched() bool {
	return strings.Join(strings.Fields(fd.Value), " ") != strings.Join(strings.Fields(fd.kept), " ")
}

// onlyCorrections refuses a change from now on of what cannot change while the thing lives: another value of such
// a field says that the one before was wrong, and so it was all along. Alters names the fields that can change. A
// form of a row that somebody replaced meanwhile is left to the conflict.
func (e *entry) onlyCorrections(from assets.Instant, version assets.Version, alters ...string) {
	if from == 0 || e.rowID() != version.RowID {
		return
	}
	free := map[string]bool{"from": true, "reason": true}
	for _, name := range alters {
		free[name] = true
	}
	for _, fd := range e.f.Fields {
		if fd.Kind != "hidden" && !free[fd.Name] && fd.touched() {
			e.bad.Add(fd.Name, "this does not change from now on: what stood here was wrong all along; choose 'was so all along' below and give the reason, or put back what stood here")
		}
	}
}
