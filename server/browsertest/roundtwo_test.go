//go:build browser

package browsertest

import (
	"context"
	"fmt"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// walksWithClock opens the round on a phone whose clock is off.
func (w *walker) walksWithClock(off time.Duration) {
	w.t.Helper()
	p, err := w.Browser.newPage(Phone)
	w.must(err)
	w.page = p
	w.t.Cleanup(p.Close)
	_, err = chromedp.Call(p.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
		Source: fmt.Sprintf(`{ const now = Date.now.bind(Date); Date.now = () => now() + %d; }`, off.Milliseconds())})
	w.must(err)
	w.must(p.Go(w.URL + w.round))
	w.until("the round stands", `document.querySelector('[data-ready] form[data-entry]')`)
}

// atOnce joins the lines of phones again and lets all of them send at the same moment.
func atOnce(t *testing.T, phones ...*walker) {
	t.Helper()
	var all sync.WaitGroup
	for _, w := range phones {
		w.line.cut.Store(false)
		all.Go(func() {
			if _, err := Script[bool](w.page, `(async () => { for (let i = 0; i < 3; i++) { window.dispatchEvent(new Event('online')); await new Promise(d => setTimeout(d, 20)); } return true; })()`); err != nil {
				t.Errorf("send: %v", err)
			}
		})
	}
	all.Wait()
}

func TestTwoPhonesSendAtOnce(t *testing.T) {
	one, two := walkerOn(t), walkerOn(t)
	one.walk()
	two.walk()
	for i, w := range []*walker{one, two} {
		w.line.cut.Store(true)
		for k := range 3 { // of the same points
			w.enters(k, 1, fmt.Sprintf("5%d.%d", i, k+1))
		}
		w.keeps(3)
	}
	atOnce(t, one, two)
	one.keeps(0)
	two.keeps(0)
	one.eachOnce("50.1", "50.2", "50.3", "51.1", "51.2", "51.3")
}

// offsetSaid finds how far a phone's clock was off, as the page of a finding's time says it.
var offsetSaid = regexp.MustCompile(`((?:\d+h)?(?:\d+m)?\d+s) (ahead|behind)`)

// asksAbout opens the page that asks when a finding was made and returns its text; false when nobody is asked.
func (w *walker) asksAbout(gap string) (string, bool) {
	w.t.Helper()
	w.open(richPlant + "/rounds")
	to, err := Script[string](w.page, fmt.Sprintf(`[...document.querySelectorAll('a[href*="/rounds/clock/"]')].find(a => a.textContent.replaceAll('\u00a0', ' ').includes('splice gap %s mm'))?.getAttribute('href') || ''`, gap))
	w.must(err)
	if to == "" {
		return "", false
	}
	w.page.Close()
	w.open(to)
	text, err := w.page.Text()
	w.must(err)
	w.page.Close()
	return strings.ReplaceAll(text, "\u00a0", " "), true
}

// Two phones, three days ahead and two days behind, send at once over lines that lose three answers in ten. Each finding is there once,
// with both times and how far the clock was off; a person is asked which time is right.
func TestTwoPhonesDaysOffSendAtOnceWhileAnswersAreLost(t *testing.T) {
	offs := []time.Duration{72 * time.Hour, -48 * time.Hour}
	phones := []*walker{walkerOn(t), walkerOn(t)}
	var gaps [2][]string
	for i, w := range phones {
		w.walksWithClock(offs[i])
		w.line.cut.Store(true)
		for k := range 6 {
			gap := fmt.Sprintf("6%d.%d", i, k+1)
			gaps[i] = append(gaps[i], gap)
			w.enters(k%3, 1, gap)
		}
		w.keeps(6)
		w.loses.Store(30)
	}
	for range 8 {
		atOnce(t, phones...)
	}
	lost := int32(0)
	for _, w := range phones {
		lost += w.lost.Load()
		w.loses.Store(0)
	}
	atOnce(t, phones...)
	for i, w := range phones {
		w.keeps(0)
		w.eachOnce(gaps[i]...)
		w.page.Close()
	}
	if lost == 0 {
		t.Fatal("no answer was lost")
	}
	for i, w := range phones {
		for _, gap := range gaps[i] {
			text, asked := w.asksAbout(gap)
			if !asked {
				t.Errorf("nobody is asked when the finding with a gap of %s mm was made", gap)
				continue
			}
			for _, kept := range []string{"By the phone's clock", "Arrived", "Phone's clock when it was sent", "Phone's clock at the last contact before"} {
				if !strings.Contains(text, kept) {
					t.Errorf("gap %s mm: the page does not tell '%s'", gap, kept)
				}
			}
			said := offsetSaid.FindAllStringSubmatch(text, -1)
			if len(said) != 2 {
				t.Errorf("gap %s mm: the clock's offset is told as %v, want it at the last contact and when it was sent", gap, said)
			}
			for _, s := range said {
				off, err := time.ParseDuration(s[1])
				w.must(err)
				if s[2] == "behind" {
					off = -off
				}
				if (off - offs[i]).Abs() > time.Minute {
					t.Errorf("gap %s mm: the clock is said to be off by %v, want %v", gap, off, offs[i])
				}
			}
		}
	}
}

// A phone that a lead ends loses what it keeps unsent at its next contact, and nothing of it arrives.
func TestAnEndedPhoneIsWiped(t *testing.T) {
	w := walkerOn(t)
	w.walk()
	w.enters(0, 1, "55.1")
	w.keeps(0)
	w.line.cut.Store(true)
	w.enters(0, 1, "56.6")
	w.keeps(1)
	program, err := demo()
	w.must(err)
	lead := &walker{t: t, line: lineTo(t, program.URL), round: w.round}
	lead.Browser, err = Start(context.Background())
	w.must(err)
	t.Cleanup(lead.Browser.Close)
	lead.must(lead.SignInPerson(lead.URL, leadOf(t)))
	lead.open(richPlant + "/rounds")
	ended, err := Script[int](lead.page, `(async () => { const all = [...document.querySelectorAll('form[action$="/phones/others"]')];
		for (const f of all) await fetch(f.action, { method: 'POST', body: new URLSearchParams(new FormData(f)) }); return all.length; })()`)
	lead.must(err)
	if ended == 0 {
		t.Fatal("a lead is offered no phone to end")
	}
	w.online()
	w.until("it says that it was ended", `/was ended/.test(document.querySelector('[data-queue]').textContent)`)
	w.keeps(0)
	if left, err := Script[int](w.page, `new Promise((ok, no) => { const o = indexedDB.open('carryside-rounds'); o.onerror = no; o.onsuccess = () => { const r = o.result.transaction('entries').objectStore('entries').count(); r.onsuccess = () => ok(r.result); }; })`); err != nil || left != 0 {
		t.Errorf("%d entries are left on the phone, %v", left, err)
	}
	if n := lead.findings("56.6"); n != 0 {
		t.Errorf("what an ended phone kept arrived %d times", n)
	}
	if n := lead.findings("55.1"); n != 1 {
		t.Errorf("what it had sent before is there %d times, want once", n)
	}
}

// Whoever signs out on a phone takes the pages of rounds along, and nothing that somebody entered there and could not send yet.
func TestSigningOutLeavesWhatIsNotSentYet(t *testing.T) {
	w := walkerOn(t)
	w.walk()
	w.until("the round is on the shelf", `document.querySelector('[data-ready]')`)
	w.line.cut.Store(true)
	w.enters(0, 1, "57.7")
	w.keeps(1)
	// As if somebody else had entered it: it is sent when they sign in.
	w.does(`const o = await new Promise((ok, no) => { const r = indexedDB.open('carryside-rounds'); r.onsuccess = () => ok(r.result); r.onerror = no; });
		const s = o.transaction('entries', 'readwrite').objectStore('entries');
		await new Promise((ok, no) => { const r = s.getAll(); r.onsuccess = () => { for (const e of r.result) s.put({ ...e, person: 999 }); ok(); }; r.onerror = no; });
		o.close()`)
	w.line.cut.Store(false)
	w.must(w.page.Click(`form[action="/signout"] button`))
	w.until("the door stands", `location.pathname === '/signin'`)
	if left, err := Script[int](w.page, `new Promise((ok, no) => { const o = indexedDB.open('carryside-rounds', 1); o.onupgradeneeded = () => ok(0); o.onerror = no; o.onsuccess = () => { const r = o.result.transaction('entries').objectStore('entries').count(); r.onsuccess = () => ok(r.result); }; })`); err != nil || left != 1 {
		t.Errorf("%d entries are left on the phone, want the one that was not sent, %v", left, err)
	}
	if shelf, err := Script[bool](w.page, `caches.has('carryside-rounds')`); err != nil || shelf {
		t.Errorf("pages of the round are left on the phone: %v, %v", shelf, err)
	}
}

// findings counts a gap in the findings of the round, from an own page.
func (w *walker) findings(gap string) int {
	w.t.Helper()
	w.page.Close()
	w.open(w.round)
	return w.recorded(gap)[gap]
}
