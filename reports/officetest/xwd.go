//go:build office

package officetest

import (
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"io"
)

// xwdHeader is the head of an X window dump, version 7: 25 words, most significant byte first.
// Source: XWDFile.h of the X Window System's xorgproto.
type xwdHeader struct {
	HeaderSize, FileVersion, PixmapFormat, PixmapDepth, PixmapWidth, PixmapHeight uint32
	XOffset, ByteOrder, BitmapUnit, BitmapBitOrder, BitmapPad                     uint32
	BitsPerPixel, BytesPerLine, VisualClass                                       uint32
	RedMask, GreenMask, BlueMask                                                  uint32
	BitsPerRGB, ColormapEntries, NColors                                          uint32
	WindowWidth, WindowHeight, WindowX, WindowY, WindowBdrwidth                   uint32
}

// colourEntry is the length of one colour in the table between head and pixels.
const colourEntry = 12

// decodeXWD reads the dump of a screen of 24 bits in 32, the only one this package starts.
func decodeXWD(r io.Reader) (image.Image, error) {
	var h xwdHeader
	if err := binary.Read(r, binary.BigEndian, &h); err != nil {
		return nil, fmt.Errorf("read the head of the dump: %w", err)
	}
	if h.FileVersion != 7 || h.BitsPerPixel != 32 || h.RedMask != 0xff0000 || h.GreenMask != 0xff00 || h.BlueMask != 0xff {
		return nil, errors.New("the dump is not of a 24 bit screen")
	}
	skip := int64(h.HeaderSize) - int64(binary.Size(h)) + colourEntry*int64(h.NColors)
	if _, err := io.CopyN(io.Discard, r, skip); err != nil {
		return nil, fmt.Errorf("skip name and colours of the dump: %w", err)
	}
	var order binary.ByteOrder = binary.LittleEndian
	if h.ByteOrder == 1 {
		order = binary.BigEndian
	}
	picture := image.NewRGBA(image.Rect(0, 0, int(h.PixmapWidth), int(h.PixmapHeight)))
	line := make([]byte, h.BytesPerLine)
	for y := range int(h.PixmapHeight) {
		if _, err := io.ReadFull(r, line); err != nil {
			return nil, fmt.Errorf("read line %d of the dump: %w", y, err)
		}
		for x := range int(h.PixmapWidth) {
			pixel := order.Uint32(line[4*x:])
			picture.SetRGBA(x, y, color.RGBA{uint8(pixel >> 16), uint8(pixel >> 8), uint8(pixel), 255})
		}
	}
	return picture, nil
}
