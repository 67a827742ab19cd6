package main

import (
	"net/url"
	"regexp"
	"slices"
	"strings"

	"github.com/PuerkitoBio/goquery"
)

// named are the fields of forms that name a thing by its number, with the kind of thing. A field that looks like one
// and is not here fails the test.
var named = map[string]string{
	"line_id": "line", "target": "splice", "window": "stop", "people": "staff", "made_by": "staff", "finding": "finding", "plants": "plant", "splice": "splice", "belt": "belt", "conveyor_id": "conveyor",
	"answered_by": "contact", "person": "staff", "home": "plant", "from": "plant", "to": "plant",
	"supply": "supply", "goes_with": "kit", "order_id": "accepted order", "after": "accepted order",
	"belt_id": "belt", "line": "line", "line_1": "line", "line_2": "line", "line_3": "line", "headings": "headings", "reach": "plant",
}

// withFile are the fields of forms that send a file as well: the list they came with is read before they are.
var withFile = []string{"headings"}

// figures are the fields whose choices are numbers and name nothing; ends of names stand with a leading star.
var figures = []string{"made_as", "recipe", "specification", "item", "held", "grade", "rows", "version", "edit", "specification_id", "weekday", "weeks", "was", "repeats", "qualification", "ticket_1", "ticket_2", "ticket_3", "item_1", "item_2", "item_3", "item_4", "whose", "phone", "seen", "fitted"}

// travels are fields that a form carries only when it is asked for with them.
var travels = map[string]map[string]string{"/orders/new": {"finding": "finding"}}

// numberIn is the number of a choice: 32, "splice 32", s32.
var numberIn = regexp.MustCompile(`^([a-z]* ?)([0-9]+)$`)

// sentForm is a form of a page as a browser would send it.
type sentForm struct {
	page, to string
	values   url.Values
	ids      map[string]string // fields that name something: what stands before the number
	first    map[string]string // the first choice of each list
}

// formsOf reads the forms of a page that write something.
func (w *walled) formsOf(path, body string) []sentForm {
	w.t.Helper()
	doc, err := goquery.NewDocumentFromReader(strings.NewReader(body))
	must(w.t, err)
	var out []sentForm
	doc.Find("form").Each(func(_ int, form *goquery.Selection) {
		to := form.AttrOr("action", path)
		if !strings.EqualFold(form.AttrOr("method", "get"), "post") || to == "/theme" || to == "/signout" {
			return
		}
		f := sentForm{page: path, to: to, values: filled(form), ids: map[string]string{}, first: map[string]string{}}
		form.Find("option, input[type=checkbox], input[type=radio], input[type=hidden]").Each(func(_ int, o *goquery.Selection) {
			name := o.AttrOr("name", "")
			if goquery.NodeName(o) == "option" {
				name = o.Closest("select").AttrOr("name", "")
			}
			if f.first[name] == "" {
				f.first[name] = o.AttrOr("value", "")
			}
			if m := numberIn.FindStringSubmatch(o.AttrOr("value", "")); m != nil {
				f.ids[name] = m[1]
			}
		})
		for page, fields := range travels {
			if strings.HasSuffix(path, page) {
				for name := range fields {
					f.ids[name] = ""
				}
			}
		}
		form.Find("button[name]").Each(func(_ int, b *goquery.Selection) { // the button that saves
			if n := b.AttrOr("name", ""); n != moreRowsName {
				f.values.Set(n, b.AttrOr("value", ""))
			}
		})
		out = append(out, f)
	})
	return out
}

// moreRowsName is the button that asks for more rows and keeps nothing.
const moreRowsName = "more"

// usual is what a person would type where a form wants something.
var usual = map[string]string{
	"reason": "the test says so", "why": "the test says so", "title": "remake it", "kind": "re-splice", "hours": "2", "shortening_m": "0", "note": "done", "where": "in the round", "where_day": "2026-12-01",
	"retired": "2026-11-24", "removed": "2026-11-24", "made": "2026-11-24", "fitted": "2026-11-24", "tag": "ZQ 7", "name": "new name", "category": "cover wear", "text": "seen", "found_at": "2026-11-24T06:00",
	"latest_day": "2026-12-19", "start": "2026-12-01T06:00", "end": "2026-12-01T08:00", "width_m": "1000", "loop_length_m": "100", "number": "17", "minutes": "40", "from_day": "2026-11-01", "amount": "1", "lot": "L-17",
}

// fillIn types the usual answers where nothing stands.
func (f sentForm) fillIn() url.Values {
	v := url.Values{}
	for name, values := range f.values {
		v[name] = slices.Clone(values)
		if answer := usual[name]; answer != "" && v.Get(name) == "" {
			v.Set(name, answer)
		}
	}
	delete(v, "fitted")
	delete(v, "seen")                                               // forms before this one booked on the same lots
	for _, name := range []string{"target", "people", "category"} { // nothing is chosen to begin with, and something must be
		if f.first[name] != "" && v.Get(name) == "" {
			v.Set(name, f.first[name])
		}
	}
	return v
}

// complaints are the messages beside the fields of a page.
func complaints(body string) string {
	doc, err := goquery.NewDocumentFromReader(strings.NewReader(body))
	if err != nil {
		return err.Error()
	}
	return strings.Join(strings.Fields(doc.Find(".err, .error, .bad, [role=alert]").Text()), " ")
}
