//go:build browser

package browsertest

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// Form is a form of a page that a person types into.
type Form struct {
	Index  int    // place among the page's forms
	Action string // address it is sent to
	Fields []string
	Strict bool // some field takes numbers, dates or addresses only
}

// WrongEntries are what is typed into every field, one after the other until the form refuses one: no number, date or
// name of a zone; nothing, where something is needed; a text longer than any field of a plant. Where any words
// will do, nothing comes first, because the words would be taken.
func (f Form) WrongEntries() []string {
	nonsense, nothing, endless := "zz ½ wrong", "", strings.Repeat("too long ", 3000)
	if f.Strict {
		return []string{nonsense, nothing, endless}
	}
	return []string{nothing, endless, nonsense}
}

// typedFields finds what can be typed into; hidden fields, buttons, ticks, choices and files are left as they are.
const typedFields = `[...form.elements].filter((e) => e.name && !e.disabled && !e.readOnly && (e.tagName === 'TEXTAREA' ||
	e.tagName === 'INPUT' && !['hidden', 'submit', 'button', 'reset', 'image', 'checkbox', 'radio', 'file', 'range', 'color'].includes(e.type)))`

// Forms lists the forms that are posted and have something to type. It reads attributes, because a field
// named action or method hides the property of that name.
func (p *Page) Forms() ([]Form, error) {
	return Script[[]Form](p, `[...document.forms].map((form, Index) => ({form, Index}))
		.filter(({form}) => (form.getAttribute('method') || '').toLowerCase() === 'post')
		.map(({form, Index}) => ({Index, Action: new URL(form.getAttribute('action') || location.href, location.href).href,
			Fields: `+typedFields+`.map((e) => e.name),
			Strict: `+typedFields+`.some((e) => e.inputMode || ['number', 'date', 'datetime-local', 'time', 'email', 'month'].includes(e.type))}))
		.filter((f) => f.Fields.length > 0)`)
}

// PostWrong types an entry into every field, sends the form past the browser's own checks and returns what is wrong
// with the answer: it must be a 4xx, say what to do in an element of role alert or beside a field, and keep every entry.
func (p *Page) PostWrong(form Form, entry string) ([]string, error) {
	err := p.load(func() (*network.Response, error) {
		return chromedp.RunResponse(p.ctx, chromedp.Evaluate[chromedp.Void](fillAndSend(form, entry)))
	}, "the answer of "+form.Action)
	if err != nil {
		return nil, err
	}
	var faults []string
	if p.Status < http.StatusBadRequest || p.Status >= http.StatusInternalServerError {
		faults = append(faults, fmt.Sprintf("status %d for a wrong entry, want 4xx", p.Status))
	}
	lost, err := Script[[]string](p, lostEntries(form, entry))
	return append(faults, lost...), err
}

// fillAndSend changes fields to plain text first, because a browser would refuse the nonsense in a number or a date.
func fillAndSend(form Form, entry string) string {
	return fmt.Sprintf(`{
		const form = document.forms[%d];
		for (const e of %s) { if (e.tagName === 'INPUT') e.type = 'text'; e.removeAttribute('maxlength'); e.value = %q; }
		form.noValidate = true;
		setTimeout(() => HTMLFormElement.prototype.submit.call(form), 0);
	}`, form.Index, typedFields, entry)
}

// lostEntries looks in the markup, not in the fields: a number field shows nothing of a wrong entry, yet must carry it.
func lostEntries(form Form, entry string) string {
	names, _ := json.Marshal(form.Fields) // strings always marshal
	return fmt.Sprintf(`(() => {
		const faults = [];
		if (![...document.querySelectorAll('[role=alert], [aria-invalid=true]')].length) faults.push('no message (role alert or a field marked invalid)');
		for (const name of %s) {
			const kept = [...document.getElementsByName(name)].some((e) => (e.tagName === 'TEXTAREA' ? e.defaultValue : e.getAttribute('value') || '').trim() === %q.trim());
			if (!kept && ![...document.getElementsByName(name)].some((e) => e.type === 'password')) faults.push('what was typed into ' + name + ' is lost');
		}
		return faults;
	})()`, names, entry)
}
