package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// modulePath is the first part of every import of our own.
const modulePath = "carryside/"

// importRule keeps one library, or one package of ours, behind its door.
type importRule struct {
	imported []string // import paths; "x/..." is x and everything below
	doors    []string // our packages that may import them, the same notation
	tests    []string // packages whose test files may as well
	reason   string
}

// importRules lists each forbidden import with its reason; the reason is what a slip prints.
var importRules = []importRule{
	{
		imported: []string{"gorm.io/...", "github.com/mattn/go-sqlite3", "modernc.org/...", "github.com/jackc/..."},
		doors:    []string{"assets/plantdb/..."},
		reason:   "one tree holds scope, journal and transaction; a query elsewhere would pass them by",
	},
	{
		imported: []string{"github.com/pressly/goose/..."},
		doors:    []string{"migrations", "assets/plantdb/..."},
		reason:   "the schema changes in one place, under one lock",
	},
	{
		imported: []string{"database/sql"},
		doors:    []string{"migrations", "assets/plantdb/..."},
		reason:   "hand-written SQL is welcome, but on plantdb's transaction",
	},
	{
		imported: []string{"github.com/xuri/excelize/..."},
		doors:    []string{"reports/workbook"},
		tests:    []string{"reports/..."},
		reason:   "dates, units and limits of spreadsheets are settled once, in reports/workbook",
	},
	{
		imported: []string{"github.com/gabriel-vasile/mimetype"},
		doors:    []string{"assets/enclosure"},
		reason:   "what a file is, is told by its contents in one place, with the list of what is kept",
	},
	{
		imported: []string{"github.com/gin-gonic/..."},
		doors:    []string{"server/..."},
		reason:   "only the server speaks HTTP; the rest is called, not served",
	},
	{
		imported: []string{"github.com/alexedwards/...", "github.com/go-webauthn/...", "github.com/coreos/go-oidc/...", "golang.org/x/oauth2/..."},
		doors:    []string{"server/signin"},
		reason:   "secrets are taken, compared and hashed in one place; everybody else asks the desk who somebody is",
	},
	{
		imported: []string{"github.com/pquerna/otp/...", "github.com/boombuler/barcode/...", "github.com/trustelem/zxcvbn/..."},
		doors:    []string{"server/signin"},
		tests:    []string{"cmd/carryside", "server/browsertest"},
		reason:   "codes of a second factor are worked out, and passwords judged, where secrets are; tests play the app on a telephone",
	},
	{
		imported: []string{"github.com/oauth2-proxy/mockoidc"},
		tests:    []string{"server/signin", "cmd/carryside"},
		reason:   "a provider that signs anybody in is for tests",
	},
	{
		imported: []string{"github.com/danielgtaylor/huma/..."},
		doors:    []string{"server/api"},
		reason:   "the machine interface is described and checked in one place; its tests check answers by hand, not with the library that wrote the description",
	},
	{
		imported: []string{"github.com/prometheus/..."},
		doors:    []string{"server/health"},
		reason:   "figures go through one registry, which takes no name of a plant or a person",
	},
	{
		imported: []string{"github.com/robfig/cron/..."},
		doors:    []string{"schedule", "schedule/calendar"},
		reason:   "cron drives ticks and decides nothing: it skips and doubles around clock changes",
	},
	{
		imported: []string{"github.com/teambition/rrule-go"},
		doors:    []string{"schedule/calendar"},
		reason:   "recurrence is validated and bounded by dates in the calendar before it reaches the library",
	},
	{
		imported: []string{"github.com/arran4/golang-ical"},
		doors:    []string{"schedule/calendar"},
		reason:   "events of a calendar file are bounded and put on the plant's clock before anybody sees them",
	},
	{
		imported: []string{"github.com/alecthomas/kong"},
		doors:    []string{"cmd/..."},
		reason:   "flags and environment are read in the program and passed on as arguments",
	},
	{
		imported: []string{"github.com/chromedp/..."},
		doors:    []string{"server/browsertest/..."},
		tests:    []string{"..."},
		reason:   "a browser is for tests and pictures; the product never starts one",
	},
	{
		imported: []string{"testing", "pgregory.net/rapid", "github.com/google/go-cmp/...", "github.com/PuerkitoBio/goquery"},
		doors:    []string{"server/browsertest/...", "reports/officetest/...", "assets/plantdb/plantdbtest"},
		tests:    []string{"..."},
		reason:   "test libraries stay out of the program that plants run",
	},
	{
		imported: []string{modulePath + "assets/plantdb/..."},
		doors:    []string{"cmd/...", "assets/plantdb/..."},
		tests:    []string{"..."},
		reason:   "others state the few methods they need as an interface; cmd joins them to the database",
	},
	{
		imported: []string{modulePath + "server/..."},
		doors:    []string{"cmd/...", "server/..."},
		reason:   "rules, plans and reports must not know who asks",
	},
	{
		imported: []string{modulePath + "cmd/..."},
		doors:    []string{"cmd/..."},
		reason:   "programs are the top; nothing is built on them",
	},
	{
		imported: []string{modulePath + "server/browsertest/...", modulePath + "reports/officetest/...", modulePath + "assets/plantdb/plantdbtest"},
		doors:    []string{"cmd/dev", "server/browsertest/...", "reports/officetest/..."},
		tests:    []string{"..."},
		reason:   "what exists for tests stays out of the program that plants run",
	},
}

// leaves may import the standard library, each other, numerics, and what is named beside them.
var leaves = map[string][]string{
	"assets":            nil,
	"assets/unit":       nil,
	"assets/loop":       nil,
	"schedule/calendar": {"github.com/arran4/golang-ical", "github.com/robfig/cron/...", "github.com/teambition/rrule-go"},
	"schedule/clock":    nil,
	"schedule/life":     nil,
	"schedule/plan":     nil,
	"migrations":        {"github.com/pressly/goose/..."},
}

// leafTestImports are what the tests of a leaf may use beyond the leaf itself.
var leafTestImports = []string{"pgregory.net/rapid", "github.com/google/go-cmp/..."}

const (
	numerics   = "gonum.org/v1/gonum/..."
	leafReason = "leaves are plain functions and words that everything else stands on; they must be readable and testable alone"
)

// vagueNames say nothing of what a package is for.
var vagueNames = []string{"util", "utils", "common", "models", "model", "types", "helpers", "helper", "misc", "base", "shared"}

// goFile is what the rules look at in one file.
type goFile struct {
	name    string // path from the root
	pkg     string // folder from the root, with slashes
	clause  string // name in the package clause
	test    bool
	hasDoc  bool
	imports []string
}

func TestImportDirections(t *testing.T) {
	files := readGoFiles(t, repositoryRoot(t))
	if len(files) < 5 {
		t.Fatalf("only %d Go files found: the walk is broken", len(files))
	}
	for _, complaint := range judge(files) {
		t.Error(complaint)
	}
}

// TestImportRulesBite feeds the rules one slip each, so that a rule that lets everything pass is seen.
func TestImportRulesBite(t *testing.T) {
	sound := goFile{name: "x/x.go", pkg: "x", clause: "x", hasDoc: true}
	slip := func(change func(*goFile)) goFile { f := sound; change(&f); return f }
	in := func(pkg, imported string) goFile {
		return slip(func(f *goFile) { f.name, f.pkg, f.imports = pkg+"/f.go", pkg, []string{imported} })
	}
	inTest := func(pkg, imported string) goFile {
		return slip(func(f *goFile) {
			f.name, f.pkg, f.test, f.imports = pkg+"/f_test.go", pkg, true, []string{imported}
		})
	}
	tests := map[string]struct {
		file goFile
		want string // part of the complaint, "" when the file is sound
	}{
		"gorm in a screen":                   {in("server/web", "gorm.io/gorm"), "scope, journal and transaction"},
		"gorm in the registry's statements":  {in("assets/plantdb/registry", "gorm.io/gorm"), ""},
		"gorm in a test of the server":       {inTest("server/web", "gorm.io/gorm"), "scope, journal and transaction"},
		"a name that only begins like gorm":  {in("server/web", "gorm.iota/x"), ""},
		"spreadsheet library in a report":    {in("reports", "github.com/xuri/excelize/v2"), "reports/workbook"},
		"spreadsheet opened again in a test": {inTest("reports", "github.com/xuri/excelize/v2"), ""},
		"gin in a rule":                      {in("schedule/rules", "github.com/gin-gonic/gin"), "only the server"},
		"huma in a screen":                   {in("server/web", "github.com/danielgtaylor/huma/v2"), "described and checked in one place"},
		"a figure counted in a rule":         {in("schedule/rules", "github.com/prometheus/client_golang/prometheus"), "one registry"},
		"cron in a rule":                     {in("schedule/rules", "github.com/robfig/cron/v3"), "drives ticks"},
		"cron in the calendar":               {in("schedule/calendar", "github.com/robfig/cron/v3"), ""},
		"browser in the server":              {in("server", "github.com/chromedp/chromedp"), "never starts one"},
		"server on the database":             {in("server", modulePath+"assets/plantdb"), "state the few methods"},
		"server test on the database":        {inTest("server", modulePath+"assets/plantdb"), ""},
		"program on the database":            {in("cmd/carryside", modulePath+"assets/plantdb"), ""},
		"report on a screen":                 {in("reports", modulePath+"server/web"), "who asks"},
		"leaf on the rules":                  {in("assets", modulePath+"schedule/rules"), leafReason},
		"leaf on a library":                  {in("schedule/clock", "golang.org/x/text/language"), leafReason},
		"leaf on a leaf":                     {in("schedule/clock", modulePath+"assets/unit"), ""},
		"leaf on numerics":                   {in("schedule/life", "gonum.org/v1/gonum/stat"), ""},
		"leaf test on properties":            {inTest("assets/loop", "pgregory.net/rapid"), ""},
		"a drawer for everything":            {slip(func(f *goFile) { f.pkg, f.clause = "assets/util", "util" }), "says nothing"},
		"no package sentence":                {slip(func(f *goFile) { f.hasDoc = false }), "no package sentence"},
		"sound":                              {sound, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got := strings.Join(judge([]goFile{tt.file}), "\n")
			if tt.want == "" && got != "" {
				t.Errorf("a sound file is refused: %s", got)
			}
			if !strings.Contains(got, tt.want) {
				t.Errorf("complaint %q does not say %q", got, tt.want)
			}
		})
	}
}

// judge returns a sentence for every breach, in file order.
func judge(files []goFile) []string {
	var complaints []string
	documented := map[string]bool{}
	withCode := map[string]bool{}
	for _, f := range files {
		for _, imported := range f.imports {
			if why := forbidden(f, imported); why != "" {
				complaints = append(complaints, fmt.Sprintf("%s imports %s: %s", f.name, imported, why))
			}
		}
		if slices.Contains(vagueNames, f.clause) || slices.Contains(vagueNames, path.Base(f.pkg)) {
			complaints = append(complaints, fmt.Sprintf("%s: the package name %q says nothing of what it holds; name it as the plant would", f.name, f.clause))
		}
		documented[f.pkg] = documented[f.pkg] || f.hasDoc
		withCode[f.pkg] = true
	}
	for _, pkg := range slices.Sorted(maps.Keys(withCode)) {
		if !documented[pkg] {
			complaints = append(complaints, fmt.Sprintf("package %s has no package sentence: say above a package clause what it is for", pkg))
		}
	}
	return complaints
}

// forbidden returns why a file must not import a path, or "".
func forbidden(f goFile, imported string) string {
	for _, rule := range importRules {
		allowed := matches(rule.doors, f.pkg) || f.test && matches(rule.tests, f.pkg)
		if matches(rule.imported, imported) && !allowed {
			return fmt.Sprintf("allowed in %s only, because %s", strings.Join(rule.doors, ", "), rule.reason)
		}
	}
	if named, leaf := leaves[f.pkg]; leaf && !leafMayImport(f, imported, named) {
		return leafReason
	}
	return ""
}

// leafMayImport tells whether a leaf's file may import a path. Tests of a leaf may also use test
// libraries and the joined program's test doors, which the other rules govern.
func leafMayImport(f goFile, imported string, named []string) bool {
	if ours, ok := strings.CutPrefix(imported, modulePath); ok {
		_, leaf := leaves[ours]
		return leaf || f.test
	}
	first, _, _ := strings.Cut(imported, "/")
	standard := !strings.Contains(first, ".")
	return standard || matches(named, imported) || matches([]string{numerics}, imported) || f.test && matches(leafTestImports, imported)
}

// matches tells whether name is one of the patterns; "..." matches everything, "x/..." x and what is below it.
func matches(patterns []string, name string) bool {
	return slices.ContainsFunc(patterns, func(pattern string) bool {
		if pattern == "..." {
			return true
		}
		if tree, ok := strings.CutSuffix(pattern, "/..."); ok {
			return name == tree || strings.HasPrefix(name, tree+"/")
		}
		return name == pattern
	})
}

// readGoFiles parses the heads of all Go files, also those behind build tags, which a listing by
// the go command would leave out.
func readGoFiles(t *testing.T, root string) []goFile {
	t.Helper()
	var files []goFile
	err := eachGoFile(root, func(file string) error {
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly|parser.ParseComments)
		if err != nil {
			return err
		}
		name, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		files = append(files, describe(filepath.ToSlash(name), parsed))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func describe(name string, parsed *ast.File) goFile {
	f := goFile{name: name, pkg: path.Dir(name), clause: parsed.Name.Name, test: strings.HasSuffix(name, "_test.go")}
	f.hasDoc = !f.test && parsed.Doc != nil && strings.TrimSpace(parsed.Doc.Text()) != ""
	for _, spec := range parsed.Imports {
		imported, _ := strconv.Unquote(spec.Path.Value) // the parser accepted it
		f.imports = append(f.imports, imported)
	}
	return f
}

// repositoryRoot is two folders above this package; go test runs in the package's folder.
func repositoryRoot(t *testing.T) string {
	t.Helper()
	root, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(root, "go.mod")); err != nil {
		t.Fatalf("no go.mod at %s: the test must run in the repository", root)
	}
	return root
}
