//go:build browser

package browsertest

import (
	"context"
	"go/ast"
	"go/parser"
	"go/token"
	"net/http"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/samplefleet"
)

// demo is the built program with its three plants, started by the first test that asks for it.
var demo = sync.OnceValues(func() (*Program, error) {
	var err error
	running, err = StartDemo(context.Background(), "../..", "")
	return running, err
})

// running is the demo to be stopped at the end, nil when no test asked for it.
var running *Program

// visitor is a browser signed in with a role of the demo, and what it found by following links.
type visitor struct {
	*Browser
	base  string
	found Found
}

// richPlant is the first of the demo's plants, which has a bit of everything.
const richPlant = "/plants/1"

// monthlyList is a plant's own list with a bit of everything: a name that changes, a reading that is new and one that
// falls below what was read before, and a day that does not exist.
const monthlyList = "Conveyor;Description;Read on;Hours\nQ1;Quay belt one;2026-11-01;99999\nQ2;;2015-01-05;1\nQ3;;2015-02-31;12\n"

// leadOf is the number of the lead in the demo, for whom its sign-in page has no button.
func leadOf(t *testing.T) int64 {
	t.Helper()
	for _, p := range samplefleet.Demo(time.Now()).People {
		if p.Role == assets.RoleLead {
			return p.ID
		}
	}
	t.Fatal("the demo has no lead")
	return 0
}

// visitors keeps one for each role, because the walk along the links takes a while; tests run one after another.
var visitors = map[string]*visitor{}

func signedIn(t *testing.T, role string) *visitor {
	t.Helper()
	if v := visitors[role]; v != nil {
		return v
	}
	program, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	b, err := Start(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	starts := []string{richPlant}
	if role == "lead" {
		err = b.SignInPerson(program.URL, leadOf(t))
	} else {
		err = b.SignIn(program.URL, role)
	}
	if err != nil {
		t.Fatal(err)
	}
	if role == "planner" {
		trial, err := b.Upload(program.URL, richPlant+"/import", "monthly list.csv", []byte(monthlyList))
		if err != nil {
			t.Fatal(err)
		}
		starts = append(starts, trial)
	}
	found, err := Discover(b, program.URL, starts...)
	if err != nil {
		t.Fatal(err)
	}
	visitors[role] = &visitor{b, program.URL, found}
	return visitors[role]
}

// TestEveryScreen walks every page that a planner can reach by links: light, dark, on a phone, on paper.
func TestEveryScreen(t *testing.T) {
	walk(t, signedIn(t, "planner"), Desk, DeskDark, Phone, Paper)
}

// TestEveryScreenOfOtherRoles looks at the same pages with fewer rights, where buttons and whole
// sections are absent: what is left must still be a sound page, where each of them sits.
func TestEveryScreenOfOtherRoles(t *testing.T) {
	t.Run("technician", func(t *testing.T) { walk(t, signedIn(t, "technician"), Phone) })
	t.Run("auditor", func(t *testing.T) { walk(t, signedIn(t, "auditor"), Desk) })
}

// TestEveryScreenOfALead walks what only a lead reaches, the forms of the catalogues among it.
func TestEveryScreenOfALead(t *testing.T) {
	v := *signedIn(t, "lead")
	v.found.Screens = ofTheLeadAlone(t)
	walk(t, &v, Desk, DeskDark, Phone, Paper)
}

// ofTheLeadAlone are the screens that a lead reaches and a planner does not.
func ofTheLeadAlone(t *testing.T) []Screen {
	t.Helper()
	planner := map[string]bool{}
	for _, screen := range signedIn(t, "planner").found.Screens {
		planner[Shape(screen.Path)] = true
	}
	return slices.DeleteFunc(slices.Clone(signedIn(t, "lead").found.Screens), func(s Screen) bool { return planner[Shape(s.Path)] })
}

// TestSignIn looks at the page before anybody is known.
func TestSignIn(t *testing.T) {
	program, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	b, err := Start(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(b.Close)
	inspect(t, b, program.URL+"/", Views())
}

func walk(t *testing.T, v *visitor, views ...View) {
	t.Helper()
	for _, dead := range v.found.Dead {
		t.Errorf("dead link: %s", dead)
	}
	if len(v.found.Screens) < 4 {
		t.Fatalf("only %d screens can be reached by links: %v", len(v.found.Screens), v.found.Screens)
	}
	for _, screen := range v.found.Screens {
		t.Run(screen.Name, func(t *testing.T) {
			t.Parallel()
			inspect(t, v.Browser, v.base+screen.Path, views)
		})
	}
}

// notByLink are pages that no link of the demo offers a planner or a lead as it stands, with the reason. Each is
// tested by the server's own tests; whoever makes one reachable takes it off, as the test below demands.
var notByLink = map[string]string{
	"/people":         "is the administrator's, and the demo has none; TestFromTheFirstStartToPasskeys looks at it",
	"/people/new":     "is the administrator's, and the demo has none; TestFromTheFirstStartToPasskeys looks at it",
	"/people/:person": "is the administrator's, and the demo has none; TestFromTheFirstStartToPasskeys looks at it",

	"/plants/:plant/rounds/clock/:entry":       "is asked only of an entry from a phone whose clock was off; the server's own tests answer it",
	"/plants/:plant/rounds/:round/done/:order": "stands only where every point of an inspection was seen since it was raised; the server's own tests report one",
	"/plants/:plant/rounds/answer/:entry":      "stands only on a grade 4 of a round that nobody answered; the server's own tests answer it",
	"/plants/:plant/rounds/:round/points":      "is read by the script of a round; TestARoundWithoutANetwork reads it",
	"/plants/:plant/orders/:order/along/facts": "is read by the script of a sheet taken along; TestASheetWithoutANetwork reads it",
	"/plants/:plant/signatures/:signature":     "stands only on a signature from a device that did not fit; TestASheetWithoutANetwork and the desk's own tests decide one",
	"/round-worker.js":                         "is a script and no page",
	"/plants/:plant/findings/:finding/refuse":  "stands only on a finding of grade 3 or 4 that led to nothing, and the demo's rules make an order of each",
}

// TestEveryRouteIsWalked holds that no page is forgotten: each address that the server's table answers to
// GET is one that a planner or a lead reaches by links, or a file that a link offers.
func TestEveryRouteIsWalked(t *testing.T) {
	found := signedIn(t, "planner").found
	found.Screens = append(slices.Clone(found.Screens), ofTheLeadAlone(t)...)
	patterns := pagePatterns(t)
	if len(patterns) < 5 {
		t.Fatalf("only %d routes read from the table: %v", len(patterns), patterns)
	}
	reached := map[string]bool{}
	for _, screen := range found.Screens {
		reached[bestPattern(patterns, screen.Path)] = true
	}
	for _, address := range append(found.Files, found.Led...) {
		reached[bestPattern(patterns, address)] = true
	}
	for _, pattern := range patterns {
		reason, excused := notByLink[pattern]
		switch {
		case !reached[pattern] && !excused:
			t.Errorf("no link leads a planner or a lead to %s", pattern)
		case reached[pattern] && excused:
			t.Errorf("%s is reached now, though it %s: take it off the list", pattern, reason)
		}
	}
}

// pagePatterns reads the paths answered to GET from the source of the server's tables, which it does not export.
func pagePatterns(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("../web/*.go")
	if err != nil {
		t.Fatal(err)
	}
	var patterns []string
	for _, name := range files {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			path := ""
			switch n := n.(type) {
			case *ast.CompositeLit:
				path = routePath(n)
			case *ast.CallExpr:
				path = addedPath(n)
			}
			if path != "" {
				patterns = append(patterns, path)
			}
			return true
		})
	}
	return patterns
}

// routePath is the Path of a route written {Method: get, Path: "..."}; "" for anything else.
func routePath(literal *ast.CompositeLit) string {
	values := map[string]ast.Expr{}
	for _, element := range literal.Elts {
		if pair, ok := element.(*ast.KeyValueExpr); ok {
			if key, ok := pair.Key.(*ast.Ident); ok {
				values[key.Name] = pair.Value
			}
		}
	}
	method, isName := values["Method"].(*ast.Ident)
	path, isText := values["Path"].(*ast.BasicLit)
	if !isName || !isText || method.Name != "get" {
		return ""
	}
	text, _ := strconv.Unquote(path.Value) // the parser accepted it
	return text
}

// addedPath is the path of a route added below a plant's, as in add(..., "stops/:stop", (*Site).editStop, get, post):
// the text right before the handler, unless only post is named. It is "" for any other call.
func addedPath(call *ast.CallExpr) string {
	path, methods := "", map[string]bool{}
	for i, argument := range call.Args {
		if handler, ok := argument.(*ast.SelectorExpr); ok && isSiteMethod(handler) && i > 0 {
			if text, ok := call.Args[i-1].(*ast.BasicLit); ok {
				path, _ = strconv.Unquote(text.Value) // the parser accepted it
			}
		}
		if name, ok := argument.(*ast.Ident); ok {
			methods[name.Name] = true
		}
	}
	if path == "" || methods["post"] && !methods["get"] {
		return ""
	}
	return "/plants/:plant/" + path
}

// isSiteMethod tells whether an expression is written (*Site).name.
func isSiteMethod(handler *ast.SelectorExpr) bool {
	paren, ok := handler.X.(*ast.ParenExpr)
	if !ok {
		return false
	}
	star, ok := paren.X.(*ast.StarExpr)
	if !ok {
		return false
	}
	name, ok := star.X.(*ast.Ident)
	return ok && name.Name == "Site"
}

// bestPattern is the pattern with the fewest wildcards that an address fits, "" for none.
func bestPattern(patterns []string, address string) string {
	path, _, _ := strings.Cut(address, "?")
	best, fewest := "", 1000
	for _, pattern := range patterns {
		if n, fits := wildcards(pattern, path); fits && n < fewest {
			best, fewest = pattern, n
		}
	}
	return best
}

func wildcards(pattern, path string) (n int, fits bool) {
	want, got := strings.Split(pattern, "/"), strings.Split(path, "/")
	if len(want) != len(got) {
		return 0, false
	}
	for i := range want {
		switch {
		case strings.HasPrefix(want[i], ":"):
			n++
		case want[i] != got[i]:
			return 0, false
		}
	}
	return n, true
}

// inspect loads a page once and looks at it in every view.
func inspect(t *testing.T, b *Browser, address string, views []View) {
	t.Helper()
	page, err := b.Open(address, views[0])
	if err != nil {
		t.Fatal(err)
	}
	defer page.Close()
	for _, view := range views {
		if err := page.Look(view); err != nil {
			t.Fatal(err)
		}
		faults, err := page.Faults()
		if err != nil {
			t.Fatal(err)
		}
		if len(faults) > 0 {
			t.Errorf("%s, %s: %s", address, view.Name, strings.Join(faults, "\n\t"))
		}
	}
}

// TestEveryFormWrong posts nonsense once into every form that a planner or a lead can reach.
func TestEveryFormWrong(t *testing.T) {
	v := signedIn(t, "planner")
	posted := map[string]bool{}
	postAllWrong(t, v, v.found.Screens, posted)
	postAllWrong(t, signedIn(t, "lead"), ofTheLeadAlone(t), posted)
	if len(posted) < 3 {
		t.Errorf("only %d forms found: %v", len(posted), posted)
	}
}

// TestTrialWithARefusedRowIsNotAccepted presses what the page does not offer while a row is refused: bring in all.
// The page answers that the row has to be mended or left out, and looks sound. Left out, the rest is brought in.
func TestTrialWithARefusedRowIsNotAccepted(t *testing.T) {
	v := signedIn(t, "planner")
	trial, err := v.Upload(v.base, richPlant+"/import", "second list.csv", []byte(monthlyList))
	if err != nil {
		t.Fatal(err)
	}
	page, err := v.Open(v.base+trial, Desk)
	if err != nil {
		t.Fatal(err)
	}
	defer page.Close()
	const rest = "button[name=rest]"
	if _, err := Script[bool](page, `document.querySelector('`+rest+`').name = 'all', true`); err != nil {
		t.Fatalf("the trial offers no button to leave out what is refused: %v", err)
	}
	if err := page.Click("button[name=all]"); err != nil {
		t.Fatal(err)
	}
	said, err := Script[string](page, `(document.querySelector('[role=alert]') || {textContent: ''}).textContent`)
	if err != nil || page.Status != http.StatusUnprocessableEntity || !strings.Contains(said, "mend them, or say that they are left out") {
		t.Errorf("accepted wrong: status %d, says %q, %v", page.Status, said, err)
	}
	if err := page.Click(rest); err != nil {
		t.Fatal(err)
	}
	for range 100 {
		if heading, err := Script[string](page, `document.querySelector('h1').textContent`); err != nil {
			t.Fatal(err)
		} else if strings.Contains(heading, "brought in") && !strings.Contains(heading, "Bringing") {
			break
		}
		if err := page.Go(v.base + trial); err != nil {
			t.Fatal(err)
		}
	}
	inspect(t, v.Browser, v.base+trial, Views())
}

// postAllWrong posts into the forms of some screens whose kind was not posted to yet.
func postAllWrong(t *testing.T, v *visitor, screens []Screen, posted map[string]bool) {
	t.Helper()
	for _, screen := range screens {
		page, err := v.Open(v.base+screen.Path, Desk)
		if err != nil {
			t.Fatal(err)
		}
		forms, err := page.Forms()
		page.Close()
		if err != nil {
			t.Fatal(err)
		}
		for _, form := range forms {
			if shape := Shape(form.Action); !posted[shape] {
				posted[shape] = true
				t.Run(screen.Name+strings.ReplaceAll(shape, "/", " "), func(t *testing.T) {
					t.Parallel()
					postWrong(t, v.Browser, v.base+screen.Path, form)
				})
			}
		}
	}
}

// postWrong tries the wrong entries until the form refuses one, and looks at that refusal.
func postWrong(t *testing.T, b *Browser, address string, form Form) {
	t.Helper()
	for _, entry := range form.WrongEntries() {
		page, err := b.Open(address, Desk)
		if err != nil {
			t.Fatal(err)
		}
		faults, err := refusal(page, form, entry)
		refused := page.Status >= http.StatusBadRequest
		page.Close()
		if err != nil {
			t.Fatal(err)
		}
		if refused {
			if len(faults) > 0 {
				t.Errorf("%s, form to %s, entry %.12q: %s", address, form.Action, entry, strings.Join(faults, "\n\t"))
			}
			return
		}
	}
	t.Errorf("%s: the form to %s takes nonsense, nothing at all and an endless text", address, form.Action)
}

// refusal posts a wrong entry and returns what is wrong with the answer, and what the browser complained of.
func refusal(page *Page, form Form, entry string) ([]string, error) {
	faults, err := page.PostWrong(form, entry)
	if err != nil {
		return nil, err
	}
	complaints, err := page.Complaints()
	complaints = slices.DeleteFunc(complaints, func(c string) bool { // a date field says so of the nonsense it is given back
		return strings.Contains(c, "The specified value")
	})
	return append(faults, complaints...), err
}
