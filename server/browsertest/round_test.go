//go:build browser

package browsertest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// line is the way between a phone and the program: it can be cut, and it can lose answers after the program has given them.
type line struct {
	*httptest.Server
	cut    atomic.Bool
	loses  atomic.Int32 // of a hundred answers to entries
	lost   atomic.Int32
	posted atomic.Int32
}

func lineTo(t *testing.T, program string) *line {
	t.Helper()
	to, err := url.Parse(program)
	if err != nil {
		t.Fatal(err)
	}
	l, draw := &line{}, rand.New(rand.NewPCG(1, 2))
	proxy := &httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) { r.SetURL(to); r.Out.Host = r.In.Host },
		ModifyResponse: func(r *http.Response) error {
			if r.Request.Method == http.MethodPost && strings.HasSuffix(r.Request.URL.Path, "/entries") {
				l.posted.Add(1)
				if draw.Int32N(100) < l.loses.Load() || l.loses.Load() > 0 && l.posted.Load() == 1 {
					l.lost.Add(1)
					return fmt.Errorf("the answer is lost")
				}
			}
			return nil
		},
		ErrorHandler: func(http.ResponseWriter, *http.Request, error) { panic(http.ErrAbortHandler) },
	}
	l.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if l.cut.Load() {
			panic(http.ErrAbortHandler) // the connection ends without an answer
		}
		proxy.ServeHTTP(w, r)
	}))
	t.Cleanup(l.Close)
	return l
}

// walker is a technician with a phone.
type walker struct {
	t *testing.T
	*Browser
	*line
	round string
	page  *Page
}

func walkerOn(t *testing.T) *walker {
	t.Helper()
	program, err := demo()
	if err != nil {
		t.Fatal(err)
	}
	w := &walker{t: t, line: lineTo(t, program.URL)}
	if w.Browser, err = Start(context.Background()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(w.Browser.Close)
	w.must(w.SignIn(w.URL, "technician"))
	w.open(richPlant + "/rounds")
	to, err := Script[string](w.page, `document.querySelector('td.tag a').getAttribute('href')`)
	w.must(err)
	w.round = to
	w.page.Close()
	return w
}

func (w *walker) must(err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatal(err)
	}
}

func (w *walker) open(path string) {
	w.t.Helper()
	p, err := w.Browser.Open(w.URL+path, Phone)
	w.must(err)
	w.page = p
	w.t.Cleanup(p.Close)
}

// until waits until an expression of the page is true.
func (w *walker) until(what, expression string) {
	w.t.Helper()
	for range 150 {
		ok, err := Script[bool](w.page, "Boolean("+expression+")")
		w.must(err)
		if ok {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	text, _ := w.page.Text() // only for the message
	w.t.Fatalf("not so in 15 s: %s\n%s", what, text)
}

// walk opens the round, from the network or from the phone.
func (w *walker) walk() {
	w.t.Helper()
	w.open(w.round)
	w.until("the round stands", `document.querySelector('[data-ready] form[data-entry]')`)
}

// does runs statements in the page; rest waits until the page has drawn anew, or longer than a phone needs where nothing is to be drawn.
func (w *walker) does(statements string) {
	w.t.Helper()
	_, err := Script[bool](w.page, `(async () => { const q = s => document.querySelector(s); const live = q('[data-live]') || document.body; const rest = () => new Promise(d => { const soon = () => { look.disconnect(); setTimeout(d, 100); }; const look = new MutationObserver(soon); look.observe(live, { childList: true }); setTimeout(soon, 1500); }); `+statements+`; await rest(); return true; })()`)
	w.must(err)
}

// enters keeps a finding at the nth point: a grade, and a gap by which it is told from others.
func (w *walker) enters(point, grade int, gap string) {
	w.t.Helper()
	w.does(fmt.Sprintf(`document.querySelectorAll('[data-point]')[%d].click(); await rest(); q('input[value=finding]').click(); await rest();
		const k = q('#kind'); k.value = 'edge damage'; k.dispatchEvent(new Event('change')); q('input[name=grade][value="%d"]').click(); await rest();
		const m = q('#measured'); m.value = 'splice gap'; m.dispatchEvent(new Event('change')); await rest();
		const v = q('.nudge input'); v.value = '%s'; v.dispatchEvent(new Event('input')); q('[data-keep]').click()`, point, grade, gap))
}

func (w *walker) keeps(n int) {
	w.t.Helper()
	if n == 0 {
		w.until("nothing is left to send", `!document.querySelector('[data-count]')`)
		return
	}
	w.until(fmt.Sprintf("%d are kept", n), fmt.Sprintf(`(document.querySelector('[data-count]') || {dataset: {}}).dataset.count === '%d'`, n))
}

// online joins the line again and says so to the page, as a phone does that finds its network.
func (w *walker) online() { w.line.cut.Store(false); w.rings() }

func (w *walker) rings() {
	w.t.Helper()
	w.does(`window.dispatchEvent(new Event('online')); window.dispatchEvent(new Event('online'))`)
}

// recorded counts how often each gap stands in the findings of the round's conveyors.
func (w *walker) recorded(gaps ...string) map[string]int {
	w.t.Helper()
	text, err := Script[string](w.page, `(async () => {
		const points = (await (await fetch(location.pathname + '/points')).json()).points;
		const pages = [...new Set(points.map(p => p.to.split('?')[0]))];
		let all = '';
		for (const p of pages) { const d = new DOMParser().parseFromString(await (await fetch(p)).text(), 'text/html'); all += [...d.querySelectorAll('li')].filter(e => !e.querySelector('li')).map(e => e.textContent).join('\n'); }
		return all; })()`)
	w.must(err)
	out := map[string]int{}
	for _, g := range gaps {
		out[g] = strings.Count(strings.ReplaceAll(text, "\u00a0", " "), "splice gap "+g+" mm")
	}
	return out
}

func (w *walker) eachOnce(gaps ...string) {
	w.t.Helper()
	for g, n := range w.recorded(gaps...) {
		if n != 1 {
			w.t.Errorf("the finding with a gap of %s mm is recorded %d times, want once", g, n)
		}
	}
}

// picturesTo is the folder pictures are wanted in; "": none.
func picturesTo() string { return os.Getenv("CARRYSIDE_TEST_PICTURES") }

func TestARoundWithoutANetwork(t *testing.T) {
	w := walkerOn(t)
	w.walk()
	w.until("the phone can open it alone", `navigator.serviceWorker.controller && caches.match(location.pathname)`)
	time.Sleep(time.Second)
	w.cut.Store(true)
	w.enters(0, 2, "71.1")
	w.enters(1, 1, "72.2")
	w.enters(0, 3, "73.3")
	w.keeps(3)
	w.page.Close() // the page is killed

	w.walk()
	w.keeps(3)
	w.does(`[...document.querySelectorAll('[data-edit]')].find(b => b.textContent.includes('72.2')).click(); await rest();
		const v = q('.nudge input'); v.value = '74.4'; v.dispatchEvent(new Event('input')); q('[data-keep]').click()`)
	w.keeps(3)
	w.online()
	w.keeps(0)
	w.eachOnce("71.1", "73.3", "74.4")
	if n := w.recorded("72.2")["72.2"]; n != 0 {
		t.Errorf("what was altered before it was sent is recorded too, %d times", n)
	}
}

func TestAGradeFourWithoutANetworkFillsTheScreen(t *testing.T) {
	w := walkerOn(t)
	w.walk()
	w.cut.Store(true)
	w.enters(0, 1, "91.1")
	w.enters(0, 4, "92.2")
	w.until("the screen is filled", `/Nobody has been told yet/.test(document.querySelector('[data-gravest]')?.textContent)`)
	if dir := picturesTo(); dir != "" {
		w.must(w.page.SavePicture(dir, "round-gravest"))
	}
	w.does(`q('#called').value = 'shift lead'; q('[data-called]').click()`)
	w.until("the page goes on", `!document.querySelector('[data-gravest]')`)
	w.keeps(2)
	first, err := Script[string](w.page, `document.querySelector('[data-edit]').textContent`)
	w.must(err)
	if !strings.Contains(first, "92.2") {
		t.Errorf("%q is sent first, want the grade 4", first)
	}
	if dir := picturesTo(); dir != "" {
		w.does(`document.querySelectorAll('[data-point]')[0].click(); await rest(); q('input[value=finding]').click()`)
		w.must(w.page.SavePicture(dir, "round"))
		w.must(w.page.Look(PhoneDark))
		w.must(w.page.SavePicture(dir, "round"))
		w.must(w.page.Look(Phone))
	}
	w.online()
	w.keeps(0)
	w.eachOnce("91.1", "92.2")
	w.page.Close()
	w.open(richPlant)
	head, err := Script[string](w.page, `document.querySelector('h1').textContent`)
	w.must(err)
	if !strings.Contains(head, "grade 4 from a round that nobody has answered") {
		t.Errorf("Today leads with %q", head)
	}
	w.must(w.page.Click(`a[href*="/rounds/answer/"]`))
	w.must(w.page.Click(`main form button`))
	head, err = Script[string](w.page, `document.querySelector('h1').textContent`)
	w.must(err)
	// Somebody has it in hand; it still has to end in an order or a signed refusal.
	if !strings.Contains(head, "finding of grade 4 without an order or a signed refusal") {
		t.Errorf("answered, Today leads with %q", head)
	}
}
