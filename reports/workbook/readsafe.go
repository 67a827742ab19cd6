package workbook

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"sort"
	"strings"
)

// Limits of a workbook that is read in. A plant's list is a hundredth of them.
const (
	maxPackedBytes   = 64 << 20
	maxUnpackedBytes = 200 << 20
	maxRatio         = 100     // a part above ratioFrom may not be packed tighter
	ratioFrom        = 1 << 20 // bytes unpacked
	maxEntries       = 2000
)

// What a file is by its first bytes.
var (
	oldBinaryMark = []byte{0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1}
	zipMark       = []byte("PK\x03\x04")
	emptyZipMark  = []byte("PK\x05\x06")
	directoryMark = []byte("PK\x01\x02")
)

var errTooLarge = fmt.Errorf("unpacks to more than %d MB, the limit for one file; bring in the sheet with the list alone", maxUnpackedBytes>>20)

// byContent tells what is not a workbook by its content, with what to do about it; nil for what may be one.
func byContent(data []byte) error {
	head := data[:min(len(data), 4096)]
	text := strings.ToLower(strings.TrimLeft(strings.TrimPrefix(string(head), "\xef\xbb\xbf"), " \t\r\n"))
	switch {
	case len(data) == 0:
		return errors.New("is empty: there is nothing in it to read; save the list again")
	case len(data) > maxPackedBytes:
		return fmt.Errorf("is larger than %d MB, the limit for one file; split it", maxPackedBytes>>20)
	case bytes.HasPrefix(data, oldBinaryMark) && bytes.Contains(data, wideText("EncryptedPackage")):
		return errors.New("is protected by a password; open it, take the password off and save it as .xlsx")
	case bytes.HasPrefix(data, oldBinaryMark), len(data) > 4 && data[0] == 0x09 && (data[1] == 0x08 || data[1] == 0x04 || data[1] == 0x02 || data[1] == 0x00) && data[3] == 0x00:
		return errors.New("is an old binary workbook (.xls); open it and save it as .xlsx")
	case strings.HasPrefix(text, "<!doctype html"), strings.HasPrefix(text, "<html"), strings.HasPrefix(text, "<table"), strings.Contains(text, "<html") && strings.HasPrefix(text, "<"):
		return errors.New("is a web page and not a workbook; open it and save it as .xlsx")
	case strings.HasPrefix(text, "<?xml"), strings.HasPrefix(text, "<workbook"):
		return errors.New("is an XML file and not a workbook; open it and save it as .xlsx")
	case bytes.HasPrefix(data, []byte("%PDF")):
		return errors.New("is a PDF and not a workbook; bring in the list it was made from as .xlsx or .csv")
	case bytes.HasPrefix(data, zipMark), bytes.HasPrefix(data, emptyZipMark):
		return nil
	case looksLikeText(head):
		return errors.New("is a text file and not a workbook; if it is a CSV name it .csv, or open it and save it as .xlsx")
	}
	return errors.New("is not a workbook, or it is damaged and cannot be read; open it and save it as .xlsx")
}

// wideText is how names stand in an old binary file.
func wideText(s string) []byte {
	out := make([]byte, 0, 2*len(s))
	for i := range len(s) {
		out = append(out, s[i], 0)
	}
	return out
}

func looksLikeText(head []byte) bool {
	for _, c := range head {
		if c < 0x09 || c > 0x0d && c < 0x20 {
			return false
		}
	}
	return true
}

// openArchive opens a workbook's archive and tests its limits on what really comes out of it.
func openArchive(data []byte) (*zip.Reader, error) {
	if bytes.Count(data, directoryMark) > maxEntries {
		return nil, fmt.Errorf("holds more than %d entries, the limit for one file; open it and save it as .xlsx", maxEntries)
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, errors.New("is damaged or not complete, so it cannot be read; copy or save it again")
	}
	if len(z.File) > maxEntries {
		return nil, fmt.Errorf("holds more than %d entries, the limit for one file; open it and save it as .xlsx", maxEntries)
	}
	if err := apart(z); err != nil {
		return nil, err
	}
	return z, unpackAll(z)
}

// apart tests that no two entries share bytes of the file.
func apart(z *zip.Reader) error {
	type place struct{ from, to int64 }
	places := make([]place, 0, len(z.File))
	names := map[string]bool{}
	for _, f := range z.File {
		at, err := f.DataOffset()
		if err != nil {
			return errors.New("is damaged: an entry of its archive is not where it should be; copy or save it again")
		}
		places = append(places, place{at - 30 - int64(len(f.Name)), at + int64(f.CompressedSize64)})
		name := strings.ToLower(f.Name)
		if names[name] {
			return errors.New("is damaged: its archive holds two entries of the same name; open it and save it as .xlsx")
		}
		names[name] = true
	}
	sort.Slice(places, func(i, j int) bool { return places[i].from < places[j].from })
	for i := 1; i < len(places); i++ {
		if places[i].from < places[i-1].to {
			return errors.New("is damaged: entries of its archive overlap; open it and save it as .xlsx")
		}
	}
	return nil
}

// unpackAll unpacks every entry once and counts what comes out, whatever the archive declares.
func unpackAll(z *zip.Reader) error {
	left := int64(maxUnpackedBytes)
	for _, f := range z.File {
		if strings.HasSuffix(f.Name, "/") {
			continue
		}
		n, err := unpack(f, left)
		if err != nil {
			return err
		}
		left -= n
	}
	return nil
}

// unpack counts the bytes of one entry.
func unpack(f *zip.File, left int64) (int64, error) {
	if f.Flags&0x1 != 0 {
		return 0, errors.New("is protected by a password; open it, take the password off and save it as .xlsx")
	}
	r, err := f.Open()
	if err != nil {
		return 0, errors.New("is damaged, or packed in a way that workbooks are not; open it and save it as .xlsx")
	}
	defer r.Close()
	var total int64
	packed := int64(f.CompressedSize64)
	buf := make([]byte, 1<<16)
	for {
		n, err := r.Read(buf)
		total += int64(n)
		switch {
		case total > left:
			return 0, errTooLarge
		case total > ratioFrom && total > maxRatio*max(packed, 1):
			return 0, fmt.Errorf("holds a part that is packed tighter than %d : 1 and would unpack to a size beyond the limit; open it and save it as .xlsx", maxRatio)
		case errors.Is(err, io.EOF):
			return total, nil
		case err != nil:
			return 0, errors.New("is damaged or not complete: a part of it cannot be unpacked; copy or save it again")
		}
	}
}

// KnownByContent tells what a file that is called something else is by its first bytes: "a workbook", "an old binary
// workbook (.xls)", "a PDF", "a web page or XML"; "" for none of these.
func KnownByContent(data []byte) string {
	switch {
	case bytes.HasPrefix(data, zipMark), bytes.HasPrefix(data, emptyZipMark):
		return "a workbook or another archive"
	case bytes.HasPrefix(data, oldBinaryMark):
		return "an old binary workbook (.xls)"
	case bytes.HasPrefix(data, []byte("%PDF")):
		return "a PDF"
	}
	head := strings.ToLower(strings.TrimLeft(strings.TrimPrefix(string(data[:min(len(data), 512)]), "\xef\xbb\xbf"), " \t\r\n"))
	if strings.HasPrefix(head, "<!doctype html") || strings.HasPrefix(head, "<html") || strings.HasPrefix(head, "<table") || strings.HasPrefix(head, "<?xml") {
		return "a web page or XML"
	}
	return ""
}
