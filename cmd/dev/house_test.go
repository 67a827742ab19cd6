package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// longestFile is where a file has more than one subject in it.
const longestFile = 700

// topLevel is all that stands in the root of the repository beside dotfiles.
var topLevel = []string{"assets", "cmd", "migrations", "reports", "schedule", "server", "go.mod", "go.sum", "README.md", "DEVELOPERS.md"}

// wallClock are the calls that make a result depend on when and where it was asked; only programs and
// test doors may make them, everybody else is handed the time and the settings.
var wallClock = map[string][]string{
	"time": {"Now", "Since", "Until"},
	"os":   {"Getenv", "LookupEnv", "Environ"},
}

var wallClockDoors = []string{"cmd/...", "server/browsertest/...", "reports/officetest/...", "assets/plantdb/plantdbtest"}

// later are words that put work off; spelled apart here, so that this file passes its own test.
var later = []string{"TO" + "DO", "FIX" + "ME", "XX" + "X", ".Skip" + "(", ".Skip" + "f(", ".SkipNow" + "("}

// sourceFile is one parsed Go file of the repository.
type sourceFile struct {
	name   string
	text   string
	parsed *ast.File
}

func readSources(t *testing.T) []sourceFile {
	t.Helper()
	root := repositoryRoot(t)
	var files []sourceFile
	err := eachGoFile(root, func(path string) error {
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		parsed, err := parser.ParseFile(token.NewFileSet(), path, text, parser.ParseComments)
		if err != nil {
			return err
		}
		name, err := filepath.Rel(root, path)
		files = append(files, sourceFile{filepath.ToSlash(name), string(text), parsed})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func (f sourceFile) folder() string {
	folder, _, found := cutLast(f.name, "/")
	if !found {
		return "."
	}
	return folder
}

func (f sourceFile) test() bool { return strings.HasSuffix(f.name, "_test.go") }

func cutLast(s, sep string) (before, after string, found bool) {
	at := strings.LastIndex(s, sep)
	if at < 0 {
		return s, "", false
	}
	return s[:at], s[at+len(sep):], true
}

// TestHouseRules holds what a reader of this repository may rely on in every file.
func TestHouseRules(t *testing.T) {
	for _, f := range readSources(t) {
		if lines := strings.Count(f.text, "\n"); lines > longestFile {
			t.Errorf("%s has %d lines: more than %d hold more than one subject", f.name, lines, longestFile)
		}
		for _, word := range later {
			if strings.Contains(f.text, word) {
				t.Errorf("%s says %s: do it now or leave it out", f.name, word)
			}
		}
		for _, call := range clockCalls(f) {
			t.Errorf("%s calls %s: take the time, or the setting, as an argument; only programs read clock and environment", f.name, call)
		}
		for _, name := range undocumented(f) {
			t.Errorf("%s: %s is exported and has no sentence above it", f.name, name)
		}
	}
}

// TestHouseRulesBite plants each breach once.
func TestHouseRulesBite(t *testing.T) {
	parse := func(name, text string) sourceFile {
		parsed, err := parser.ParseFile(token.NewFileSet(), name, text, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		return sourceFile{name, text, parsed}
	}
	const reading = "package clock\n\nimport \"time\"\n\nfunc now() time.Time { return time.Now() }\n"
	if got := clockCalls(parse("schedule/clock/now.go", reading)); !slices.Equal(got, []string{"time.Now"}) {
		t.Errorf("the wall clock in a leaf is not seen: %v", got)
	}
	for _, allowed := range []string{"cmd/carryside/now.go", "schedule/clock/now_test.go"} {
		if got := clockCalls(parse(allowed, reading)); len(got) > 0 {
			t.Errorf("%s may read the clock, yet %v is blamed", allowed, got)
		}
	}
	const silent = `package belt

type Belt struct{}

func (Belt) Width() float64 { return 0 }

func (hidden) Open() {}

type hidden struct{}

// Known has a sentence.
const Known = 1

const Unknown = 2
`
	if got := strings.Join(undocumented(parse("assets/belt.go", silent)), " "); got != "Belt Belt.Width Unknown" {
		t.Errorf("undocumented names: %q", got)
	}
}

func TestTopLevel(t *testing.T) {
	entries, err := os.ReadDir(repositoryRoot(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, entry := range entries {
		name := entry.Name()
		built := name == "carryside" || name == "dev" || strings.HasPrefix(name, "carryside.db") // left out of git
		if !strings.HasPrefix(name, ".") && !built && !slices.Contains(topLevel, name) {
			t.Errorf("%s stands in the root; it belongs in one of %s", name, strings.Join(topLevel[:6], ", "))
		}
	}
}

// clockCalls lists the uses of wallClock in a file that may not make them.
func clockCalls(f sourceFile) []string {
	if f.test() || matches(wallClockDoors, f.folder()) {
		return nil
	}
	var calls []string
	ast.Inspect(f.parsed, func(n ast.Node) bool {
		selector, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		if owner, ok := selector.X.(*ast.Ident); ok && slices.Contains(wallClock[owner.Name], selector.Sel.Name) {
			calls = append(calls, owner.Name+"."+selector.Sel.Name)
		}
		return true
	})
	return calls
}

// undocumented lists exported names without a comment; a group of constants or variables may share one.
func undocumented(f sourceFile) []string {
	if f.test() || f.parsed.Name.Name == "main" {
		return nil
	}
	var names []string
	for _, decl := range f.parsed.Decls {
		switch d := decl.(type) {
		case *ast.FuncDecl:
			if name := exportedFunc(d); name != "" && d.Doc == nil {
				names = append(names, name)
			}
		case *ast.GenDecl:
			if d.Doc == nil {
				names = append(names, undocumentedSpecs(d)...)
			}
		}
	}
	return names
}

// exportedFunc is the name of a function or method that others can call, "" for the rest.
func exportedFunc(d *ast.FuncDecl) string {
	if !d.Name.IsExported() {
		return ""
	}
	if d.Recv == nil || len(d.Recv.List) == 0 {
		return d.Name.Name
	}
	owner := d.Recv.List[0].Type
	if star, ok := owner.(*ast.StarExpr); ok {
		owner = star.X
	}
	if index, ok := owner.(*ast.IndexExpr); ok {
		owner = index.X
	}
	name, ok := owner.(*ast.Ident)
	if !ok || !name.IsExported() {
		return ""
	}
	return fmt.Sprintf("%s.%s", name.Name, d.Name.Name)
}

func undocumentedSpecs(d *ast.GenDecl) []string {
	var names []string
	for _, spec := range d.Specs {
		switch s := spec.(type) {
		case *ast.TypeSpec:
			if s.Name.IsExported() && s.Doc == nil && s.Comment == nil {
				names = append(names, s.Name.Name)
			}
		case *ast.ValueSpec:
			if s.Names[0].IsExported() && s.Doc == nil && s.Comment == nil {
				names = append(names, s.Names[0].Name)
			}
		}
	}
	return names
}
