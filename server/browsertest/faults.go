//go:build browser

package browsertest

import (
	"bytes"
	"fmt"
	"net/http"
)

// Faults looks at a page as it stands and returns all that is wrong with it, in words; an error
// means that it could not be looked at.
func (p *Page) Faults() ([]string, error) {
	var faults []string
	if p.Status != http.StatusOK {
		faults = append(faults, fmt.Sprintf("status %d, want 200", p.Status))
	}
	looks := []func() ([]string, error){p.Complaints, p.Leftovers, p.head}
	if p.View.Paper {
		looks = append(looks, p.paper)
	} else {
		looks = append(looks, p.overflow, p.barriers)
	}
	for _, look := range looks {
		found, err := look()
		if err != nil {
			return nil, err
		}
		faults = append(faults, found...)
	}
	return faults, nil
}

// head asks for a title and exactly one first heading, by which a reader knows the page.
func (p *Page) head() ([]string, error) {
	return Script[[]string](p, `[
		document.title.trim() ? '' : 'the page has no title',
		document.querySelectorAll('h1').length === 1 ? '' : 'the page has ' + document.querySelectorAll('h1').length + ' headings h1, want one',
	].filter(Boolean)`)
}

// barriers are the violations that axe-core finds.
func (p *Page) barriers() ([]string, error) {
	violations, err := p.Axe()
	var found []string
	for _, v := range violations {
		found = append(found, v.String())
	}
	return found, err
}

// paper prints the page; what cannot be printed, prints nothing or is wider than the sheet is a fault.
func (p *Page) paper() ([]string, error) {
	pdf, err := p.PDF()
	if err != nil {
		return nil, fmt.Errorf("print: %w", err)
	}
	text, err := p.Text()
	if err != nil {
		return nil, err
	}
	if !bytes.HasPrefix(pdf, []byte("%PDF-")) || text == "" {
		return []string{"the printed page is empty"}, nil
	}
	return p.overPaper(pdf)
}
