//go:build browser

package browsertest

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// Page is one tab: what was loaded, how the server answered and what the browser complained of.
type Page struct {
	View   View
	Status int64 // HTTP status of the last page loaded

	browser *Browser
	ctx     context.Context
	close   func()

	mu       sync.Mutex // guards messages
	messages []chromedp.ConsoleMessage
	fences   int
	told     int // how many of them Complaints has looked at
}

// Close closes the tab.
func (p *Page) Close() { p.close() }

// Go loads an address and waits until it is there whole, fonts and all.
func (p *Page) Go(url string) error {
	return p.load(func() (*network.Response, error) {
		return chromedp.Run(p.ctx, chromedp.NavigateResponse(url))
	}, url)
}

// Click presses what a CSS selector finds first and waits for the page that comes.
func (p *Page) Click(selector string) error {
	return p.load(func() (*network.Response, error) {
		return chromedp.RunResponse(p.ctx, chromedp.Click(chromedp.CSS(selector)))
	}, "the page behind "+selector)
}

func (p *Page) load(navigate func() (*network.Response, error), what string) error {
	answer, err := navigate()
	if err != nil {
		return fmt.Errorf("load %s: %w", what, err)
	}
	if answer != nil {
		p.Status = answer.Status
	}
	_, err = chromedp.Run(p.ctx, chromedp.Evaluate[bool](`document.fonts.ready.then(() => true)`, chromedp.EvalAwaitPromise))
	if err != nil {
		return fmt.Errorf("wait for the fonts of %s: %w", what, err)
	}
	return nil
}

// URL is the address shown now, after any redirect.
func (p *Page) URL() (string, error) { return chromedp.Run(p.ctx, chromedp.Location()) }

// Text is what can be read on the page.
func (p *Page) Text() (string, error) { return Script[string](p, `document.body.innerText`) }

// Script evaluates an expression in the page; promises are awaited.
func Script[T any](p *Page, expression string) (T, error) {
	return chromedp.Run(p.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
}

// listen keeps what the browser says from before the first load on.
func (p *Page) listen() {
	console := chromedp.Console(p.ctx)
	go func() {
		for message, err := range console {
			if err != nil {
				return
			}
			p.mu.Lock()
			p.messages = append(p.messages, message)
			p.mu.Unlock()
		}
	}()
}

// Complaints returns errors, warnings, uncaught exceptions and refusals of the content policy since it
// was last asked. That the main page came with an error status is told by Status, not here.
func (p *Page) Complaints() ([]string, error) {
	messages, err := p.drain()
	if err != nil {
		return nil, err
	}
	address, err := p.URL()
	if err != nil {
		return nil, err
	}
	var complaints []string
	for _, m := range messages {
		bad := m.IsException() || m.Type == chromedp.ConsoleError || m.Type == chromedp.ConsoleWarning
		ownStatus := m.Source == "network" && m.URL == address && p.Status >= 400
		if bad && !ownStatus {
			complaints = append(complaints, fmt.Sprintf("%s (%s:%d)", m, m.URL, m.Line+1))
		}
	}
	return complaints, nil
}

// drain sends a mark through the console and waits for it: whatever the page said before has then arrived.
func (p *Page) drain() ([]chromedp.ConsoleMessage, error) {
	p.fences++
	mark := fmt.Sprintf("fence %d of the test", p.fences)
	if _, err := Script[bool](p, fmt.Sprintf("console.debug(%q), true", mark)); err != nil {
		return nil, fmt.Errorf("read the console: %w", err)
	}
	var err error
	for err == nil {
		p.mu.Lock()
		messages := slices.Clone(p.messages)
		p.mu.Unlock()
		if slices.ContainsFunc(messages, func(m chromedp.ConsoleMessage) bool { return m.Text == mark }) {
			fresh := messages[p.told:]
			p.told = len(messages)
			return fresh, nil
		}
		_, err = Script[bool](p, "true") // a turn of the protocol brings what is on its way
	}
	return nil, fmt.Errorf("read the console: %w", err)
}

// overflowScript lists what sticks out to the right. What lies in a box that scrolls by itself comes second:
// it is to blame only when it is placed absolutely and so escapes that box.
const overflowScript = `((allowed) => {
	const width = window.innerWidth;
	if (document.documentElement.scrollWidth <= width * allowed) return [];
	const scrolls = (e) => { for (; e && e !== document.body; e = e.parentElement) {
		if (['auto', 'scroll', 'hidden', 'clip'].includes(getComputedStyle(e).overflowX)) return true;
	} return false; };
	const wide = [...document.querySelectorAll('body *')].filter((e) => e.getBoundingClientRect().right > width + 0.5);
	const free = wide.filter((e) => !scrolls(e.parentElement));
	const out = free.length ? free : wide.filter((e) => getComputedStyle(e).position === 'absolute');
	const name = (e) => e.tagName.toLowerCase() + (e.id ? '#' + e.id : '') + [...e.classList].map((c) => '.' + c).join('')
		+ ' ends at ' + Math.round(e.getBoundingClientRect().right);
	return ['the page is ' + document.documentElement.scrollWidth + ' pixels wide on ' + width].concat(out.slice(0, 8).map(name));
})(%v)`

// paperShrink is how much wider than the sheet a printed page may be: a browser shrinks it to fit,
// and letters stay legible down to four fifths of their size.
const paperShrink = 1.25

// overflow is empty when the page can be read without scrolling sideways, else it names the culprits.
func (p *Page) overflow() ([]string, error) {
	return Script[[]string](p, fmt.Sprintf(overflowScript, 1.0))
}

// overPaper is the same of a printed page. One that asks for paper laid across is measured on that width.
func (p *Page) overPaper(pdf []byte) ([]string, error) {
	if across(pdf) {
		view := p.View
		view.Width, view.Height = acrossWidth, view.Width
		if err := p.Look(view); err != nil {
			return nil, err
		}
	}
	return Script[[]string](p, fmt.Sprintf(overflowScript, paperShrink))
}

// acrossWidth is the width between margins of 10 mm of A4 laid across: 277 mm at 96 pixels an inch.
const acrossWidth = 1047

// mediaBox finds the size of a printed page, in points.
var mediaBox = regexp.MustCompile(`/MediaBox ?\[0 0 ([0-9.]+) ([0-9.]+)\]`)

// across tells whether the first page of a PDF is wider than high.
func across(pdf []byte) bool {
	size := mediaBox.FindSubmatch(pdf)
	if size == nil {
		return false
	}
	width, errWidth := strconv.ParseFloat(string(size[1]), 64)
	height, errHeight := strconv.ParseFloat(string(size[2]), 64)
	return errWidth == nil && errHeight == nil && width > height
}

// leftovers are what a program shows when a value is missing; a reader must never see them.
var leftovers = []string{"%!", "<no value>", "<nil>", "NaN", "undefined", "[object Object]", "0001-01-01", "+Inf", "-Inf"}

// Leftovers returns the traces of missing values in the text of the page.
func (p *Page) Leftovers() ([]string, error) {
	text, err := p.Text()
	if err != nil {
		return nil, err
	}
	var found []string
	for _, trace := range leftovers {
		if at := strings.Index(text, trace); at >= 0 {
			found = append(found, fmt.Sprintf("%q in %q", trace, text[max(0, at-40):min(len(text), at+40)]))
		}
	}
	return found, nil
}

// PDF prints the page on A4, upright or across as its style sheet asks.
func (p *Page) PDF() ([]byte, error) {
	return chromedp.Run(p.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4), chromedp.PDFMargin(10/25.4), chromedp.PDFPreferCSSPageSize()))
}

// Picture takes the whole length of the page as PNG.
func (p *Page) Picture() ([]byte, error) { return chromedp.Run(p.ctx, chromedp.FullScreenshot(100)) }

// SavePicture writes the picture as dir/name-view.png; paper is saved as a PDF beside it.
func (p *Page) SavePicture(dir, name string) error {
	picture, err := p.Picture()
	if err != nil {
		return fmt.Errorf("take a picture of %s: %w", name, err)
	}
	base := filepath.Join(dir, name+"-"+p.View.Name)
	if err := os.WriteFile(base+".png", picture, 0o644); err != nil {
		return err
	}
	if !p.View.Paper {
		return nil
	}
	pdf, err := p.PDF()
	if err != nil {
		return fmt.Errorf("print %s: %w", name, err)
	}
	return os.WriteFile(base+".pdf", pdf, 0o644)
}
