package server

import (
	"encoding/csv"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// asvsRow is a line of the table in ASVS.md.
type asvsRow struct{ item, level, state, where, words string }

func asvsTable(t *testing.T) []asvsRow {
	t.Helper()
	page, err := os.ReadFile("ASVS.md")
	if err != nil {
		t.Fatal(err)
	}
	var rows []asvsRow
	for line := range strings.Lines(string(page)) {
		if !strings.HasPrefix(line, "| V") {
			continue
		}
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		if len(cells) != 5 {
			t.Fatalf("a line of the table has %d cells: %s", len(cells), line)
		}
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		rows = append(rows, asvsRow{cells[0], cells[1], cells[2], cells[3], cells[4]})
	}
	return rows
}

// testNames are the names of every test function of the program.
func testNames(t *testing.T) map[string]bool {
	t.Helper()
	names := map[string]bool{}
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		for _, decl := range f.Decls {
			if fn, ok := decl.(*ast.FuncDecl); ok && fn.Recv == nil && strings.HasPrefix(fn.Name.Name, "Test") {
				names[fn.Name.Name] = true
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}

var quoted = regexp.MustCompile("`([^`]+)`")

// TestEveryItemOfTheStandardHasItsAnswer holds the table of ASVS.md against the list of items of OWASP ASVS 5.0.0
// (testdata/asvs-items.csv: numbers and levels, without V17).
func TestEveryItemOfTheStandardHasItsAnswer(t *testing.T) {
	f, err := os.Open("testdata/asvs-items.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	items, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(items)-1 != 246 {
		t.Errorf("the list has %d items, the standard 246 at levels 1 and 2 without V17", len(items)-1)
	}
	rows, seen, tests := asvsTable(t), map[string]asvsRow{}, testNames(t)
	for _, r := range rows {
		if _, twice := seen[r.item]; twice {
			t.Errorf("%s stands twice", r.item)
		}
		seen[r.item] = r
		r.check(t, tests)
	}
	for _, item := range items[1:] {
		if r, there := seen[item[0]]; !there || r.level != item[1] {
			t.Errorf("%s, level %s: the table says %+v", item[0], item[1], r)
		}
		delete(seen, item[0])
	}
	for item := range seen {
		t.Errorf("%s is no item of levels 1 and 2", item)
	}
}

// check holds that a row's answer is one.
func (r asvsRow) check(t *testing.T, tests map[string]bool) {
	t.Helper()
	for _, m := range quoted.FindAllStringSubmatch(r.where+" "+r.words, -1) {
		if strings.HasPrefix(m[1], "Test") && !tests[m[1]] {
			t.Errorf("%s names %s, which is no test", r.item, m[1])
		}
	}
	named := quoted.FindAllStringSubmatch(r.where, -1)
	switch r.state {
	case "shown":
		if len(named) == 0 || !strings.HasPrefix(named[0][1], "Test") {
			t.Errorf("%s is shown by no test", r.item)
		}
	case "written":
		if len(named) != 1 {
			t.Errorf("%s names no page", r.item)
		} else if _, err := os.Stat(filepath.Join("..", filepath.FromSlash(named[0][1]))); err != nil {
			t.Errorf("%s: the page it names is not there: %v", r.item, err)
		}
		r.section(t)
	case "built so", "does not apply", "open":
		if len(r.words) < 15 || r.where != "" {
			t.Errorf("%s is '%s' without a reason", r.item, r.state)
		}
	default:
		t.Errorf("%s has the state %q", r.item, r.state)
	}
}

// section holds that the sections a row names are headlines of the page.
func (r asvsRow) section(t *testing.T) {
	t.Helper()
	page, err := os.ReadFile("ASVS.md")
	if err != nil {
		t.Fatal(err)
	}
	titles := regexp.MustCompile(`"([^"]+)"`).FindAllStringSubmatch(r.words, -1)
	if len(titles) == 0 {
		t.Errorf("%s names no section", r.item)
	}
	for _, m := range titles {
		if !strings.Contains(string(page), "\n## "+m[1]+"\n") {
			t.Errorf("%s names the section %q, which is not there", r.item, m[1])
		}
	}
}
