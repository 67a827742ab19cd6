package enclosure

import (
	"bytes"
	"fmt"
	"image"
	_ "image/gif"  // reads a picture's size
	_ "image/jpeg" // the same
	_ "image/png"  // the same
	"path"
	"slices"
	"strings"
	"unicode"

	"carryside/assets"
)

// plain are the endings of files of plain text: which of them it is, a program cannot always tell from the contents.
var plain = []string{".txt", ".csv", ".tsv", ".json", ".log", ".asc", ".md"}

// endings are those that a file of each type may have, its own first.
var endings = map[string][]string{
	"image/jpeg": {".jpg", ".jpeg", ".jpe", ".jfif"}, "image/png": {".png"}, "image/webp": {".webp"}, "image/gif": {".gif"},
	"application/pdf": {".pdf"}, "text/plain": plain, "text/csv": append([]string{".csv"}, plain...),
	"text/tab-separated-values": append([]string{".tsv"}, plain...), "application/json": append([]string{".json"}, plain...),
	"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet":       {".xlsx"},
	"application/vnd.openxmlformats-officedocument.wordprocessingml.document": {".docx"},
	"application/vnd.oasis.opendocument.spreadsheet":                          {".ods"},
	"application/vnd.oasis.opendocument.text":                                 {".odt"},
}

// Named returns the name a file is kept under: the one it was sent with, with its type's ending where it had none.
// assets.Invalid says, under "file", that the ending promises something else than the contents are.
func Named(typed, mediaType string) (string, error) {
	name, own := Name(typed, mediaType), endings[mediaType]
	ending := endingOf(name)
	switch {
	case ending == "":
		return shortened(name + own[0]), nil
	case !slices.Contains(own, ending):
		return "", assets.Invalid{"file": fmt.Sprintf("this file ends in %s, but by its contents it is a %s, which ends in %s; send the file you meant, or give it its own ending", ending, Words(mediaType), own[0])}
	}
	return name, nil
}

// endingOf is what stands behind the last point of a name when it looks like a type: ".pdf", not the ".11" of a date.
func endingOf(name string) string {
	ending := strings.ToLower(path.Ext(name))
	if len(ending) > 6 || strings.ContainsRune(ending, ' ') || !strings.ContainsFunc(ending, unicode.IsLetter) {
		return ""
	}
	return ending
}

// Size of a picture that is kept: more than any camera makes, less than it takes to bring a browser down.
const (
	mostSide   = 32_767
	mostPoints = 250_000_000
)

// tooManyPoints tells whether a picture claims more points than is sensible, whatever its file's size, or none at all.
func tooManyPoints(mediaType string, content []byte) bool {
	wide, high := 0, 0
	switch mediaType {
	case "image/jpeg", "image/png", "image/gif":
		c, _, err := image.DecodeConfig(bytes.NewReader(content))
		if err != nil {
			return false // damaged: WithoutPlace says so
		}
		wide, high = c.Width, c.Height
	case "image/webp": // RIFF container of an extended file; the plain ones cannot say more than 16,383 a side
		if len(content) < 30 || string(content[12:16]) != "VP8X" {
			return false
		}
		wide = 1 + int(content[24]) + int(content[25])<<8 + int(content[26])<<16
		high = 1 + int(content[27]) + int(content[28])<<8 + int(content[29])<<16
	default:
		return false
	}
	return wide <= 0 || high <= 0 || wide > mostSide || high > mostSide || wide*high > mostPoints
}
