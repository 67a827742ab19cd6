package enclosure

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image/png"
	"testing"

	"carryside/assets"
)

func TestAnEndingSaysWhatTheContentsAre(t *testing.T) {
	const workbook = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
	for _, c := range []struct{ name, kind, kept string }{
		{"splice 3.jpg", "image/jpeg", "splice 3.jpg"}, {"SPLICE.JPEG", "image/jpeg", "SPLICE.JPEG"}, {"scan.pdf", "application/pdf", "scan.pdf"},
		{"trace.csv", "text/plain", "trace.csv"}, {"trace.txt", "text/csv", "trace.txt"}, {"press.log", "text/plain", "press.log"},
		{"image", "image/png", "image.png"}, {"Q3 24.11", "image/jpeg", "Q3 24.11.jpg"}, {"certificate no. 12", "application/pdf", "certificate no. 12.pdf"}, {"", "application/pdf", "PDF.pdf"},
		{"belts.xlsx", workbook, "belts.xlsx"},
		{"splice.pdf", "image/jpeg", ""}, {"photo.jpg", "application/pdf", ""}, {"run.exe", "text/plain", ""}, {"page.html", "text/plain", ""}, {"photo.jpg.svg", "image/jpeg", ""},
		{"belts.xlsm", workbook, ""}, {"belts.csv", workbook, ""}, {"belts.xlsx", "text/csv", ""}, {`C:\papers\cert.bat`, "application/pdf", ""},
	} {
		got, err := Named(c.name, c.kind)
		if got != c.kept || (err != nil) != (c.kept == "") || err != nil && !errors.As(err, new(assets.Invalid)) {
			t.Errorf("%q as %s: %q, %v; want %q", c.name, c.kind, got, err, c.kept)
		}
	}
	for kind := range kinds {
		if len(endings[kind]) == 0 {
			t.Errorf("%s has no ending", kind)
		}
	}
}

// claiming is a small PNG whose header says another size (PNG specification, third edition, section 11.2.1).
func claiming(t *testing.T, wide, high uint32) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, drawn()); err != nil {
		t.Fatal(err)
	}
	file := b.Bytes()
	binary.BigEndian.PutUint32(file[16:], wide)
	binary.BigEndian.PutUint32(file[20:], high)
	binary.BigEndian.PutUint32(file[29:], crc32.ChecksumIEEE(file[12:29]))
	return file
}

func TestAPictureOfTooManyPointsIsRefused(t *testing.T) {
	for _, c := range []struct {
		wide, high uint32
		kept       bool
	}{{40, 30, true}, {16320, 12240, true}, {100_000, 100_000, false}, {1, 100_000, false}, {30_000, 30_000, false}} {
		if _, _, err := Fit(claiming(t, c.wide, c.high)); (err == nil) != c.kept {
			t.Errorf("a PNG of %d x %d points: %v", c.wide, c.high, err)
		}
	}
	webp := append([]byte("RIFF\x16\x00\x00\x00WEBPVP8X\x0a\x00\x00\x00\x00\x00\x00\x00"), 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF)
	if !tooManyPoints("image/webp", webp) {
		t.Error("a WebP of 16 million points a side is kept")
	}
}
