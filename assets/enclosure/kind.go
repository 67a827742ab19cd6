package enclosure

import (
	"fmt"
	"path"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/gabriel-vasile/mimetype"

	"carryside/assets"
)

const (
	// MaxBytes is the largest file kept with a thing.
	MaxBytes = 20 << 20
	// MaxName is the longest name kept, in characters.
	MaxName = 120
)

// kinds are the types that are kept, with what they are called. Pictures are those whose place can be taken out
// without touching the image; SVG and HTML are no pictures but programs and are not kept.
var kinds = map[string]string{
	"image/jpeg": "photo", "image/png": "picture", "image/webp": "picture", "image/gif": "picture",
	"application/pdf": "PDF", "text/plain": "text", "text/csv": "CSV", "text/tab-separated-values": "table of text", "application/json": "JSON",
	"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet":       "workbook",
	"application/vnd.openxmlformats-officedocument.wordprocessingml.document": "document",
	"application/vnd.oasis.opendocument.spreadsheet":                          "workbook",
	"application/vnd.oasis.opendocument.text":                                 "document",
}

// Accept is what a browser's file dialogue offers.
const Accept = ".jpg,.jpeg,.png,.webp,.gif,.pdf,.txt,.csv,.tsv,.json,.xlsx,.docx,.ods,.odt"

// Words says what a type is called on a page.
func Words(mediaType string) string { return kinds[mediaType] }

// Picture tells whether a browser may show a type within a page: raster images only.
func Picture(mediaType string) bool { return strings.HasPrefix(mediaType, "image/") }

// Tell returns the type of a file by its contents. assets.Invalid names in one sentence, under "file", why a file is
// not kept.
func Tell(content []byte) (string, error) {
	switch {
	case len(content) == 0:
		return "", assets.Invalid{"file": "this file is empty; choose another"}
	case len(content) > MaxBytes:
		return "", TooLarge
	}
	told := mimetype.Detect(content)
	kind, _, _ := strings.Cut(told.String(), ";")
	if kinds[kind] == "" {
		return "", assets.Invalid{"file": fmt.Sprintf("files like this one (%s) are not kept; send a photo (JPEG, PNG, WebP, GIF), a PDF, a text or CSV, or a workbook or document", kind)}
	}
	return kind, nil
}

// Fit tells a file's type and returns what is kept of it: a picture comes without the words of place and device that
// stand beside its image. assets.Invalid says, under "file", why a file is not kept.
func Fit(content []byte) (mediaType string, kept []byte, err error) {
	if mediaType, err = Tell(content); err != nil {
		return "", nil, err
	}
	if tooManyPoints(mediaType, content) {
		return "", nil, assets.Invalid{"file": fmt.Sprintf("this picture says it is more than %d points wide or high, or more than %d million in all; save it smaller and send that", mostSide, mostPoints/1_000_000)}
	}
	kept, ok := WithoutPlace(mediaType, content)
	if !ok {
		return "", nil, assets.Invalid{"file": "this picture is damaged or unusual, so that it cannot be freed of the place it was taken at; save it anew as JPEG or PNG and send that"}
	}
	return mediaType, kept, nil
}

// TooLarge is what is said of a file above the limit.
var TooLarge = assets.Invalid{"file": fmt.Sprintf("this file is larger than %d MB, the limit for one; make it smaller or split it", MaxBytes>>20)}

// Name makes a name fit to be shown and sent: without folders, control and direction characters, and not too long.
// A name that has nothing left is called after its type.
func Name(typed, mediaType string) string {
	name := path.Base(strings.ReplaceAll(strings.ToValidUTF8(typed, ""), `\`, "/"))
	name = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029' || strings.ContainsRune(`<>:"|?*/`, r) {
			return -1
		}
		return r
	}, name)
	name = strings.Trim(strings.Join(strings.Fields(name), " "), ". ")
	if name == "" {
		name = Words(mediaType)
	}
	return shortened(name)
}

// shortened keeps the ending of a name that is too long.
func shortened(name string) string {
	if utf8.RuneCountInString(name) <= MaxName {
		return name
	}
	runes, ending := []rune(name), []rune(path.Ext(name))
	if len(ending) > 8 {
		ending = nil
	}
	return string(runes[:MaxName-len(ending)]) + string(ending)
}
