package workbook

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"carryside/assets/intake"
)

const (
	packageRels  = `<Relationships><Relationship Id="rId1" Type="http://x/officeDocument" Target="xl/workbook.xml"/></Relationships>`
	workbookXML  = `<workbook xmlns:r="r"><sheets><sheet name="List" sheetId="1" r:id="rId1"/></sheets></workbook>`
	workbookRels = `<Relationships><Relationship Id="rId1" Type="http://x/worksheet" Target="worksheets/sheet1.xml"/>` +
		`<Relationship Id="rId2" Type="http://x/styles" Target="styles.xml"/><Relationship Id="rId3" Type="http://x/sharedStrings" Target="sharedStrings.xml"/>` +
		`<Relationship Id="rId4" Type="http://x/externalLink" Target="file:///etc/passwd" TargetMode="External"/></Relationships>`
	easySheet = `<worksheet><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>Conveyor</t></is></c></row></sheetData></worksheet>`
)

// part is one entry of a made archive.
type part struct{ name, body string }

// bookOf packs a workbook with one sheet; more parts replace or add.
func bookOf(t *testing.T, sheet string, more ...part) []byte {
	t.Helper()
	parts := []part{{"[Content_Types].xml", "<Types/>"}, {"_rels/.rels", packageRels}, {"xl/workbook.xml", workbookXML}, {"xl/_rels/workbook.xml.rels", workbookRels}, {"xl/worksheets/sheet1.xml", sheet}}
	for _, m := range more {
		found := false
		for i := range parts {
			if parts[i].name == m.name {
				parts[i], found = m, true
			}
		}
		if !found {
			parts = append(parts, m)
		}
	}
	return zipOf(t, parts...)
}

// zipOf packs an archive.
func zipOf(t *testing.T, parts ...part) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, p := range parts {
		w, err := z.Create(p.name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(p.body)); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func sheetOf(rows string) string {
	return `<?xml version="1.0"?><worksheet><sheetData>` + rows + `</sheetData></worksheet>`
}

func TestFilesThatAreTurnedAway(t *testing.T) {
	ole := append([]byte{0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1}, make([]byte, 600)...)
	wide := &strings.Builder{}
	for i := range 1001 {
		fmt.Fprintf(wide, `<c r="%s1"><v>1</v></c>`, excelColumn(i+1))
	}
	many, long := &strings.Builder{}, &strings.Builder{}
	noise := rand.New(rand.NewPCG(1, 2))
	for range 250_001 {
		fmt.Fprintf(many, `<row><c><v>%d</v></c></row>`, noise.IntN(1e6))
	}
	for range 200_000 {
		fmt.Fprintf(long, "%d", noise.Uint64())
	}
	cases := []struct {
		name string
		data []byte
		says string
	}{
		{"nothing", nil, "empty"},
		{"old binary", ole, "save it as .xlsx"},
		{"password", append(append([]byte{}, ole...), wideText("EncryptedPackage")...), "password"},
		{"binary of the eighties", []byte{0x09, 0x00, 0x04, 0x00, 0, 0, 0x10, 0}, ".xlsx"},
		{"web page", []byte("\xef\xbb\xbf  <!DOCTYPE HTML><html><table>"), "web page"},
		{"web page with a schema", []byte(`<html xmlns:x="urn:schemas-microsoft-com:office:excel">`), "web page"},
		{"table of a web page", []byte("<table><tr><td>Tag</td></tr></table>"), "web page"},
		{"text", []byte("Conveyor,Belt width\nCV-1,600\n"), ".csv"},
		{"spreadsheet XML of 2003", []byte(`<?xml version="1.0"?><?mso-application progid="Excel.Sheet"?><Workbook>`), "XML"},
		{"PDF", []byte("%PDF-1.7"), "PDF"},
		{"noise", []byte{1, 2, 3, 4, 0, 5}, "not a workbook"},
		{"other archive", zipOf(t, part{"photo.jpg", "x"}), "not a workbook"},
		{"OpenDocument", zipOf(t, part{"mimetype", "application/vnd.oasis.opendocument.spreadsheet"}, part{"content.xml", "<x/>"}), ".ods"},
		{"binary workbook", zipOf(t, part{"_rels/.rels", strings.Replace(packageRels, "workbook.xml", "workbook.bin", 1)}, part{"xl/workbook.bin", "x"}), ".xlsb"},
		{"text document", zipOf(t, part{"_rels/.rels", strings.Replace(packageRels, "xl/workbook.xml", "word/document.xml", 1)}, part{"word/document.xml", "<x/>"}), "another kind"},
		{"DOCTYPE in a sheet", bookOf(t, `<!DOCTYPE x [<!ENTITY a "b">]><worksheet/>`), "DOCTYPE"},
		{"DOCTYPE in styles", bookOf(t, easySheet, part{"xl/styles.xml", "<!DOCTYPE styleSheet><styleSheet/>"}), "DOCTYPE"},
		{"sheet cut in a tag", bookOf(t, `<worksheet><sheetData><row r="1"><c r="A1"`), "XML"},
		{"sheet cut in a text", bookOf(t, `<worksheet><sheetData><row r="1"><c r="A1" t="str"><v>abc`), "XML"},
		{"sheet that is not there", bookOf(t, easySheet, part{"xl/_rels/workbook.xml.rels", `<Relationships><Relationship Id="rId1" Type="x/worksheet" Target="../../../etc/passwd"/></Relationships>`}), "damaged"},
		{"no sheet", bookOf(t, easySheet, part{"xl/workbook.xml", "<workbook/>"}), "no sheet"},
		{"1,001 columns", bookOf(t, sheetOf(`<row r="1">`+wide.String()+`</row>`)), "columns"},
		{"250,001 rows", bookOf(t, sheetOf(many.String())), "rows"},
		{"cell of 32,768 letters", bookOf(t, sheetOf(`<row r="1"><c r="A1" t="str"><v>`+strings.Repeat("x", 32_768)+`</v></c></row>`)), "longer than"},
		{"packed too tight", bookOf(t, sheetOf(strings.Repeat(" ", 20<<20))), "limit"},
		{"tight part that nobody reads", bookOf(t, easySheet, part{"xl/media/image1.png", strings.Repeat("\x00", 20<<20)}), "limit"},
		{"twice the same name", bookOf(t, easySheet, part{"XL/WORKBOOK.XML", workbookXML}), "same name"},
		{"tag without an end", bookOf(t, `<worksheet><sheetData><row r="`+long.String()), "XML"},
		{"cut short", bookOf(t, easySheet)[:500], "not complete"},
		{"merged areas beyond measure", bookOf(t, mergeBomb()), "merged"},
	}
	for _, c := range cases {
		start := time.Now()
		_, err := Read(context.Background(), "plant list.xlsx", c.data)
		if err == nil {
			t.Errorf("%s: taken", c.name)
			continue
		}
		line := err.Error()
		if !strings.HasPrefix(line, "plant list.xlsx ") || !strings.Contains(line, c.says) || strings.Contains(line, "\n") {
			t.Errorf("%s: %q should say %q", c.name, line, c.says)
		}
		if d := time.Since(start); d > 10*time.Second {
			t.Errorf("%s: turned away after %s", c.name, d)
		}
	}
}

func excelColumn(n int) string {
	s := ""
	for n > 0 {
		n--
		s = string(rune('A'+n%26)) + s
		n /= 26
	}
	return s
}

// mergeBomb is a sheet of a thousand rows whose merged areas all cover all of it.
func mergeBomb() string {
	var b strings.Builder
	b.WriteString("<worksheet><sheetData>")
	for r := 1; r <= 1000; r++ {
		fmt.Fprintf(&b, `<row r="%d"><c r="A%d"><v>1</v></c><c r="SA%d"><v>%d</v></c></row>`, r, r, r, r*7919)
	}
	b.WriteString("</sheetData><mergeCells>")
	for i := range 5000 {
		fmt.Fprintf(&b, `<mergeCell ref="A%d:XFD1048576"/>`, i%1000+1)
	}
	return b.String() + "</mergeCells></worksheet>"
}

func TestManyEntries(t *testing.T) {
	var more []part
	for i := range 2000 {
		more = append(more, part{fmt.Sprintf("x/%d", i), ""})
	}
	_, err := Read(context.Background(), "a.xlsx", bookOf(t, easySheet, more...))
	if err == nil || !strings.Contains(err.Error(), "entries") {
		t.Errorf("2,005 entries: %v", err)
	}
}

// Overlapping entries: two entries of the directory point at the same bytes, as archives that unpack to far more than they
// hold do (Fifield, A better zip bomb, WOOT 2019).
func TestOverlappingEntries(t *testing.T) {
	var b bytes.Buffer
	body := []byte("same bytes")
	name := "a"
	local := make([]byte, 30)
	binary.LittleEndian.PutUint32(local, 0x04034b50)
	binary.LittleEndian.PutUint32(local[14:], crc32.ChecksumIEEE(body))
	binary.LittleEndian.PutUint32(local[18:], uint32(len(body)))
	binary.LittleEndian.PutUint32(local[22:], uint32(len(body)))
	binary.LittleEndian.PutUint16(local[26:], 1)
	b.Write(local)
	b.WriteString(name)
	b.Write(body)
	at := b.Len()
	for _, n := range []string{"a", "b"} {
		central := make([]byte, 46)
		binary.LittleEndian.PutUint32(central, 0x02014b50)
		copy(central[16:], local[14:26])
		binary.LittleEndian.PutUint16(central[28:], 1)
		b.Write(central)
		b.WriteString(n)
	}
	end := make([]byte, 22)
	binary.LittleEndian.PutUint32(end, 0x06054b50)
	binary.LittleEndian.PutUint16(end[8:], 2)
	binary.LittleEndian.PutUint16(end[10:], 2)
	binary.LittleEndian.PutUint32(end[12:], uint32(b.Len()-at))
	binary.LittleEndian.PutUint32(end[16:], uint32(at))
	b.Write(end)
	if _, err := Read(context.Background(), "a.xlsx", b.Bytes()); err == nil || !strings.Contains(err.Error(), "overlap") {
		t.Errorf("overlapping entries: %v", err)
	}
}

func TestEmptyRowsAndFarCellsCostNothing(t *testing.T) {
	rows := &strings.Builder{}
	for i := range 150_000 {
		fmt.Fprintf(rows, `<row r="%d" spans="1:%d" ht="%d"><c r="A%d" s="%d"/></row>`, i+2, i%97, i%31, i+2, i%11)
	}
	book, err := Read(context.Background(), "a.xlsx", bookOf(t, sheetOf(`<row r="1"><c r="A1"><v>7</v></c></row>`+rows.String()+`<row r="1048576"><c r="XFD1048576"/></row>`)))
	if err != nil {
		t.Fatal(err)
	}
	if n := len(book.Sheets[0].Rows); n != 1 {
		t.Errorf("%d rows with content, want 1", n)
	}
}

// cellTexts writes a sheet's cells down: row, column, kind and what is in it.
func cellTexts(b *intake.Book) string {
	var out []string
	for _, s := range b.Sheets {
		for _, r := range s.Rows {
			for _, c := range r.Cells {
				text := c.Text
				if c.Kind == intake.Number || c.Kind == intake.Boolean {
					text = fmt.Sprint(c.Number)
				}
				mark := ""
				if c.Covered {
					mark = "^"
				}
				if b.Styles[c.Style].Struck {
					mark += "-"
				}
				out = append(out, fmt.Sprintf("%d%s%s=%d:%s", r.Number, excelColumn(int(c.Col)), mark, c.Kind, text))
			}
		}
	}
	return strings.Join(out, " ")
}

func TestCellsAsTheyStand(t *testing.T) {
	styles := `<styleSheet><numFmts><numFmt numFmtId="164" formatCode="yyyy-mm-dd"/></numFmts><fonts><font/><font><strike/></font><font><strike val="0"/></font></fonts>` +
		`<cellXfs><xf numFmtId="0" fontId="0"/><xf numFmtId="164" fontId="1"/><xf numFmtId="0" fontId="2"/></cellXfs></styleSheet>`
	shared := `<sst><si><t xml:space="preserve"> a &amp; b &#x263A;</t></si><si><r><t>two </t></r><r><rPr><strike/></rPr><t>runs</t></r><rPh><t>no</t></rPh></si><si><r><rPr><strike/></rPr><t>gone</t></r></si><si/><si><t>l_x000A_f</t></si></sst>`
	sheet := `<x:worksheet xmlns:x="y"><!-- a > b --><x:sheetData>` +
		`<x:row r="2"><x:c r="A2" t="s"><x:v>0</x:v></x:c><x:c r="B2" t='s'><x:v>1</x:v></x:c><x:c r="C2" t="s"><x:v>2</x:v></x:c><x:c r="D2" t="s"><x:v>3</x:v></x:c><x:c r="E2" t="s"><x:v>4</x:v></x:c><x:c r="F2" t="s"><x:v>99</x:v></x:c></x:row>` +
		`<x:row r="4" hidden="true"><x:c r="A4" s="1"><x:v>45060</x:v></x:c><x:c r="B4" s="2"><x:f>A1&gt;2</x:f><x:v>8.5</x:v></x:c><x:c r="C4"><x:f>1+1</x:f></x:c><x:c r="D4" t="e"><x:f>X</x:f><x:v>#N/A</x:v></x:c><x:c r="E4" t="b"><x:v>1</x:v></x:c><x:c r="F4" t="str"><x:f>""</x:f><x:v></x:v></x:c><x:c r="G4" t="str"><x:f>1</x:f><x:v>txt</x:v></x:c></x:row>` +
		`<x:row><x:c><x:v>1e3</x:v></x:c><x:c t="inlineStr"><x:is><x:t><![CDATA[<b>]]></x:t></x:is></x:c><x:c t="d"><x:v>2024-03-12T00:00:00</x:v></x:c><x:c t="str"><x:v>#REF!</x:v></x:c><x:c><x:v>nonsense</x:v></x:c></x:row>` +
		`</x:sheetData><x:mergeCells><x:mergeCell ref="A2:A5"/><x:mergeCell ref="$B$5:$D$5"/><x:mergeCell ref="zz"/></x:mergeCells></x:worksheet>`
	book, err := Read(context.Background(), "a.xlsx", bookOf(t, sheet, part{"xl/styles.xml", styles}, part{"xl/sharedStrings.xml", shared}))
	if err != nil {
		t.Fatal(err)
	}
	want := "2A=1: a & b ☺ 2B=1:two runs 2C-=1:gone 2E=1:l\nf 4A-=2:45060 4B=2:8.5 4C=4: 4D=4:#N/A 4E=3:1 4G=1:txt 5A=2:1000 5B=1:<b> 5C=1:2024-03-12 5D=4:#REF!"
	if got := cellTexts(book); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if s := book.Styles[1]; !s.Date || !s.Struck {
		t.Errorf("style 1 is %+v", s)
	}
	if !book.Sheets[0].Rows[1].Hidden {
		t.Error("row 4 is hidden and not told")
	}
}

func TestCellsOutOfOrder(t *testing.T) {
	book, err := Read(context.Background(), "a.xlsx", bookOf(t, sheetOf(`<row r="3"><c r="C3"><v>3</v></c><c r="A3"><v>1</v></c></row><row r="1"><c r="B1"><v>2</v></c></row>`)))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := cellTexts(book), "1B=2:2 3A=2:1 3C=2:3"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if _, err := Read(context.Background(), "a.xlsx", bookOf(t, sheetOf(`<row r="3"><c r="C3"><v>3</v></c><c r="C3"><v>1</v></c></row>`))); err == nil || !strings.Contains(err.Error(), "twice") {
		t.Errorf("a cell that stands twice: %v", err)
	}
}

func TestMergedValuesAreCarried(t *testing.T) {
	sheet := `<worksheet><sheetData><row r="1"><c r="A1" t="str"><v>Line 1</v></c><c r="B1"><v>1</v></c></row><row r="2"><c r="A2"/><c r="B2"><v>2</v></c></row><row r="4"><c r="B4"><v>4</v></c></row></sheetData><mergeCells><mergeCell ref="A1:A4"/></mergeCells></worksheet>`
	book, err := Read(context.Background(), "a.xlsx", bookOf(t, sheet))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := cellTexts(book), "1A=1:Line 1 1B=2:1 2A^=1:Line 1 2B=2:2 4A^=1:Line 1 4B=2:4"; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// Formats as spreadsheets write them (ECMA-376 part 1, 18.8.30 and 18.8.31).
func TestNumberFormats(t *testing.T) {
	for code, want := range map[string]formatted{
		"yyyy-mm-dd": {date: true}, "dd.mm.yyyy": {date: true}, `d\.m\.yy;@`: {date: true}, "[$-407]d. mmmm yyyy": {date: true}, "mmm yy": {date: true, monthOnly: true}, "m/d/yyyy h:mm": {date: true}, `TT\.MM\.JJJJ`: {date: true},
		"General": {}, "0": {}, "0.00": {}, "#,##0": {}, "0%": {}, `"CV-"000`: {pattern: "CV-000"}, "0000": {pattern: "0000"}, `0" mm"`: {unit: "mm"}, `#,##0.0\ "m"`: {unit: "m"}, "[h]:mm": {elapsed: true}, "h:mm": {},
		`[Red]0.0;[Blue]-0.0`: {}, "@": {}, `0.0 "m/min"`: {unit: "m/min"}, "mm:ss": {}, "yyyy": {date: true},
	} {
		if got := readFormat(code); got != want {
			t.Errorf("%q is %+v, want %+v", code, got, want)
		}
	}
}

func TestReadingIsCalledOff(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Read(ctx, "a.xlsx", bookOf(t, easySheet)); err == nil {
		t.Error("a cancelled read went on")
	}
}

func FuzzReadSheet(f *testing.F) {
	f.Add(sheetOf(`<row r="1"><c r="A1" t="inlineStr"><is><t>x</t></is></c></row>`), "<sst><si><t>a</t></si></sst>")
	f.Add(`<worksheet><row><c t="s"><v>0</v></c><mergeCell ref="A1:B2"/>`, "<sst><si><r><t>a</t></r></si>")
	f.Add(`<a b='>'/><c><v>&#x0;&#99999999;&bogus;</v></c>`, "<![CDATA[")
	f.Fuzz(func(t *testing.T, sheet, shared string) {
		book, err := Read(context.Background(), "f.xlsx", bookOf(t, sheet, part{"xl/sharedStrings.xml", shared}))
		if err == nil && len(book.Sheets) != 1 {
			t.Errorf("%d sheets", len(book.Sheets))
		}
	})
}

func TestRefusedRowsAreInert(t *testing.T) {
	var b bytes.Buffer
	err := WriteRefused(&b, []intake.RefusedSheet{{Name: "List", Notes: []string{"=1+1"}, Heads: [][]intake.OutCell{{{Kind: intake.Text, Text: "Conveyor"}}},
		Rows: [][]intake.OutCell{{{Kind: intake.Text, Text: "=cmd|' /C calc'!A0"}, {Kind: intake.Number, Number: 45060, Date: true}, {}, {Kind: intake.Text, Text: "@x", Struck: true}}}}})
	if err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		var text bytes.Buffer
		if _, err := text.ReadFrom(r); err != nil {
			t.Fatal(err)
		}
		if strings.HasPrefix(f.Name, "xl/worksheets") && (strings.Contains(text.String(), "<f>") || strings.Contains(text.String(), "hyperlink")) {
			t.Errorf("%s holds a formula or a link", f.Name)
		}
	}
	book, err := Read(context.Background(), "r.xlsx", b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if got, want := cellTexts(book), "1A=1:=1+1 2A=1:Conveyor 3A=1:=cmd|' /C calc'!A0 3B=2:45060 3D-=1:@x"; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}
