//go:build browser

package browsertest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// pageTimeout is how long one page may take to come up, be looked at and be closed again.
// It is generous: the machine that proves a merge has two cores and a database to serve.
const pageTimeout = 60 * time.Second

// View is how a page is looked at: on which width, in which scheme of colours, on a screen or on paper.
type View struct {
	Name          string
	Width, Height int64 // CSS pixels
	Dark          bool
	Paper         bool
}

// The views every screen is walked in. Paper is as wide as A4 between margins of 10 mm: 190 mm at 96 pixels an inch.
var (
	Desk      = View{Name: "desk", Width: 1440, Height: 1000}
	DeskDark  = View{Name: "dark", Width: 1440, Height: 1000, Dark: true}
	Phone     = View{Name: "phone", Width: 390, Height: 844}
	PhoneDark = View{Name: "phone-dark", Width: 390, Height: 844, Dark: true}
	Paper     = View{Name: "print", Width: 718, Height: 1015, Paper: true}
)

// Views lists all of them.
func Views() []View { return []View{Desk, DeskDark, Phone, PhoneDark, Paper} }

// Browser is one running chromium. Its pages share cookies, as the tabs of one person do.
type Browser struct {
	ctx   context.Context
	close func()
	axe   func() (string, error) // source of axe-core
}

// Start runs the browser named by CARRYSIDE_TEST_CHROMIUM.
func Start(ctx context.Context) (*Browser, error) {
	path, err := requiredFile("CARRYSIDE_TEST_CHROMIUM", "the chromium program")
	if err != nil {
		return nil, err
	}
	// There is no graphics card: painted by its emulation, a page costs twice the work.
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.DisableGPU,
		chromedp.Flag("disable-gpu-rasterization", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-quic", true))
	allocCtx, stopAlloc := chromedp.NewExecAllocator(ctx, options...)
	browserCtx, stopBrowser := chromedp.NewContext(allocCtx)
	stop := func() { stopBrowser(); stopAlloc() }
	if err := chromedp.Do(browserCtx); err != nil {
		stop()
		return nil, fmt.Errorf("start %s: %w", path, err)
	}
	return &Browser{ctx: browserCtx, close: stop, axe: sync.OnceValues(readAxe)}, nil
}

// Close ends the browser; a second call does nothing.
func (b *Browser) Close() { b.close() }

// Open shows an address in a tab of its own. The caller closes the page.
func (b *Browser) Open(url string, view View) (*Page, error) {
	p, err := b.newPage(view)
	if err != nil {
		return nil, err
	}
	if err := p.Go(url); err != nil {
		p.Close()
		return nil, err
	}
	return p, nil
}

func (b *Browser) newPage(view View) (*Page, error) {
	tab, closeTab := chromedp.NewContext(b.ctx)
	if err := chromedp.Do(tab); err != nil { // opens the tab with no deadline, or its end would close it
		closeTab()
		return nil, fmt.Errorf("open a tab: %w", err)
	}
	ctx, cancel := context.WithTimeout(tab, pageTimeout)
	p := &Page{View: view, browser: b, ctx: ctx, close: func() { cancel(); closeTab() }}
	p.listen()
	if err := p.Look(view); err != nil {
		p.Close()
		return nil, err
	}
	return p, nil
}

// Look changes how the page is looked at; it is laid out anew, not loaded anew.
func (p *Page) Look(view View) error {
	p.View = view
	if err := chromedp.Do(p.ctx, chromedp.EmulateViewport(view.Width, view.Height)); err != nil {
		return fmt.Errorf("set the size of the view: %w", err)
	}
	if _, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, view.media()); err != nil {
		return fmt.Errorf("set the kind of the view: %w", err)
	}
	_, err := Script[bool](p, "new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))")
	return err
}

// media states scheme and medium. Motion is reduced, so that a picture never catches a half-drawn change.
func (v View) media() emulation.SetEmulatedMediaParams {
	scheme := "light"
	if v.Dark {
		scheme = "dark"
	}
	params := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
		{Name: "prefers-color-scheme", Value: scheme},
		{Name: "prefers-reduced-motion", Value: "reduce"},
	}}
	if v.Paper {
		params.Media = "print"
	}
	return params
}

// requiredFile reads a path from the environment; a test that lacks it fails and says what to set.
func requiredFile(variable, what string) (string, error) {
	path := os.Getenv(variable)
	if path == "" {
		return "", fmt.Errorf("%s is not set: give it the path of %s", variable, what)
	}
	if _, err := os.Stat(path); err != nil {
		return "", errors.Join(fmt.Errorf("%s does not name %s", variable, what), err)
	}
	return path, nil
}
