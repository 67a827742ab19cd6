package intake_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
	"testing"
	"time"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/reports/workbook"
)

// The cases in testdata/cases are lists as plants keep them, each with the outcome that its contract demands.

type expectedRecord struct {
	Kind, Action, Plant, Conveyor, Sheet, Column string
	Row                                          int
	Fields                                       map[string]any
	Remarks                                      []string
}

type expectedRow struct {
	Sheet, Class, Column, Field string
	Row                         int
	Also                        []string
}

type expected struct {
	Case, File string
	Options    []string
	Setup      []struct {
		File    string
		Options []string
	}
	CountsCreated map[string]int `json:"counts_created"`
	Records       []expectedRecord
	Refused       []expectedRow
	Held          []expectedRow
	Skipped       []expectedRow
	Either        []struct {
		Sheet   string
		Row     int
		Options []struct {
			Records []expectedRecord
			Refused []string
		}
	}
	Mapping  []struct{ Sheet, Column, Field, Unit string }
	Fatal    bool
	Says     []string
	Generate [][]any
}

var today = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// importFile runs one import of a file as the command does.
func importFile(reg intake.Registry, dir, file string, options []string, leaveOut, dry bool) (*intake.Outcome, error) {
	opt := intake.Options{Now: today, DryRun: dry}
	data, err := os.ReadFile(filepath.Join(dir, file))
	if err != nil {
		return nil, err
	}
	var csvOpt intake.CSVOptions
	for i := 0; i+1 < len(options); i += 2 {
		v := options[i+1]
		switch options[i] {
		case "--plant":
			opt.Plant = v
		case "--date-order":
			opt.DateOrder = v
		case "--same-record":
			opt.SameRecord = v
		case "--mapping":
			text, err := os.ReadFile(filepath.Join(dir, v))
			if err != nil {
				return nil, err
			}
			if opt.Mapping, err = intake.ParseMapping(v, text); err != nil {
				return nil, err
			}
			csvOpt = intake.CSVOptions{Separator: opt.Mapping.Separator, Encoding: opt.Mapping.Encoding}
		}
	}
	return importData(reg, file, data, csvOpt, opt, leaveOut)
}

func importData(reg intake.Registry, file string, data []byte, csvOpt intake.CSVOptions, opt intake.Options, leaveOut bool) (*intake.Outcome, error) {
	ctx := context.Background()
	var book *intake.Book
	var err error
	if workbook.IsWorkbook(file) {
		book, err = workbook.Read(ctx, file, data)
	} else {
		book, err = intake.ReadCSV(file, data, csvOpt)
	}
	if err != nil {
		return nil, err
	}
	out, changes, err := intake.Judge(ctx, book, reg, opt)
	if err != nil {
		return nil, err
	}
	if !opt.DryRun && (leaveOut || len(out.Refused) == 0) {
		if err := reg.Apply(ctx, changes); err != nil {
			return nil, err
		}
		out.Applied = true
	}
	return out, nil
}

func TestContractCases(t *testing.T) {
	for _, dir := range []string{"testdata/cases", "testdata/cases/hostile"} {
		files, err := filepath.Glob(filepath.Join(dir, "*.expected.json"))
		if err != nil || len(files) == 0 {
			t.Fatalf("no cases in %s: %v", dir, err)
		}
		for _, f := range files {
			t.Run(strings.TrimSuffix(filepath.Base(f), ".expected.json"), func(t *testing.T) { runCase(t, dir, f) })
		}
	}
}

func runCase(t *testing.T, dir, file string) {
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var e expected
	if err := json.Unmarshal(text, &e); err != nil {
		t.Fatal(err)
	}
	if e.Generate != nil {
		dir = generate(t, e)
	}
	reg := &memory{}
	for _, s := range e.Setup {
		if _, err := importFile(reg, dir, s.File, s.Options, true, false); err != nil {
			t.Fatalf("earlier file %s: %v", s.File, err)
		}
	}
	if e.Fatal {
		checkFatal(t, e, reg, dir)
		return
	}
	dry, err := importFile(reg, dir, e.File, e.Options, true, true)
	if err != nil {
		t.Fatal(err)
	}
	out, err := importFile(reg, dir, e.File, e.Options, true, false)
	if err != nil {
		t.Fatal(err)
	}
	if a, b := fmt.Sprint(countsOf(dry)), fmt.Sprint(countsOf(out)); a != b {
		t.Errorf("the dry run counts %s, the run %s", a, b)
	}
	checkOutcome(t, e, out)
	again, err := importFile(reg, dir, e.File, e.Options, true, false)
	if err != nil {
		t.Fatal(err)
	}
	for k, c := range again.Counts {
		if c.Created+c.Changed > 0 {
			t.Errorf("the same file again creates %d and changes %d of %s", c.Created, c.Changed, k)
		}
	}
	if len(again.Refused) != len(out.Refused) || len(again.Held) != len(out.Held) {
		t.Errorf("the same file again refuses %d rows and holds %d, before %d and %d", len(again.Refused), len(again.Held), len(out.Refused), len(out.Held))
	}
	checkGivenBack(t, e, dir, out)
}

// generate writes a file out that is not stored.
func generate(t *testing.T, e expected) string {
	dir := t.TempDir()
	var b bytes.Buffer
	for _, part := range e.Generate {
		b.WriteString(strings.Repeat(part[0].(string), int(part[1].(float64))))
	}
	if err := os.WriteFile(filepath.Join(dir, e.File), b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

func checkFatal(t *testing.T, e expected, reg intake.Registry, dir string) {
	start := time.Now()
	_, err := importFile(reg, dir, e.File, e.Options, true, false)
	if err == nil {
		t.Fatal("the file was taken")
	}
	if d := time.Since(start); d > time.Minute { // a hang, not a claim of speed
		t.Errorf("turned away after %s", d)
	}
	line := strings.ToLower(err.Error())
	if !strings.Contains(line, strings.ToLower(e.File)) || strings.Contains(line, "\n") {
		t.Errorf("the line does not name the file: %s", line)
	}
	says := len(e.Says) == 0
	for _, w := range e.Says {
		says = says || strings.Contains(line, strings.ToLower(w))
	}
	if !says {
		t.Errorf("%q says none of %v", line, e.Says)
	}
}

func countsOf(o *intake.Outcome) map[string]int {
	m := map[string]int{}
	for k, c := range o.Counts {
		m[string(k)] = c.Created
	}
	return m
}

// plain is a record as JSON has it.
type plain struct {
	Kind, Action, Plant, Conveyor, Line, Sheet, Column string
	Row                                                int
	Fields                                             map[string]any
	Remarks                                            []struct{ Class string }
	used                                               bool
}

func checkOutcome(t *testing.T, e expected, o *intake.Outcome) {
	var b bytes.Buffer
	if err := o.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Records []*plain
		Mapping intake.Mapping
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	counts := map[string]int{}
	for k, n := range e.CountsCreated {
		counts[k] = n
	}
	for _, x := range e.Records {
		matchRecord(t, x, got.Records)
	}
	for _, ch := range e.Either {
		taken := false
		for _, opt := range ch.Options {
			for _, x := range o.Refused {
				taken = taken || x.Row == ch.Row && x.Sheet == ch.Sheet && contains(opt.Refused, x.Class)
			}
			for _, x := range opt.Records {
				if !taken || len(opt.Records) > 1 {
					if findRecord(x, got.Records) != nil {
						taken = true
						counts[x.Kind]++
					}
				}
			}
			if taken {
				break
			}
		}
		if !taken {
			t.Errorf("%s row %d: none of the outcomes that pass", ch.Sheet, ch.Row)
		}
	}
	for _, r := range got.Records {
		if !r.used && r.Action != "unchanged" && r.Kind != "line" {
			t.Errorf("not wanted: %+v", *r)
		}
	}
	for k, n := range counts {
		if c := o.Counts[intake.Kind(k)]; k != "line" && c.Created != n {
			t.Errorf("%s created %d, want %d", k, c.Created, n)
		}
	}
	var refused, held, skipped []expectedRow
	for _, r := range o.Refused {
		refused = append(refused, expectedRow{Sheet: r.Sheet, Row: r.Row, Column: r.Column, Class: r.Class})
		if n := len([]rune(r.Text)); n < 8 || n > 400 || strings.Contains(r.Text, "\n") {
			t.Errorf("text of %d letters: %q", n, r.Text)
		}
	}
	for _, r := range o.Held {
		held = append(held, expectedRow{Sheet: r.Sheet, Row: r.Row, Column: r.Column, Class: r.Class})
	}
	for _, r := range o.Skipped {
		skipped = append(skipped, expectedRow{Sheet: r.Sheet, Row: r.Row, Class: r.Class})
	}
	checkRows(t, e, "refused", e.Refused, refused)
	checkRows(t, e, "held", e.Held, held)
	checkRows(t, e, "skipped", e.Skipped, skipped)
	checkMapping(t, e, &got.Mapping)
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

func checkRows(t *testing.T, e expected, what string, want, got []expectedRow) {
	for _, x := range want {
		found := false
		for _, g := range got {
			if g.Sheet == x.Sheet && g.Row == x.Row && (x.Column == "" || g.Column == "" || x.Column == g.Column) {
				found = true
				if g.Class != x.Class && !contains(x.Also, g.Class) {
					t.Errorf("%s: %s row %d is %s, want %s", what, x.Sheet, x.Row, g.Class, x.Class)
				}
			}
		}
		if !found {
			t.Errorf("%s: %s row %d %s not listed (%s)", what, x.Sheet, x.Row, x.Column, x.Class)
		}
	}
	if what == "skipped" {
		return
	}
	for _, g := range got {
		known := false
		for _, x := range want {
			known = known || x.Sheet == g.Sheet && x.Row == g.Row
		}
		for _, x := range e.Either {
			known = known || x.Sheet == g.Sheet && x.Row == g.Row
		}
		if !known {
			t.Errorf("%s: %s row %d not wanted (%s)", what, g.Sheet, g.Row, g.Class)
		}
	}
}

func checkMapping(t *testing.T, e expected, m *intake.Mapping) {
	for _, x := range e.Mapping {
		found := false
		for _, tm := range m.Tables {
			c := tm.Columns[x.Column]
			found = found || tm.Sheet == x.Sheet && c.Field == x.Field && (x.Unit == "" || strings.EqualFold(c.Unit, x.Unit))
		}
		if !found {
			t.Errorf("column %s of %s should be %s %s", x.Column, x.Sheet, x.Field, x.Unit)
		}
	}
}

// matchRecord finds the record that a case wants and reports what is wrong in the nearest one.
func matchRecord(t *testing.T, x expectedRecord, got []*plain) {
	if r := findRecord(x, got); r != nil {
		for _, m := range x.Remarks {
			has := false
			for _, o := range got {
				if o.Sheet == x.Sheet && o.Row == x.Row {
					for _, rm := range o.Remarks {
						has = has || rm.Class == m
					}
				}
			}
			if !has {
				t.Errorf("%s %s row %d lacks remark %s", x.Kind, x.Conveyor, x.Row, m)
			}
		}
		return
	}
	for _, r := range got {
		if r.Kind == x.Kind && r.Row == x.Row && r.Sheet == x.Sheet && (x.Column == "" || r.Column == x.Column) {
			t.Errorf("%s %s %s row %d:\n got %v %s %s\nwant %v", x.Kind, x.Conveyor, x.Sheet, x.Row, r.Fields, r.Plant, r.Conveyor, x.Fields)
			return
		}
	}
	t.Errorf("missing %s %s %s row %d", x.Kind, x.Conveyor, x.Sheet, x.Row)
}

func findRecord(x expectedRecord, got []*plain) *plain {
	action := x.Action
	if action == "" {
		action = "created"
	}
	for _, r := range got {
		if r.used || r.Kind != x.Kind || r.Action != action || assets.NameKey(r.Plant) != assets.NameKey(x.Plant) || assets.TagKey(r.Conveyor) != assets.TagKey(x.Conveyor) {
			continue
		}
		right := true
		for k, v := range x.Fields {
			g := r.Fields[k]
			if g == nil && k == "status" && v == "in_use" {
				g = "in_use"
			}
			right = right && same(v, g)
		}
		if right && (x.Kind == "plant" || x.Kind == "line" || r.Row == x.Row) {
			r.used = true
			return r
		}
	}
	return nil
}

var isoDay = regexp.MustCompile(`^\d{4}-\d\d-\d\d$`)

// same compares as the contract says: numbers within 1e-6, words without case and punctuation, dates exactly.
func same(want, got any) bool {
	switch w := want.(type) {
	case nil:
		return got == nil
	case float64:
		g, ok := got.(float64)
		return ok && math.Abs(g-w) <= math.Max(1e-9, 1e-6*math.Abs(w))
	case bool:
		return got == want
	case map[string]any:
		if g, ok := got.(map[string]any); ok {
			return same(w["earliest"], g["earliest"]) && same(w["latest"], g["latest"])
		}
		return w["earliest"] != nil && w["earliest"] == w["latest"] && got == w["earliest"]
	case string:
		if g, ok := got.(map[string]any); ok {
			return g["earliest"] == w && g["latest"] == w
		}
		if isoDay.MatchString(w) {
			return got == w
		}
		g, ok := got.(string)
		return ok && word(g) == word(w)
	}
	return false
}

func word(s string) string {
	var b strings.Builder
	for _, r := range norm.NFKD.String(strings.ToLower(s)) {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// checkGivenBack gives the printed mapping back and wants the same result in a fresh register.
func checkGivenBack(t *testing.T, e expected, dir string, out *intake.Outcome) {
	if len(e.Setup) > 0 || e.Generate != nil {
		return
	}
	text, err := json.Marshal(out.Mapping)
	if err != nil {
		t.Fatal(err)
	}
	given := filepath.Join(t.TempDir(), "given.json")
	if err := os.WriteFile(given, text, 0o600); err != nil {
		t.Fatal(err)
	}
	m, err := intake.ParseMapping("given.json", text)
	if err != nil {
		t.Fatalf("the printed mapping cannot be given back: %v", err)
	}
	opt := intake.Options{Now: today, DryRun: true, Mapping: m}
	for i := 0; i+1 < len(e.Options); i += 2 {
		switch e.Options[i] {
		case "--plant":
			opt.Plant = e.Options[i+1]
		case "--date-order":
			opt.DateOrder = e.Options[i+1]
		}
	}
	data, err := os.ReadFile(filepath.Join(dir, e.File))
	if err != nil {
		t.Fatal(err)
	}
	back, err := importData(&memory{}, e.File, data, intake.CSVOptions{Separator: m.Separator, Encoding: m.Encoding}, opt, true)
	if err != nil {
		t.Fatalf("given back: %v", err)
	}
	if a, b := refusedRows(out), refusedRows(back); fmt.Sprint(countsOf(out)) != fmt.Sprint(countsOf(back)) || a != b {
		t.Errorf("given back the mapping counts %v, before %v; refuses %s, before %s", countsOf(back), countsOf(out), b, a)
	}
}

func refusedRows(o *intake.Outcome) string {
	var s []string
	for _, r := range o.Refused {
		s = append(s, fmt.Sprintf("%s!%s%d:%s", r.Sheet, r.Column, r.Row, r.Class))
	}
	sort.Strings(s)
	return strings.Join(s, " ")
}

func TestNoPlantAnywhere(t *testing.T) {
	_, err := importData(&memory{}, "easy.csv", []byte("Conveyor,Belt width (mm),Belt length (m)\nHC-01,600,12.5\n"), intake.CSVOptions{}, intake.Options{Now: today}, false)
	if !errors.Is(err, intake.ErrNoPlant) || !strings.Contains(err.Error(), "--plant") {
		t.Errorf("got %v, want a line that asks for --plant", err)
	}
}
