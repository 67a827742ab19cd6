package enclosure

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"slices"
)

// A phone writes into a photo where it was taken, with which device, sometimes by whom. A plant's photos are shown to
// customers and auditors, so that is taken out before a photo is kept. The image itself is not decoded and not
// written anew: its bytes stay as they were, only the parts beside it that hold such words go. What stays of them is
// how the camera was held, without which a photo would lie on its side, and when it was taken.

// WithoutPlace returns a picture without the parts that tell place, device and author. The image's own bytes stay as
// they are. Other types, and pictures whose parts cannot be followed, come back as they are: the second result tells
// whether the parts could be followed.
func WithoutPlace(mediaType string, content []byte) ([]byte, bool) {
	switch mediaType {
	case "image/jpeg":
		return jpegWithoutPlace(content)
	case "image/png":
		return pngWithoutPlace(content)
	case "image/webp":
		return webpWithoutPlace(content)
	case "image/gif":
		return gifWithoutWords(content)
	}
	return content, true
}

// Markers of JPEG (ITU-T T.81, table B.1) and the application segments that hold words about a photo: Exif and XMP
// (APP1), IPTC (APP13) and comments.
const (
	jpegStart, jpegScan, jpegEnd = 0xD8, 0xDA, 0xD9
	jpegApp0, jpegApp1           = 0xE0, 0xE1
	jpegApp2, jpegApp14          = 0xE2, 0xEE // colour profile; colour transform
	jpegApp15, jpegComment       = 0xEF, 0xFE
)

// jpegWithoutPlace copies the segments of a JPEG up to its image, leaving out application segments other than JFIF,
// colour profile and colour transform, and comments; what Exif says of orientation and time comes back in an Exif
// segment of our own. Bytes behind the image's end (a second image, a film) are left out too.
func jpegWithoutPlace(b []byte) ([]byte, bool) {
	if len(b) < 4 || b[0] != 0xFF || b[1] != jpegStart {
		return b, false
	}
	out := []byte{0xFF, jpegStart}
	var kept exifKept
	at := 2
	for at+4 <= len(b) && b[at] == 0xFF {
		marker := b[at+1]
		if marker == 0xFF { // fill
			at++
			continue
		}
		length := int(binary.BigEndian.Uint16(b[at+2:]))
		end := at + 2 + length
		if length < 2 || end > len(b) {
			return b, false
		}
		switch {
		case marker == jpegScan:
			image, ok := jpegImage(b[at:])
			if !ok {
				return b, false
			}
			return append(kept.into(out), image...), true
		case marker == jpegApp1:
			kept.read(b[at+4 : end])
		case marker == jpegApp2 && !bytes.HasPrefix(b[at+4:end], []byte("ICC_PROFILE")): // a directory of further images
		case marker > jpegApp2 && marker <= jpegApp15 && marker != jpegApp14, marker == jpegComment:
		default:
			out = append(out, b[at:end]...)
		}
		at = end
	}
	return b, false
}

// jpegImage returns a JPEG from its first scan to its end marker: further scans and tables stand between. Within a
// scan FF is followed by 0 or a restart marker.
func jpegImage(b []byte) ([]byte, bool) {
	for at := 2; at+1 < len(b); at++ {
		if b[at] != 0xFF {
			continue
		}
		switch m := b[at+1]; {
		case m == jpegEnd:
			return b[:at+2], true
		case m == 0 || m >= 0xD0 && m <= 0xD7 || m == 0xFF:
		case m >= jpegApp0 && m <= jpegApp15 || m == jpegComment: // words between scans
			return nil, false
		case at+4 <= len(b): // a table or the head of a scan: its bytes are no markers
			at += 1 + int(binary.BigEndian.Uint16(b[at+2:]))
		}
	}
	return nil, false
}

// exifKept is what stays of a photo's Exif data.
type exifKept struct {
	orientation uint16 // 1 to 8; 0: not said
	taken       string // "2026:11:24 14:03:59", as Exif writes it; "" not said
}

// Tags of Exif 2.32: orientation (0x0112), pointer to the Exif directory (0x8769), time of the original (0x9003).
const (
	tagOrientation = 0x0112
	tagExif        = 0x8769
	tagTaken       = 0x9003
)

// read takes orientation and time out of an APP1 segment that holds Exif; another, or one that is damaged, says nothing.
func (k *exifKept) read(segment []byte) {
	tiff, is := bytes.CutPrefix(segment, []byte("Exif\x00\x00"))
	if !is || len(tiff) < 8 {
		return
	}
	var order binary.ByteOrder = binary.LittleEndian
	if tiff[0] == 'M' {
		order = binary.BigEndian
	}
	k.directory(tiff, order, int(order.Uint32(tiff[4:])), 0)
}

func (k *exifKept) directory(tiff []byte, order binary.ByteOrder, at, depth int) {
	if at < 8 || at+2 > len(tiff) || depth > 1 {
		return
	}
	for i := range int(order.Uint16(tiff[at:])) {
		e := at + 2 + 12*i
		if e+12 > len(tiff) {
			return
		}
		tag, count, value := order.Uint16(tiff[e:]), order.Uint32(tiff[e+4:]), int(order.Uint32(tiff[e+8:]))
		switch {
		case tag == tagOrientation:
			if o := order.Uint16(tiff[e+8:]); o >= 1 && o <= 8 {
				k.orientation = o
			}
		case tag == tagExif:
			k.directory(tiff, order, value, depth+1)
		case tag == tagTaken && count == 20 && value > 0 && value+20 <= len(tiff):
			if t := string(tiff[value : value+19]); isExifTime(t) {
				k.taken = t
			}
		}
	}
}

// isExifTime tells whether a text is a time and nothing else.
func isExifTime(t string) bool {
	for i, c := range []byte(t) {
		if digit := c >= '0' && c <= '9'; digit != ("0000:00:00 00:00:00"[i] == '0') || !digit && c != "0000:00:00 00:00:00"[i] {
			return false
		}
	}
	return len(t) == 19
}

// into puts an Exif segment with what is kept behind the start of a JPEG and its JFIF segment.
func (k exifKept) into(out []byte) []byte {
	if k == (exifKept{}) {
		return out
	}
	be := binary.BigEndian
	tiff := []byte("MM\x00\x2a\x00\x00\x00\x08")
	entries := 0
	var first []byte
	add := func(tag, kind uint16, count, value uint32) {
		first = be.AppendUint32(be.AppendUint32(be.AppendUint16(be.AppendUint16(first, tag), kind), count), value)
		entries++
	}
	if k.orientation != 0 {
		add(tagOrientation, 3, 1, uint32(k.orientation)<<16)
	}
	if k.taken != "" {
		size := uint32(8 + 2 + 12*(entries+1) + 4)
		add(tagExif, 4, 1, size)
		exif := be.AppendUint16(be.AppendUint16(be.AppendUint16(nil, 1), tagTaken), 2)
		exif = be.AppendUint32(be.AppendUint32(be.AppendUint32(exif, 20), size+2+12+4), 0)
		tiff = be.AppendUint32(append(be.AppendUint16(tiff, uint16(entries)), first...), 0)
		tiff = append(append(tiff, exif...), k.taken+"\x00"...)
	} else {
		tiff = be.AppendUint32(append(be.AppendUint16(tiff, uint16(entries)), first...), 0)
	}
	segment := be.AppendUint16([]byte{0xFF, jpegApp1}, uint16(2+6+len(tiff)))
	segment = append(append(segment, "Exif\x00\x00"...), tiff...)
	at := 2
	if len(out) > 6 && out[3] == jpegApp0 {
		at += 2 + int(be.Uint16(out[4:]))
	}
	return slices.Insert(out, at, segment...)
}

// pngKept are the chunks of a PNG that make its image (PNG, third edition, section 11); text, time and Exif are not
// among them.
var pngKept = []string{"IHDR", "PLTE", "IDAT", "IEND", "tRNS", "cHRM", "gAMA", "iCCP", "sBIT", "sRGB", "cICP", "mDCV", "cLLI", "bKGD", "hIST", "pHYs", "sPLT", "acTL", "fcTL", "fdAT"}

const pngHead = "\x89PNG\r\n\x1a\n"

func pngWithoutPlace(b []byte) ([]byte, bool) {
	rest, is := bytes.CutPrefix(b, []byte(pngHead))
	if !is {
		return b, false
	}
	out := []byte(pngHead)
	for len(rest) >= 12 {
		length := binary.BigEndian.Uint32(rest)
		if uint64(length)+12 > uint64(len(rest)) {
			return b, false
		}
		chunk := rest[:length+12]
		if crc32.ChecksumIEEE(chunk[4:length+8]) != binary.BigEndian.Uint32(chunk[length+8:]) {
			return b, false
		}
		kind := string(chunk[4:8])
		if slices.Contains(pngKept, kind) {
			out = append(out, chunk...)
		}
		if kind == "IEND" {
			return out, true
		}
		rest = rest[length+12:]
	}
	return b, false
}

// webpWithoutPlace leaves out the chunks EXIF and XMP of a WebP file and the flags that announce them (WebP container
// specification: flag bits 0x08 and 0x04 of VP8X).
func webpWithoutPlace(b []byte) ([]byte, bool) {
	if len(b) < 12 || string(b[:4]) != "RIFF" || string(b[8:12]) != "WEBP" {
		return b, false
	}
	size := uint64(binary.LittleEndian.Uint32(b[4:])) + 8
	if size < 12 || size > uint64(len(b)) {
		return b, false
	}
	out := slices.Clone(b[:12])
	for rest := b[12:size]; len(rest) >= 8; {
		length := uint64(binary.LittleEndian.Uint32(rest[4:]))
		whole := 8 + length + length%2
		if whole > uint64(len(rest)) {
			return b, false
		}
		chunk := slices.Clone(rest[:whole])
		switch string(rest[:4]) {
		case "VP8X":
			if length > 0 {
				chunk[8] &^= 0x08 | 0x04
			}
			out = append(out, chunk...)
		case "VP8 ", "VP8L", "ALPH", "ANIM", "ANMF", "ICCP":
			out = append(out, chunk...)
		}
		rest = rest[whole:]
	}
	binary.LittleEndian.PutUint32(out[4:], uint32(len(out)-8))
	return out, true
}

// gifWithoutWords leaves out comments, plain text and application blocks of a GIF other than the one that loops it
// (GIF89a, sections 23 to 26), and what stands behind its trailer.
func gifWithoutWords(b []byte) ([]byte, bool) {
	if len(b) < 13 || string(b[:4]) != "GIF8" {
		return b, false
	}
	at := 13 + colours(b[10])
	if at > len(b) {
		return b, false
	}
	out := slices.Clone(b[:at])
	for at < len(b) {
		from := at
		switch b[at] {
		case 0x3B: // trailer
			return append(out, 0x3B), true
		case 0x2C: // image: descriptor, colours, code size, blocks
			if at+10 > len(b) {
				return b, false
			}
			at = blocks(b, at+10+colours(b[at+9])+1)
			out = append(out, b[from:max(from, at)]...)
		case 0x21: // extension: label, blocks
			at = blocks(b, at+2)
			if at > from && (b[from+1] == 0xF9 || bytes.Contains(b[from:at], []byte("NETSCAPE2.0"))) {
				out = append(out, b[from:at]...)
			}
		default:
			return b, false
		}
		if at < 0 {
			return b, false
		}
	}
	return b, false
}

// colours is the size of a colour table by its packed field.
func colours(packed byte) int {
	if packed&0x80 == 0 {
		return 0
	}
	return 3 << (packed&7 + 1)
}

// blocks returns where a chain of sub-blocks ends; -1 when it does not.
func blocks(b []byte, at int) int {
	for at >= 0 && at < len(b) {
		n := int(b[at])
		at += 1 + n
		if n == 0 {
			return at
		}
	}
	return -1
}
