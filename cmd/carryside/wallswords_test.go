package main

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/reports"
)

// page is one answer to a GET with what was asked.
type page struct {
	path string
	reply
}

// readable is every page and file that the home side can be asked for: all addresses with the plant's own numbers,
// reports in every form, searches.
func (w *walled) readable(e *estate) []string {
	var out []string
	for _, rt := range w.routes() {
		if rt.Method == http.MethodGet && doorOf(rt.Method, rt.Path) != "open" {
			out = append(out, e.address(rt.Path, "", ""))
		}
	}
	for _, r := range reports.Catalogue {
		for _, form := range []string{"", "?format=xlsx", "?format=csv", "?format=json", "?format=html", "?as-of=2026-06-30"} {
			if r.Periodic() && strings.Contains(form, "format=") { // that a file was taken along is journalled: these end before
				form += "&to=2026-11-24"
			}
			out = append(out, at(e, "/reports/"+r.Slug+form))
		}
	}
	for _, number := range []string{"1", "2"} { // further orders, in other states
		out = append(out, at(e, "/orders/"+number))
	}
	for _, q := range []string{e.mark, e.mark + "-Q1", "1", "order"} {
		out = append(out, at(e, "/find?q="+url.QueryEscape(q)))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func at(e *estate, below string) string { return e.address("/plants/:plant", "", "") + below }

// readAll asks for all of them and keeps those that are open.
func (a *asker) readAll(paths []string) []page {
	var out []page
	for _, p := range paths {
		if got := a.take(p); got.status == http.StatusOK {
			out = append(out, page{p, got})
		}
	}
	return out
}

// take asks for a page, or sends the form with which a report is taken along.
func (a *asker) take(path string) reply {
	if to, form, file := strings.Cut(path, "?format="); file && !isMachine(path) {
		sent, err := url.ParseQuery("format=" + form)
		must(a.t, err)
		return a.ask(http.MethodPost, to, sent)
	}
	return a.ask(http.MethodGet, path, nil)
}

// words is the text of an answer; a workbook's sheets are unpacked.
func (p page) words(t *testing.T) string {
	t.Helper()
	if !strings.HasPrefix(p.body, "PK") {
		return p.body
	}
	z, err := zip.NewReader(strings.NewReader(p.body), int64(len(p.body)))
	must(t, err)
	var b bytes.Buffer
	for _, f := range z.File {
		r, err := f.Open()
		must(t, err)
		_, err = io.Copy(&b, r)
		must(t, err)
		must(t, r.Close())
	}
	return b.String()
}

// TestNoPageNamesAnythingOfAnotherPlant reads every page, export and search as every role: what carries the mark of a
// plant outside the grant is a leak. Costs stand only where the table says so, and nothing a person typed is markup.
func TestNoPageNamesAnythingOfAnotherPlant(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	read := 0
	for role := range roleTable {
		for _, grant := range within {
			a := w.asker(role, grant)
			for _, p := range a.readAll(walked(w.readable(w.home))) {
				read++
				text := p.words(t)
				for _, e := range []*estate{w.sister, w.foreign} {
					for _, word := range []string{e.mark, numbersOf(e)} { // its words, and the numbers of its things
						if !w.reaches(grant, e) && strings.Contains(text, word) {
							t.Errorf("%s for %s: %s tells of %s: …%s…", role, grant, p.path, e.mark, around(text, word))
						}
					}
				}
				if !may(role, "costs") && strings.Contains(strings.NewReplacer("\u202f", "", "\u00a0", "", " ", "").Replace(text), w.home.cost) {
					t.Errorf("%s for %s: %s tells the cost of a stop", role, grant, p.path)
				}
			}
		}
	}
	if read < 400/walkEvery {
		t.Errorf("only %d pages were read", read)
	}
	t.Logf("%d pages and files read", read)
}

// numbersOf is how the numbers of an estate's things begin.
func numbersOf(e *estate) string {
	number := fmt.Sprint(e.plant)
	return number[:len(number)-2]
}

func around(text, word string) string {
	i := strings.Index(text, word)
	return text[max(0, i-80):min(len(text), i+60)]
}

// TestNothingTypedIsMarkup holds that the hostile text of every field comes out as text on every page.
func TestNothingTypedIsMarkup(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	a := w.asker(assets.RoleLead, "all")
	shown := 0
	for _, e := range []*estate{w.home, w.sister, w.foreign} {
		for _, p := range a.readAll(walked(w.readable(e))) {
			html := strings.HasPrefix(p.header.Get("Content-Type"), "text/html")
			if html && strings.Contains(p.body, "<img src=x") {
				t.Errorf("%s: typed text is markup: …%s…", p.path, around(p.body, "<img src=x"))
			}
			if strings.Contains(p.words(t), "&lt;img src=x") {
				shown++
			}
		}
	}
	if shown < 50/walkEvery {
		t.Errorf("the hostile text stands on %d pages only; the plants of this test do not carry it any more", shown)
	}
}

// fresh are the parts of a page that differ at every look: keys against sending twice, what is told once.
var fresh = regexp.MustCompile(`<div class="note chalk" role="status">[^<]*</div>|name="(client_[a-z_0-9]+|key)" value="[^"]*"|value="[^"]*" name="(client_[a-z_0-9]+|key)"`)

// companyStands is where the journal of the service company stands: a report's basis names it, as it names every
// chain that was read. It tells that the company wrote something, not for whom.
var companyStands = regexp.MustCompile(`chain [0-9]+ entry [0-9]+ [0-9a-f]{64}`)

// TestWhatOthersDoMovesNothingHere holds that no count, total, order or number on any page of a customer depends on
// what happens at another customer: every page and file is the same byte for byte after the other one has grown.
func TestWhatOthersDoMovesNothingHere(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	var askers []*asker
	for _, grant := range within {
		for _, role := range []assets.Role{assets.RoleLead, assets.RoleAuditor, assets.RoleCustomerViewer} {
			askers = append(askers, w.asker(role, grant))
		}
	}
	w.unmoved(askers, func() {
		newEstate(t, w.db, "zqlater", w.foreign.customer, 7)
		for range 4 {
			w.foreign.write(t, w.db, plantDay.Add(50*time.Minute), w.foreign.order)
		}
	})
}

// unmoved reads every page and file as each of the askers before and after somebody else does something, and wants them
// the same. Files are read before the first pages and after the last: that one was taken along is journalled.
func (w *walled) unmoved(askers []*asker, elsewhere func(), left ...string) {
	w.t.Helper()
	var pages, files []string
	for _, p := range walked(w.readable(w.home)) {
		if slices.ContainsFunc(left, func(word string) bool { return strings.HasSuffix(p, word) || strings.Contains(p, word+"?") }) {
			continue
		}
		if strings.Contains(p, "format=") {
			files = append(files, p)
		} else {
			pages = append(pages, p)
		}
	}
	read := func(paths []string) (all [][]page) {
		for _, a := range askers {
			all = append(all, a.readAll(paths))
		}
		return all
	}
	filesBefore := read(files)
	read(pages) // what is told once is told
	pagesBefore := read(pages)
	elsewhere()
	pagesAfter := read(pages)
	filesAfter := read(files)
	compared := 0
	for i, a := range askers {
		before, after := append(pagesBefore[i], filesBefore[i]...), append(pagesAfter[i], filesAfter[i]...)
		for k := range after {
			x, y := steady(before[k].words(w.t)), steady(after[k].words(w.t))
			if before[k].path != after[k].path || x != y {
				w.t.Errorf("%s for %s: %s changed with what was done elsewhere: …%s…", a.role, a.grant, after[k].path, firstDifference(x, y))
			}
			compared++
		}
	}
	w.t.Logf("%d pages and files compared", compared)
}

// steady is a page without what differs at every look.
func steady(text string) string {
	return pooled.ReplaceAllString(companyStands.ReplaceAllString(fresh.ReplaceAllString(text, ""), ""), "")
}

// pooled is how many lives a cohort has: lives are pooled within a customer, and every figure says on how many it
// rests. So somebody granted one plant learns how many like splices the customer has. The digest of a report's rows
// goes with it; the rows themselves are compared.
var pooled = regexp.MustCompile(`([Nn]one|[0-9]+) of (the )?[0-9]+ (lives|splices)|\b[0-9a-f]{64}\b`)

// TestWhatTheSisterPlantDoesMovesNothingHere is the same for somebody granted one plant of a customer who has two. Two
// things are the customer's as a whole and do tell that the other plant did something: the chain of the journal, whose
// position and hash stand where it is proved (the journal's page, the cover of a report); and the pool of lives.
func TestWhatTheSisterPlantDoesMovesNothingHere(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	var askers []*asker
	for _, role := range []assets.Role{assets.RoleLead, assets.RoleAuditor, assets.RoleCustomerViewer} {
		askers = append(askers, w.asker(role, "plant"))
	}
	w.unmoved(askers, func() {
		newEstate(t, w.db, "zqthird", w.home.customer, 6)
		for range 3 {
			w.sister.write(t, w.db, plantDay.Add(50*time.Minute), w.sister.order)
		}
	}, "/journal", "/life", "/life/lives")
}

func firstDifference(x, y string) string {
	i := 0
	for i < len(x) && i < len(y) && x[i] == y[i] {
		i++
	}
	return x[max(0, i-60):min(len(x), i+40)] + "… is now …" + y[max(0, i-20):min(len(y), i+40)]
}

// TestSearchesForForeignThingsFindNothing types what stands in other plants and compares with a word that stands nowhere.
func TestSearchesForForeignThingsFindNothing(t *testing.T) {
	t.Parallel() // plants of its own; the walk is long
	w := openWalls(t)
	for _, grant := range grants {
		a := w.asker(assets.RolePlanner, grant)
		for _, word := range []string{"zqforeign", "zqforeign-Q1", "zqforeignxconveyor", "zqforeignxother", "zqforeignxorder", "zqsister-Q1", "zqsisterxorder"} {
			found, nothing := at(w.home, "/find?q="+word), at(w.home, "/find?q=zqnowhere")
			got, none := a.ask(http.MethodGet, found, nil), a.ask(http.MethodGet, nothing, nil)
			if strings.ReplaceAll(got.without(found), word, "WORD") != strings.ReplaceAll(none.without(nothing), "zqnowhere", "WORD") {
				t.Errorf("grant for %s: searching %s below the home plant finds something", grant, word)
			}
		}
		for _, ask := range []string{"/reports/splice-age?conveyor=", "/reports/splice-age?line=", "/calculator?conveyor=", "/orders?line=", "/belts?line=", "/stops/new?line=", "/orders/new?splice=", "/orders/new?conveyor=", "/orders/new?finding="} {
			for _, other := range []*estate{w.sister, w.foreign} {
				value := map[string]string{"conveyor": other.mark + "-Q1 " + hostile, "line": other.says("line")}[lastWord(ask)]
				if strings.HasPrefix(ask, "/orders") || strings.HasPrefix(ask, "/belts") || strings.HasPrefix(ask, "/stops") {
					value = other.value(lastWord(ask))
				}
				there, no := at(w.home, ask+url.QueryEscape(value)), at(w.home, ask+absent)
				got, none := a.ask(http.MethodGet, there, nil), a.ask(http.MethodGet, no, nil)
				if html(got, there, value) != html(none, no, absent) {
					t.Errorf("grant for %s: %s answers %d, %s answers %d: …%s…", grant, there, got.status, no, none.status, firstDifference(html(none, no, absent), html(got, there, value)))
				}
			}
		}
	}
}

// html is a reply without the address and the value asked for, whichever way they are written.
func html(r reply, path, value string) string {
	text := fresh.ReplaceAllString(fmt.Sprint(r.status, " ", r.to, "\n", r.body), "")
	escaped := strings.NewReplacer("&", "&amp;", `"`, "&#34;", "<", "&lt;", ">", "&gt;", "+", "&#43;")
	for _, v := range []string{path, escaped.Replace(path), url.QueryEscape(value), value, escaped.Replace(value), escaped.Replace(url.QueryEscape(value))} {
		text = strings.ReplaceAll(text, v, "ASKED")
	}
	return text
}

// lastWord is the name of the value an address asks with.
func lastWord(ask string) string {
	_, name, _ := strings.Cut(strings.TrimSuffix(ask, "="), "?")
	return name
}
