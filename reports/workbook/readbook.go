package workbook

import (
	"archive/zip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"

	"carryside/assets/intake"
)

// Read opens a workbook that a plant keeps and returns its sheets as plain rows, with what of their looks has a meaning:
// merged areas, hidden rows and sheets, struck-through cells, number formats. Formulas give their stored values.
//
//	name  the file's name, for sentences
//	data  the whole file, at most 64 MB
//
// Nothing in the file is trusted: sizes are counted while unpacking, entries may not overlap, no entity is expanded, no link
// opened, no name inside used as a path. The error is one sentence that names the file and says what to do.
func Read(ctx context.Context, name string, data []byte) (*intake.Book, error) {
	book, err := readBook(ctx, data)
	if err != nil {
		if ctxErr := ctx.Err(); ctxErr != nil {
			return nil, ctxErr
		}
		return nil, fmt.Errorf("%s %w", name, err)
	}
	sum := sha256.Sum256(data)
	book.Name, book.SHA256 = name, hex.EncodeToString(sum[:])
	return book, nil
}

// IsWorkbook tells whether a file is to be read as a workbook: by its ending. What it really holds is told by Read.
func IsWorkbook(name string) bool {
	switch strings.ToLower(path.Ext(name)) {
	case ".xlsx", ".xlsm", ".xltx", ".xltm", ".xls", ".xlsb", ".ods":
		return true
	}
	return false
}

// bookReader holds a workbook while it is read.
type bookReader struct {
	ctx     context.Context
	parts   map[string]*zip.File
	book    *intake.Book
	strings []sharedText
	rows    int
	cells   int
}

// sharedText is a text that cells refer to.
type sharedText struct {
	text   string
	struck bool
}

func readBook(ctx context.Context, data []byte) (*intake.Book, error) {
	if err := byContent(data); err != nil {
		return nil, err
	}
	z, err := openArchive(data)
	if err != nil {
		return nil, err
	}
	b := &bookReader{ctx: ctx, parts: map[string]*zip.File{}, book: &intake.Book{}}
	for _, f := range z.File {
		b.parts[strings.ToLower(strings.TrimPrefix(strings.ReplaceAll(f.Name, `\`, "/"), "/"))] = f
	}
	main, err := b.mainPart()
	if err != nil {
		return nil, err
	}
	return b.book, b.readMain(main)
}

// mainPart finds the workbook's own part.
func (b *bookReader) mainPart() (string, error) {
	rels, err := b.relations("_rels/.rels", "")
	if err != nil {
		return "", err
	}
	for _, r := range rels {
		if strings.HasSuffix(r.kind, "/officeDocument") && b.parts[r.target] != nil {
			if strings.HasSuffix(r.target, ".bin") {
				return "", errors.New("is a binary workbook (.xlsb); open it and save it as .xlsx")
			}
			if strings.HasPrefix(r.target, "word/") || strings.HasPrefix(r.target, "ppt/") {
				return "", errors.New("is not a workbook but another kind of document; save the table as .xlsx")
			}
			return r.target, nil
		}
	}
	switch {
	case b.parts["xl/workbook.xml"] != nil:
		return "xl/workbook.xml", nil
	case b.parts["content.xml"] != nil:
		return "", errors.New("is an OpenDocument file (.ods) and not .xlsx; open it and save it as .xlsx")
	}
	return "", errors.New("is an archive but not a workbook; open the list and save it as .xlsx")
}

// relation is a link from one part to another.
type relation struct{ id, kind, target string }

// relations reads a part's links to other parts. Links out of the file are passed over, never followed.
func (b *bookReader) relations(name, folder string) ([]relation, error) {
	var out []relation
	err := b.scan(name, func(s *xmlScanner) error {
		if !s.is("Relationship") || strings.EqualFold(s.attr("TargetMode"), "External") {
			return nil
		}
		target := s.attr("Target")
		if t, ok := strings.CutPrefix(target, "/"); ok {
			target = t
		} else {
			target = path.Join(folder, target)
		}
		out = append(out, relation{s.attr("Id"), s.attr("Type"), strings.ToLower(target)})
		return nil
	})
	return out, err
}

// scan walks over the tags of a part; a part that is not there has none.
func (b *bookReader) scan(name string, each func(*xmlScanner) error) error {
	f := b.parts[strings.ToLower(name)]
	if f == nil {
		return nil
	}
	r, err := f.Open()
	if err != nil {
		return errors.New("is damaged: a part of it cannot be unpacked; copy or save it again")
	}
	defer r.Close()
	s := newXMLScanner(io.LimitReader(r, maxUnpackedBytes))
	for n := 0; ; n++ {
		if n%4096 == 0 {
			if err := b.ctx.Err(); err != nil {
				return err
			}
		}
		more, err := s.next()
		if err != nil || !more {
			return err
		}
		if err := each(s); err != nil {
			return err
		}
	}
}

// sheetRef is a sheet as the workbook lists it.
type sheetRef struct {
	name   string
	hidden bool
	id     string
}

// readMain reads the list of sheets, texts and styles, then every sheet.
func (b *bookReader) readMain(main string) error {
	folder := path.Dir(main)
	var sheets []sheetRef
	err := b.scan(main, func(s *xmlScanner) error {
		switch {
		case s.is("workbookPr"):
			v := s.attr("date1904")
			b.book.Epoch1904 = v == "1" || strings.EqualFold(v, "true")
		case s.is("sheet"):
			state := s.attr("state")
			sheets = append(sheets, sheetRef{s.attr("name"), state == "hidden" || state == "veryHidden", s.attr("id")})
		}
		return nil
	})
	if err != nil {
		return err
	}
	rels, err := b.relations(path.Join(folder, "_rels", path.Base(main)+".rels"), folder)
	if err != nil {
		return err
	}
	targets := map[string]relation{}
	for _, r := range rels {
		targets[r.id] = r
		switch {
		case strings.HasSuffix(r.kind, "/sharedStrings"):
			err = b.readShared(r.target)
		case strings.HasSuffix(r.kind, "/styles"):
			err = b.readStyles(r.target)
		}
		if err != nil {
			return err
		}
	}
	if len(b.book.Styles) == 0 {
		b.book.Styles = make([]intake.Style, 1)
	}
	if len(sheets) > maxEntries {
		return fmt.Errorf("lists more than %d sheets; bring in the sheet with the list alone", maxEntries)
	}
	for _, ref := range sheets {
		r := targets[ref.id]
		if !strings.HasSuffix(r.kind, "/worksheet") {
			continue
		}
		if b.parts[r.target] == nil {
			return errors.New("is damaged: a sheet it lists is not in it; copy or save it again")
		}
		if err := b.readSheet(ref, r.target); err != nil {
			return err
		}
	}
	if len(b.book.Sheets) == 0 {
		return errors.New("holds no sheet with rows; there is nothing to read")
	}
	return nil
}
