package enclosure

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"

	"carryside/assets"
)

func drawn() image.Image {
	m := image.NewRGBA(image.Rect(0, 0, 40, 30))
	for i := range m.Pix {
		m.Pix[i] = byte(i * 7)
	}
	return m
}

func jpegFile(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, drawn(), nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// exifWithPlace is an Exif segment of a phone by Exif 2.32: orientation 6, maker, a GPS directory with a latitude, the
// time. Written by hand after the standard's tables.
func exifWithPlace(order binary.AppendByteOrder, head string) []byte {
	entry := func(b []byte, tag, kind uint16, count, value uint32) []byte {
		return order.AppendUint32(order.AppendUint32(order.AppendUint16(order.AppendUint16(b, tag), kind), count), value)
	}
	tiff := append([]byte(head), order.AppendUint32(order.AppendUint16(nil, 42), 8)...)
	orientation := uint32(6)
	if head == "MM" {
		orientation <<= 16
	}
	tiff = order.AppendUint16(tiff, 4)
	tiff = entry(tiff, 0x010F, 2, 12, 62) // maker
	tiff = entry(tiff, 0x0112, 3, 1, orientation)
	tiff = entry(tiff, 0x8769, 4, 1, 74)      // Exif directory
	tiff = entry(tiff, 0x8825, 4, 1, 112)     // GPS directory
	tiff = order.AppendUint32(tiff, 0)        // at 58
	tiff = append(tiff, "DEVICEZQ017\x00"...) // at 62
	tiff = order.AppendUint16(tiff, 1)        // at 74
	tiff = entry(tiff, 0x9003, 2, 20, 92)
	tiff = order.AppendUint32(tiff, 0)
	tiff = append(tiff, "2026:11:24 14:03:59\x00"...) // at 92
	tiff = order.AppendUint16(tiff, 1)                // at 112
	tiff = entry(tiff, 0x0002, 5, 3, 130)
	tiff = order.AppendUint32(tiff, 0)
	for _, v := range []uint32{59, 1, 54, 1, 0x5A515A51, 1} { // a latitude with a mark to look for
		tiff = order.AppendUint32(tiff, v)
	}
	return append([]byte("Exif\x00\x00"), tiff...)
}

func segment(marker byte, body []byte) []byte {
	return append(binary.BigEndian.AppendUint16([]byte{0xFF, marker}, uint16(len(body)+2)), body...)
}

func behindStart(file []byte, segments ...[]byte) []byte {
	out := bytes.Clone(file[:2])
	for _, s := range segments {
		out = append(out, s...)
	}
	return append(out, file[2:]...)
}

func TestAPhotoKeepsItsImageAndLosesItsPlace(t *testing.T) {
	for name, order := range map[string]struct {
		o    binary.AppendByteOrder
		head string
	}{"little endian": {binary.LittleEndian, "II"}, "big endian": {binary.BigEndian, "MM"}} {
		plain := jpegFile(t)
		sent := behindStart(plain, segment(0xE1, exifWithPlace(order.o, order.head)), segment(0xE1, []byte("http://ns.adobe.com/xap/1.0/\x00<x place='ZQPLACE'/>")),
			segment(0xED, []byte("Photoshop 3.0\x00ZQCITY")), segment(0xFE, []byte("ZQCOMMENT")), segment(0xE2, []byte("MPF\x00ZQMORE")))
		sent = append(sent, "ZQFILM behind the image"...)
		kind, kept, err := Fit(sent)
		if err != nil || kind != "image/jpeg" {
			t.Fatalf("%s: %s %v", name, kind, err)
		}
		for _, word := range []string{"ZQ", "QZ", "DEVICE", "Photoshop", "xap"} {
			if bytes.Contains(kept, []byte(word)) {
				t.Errorf("%s: %q is still in the photo", name, word)
			}
		}
		var k exifKept
		at := bytes.Index(kept, []byte("Exif\x00\x00"))
		if at < 0 {
			t.Fatalf("%s: orientation and time are gone", name)
		}
		k.read(kept[at:])
		if k.orientation != 6 || k.taken != "2026:11:24 14:03:59" {
			t.Errorf("%s: kept %+v", name, k)
		}
		if !bytes.Contains(kept, plain[bytes.Index(plain, []byte{0xFF, 0xDA}):]) {
			t.Errorf("%s: the image's own bytes were touched", name)
		}
		same(t, name, sent, kept)
		if _, again, _ := Fit(kept); !bytes.Equal(again, kept) {
			t.Errorf("%s: freed twice differs from freed once", name)
		}
	}
}

// same decodes both with the standard library and compares every point.
func same(t *testing.T, name string, a, b []byte) {
	t.Helper()
	x, _, err := image.Decode(bytes.NewReader(a))
	if err != nil {
		t.Fatal(err)
	}
	y, _, err := image.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatalf("%s: what is kept cannot be shown: %v", name, err)
	}
	for i := range x.Bounds().Dx() {
		for j := range x.Bounds().Dy() {
			if x.At(i, j) != y.At(i, j) {
				t.Fatalf("%s: point %d,%d differs", name, i, j)
			}
		}
	}
}

func TestAProgressivePhotoIsFollowedToItsEnd(t *testing.T) {
	// Two scans with a table between them, as a progressive photo has; nothing decodes it here, only its parts are followed.
	b := []byte{0xFF, 0xD8, 0xFF, 0xFE, 0, 4, 'Z', 'Q', 0xFF, 0xDA, 0, 3, 1, 9, 0xFF, 0, 7, 0xFF, 0xC4, 0, 4, 0xFF, 0xD9, 0xFF, 0xDA, 0, 3, 1, 8, 0xFF, 0xD0, 5, 0xFF, 0xD9, 'Z', 'Q'}
	kept, ok := jpegWithoutPlace(b)
	want := append([]byte{0xFF, 0xD8}, b[8:len(b)-2]...)
	if !ok || !bytes.Equal(kept, want) {
		t.Errorf("%v %x, want %x", ok, kept, want)
	}
}

func chunk(kind, body string) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(body)))
	b = append(append(b, kind...), body...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

func TestAPNGKeepsItsImageAndLosesItsWords(t *testing.T) {
	var b bytes.Buffer
	if err := png.Encode(&b, drawn()); err != nil {
		t.Fatal(err)
	}
	file := b.Bytes()
	sent := append(bytes.Clone(file[:33]), append(append(chunk("eXIf", "ZQPLACE"), chunk("tEXt", "Author\x00ZQ")...), append(chunk("iTXt", "ZQ"), file[33:]...)...)...)
	kind, kept, err := Fit(append(sent, "ZQ behind"...))
	if err != nil || kind != "image/png" || bytes.Contains(kept, []byte("ZQ")) || !bytes.Equal(kept, file) {
		t.Errorf("%s %v, %d bytes for %d", kind, err, len(kept), len(file))
	}
	damaged := bytes.Clone(file)
	damaged[40] ^= 1
	if _, _, err := Fit(damaged); !errors.As(err, new(assets.Invalid)) {
		t.Errorf("a damaged picture: %v", err)
	}
}

func TestAGIFKeepsItsImageAndLosesItsComment(t *testing.T) {
	var b bytes.Buffer
	if err := gif.Encode(&b, image.NewPaletted(image.Rect(0, 0, 9, 9), color.Palette{color.Black, color.White}), nil); err != nil {
		t.Fatal(err)
	}
	file := b.Bytes()
	head := 13 + colours(file[10])
	comment := append([]byte{0x21, 0xFE, 2}, 'Z', 'Q', 0)
	sent := append(append(bytes.Clone(file[:head]), comment...), file[head:]...)
	kind, kept, err := Fit(append(sent, "ZQ"...))
	if err != nil || kind != "image/gif" || bytes.Contains(kept, []byte("ZQ")) {
		t.Fatalf("%s %v", kind, err)
	}
	same(t, "gif", sent, kept)
}

func TestAWebPLosesExifAndItsFlag(t *testing.T) {
	riff := func(chunks ...string) []byte {
		body := []byte("WEBP" + strings.Join(chunks, ""))
		return append(binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body))), body...)
	}
	part := func(kind, body string) string {
		b := string(binary.LittleEndian.AppendUint32([]byte(kind), uint32(len(body)))) + body
		if len(body)%2 == 1 {
			b += "\x00"
		}
		return b
	}
	sent := riff(part("VP8X", "\x0C\x00\x00\x00\x00\x00\x00\x00\x00\x00"), part("VP8 ", "image"), part("EXIF", "ZQPLACE"), part("XMP ", "ZQ"))
	want := riff(part("VP8X", "\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00"), part("VP8 ", "image"))
	kind, kept, err := Fit(sent)
	if err != nil || kind != "image/webp" || !bytes.Equal(kept, want) {
		t.Errorf("%s %v\n%q\n%q", kind, err, kept, want)
	}
}

func TestTypesAreToldByContents(t *testing.T) {
	kept := map[string]string{
		"%PDF-1.7\n1 0 obj":                   "application/pdf",
		"time,top,bottom\n0,20,21\n1,30,31\n": "text/csv",
		"the trace as the press printed it":   "text/plain",
		`{"set":[150,150],"dwell":600}`:       "application/json",
		string(jpegFile(t)):                   "image/jpeg",
	}
	for content, want := range kept {
		if got, err := Tell([]byte(content)); err != nil || got != want {
			t.Errorf("%.20q: %s %v, want %s", content, got, err, want)
		}
	}
	refused := map[string]string{
		"a drawing that is a program": `<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>`,
		"a drawing without its head":  `<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"></svg>`,
		"a page":                      "<!doctype html><html><script>alert(1)</script></html>",
		"a page in capitals":          "  <HTML><BODY>x",
		"a script":                    "#!/bin/sh\nrm -r x",
		"a program":                   "\x7fELF\x02\x01\x01\x00\x00\x00\x00\x00",
		"a program of Windows":        "MZ\x90\x00\x03\x00\x00\x00",
		"an archive":                  "PK\x03\x04\x14\x00\x00\x00\x08\x00 x.exe",
		"nothing":                     "",
	}
	for name, content := range refused {
		var bad assets.Invalid
		if got, err := Tell([]byte(content)); !errors.As(err, &bad) || bad["file"] == "" {
			t.Errorf("%s is kept as %s (%v)", name, got, err)
		}
	}
	if _, err := Tell(make([]byte, MaxBytes+1)); err == nil || !strings.Contains(err.Error(), "20 MB") {
		t.Errorf("a file above the limit: %v", err)
	}
}

func TestNamesAreFitToBeSentOn(t *testing.T) {
	tests := map[string]string{
		"seam Q3.jpg":                     "seam Q3.jpg",
		"../../etc/passwd":                "passwd",
		`C:\photos\seam.jpg`:              "seam.jpg",
		"a\r\nSet-Cookie: x=1.jpg":        "aSet-Cookie x=1.jpg",
		"\u202egpj.exe":                   "gpj.exe",
		"":                                "photo",
		"..":                              "photo",
		"\x00\x01":                        "photo",
		strings.Repeat("x", 300) + ".jpg": strings.Repeat("x", 116) + ".jpg",
		"\xff\xfeseam.jpg":                "seam.jpg",
		`say "seam" <b>.jpg`:              "say seam b.jpg",
	}
	for typed, want := range tests {
		if got := Name(typed, "image/jpeg"); got != want {
			t.Errorf("%q is kept as %q, want %q", typed, got, want)
		}
	}
}

// FuzzFit holds that no file, however damaged, makes the program fall over, and that what is kept is fit again.
func FuzzFit(f *testing.F) {
	f.Add([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x00"))
	f.Add([]byte{0xFF, 0xD8, 0xFF, 0xE1, 0, 8, 'E', 'x', 'i', 'f', 0, 0, 0xFF, 0xDA, 0, 2, 0xFF, 0xD9})
	f.Add([]byte("RIFF\x10\x00\x00\x00WEBPVP8 \x04\x00\x00\x00abcd"))
	f.Add([]byte("GIF89a\x01\x00\x01\x00\x80\x00\x00\xff\xff\xff\x00\x00\x00,\x00\x00\x00\x00\x01\x00\x01\x00\x00\x02\x01L\x00;"))
	f.Fuzz(func(t *testing.T, content []byte) {
		kind, kept, err := Fit(content)
		if err != nil || !Picture(kind) {
			return
		}
		if again, ok := WithoutPlace(kind, kept); !ok || !bytes.Equal(again, kept) {
			t.Errorf("%s: what is kept is not fit again", kind)
		}
	})
}
