package workbook

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"errors"
	"hash/crc32"
	"io"
	"io/fs"
	"sort"
)

// orderedZip is a zip file whose entries stand in one order and bear no time, whatever order they are written
// in. The spreadsheet library walks its streamed sheets as a map, so their order changes from run to run;
// entries are kept compressed, some megabytes for a fleet, until all are there.
type orderedZip struct {
	out     io.Writer
	entries []*zipEntry
}

func newOrderedZip(out io.Writer) *orderedZip { return &orderedZip{out: out} }

// Create starts an entry; the one before it is complete.
func (z *orderedZip) Create(name string) (io.Writer, error) {
	e := &zipEntry{name: name}
	var err error
	if e.deflate, err = flate.NewWriter(&e.packed, flate.BestSpeed); err != nil {
		return nil, err
	}
	if err := z.endLast(); err != nil {
		return nil, err
	}
	z.entries = append(z.entries, e)
	return e, nil
}

// AddFS is asked for by the library's interface; a report copies no folders.
func (z *orderedZip) AddFS(fs.FS) error { return errors.New("a workbook takes no folders") }

// Close writes all entries, the list of contents first as readers expect it.
func (z *orderedZip) Close() error {
	if err := z.endLast(); err != nil {
		return err
	}
	sort.SliceStable(z.entries, func(i, j int) bool { return z.entries[i].sortKey() < z.entries[j].sortKey() })
	w := zip.NewWriter(z.out)
	for _, e := range z.entries {
		part, err := w.CreateRaw(&zip.FileHeader{
			Name: e.name, Method: zip.Deflate, CRC32: e.crc,
			CompressedSize64: uint64(e.packed.Len()), UncompressedSize64: e.size,
		})
		if err != nil {
			return err
		}
		if _, err := e.packed.WriteTo(part); err != nil {
			return err
		}
	}
	return w.Close()
}

func (z *orderedZip) endLast() error {
	if len(z.entries) == 0 {
		return nil
	}
	e := z.entries[len(z.entries)-1]
	if e.deflate == nil {
		return nil
	}
	err := e.deflate.Close()
	e.deflate = nil
	return err
}

// zipEntry is one part of the file, compressed as it comes.
type zipEntry struct {
	name    string
	packed  bytes.Buffer
	deflate *flate.Writer
	crc     uint32
	size    uint64
}

// Write compresses the next bytes.
func (e *zipEntry) Write(p []byte) (int, error) {
	e.crc = crc32.Update(e.crc, crc32.IEEETable, p)
	e.size += uint64(len(p))
	return e.deflate.Write(p)
}

// sortKey puts the list of contents first, the relations next.
func (e *zipEntry) sortKey() string {
	switch e.name {
	case "[Content_Types].xml":
		return "0"
	case "_rels/.rels":
		return "1"
	}
	return "2" + e.name
}

// countingWriter counts what is written through it.
type countingWriter struct {
	w io.Writer
	n int64
}

// Write passes the bytes on.
func (c *countingWriter) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	c.n += int64(n)
	return n, err
}
