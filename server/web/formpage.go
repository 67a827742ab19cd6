package web

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/server/problem"
)

// This file is the page that the forms of the register share: fields in sections, a table of rows where a
// thing has several, what is said beside it, and the one way in which a form is answered.

// formPage is a form on a page of its own.
type formPage struct {
	Page
	Form     *Form
	Sections []formSection
	Rows     *formRows
	RowsAt   int        // the rows stand before this section; at the end when there is none
	Save     string     // word of the button
	Leave    string     // address to leave to; "": the page before is not known
	Says     []string   // what to know before saving, a paragraph each
	Cautions []string   // what can hurt somebody, in the words of the trade
	Facts    []fact     // what is known already, beside the form
	FactsOf  string     // headline of the facts
	Effects  []fact     // what saving would do to what is kept, beside the form
	EffectOf string     // headline of the effects
	Moves    *movesPart // what saving would move, shown once before it is kept
	Links    []Link     // what was entered before and may be corrected; without an address it is only told
}

// formSection is fields under a headline.
type formSection struct {
	Head   string
	Fields []*Field
	Folded bool // its fields are shown when somebody asks for them
}

// Open tells whether something stands in a folded section, or is wrong with it.
func (s formSection) Open() bool {
	return slices.ContainsFunc(s.Fields, func(f *Field) bool { return f.Value != "" || f.Bad() })
}

// formRows is a table of fields, a row for each part of a thing.
type formRows struct {
	Head, Hint string
	Columns    []string
	Rows       [][]*Field
	Stack      bool   // on a narrow screen the cells of a row stand below each other
	More       string // word of the button that adds rows; "": none
}

// fact is a term and what holds.
type fact struct{ Term, Says string }

// section adds fields under a headline.
func (p *formPage) section(head string, fields ...*Field) {
	shown := make([]*Field, 0, len(fields))
	for _, fd := range fields {
		shown = append(shown, fd)
		if fd.Which != nil {
			shown = append(shown, fd.Which)
		}
	}
	p.Sections = append(p.Sections, formSection{Head: head, Fields: shown})
}

// folded adds fields under a headline that are only shown when somebody asks for them: what most leave empty.
func (p *formPage) folded(head string, fields ...*Field) {
	p.section(head, fields...)
	p.Sections[len(p.Sections)-1].Folded = true
}

// reason asks why: a correction of what was held to be so needs one.
func (p *formPage) reason(must bool, hint string) {
	fd := p.Form.Area("reason", "Reason", "").Hinted(hint).OverBoth()
	fd.Required = must
	p.section("", fd)
}

// formBuild makes a form's page of what is kept now; the form holds what was typed, when it was sent.
type formBuild func(f *Form) (*formPage, error)

// formSave keeps what was typed and says where to go on and what was done.
type formSave func(p *formPage, e *entry) (to, notice string, err error)

// moreRows is the name of the button that asks for more rows and saves nothing.
const moreRows = "more"

// answer shows a form, or takes it: refused fields come back with what was typed, a thing that somebody
// changed meanwhile is shown beside what was typed, and nothing is half kept.
func (r *Request) answer(build formBuild, save formSave) error {
	p, err := build(r.NewForm())
	if err != nil {
		return err
	}
	if !r.Posted() || r.C.Request.PostForm.Has(moreRows) {
		return r.Show("form", p)
	}
	to, notice, err := save(p, r.entry(p.Form))
	err = r.inPlantTime(err)
	switch {
	case err == nil:
		return r.Done(to, notice)
	case errors.Is(err, errAskFirst):
		return r.Show("form", p)
	case p.Form.Refused(err):
		return r.Refill("form", p)
	case errors.Is(err, assets.ErrConflict):
		return r.bothSides(p, build, err)
	}
	return err
}

// instantInText is an instant as the register writes it into a sentence.
var instantInText = regexp.MustCompile(`\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z`)

// inPlantTime writes the instants in messages of assets.Invalid in the plant's time.
func (r *Request) inPlantTime(err error) error {
	var bad assets.Invalid
	if !errors.As(err, &bad) {
		return err
	}
	out := assets.Invalid{}
	for field, message := range bad {
		out.Add(field, r.F.inPlantTime(message))
	}
	return out
}

// hoursInText is a meter's hours as the register writes them into a sentence: without thousands apart.
var hoursInText = regexp.MustCompile(`\b\d+\.\d h\b`)

// inPlantTime writes the instants and hours of a sentence that was composed below the screens as the plant's
// people read them.
func (f Format) inPlantTime(sentence string) string {
	sentence = instantInText.ReplaceAllStringFunc(sentence, func(s string) string {
		t, err := time.Parse(time.RFC3339Nano, s)
		if err != nil {
			return s
		}
		return f.Stamp(assets.InstantOf(t))
	})
	return hoursInText.ReplaceAllStringFunc(sentence, func(s string) string {
		h, err := strconv.ParseFloat(strings.TrimSuffix(s, " h"), 64)
		if err != nil {
			return s
		}
		return With(Num(h, 1), "h")
	})
}

// bothSides shows what was typed beside what somebody else kept meanwhile.
func (r *Request) bothSides(p *formPage, build formBuild, cause error) error {
	var already *problem.Conflict
	if errors.As(cause, &already) {
		return cause
	}
	fresh := NewForm(nil)
	fresh.Plain = r.F
	now, err := build(fresh)
	if err != nil {
		return errors.Join(cause, err)
	}
	c := &problem.Conflict{What: p.Sheet, Again: r.C.Request.URL.RequestURI()}
	for _, fd := range p.Form.Fields {
		if fd.Kind == "hidden" || fd.Name == "reason" {
			continue
		}
		side := problem.Side{Name: fd.Label, Yours: fd.said()}
		if theirs := now.Form.Get(fd.Name); theirs != nil {
			side.Theirs = theirs.said()
		}
		c.Fields = append(c.Fields, side)
	}
	return c
}

// said is what stands in a field in words: the label of a choice, yes or no of a box.
func (fd *Field) said() string {
	for _, o := range fd.Options {
		if o.Value == fd.Value {
			return o.Label
		}
	}
	if fd.Kind == "tick" {
		return pick(fd.Value == "yes", "yes", "no")
	}
	return fd.Value
}

// version travels with a form: the row that was read, so that somebody else's change is not lost.
func (f *Form) version(v assets.Version) *Field {
	f.read = v
	return f.Hidden("version", markOf(v))
}

// markOf is the mark by which a form knows a row again. It is made of what its reader may know, not of the row's key: keys
// run over the rows of all customers, and the gaps between one's own would tell how much others write.
func markOf(v assets.Version) string {
	if v.RowID == 0 {
		return "0"
	}
	sum := sha256.Sum256(fmt.Appendf(nil, "%d %d %d", v.ID, v.ValidFrom, v.KnownFrom))
	return hex.EncodeToString(sum[:8])
}
