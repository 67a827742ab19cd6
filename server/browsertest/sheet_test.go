//go:build browser

package browsertest

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// setsPIN sets the number the walker signs with, on the account page.
func (w *walker) setsPIN(pin string) {
	w.t.Helper()
	w.open("/account")
	w.does(fmt.Sprintf(`q('form[action="/account/pin"] [name=pin]').value = '%[1]s'; q('form[action="/account/pin"] [name=again]').value = '%[1]s'`, pin))
	w.must(w.page.Click(`form[action="/account/pin"] button`))
	w.until("the PIN is set", `/Your PIN is set/.test(document.body.textContent)`)
	w.page.Close()
}

// placedOrder finds an order that is placed, so that a sheet of it can be signed; the nth of them.
func (w *walker) placedOrder(nth int) string {
	w.t.Helper()
	w.open(richPlant + "/orders")
	to, err := Script[string](w.page, fmt.Sprintf(`(async () => {
		const at = p => fetch(p).then(a => a.text()).then(t => new DOMParser().parseFromString(t, 'text/html'));
		const pages = [...new Set([...document.querySelectorAll('a[href*="/orders/"]')].map(a => a.getAttribute('href')).filter(p => /\/orders\/\d+$/.test(p)))];
		let n = 0;
		for (const p of pages) {
			if (!(await at(p)).querySelector('input[name=action][value=start]')) continue;
			const facts = await (await fetch(p + '/along/facts')).json();
			if (facts.open && n++ === %d) return p;
		}
		return '';
	})()`, nth))
	w.must(err)
	w.page.Close()
	if to == "" {
		w.t.Fatal("the demo has no placed order to take along")
	}
	return to
}

func (w *walker) opensSheet(order string) {
	w.t.Helper()
	w.open(order + "/along")
	w.until("the sheet stands", `document.querySelector('[data-ready] form[data-entry]')`)
}

// photo puts a picture made in the page into the field a camera fills.
const photo = `const canvas = document.createElement('canvas'); canvas.width = canvas.height = 40; canvas.getContext('2d').fillRect(0, 0, 9, 9);
	const blob = await new Promise(d => canvas.toBlob(d, 'image/png')); const files = new DataTransfer(); files.items.add(new File([blob], 'seam.png', { type: 'image/png' }));
	const camera = q('form[data-entry] input[type=file]'); camera.files = files.files; camera.dispatchEvent(new Event('change')); await rest(); await rest();`

// notes keeps the step that is open, with a note by which it is told from others and a value where one is wanted.
func (w *walker) notes(note, more string) {
	w.t.Helper()
	w.does(fmt.Sprintf(`const set = (s, v) => { const e = q(s); if (e) { e.value = v; e.dispatchEvent(new Event('input')); } }; set('#value', '1'); set('#note', '%s'); %s q('[data-keep]').click()`, note, more))
}

// timesIn counts a note in the steps of an order.
func (w *walker) timesIn(order, note string) int {
	w.t.Helper()
	text, err := Script[string](w.page, fmt.Sprintf(`fetch('%s').then(a => a.text())`, order))
	w.must(err)
	return strings.Count(text, note)
}

// signs fills in the signature form that is open.
func (w *walker) signs(pin string) {
	w.t.Helper()
	w.does(fmt.Sprintf(`q('[data-step=sign]').click(); await rest(); const s = q('#signer'); const me = [...s.options].find(o => o.textContent === window.me) || s.options[1]; s.value = me.value; s.dispatchEvent(new Event('change'));
		const cut = q('#shorter'); if (cut) { cut.value = '0'; cut.dispatchEvent(new Event('input')); } const p = q('#pin'); p.value = '%s'; p.dispatchEvent(new Event('input')); q('[data-keep]').click(); await rest()`, pin))
}

// namesMe remembers in the page who is signed in.
func (w *walker) namesMe() {
	w.t.Helper()
	w.does(`window.me = (await (await fetch(location.pathname + '/facts')).json()).name`)
}

func TestASheetWithoutANetwork(t *testing.T) {
	w := walkerOn(t)
	w.setsPIN("402917")
	order := w.placedOrder(0)
	w.opensSheet(order)
	w.until("the device can open it alone", `navigator.serviceWorker.controller && caches.match(location.pathname + '/facts')`)
	time.Sleep(time.Second)
	w.namesMe()
	me, err := Script[string](w.page, `window.me`)
	w.must(err)
	if dir := picturesTo(); dir != "" {
		w.must(w.page.SavePicture(dir, "sheet-along"))
	}
	w.cut.Store(true)
	w.does(`q('[data-step=head]').click(); await rest(); const p = q('#permit'); p.value = 'P-7716'; p.dispatchEvent(new Event('input')); q('[data-keep]').click()`)
	w.notes("noted without a network 81", photo)
	w.notes("noted without a network 82", "")
	w.keeps(3)
	w.page.Close() // the page is killed

	w.opensSheet(order)
	w.keeps(3)
	w.notes("noted without a network 83", "")
	w.does(`window.me = ` + fmt.Sprintf("%q", me))
	w.signs("402917")
	w.keeps(5)
	if dir := picturesTo(); dir != "" {
		w.must(w.page.SavePicture(dir, "sheet-along-kept"))
	}
	left, err := Script[string](w.page, `new Promise((ok, no) => { const o = indexedDB.open('carryside-rounds'); o.onerror = no; o.onsuccess = () => { const r = o.result.transaction('entries').objectStore('entries').getAll(); r.onsuccess = () => ok(JSON.stringify(r.result)); }; })`)
	w.must(err)
	if strings.Contains(left, "402917") || !strings.Contains(left, `"sealed"`) {
		t.Error("the device keeps the PIN in clear, or no sealed one")
	}
	w.loses.Store(30)
	for range 4 {
		w.online()
	}
	w.loses.Store(0)
	w.rings()
	w.keeps(0)
	if w.lost.Load() == 0 {
		t.Error("no answer was lost")
	}
	for _, note := range []string{"noted without a network 81", "noted without a network 82", "noted without a network 83", "P-7716"} {
		if n := w.timesIn(order, note); n != 1 {
			t.Errorf("%q stands %d times on the order, want once", note, n)
		}
	}
	files, err := Script[int](w.page, fmt.Sprintf(`fetch('%s/files').then(a => a.text()).then(t => new DOMParser().parseFromString(t, 'text/html').querySelectorAll('a[href*="/attachments/"]').length)`, order))
	w.must(err)
	if files == 0 {
		t.Error("the photo is not kept with the order")
	}
	if n := w.timesIn(order, "is done and signed"); n == 0 {
		text, _ := w.page.Text() // only for the message
		t.Errorf("the order is not signed: %s", text)
	}
}

func TestASheetSignedWithAWrongPINGoesToTheLead(t *testing.T) {
	w := walkerOn(t)
	w.setsPIN("402917")
	order := w.placedOrder(0)
	w.opensSheet(order)
	w.namesMe()
	w.cut.Store(true)
	w.notes("noted before the wrong PIN", "")
	w.signs("771204")
	w.keeps(2)
	w.online()
	w.keeps(0)
	w.until("it says where the signature went", `/waits for the lead/.test(document.querySelector('[data-queue]').textContent)`)
	if n := w.timesIn(order, "noted before the wrong PIN"); n != 1 {
		t.Errorf("what was noted stands %d times, want once", n)
	}
	program, err := demo()
	w.must(err)
	lead := &walker{t: t, line: lineTo(t, program.URL)}
	lead.Browser, err = Start(t.Context())
	w.must(err)
	t.Cleanup(lead.Browser.Close)
	lead.must(lead.SignInPerson(lead.URL, leadOf(t)))
	lead.open(richPlant)
	to, err := Script[string](lead.page, `document.querySelector('a[href*="/signatures/"]')?.getAttribute('href') || ''`)
	lead.must(err)
	if to == "" {
		text, _ := lead.page.Text() // only for the message
		t.Fatalf("Today does not show the lead the signature: %s", text)
	}
	lead.page.Close()
	lead.open(to)
	lead.does(`q('input[name=stands][value=yes]').click(); q('[name=why]').value = 'was beside them when they signed'`)
	if dir := picturesTo(); dir != "" {
		lead.must(lead.page.SavePicture(dir, "signature-decide"))
	}
	lead.must(lead.page.Click(`main form button`))
	lead.until("it is signed", `/is done and signed/.test(document.body.textContent)`)
}
