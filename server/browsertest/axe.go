//go:build browser

package browsertest

import (
	"fmt"
	"os"
	"strings"
)

// Violation is one rule of accessibility that a page breaks, as axe-core reports it.
type Violation struct {
	ID     string // axe-core's name of the rule
	Impact string
	Help   string
	Nodes  []string // the elements, as selectors
}

// String names the rule and the elements that break it.
func (v Violation) String() string {
	return fmt.Sprintf("%s (%s): %s at %s", v.ID, v.Impact, v.Help, strings.Join(v.Nodes, "; "))
}

// axeRun asks for the rules of WCAG 2.2 up to level AA and axe-core's own good practice, or for some of them.
const axeRun = `axe.run(document, {resultTypes: ['violations']%s}).then((r) => r.violations.map((v) => ({
	ID: v.id, Impact: v.impact || '', Help: v.help,
	Nodes: v.nodes.map((n) => n.target.flat().join(' ') + (n.any[0] ? ' [' + n.any[0].message + ']' : '')).slice(0, 6),
})))`

// rules are the rules a view asks for: in the dark a page is laid out as in the light, only its colours differ.
func (v View) rules() string {
	if v.Dark && v.Width == Desk.Width {
		return ", runOnly: ['color-contrast']"
	}
	return ""
}

// Axe runs axe-core, read from the file that CARRYSIDE_TEST_AXE names, on the page as it stands. It is loaded once a page.
func (p *Page) Axe() ([]Violation, error) {
	source, err := p.browser.axe()
	if err != nil {
		return nil, err
	}
	there, err := Script[bool](p, "typeof axe === 'object'")
	if err == nil && !there {
		_, err = Script[bool](p, source+"; true")
	}
	if err != nil {
		return nil, fmt.Errorf("load axe-core into the page: %w", err)
	}
	violations, err := Script[[]Violation](p, fmt.Sprintf(axeRun, p.View.rules()))
	if err != nil {
		return nil, fmt.Errorf("run axe-core: %w", err)
	}
	return violations, nil
}

// readAxe reads axe-core; a browser does so once, at its first use.
func readAxe() (string, error) {
	path, err := requiredFile("CARRYSIDE_TEST_AXE", "axe.min.js of axe-core")
	if err != nil {
		return "", err
	}
	source, err := os.ReadFile(path)
	return string(source), err
}
