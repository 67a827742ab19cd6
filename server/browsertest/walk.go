//go:build browser

package browsertest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"path"
	"regexp"
	"strings"
	"time"

	"github.com/PuerkitoBio/goquery"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// Screen is one kind of page, with one example of it.
type Screen struct {
	Name string // from the shape of the path, fit for a file name
	Path string // path and query of the example
}

// maxScreens stops a walk that would never end; far more than the product has.
const maxScreens = 200

// numbered is a part of a path that names one thing of many: a number, a day, a long code.
var numbered = regexp.MustCompile(`^([0-9][0-9-]*|[0-9a-fA-F]{16,})$`)

// Shape is the kind of page that a path shows: the numbers in it become a star, the query does not count.
func Shape(address string) string {
	parsed, err := url.Parse(address)
	if err != nil {
		return address
	}
	parts := strings.Split(path.Clean("/"+parsed.Path), "/")
	for i, part := range parts {
		if numbered.MatchString(part) {
			parts[i] = "*"
		}
	}
	return strings.Join(parts, "/")
}

// nameOf makes /plants/*/conveyors/* into conveyors-one; the first page of a plant is its today.
func nameOf(shape string) string {
	if shape == "/plants/*" {
		return "today"
	}
	shape = strings.TrimPrefix(shape, "/plants/*")
	return strings.ReplaceAll(strings.ReplaceAll(strings.Trim(shape, "/"), "*", "one"), "/", "-")
}

// Found is what a walk along the links came across: pages, one of each shape, addresses of what is
// no page, such as a workbook, and links that led nowhere, in words.
type Found struct {
	Screens []Screen
	Files   []string
	Led     []string // addresses that led on to another page
	Dead    []string
}

// step is a link still to be followed, and the page it stands on.
type step struct{ to, from string }

// moreExamples is how many pages of a shape that is known already are read for links to shapes that are not: a link
// to a replaced meter stands only where a meter was replaced.
const moreExamples = 12

// Discover follows every link from some paths on, one example of each shape, in the order in which a
// reader meets them.
func Discover(b *Browser, base string, starts ...string) (Found, error) {
	var queue []step
	for _, start := range starts {
		queue = append(queue, step{to: start})
	}
	seen, read := map[string]int{}, map[string]bool{}
	var found Found
	for len(queue) > 0 && len(found.Screens) < maxScreens {
		next, from := queue[0].to, queue[0].from
		queue = queue[1:]
		path, _, _ := strings.Cut(next, "?")
		if seen[Shape(next)] > 0 {
			if seen[Shape(next)] > moreExamples || read[path] {
				continue
			}
			read[path] = true
			seen[Shape(next)]++
			more, err := b.unseen(base, next, seen)
			if err != nil {
				return found, err
			}
			queue = append(queue, more...)
			continue
		}
		seen[Shape(next)], read[path] = 1, true
		arrived, page, err := b.fetch(base + next)
		if status := badStatus(0); errors.As(err, &status) {
			found.Dead = append(found.Dead, fmt.Sprintf("%s, linked from %s, answers with status %d", next, from, status))
			continue
		} else if err != nil {
			return found, err
		}
		if Shape(arrived) != Shape(next) { // led on to another page, which counts instead
			found.Led = append(found.Led, next)
			queue = append([]step{{arrived, from}}, queue...)
			continue
		}
		if page == nil {
			found.Files = append(found.Files, next)
			continue
		}
		found.Screens = append(found.Screens, Screen{Name: nameOf(Shape(next)), Path: next})
		for _, to := range links(page, base+next) {
			queue = append(queue, step{to, next})
		}
	}
	return found, nil
}

// unseen reads one more example of a known shape and returns its links to shapes that are not known.
func (b *Browser) unseen(base, next string, seen map[string]int) ([]step, error) {
	arrived, page, err := b.fetch(base + next)
	if status := badStatus(0); errors.As(err, &status) {
		return nil, nil // dead links are told of the example that is walked
	} else if err != nil || page == nil || Shape(arrived) != Shape(next) {
		return nil, err
	}
	var more []step
	for _, to := range links(page, base+next) {
		if seen[Shape(to)] == 0 {
			more = append(more, step{to, next})
		}
	}
	return more, nil
}

// badStatus is an answer other than 200.
type badStatus int

// Error says the status.
func (s badStatus) Error() string { return fmt.Sprintf("status %d", int(s)) }

// fetch asks for an address with the browser's cookies. It returns where the answer came from, after
// redirects, and the page; nil for what is no page.
func (b *Browser) fetch(address string) (arrived string, page *goquery.Document, err error) {
	answer, err := b.ask(http.MethodGet, address, "", nil)
	if err != nil {
		return "", nil, err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return "", nil, badStatus(answer.StatusCode)
	}
	arrived = answer.Request.URL.RequestURI()
	if !strings.HasPrefix(answer.Header.Get("Content-Type"), "text/html") {
		return arrived, nil, nil
	}
	page, err = goquery.NewDocumentFromReader(answer.Body)
	return arrived, page, err
}

// ask sends a request with the browser's cookies.
func (b *Browser) ask(method, address, kind string, body io.Reader) (*http.Response, error) {
	cookies, err := chromedp.Call(b.ctx, network.GetCookies, network.GetCookiesParams{URLs: []string{address}})
	if err != nil {
		return nil, fmt.Errorf("read the cookies for %s: %w", address, err)
	}
	request, err := http.NewRequestWithContext(b.ctx, method, address, body)
	if err != nil {
		return nil, err
	}
	for _, c := range cookies.Cookies {
		request.AddCookie(&http.Cookie{Name: c.Name, Value: c.Value})
	}
	if kind != "" {
		request.Header.Set("Content-Type", kind)
		request.Header.Set("Origin", request.URL.Scheme+"://"+request.URL.Host)
	}
	return http.DefaultClient.Do(request)
}

// Upload sends a file to the form at a path, as its field named file, and returns the path of the page that it led to,
// once that page has stopped asking again by itself.
func (b *Browser) Upload(base, path, name string, content []byte) (string, error) {
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreateFormFile("file", name)
	if err != nil {
		return "", err
	}
	if _, err := part.Write(content); err != nil {
		return "", err
	}
	if err := form.Close(); err != nil {
		return "", err
	}
	answer, err := b.ask(http.MethodPost, base+path, form.FormDataContentType(), &body)
	if err != nil {
		return "", fmt.Errorf("send %s: %w", name, err)
	}
	for range 200 { // half a minute in all
		answer.Body.Close()
		if answer.StatusCode != http.StatusOK {
			return "", fmt.Errorf("%s sent to %s is answered with status %d", name, path, answer.StatusCode)
		}
		arrived := answer.Request.URL.RequestURI()
		if answer.Header.Get("Refresh") == "" {
			return arrived, nil
		}
		time.Sleep(150 * time.Millisecond)
		if answer, err = b.ask(http.MethodGet, base+arrived, "", nil); err != nil {
			return "", err
		}
	}
	answer.Body.Close()
	return "", fmt.Errorf("%s sent to %s is worked out without end", name, path)
}

// links are the addresses a person can follow from a page to another page of the product, and those of
// its search and filter forms, as they are sent when nothing is typed or chosen.
func links(page *goquery.Document, address string) []string {
	base, err := url.Parse(address)
	if err != nil {
		return nil
	}
	var found []string
	add := func(reference string) {
		if target, err := base.Parse(reference); err == nil && target.Host == base.Host && target.Scheme == base.Scheme {
			found = append(found, target.RequestURI())
		}
	}
	page.Find("a[href]:not([download])").Each(func(_ int, a *goquery.Selection) { add(a.AttrOr("href", "")) })
	page.Find("form").Each(func(_ int, form *goquery.Selection) {
		if strings.EqualFold(form.AttrOr("method", "get"), "get") {
			add(form.AttrOr("action", "") + "?" + untouched(form).Encode())
		}
	})
	return found
}

// untouched is what a form sends as it stands: the values its fields came with, and its first button.
func untouched(form *goquery.Selection) url.Values {
	values := url.Values{}
	form.Find("input[name]:not([type=checkbox]):not([type=radio]):not([type=submit]), input[name][checked]").Each(func(_ int, field *goquery.Selection) {
		values.Set(field.AttrOr("name", ""), field.AttrOr("value", ""))
	})
	form.Find("select[name]").Each(func(_ int, field *goquery.Selection) {
		chosen := field.Find("option[selected]")
		if chosen.Length() == 0 {
			chosen = field.Find("option")
		}
		values.Set(field.AttrOr("name", ""), chosen.First().AttrOr("value", chosen.First().Text()))
	})
	if button := form.Find("button[name]").First(); button.Length() > 0 {
		values.Set(button.AttrOr("name", ""), button.AttrOr("value", ""))
	}
	return values
}

// SignInPerson signs a person of the demo in by number, for roles that its sign-in page offers no button for.
func (b *Browser) SignInPerson(base string, id int64) error {
	p, err := b.Open(base+"/", Desk)
	if err != nil {
		return err
	}
	defer p.Close()
	found, err := Script[bool](p, fmt.Sprintf(`(() => {
		const button = document.querySelector('form button[name=person]');
		if (button) button.value = %d;
		return Boolean(button);
	})()`, id))
	if err != nil {
		return err
	}
	if !found {
		return errors.New("the sign-in page offers no button for a person")
	}
	if err := p.Click("form button[name=person]"); err != nil {
		return fmt.Errorf("sign in person %d: %w", id, err)
	}
	if p.Status != http.StatusOK {
		return fmt.Errorf("signing in person %d is answered with status %d", id, p.Status)
	}
	return nil
}

// SignIn chooses a person of a role on the sign-in page of the demo, as one click does.
func (b *Browser) SignIn(base, role string) error {
	p, err := b.Open(base+"/", Desk)
	if err != nil {
		return err
	}
	defer p.Close()
	const mark = "data-browsertest-choice"
	found, err := Script[bool](p, fmt.Sprintf(`(() => {
		const wanted = [...document.querySelectorAll('form button, form input[type=submit]')].find((b) =>
			(b.textContent + ' ' + b.value + ' ' + (b.getAttribute('aria-label') || '')).toLowerCase().includes(%q));
		if (wanted) wanted.setAttribute(%q, '');
		return Boolean(wanted);
	})()`, strings.ToLower(role), mark))
	if err != nil {
		return err
	}
	if !found {
		text, _ := p.Text() // only for the message
		return fmt.Errorf("the sign-in page offers no button for the role %s: %.300s", role, text)
	}
	if err := p.Click("[" + mark + "]"); err != nil {
		return fmt.Errorf("sign in as %s: %w", role, err)
	}
	if p.Status != http.StatusOK {
		return fmt.Errorf("signing in as %s is answered with status %d", role, p.Status)
	}
	return nil
}
