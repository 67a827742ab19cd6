package web

import (
	"errors"
	"net/url"
	"slices"
	"strings"

	"carryside/assets"
)

// Form is a form as shown: its fields with what stands in them and what is wrong with them. When it comes
// back from a browser it keeps what was typed.
//
//	f := r.NewForm()
//	f.Text("tag", "Tag", conveyor.Tag).Must().Hinted("as painted on the conveyor")
//	if r.Posted() { err := save(...); if f.Refused(err) { return r.Refill("conveyor_form", page) } ... }
type Form struct {
	Fields []*Field
	Whole  string // what is wrong with the form as a whole
	Plain  Format
	posted url.Values // nil: not posted
	prefix string     // before the ids of its fields, where a page has several forms
	byName map[string]*Field
	kept   map[string]any // dates as they are kept, by field: one that is left as shown comes back exactly
	read   assets.Version // the row that is shown
}

// Field is one field: label above, hint below, and a message when it was refused.
type Field struct {
	Name, Label, Hint, Value, Error string
	Kind                            string // text, number, date, datetime-local, area, select, radio, tick, file, hidden, password
	Unit                            string
	Options                         []Option
	Required, Wide                  bool
	Autocomplete, Placeholder       string
	Accept                          string
	Step, Min, Max                  string
	prefix                          string
	kept                            string // what stood in it before anybody typed
	Which                           *Field // beside a moment that comes twice: which of the two is meant
}

// Option is one choice of a field.
type Option struct {
	Value, Label string
	Chosen       bool
}

// NewForm returns an empty form; posted is what a browser sent, nil when the form is shown first.
func NewForm(posted url.Values) *Form {
	return &Form{posted: posted, byName: map[string]*Field{}}
}

func (f *Form) add(kind, name, label, value string) *Field {
	kept := value
	if f.posted != nil {
		value = strings.TrimSpace(f.posted.Get(name))
	}
	field := &Field{Name: name, Label: label, Value: value, Kind: kind, prefix: f.prefix, kept: kept}
	f.Fields = append(f.Fields, field)
	f.byName[name] = field
	return field
}

// Text adds a line of text.
func (f *Form) Text(name, label, value string) *Field { return f.add("text", name, label, value) }

// Number adds a number with its unit. It is a line of text with a number pad: people type "5'-3 1/2\"".
func (f *Form) Number(name, label, value, unit string) *Field {
	field := f.add("number", name, label, value)
	field.Unit = unit
	return field
}

// Area adds several lines of text.
func (f *Form) Area(name, label, value string) *Field { return f.add("area", name, label, value) }

// Date adds a date, YYYY-MM-DD.
func (f *Form) Date(name, label, value string) *Field { return f.add("date", name, label, value) }

// Moment adds a date with a time, YYYY-MM-DDTHH:MM, plant time.
func (f *Form) Moment(name, label, value string) *Field {
	return f.add("datetime-local", name, label, value)
}

// Select adds a choice from a list.
func (f *Form) Select(name, label, value string, options []Option) *Field {
	return f.choice("select", name, label, value, options)
}

// Radio adds a choice whose options all stand on the page.
func (f *Form) Radio(name, label, value string, options []Option) *Field {
	return f.choice("radio", name, label, value, options)
}

func (f *Form) choice(kind, name, label, value string, options []Option) *Field {
	field := f.add(kind, name, label, value)
	field.Options = append([]Option(nil), options...)
	for i := range field.Options {
		field.Options[i].Chosen = field.Options[i].Value == field.Value
	}
	return field
}

// Tick adds a box to tick; its value is "yes" when ticked.
func (f *Form) Tick(name, label string, ticked bool) *Field {
	return f.add("tick", name, label, pick(ticked, "yes", ""))
}

// Ticks adds boxes of which several may be ticked.
func (f *Form) Ticks(name, label string, options []Option) *Field {
	field := f.add("ticks", name, label, "")
	field.Options = append([]Option(nil), options...)
	if f.posted != nil {
		for i := range field.Options {
			field.Options[i].Chosen = slices.Contains(f.posted[name], field.Options[i].Value)
		}
	}
	return field
}

// Values returns what was ticked of several boxes.
func (f *Form) Values(name string) []string { return f.posted[name] }

// File adds a file to send.
func (f *Form) File(name, label, accept string) *Field {
	field := f.add("file", name, label, "")
	field.Accept = accept
	return field
}

// Hidden adds a value that travels with the form: the version read, a key against sending twice.
func (f *Form) Hidden(name, value string) *Field { return f.add("hidden", name, "", value) }

// Hinted sets the hint below the field.
func (fd *Field) Hinted(hint string) *Field { fd.Hint = hint; return fd }

// Must marks the field as needed.
func (fd *Field) Must() *Field { fd.Required = true; return fd }

// OverBoth lets the field run over both columns of the form.
func (fd *Field) OverBoth() *Field { fd.Wide = true; return fd }

// Bad tells whether the field was refused.
func (fd *Field) Bad() bool { return fd.Error != "" }

// ID is the field's id on the page.
func (fd *Field) ID() string { return strings.ReplaceAll("f-"+fd.prefix+fd.Name, " ", "-") }

// Get returns a field by name, for a template that places each itself.
func (f *Form) Get(name string) *Field { return f.byName[name] }

// Value returns what stands in a field.
func (f *Form) Value(name string) string {
	if fd := f.byName[name]; fd != nil {
		return fd.Value
	}
	return f.posted.Get(name)
}

// Ticked tells whether a box is ticked.
func (f *Form) Ticked(name string) bool { return f.Value(name) == "yes" }

// Refused puts the messages of assets.Invalid beside their fields and returns true. Any other error, nil
// too, is not the form's: false.
func (f *Form) Refused(err error) bool {
	var bad assets.Invalid
	if !errors.As(err, &bad) {
		return false
	}
	for name, message := range bad {
		message = Capital(strings.TrimSuffix(message, ".")) + "."
		if fd := f.byName[name]; fd != nil {
			fd.Error = message
		} else if f.Whole == "" {
			f.Whole = message
		} else {
			f.Whole += " " + message
		}
	}
	return true
}

// Bad returns the refused fields in the order of the form.
func (f *Form) Bad() []*Field {
	var bad []*Field
	for _, fd := range f.Fields {
		if fd.Bad() {
			bad = append(bad, fd)
		}
	}
	return bad
}

// Wrong tells whether anything was refused.
func (f *Form) Wrong() bool { return f.Whole != "" || len(f.Bad()) > 0 }

// asInvalid finds assets.Invalid in an error.
func asInvalid(err error, bad *assets.Invalid) bool { return errors.As(err, bad) }
