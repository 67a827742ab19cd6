package web

import (
	"encoding/json"
	"fmt"
	"strings"

	"carryside/assets"
	"carryside/assets/intake"
)

// This file is how the headings of a list were read, kept under a name for the next list like it: a plant that sends
// the same sheet each month corrects its headings once.

// KeptHeadings is how a list was read, kept under a name.
type KeptHeadings struct {
	ID      int64
	Own     bool // of the plant's customer; the others are for every customer
	Name    string
	Mapping string // JSON
	At      assets.Instant
	ByID    int64
}

type keptLine struct {
	Name, What, Saved, To string
	Form                  *Form // nil: not to be changed here
}

// guessed is the choice of headings that leaves the reading to the importer.
var guessed = Option{Label: "as the list tells"}

// headingsField offers the headings that are kept.
func headingsField(f *Form, kept []KeptHeadings) {
	if len(kept) == 0 {
		return
	}
	options := []Option{guessed}
	for _, k := range kept {
		options = append(options, Option{Value: plainInt(k.ID), Label: "as kept under " + k.Name})
	}
	f.Select("headings", "Read the headings", "", options)
}

// chosenHeadings returns the mapping that was chosen for a list; nil leaves the reading to the importer.
func chosenHeadings(f *Form, kept []KeptHeadings) (*intake.Mapping, error) {
	id := f.Value("headings")
	if id == "" {
		return nil, nil
	}
	for _, k := range kept {
		if plainInt(k.ID) != id {
			continue
		}
		m, err := intake.ParseMapping(k.Name, []byte(k.Mapping))
		if err != nil {
			return nil, assets.Invalid{"headings": "the headings kept under this name cannot be read any more: " + err.Error() + "; keep them anew from a list"}
		}
		return m, nil
	}
	return nil, assets.Invalid{"headings": "these headings are not kept any more; choose others from the list"}
}

// keptLines are the headings that are kept, each with a form that renames or removes it; wrong belongs to the form of
// the one with the number id.
func (s *Site) keptLines(r *Request, kept []KeptHeadings, id int64, wrong error) ([]keptLine, error) {
	var ids []int64
	for _, k := range kept {
		ids = append(ids, k.ByID)
	}
	names, err := s.Meters.NamesOf(r.Context(), ids)
	if err != nil {
		return nil, err
	}
	var lines []keptLine
	for _, k := range kept {
		l := keptLine{Name: k.Name, What: headingsWords(k.Mapping), Saved: strings.TrimPrefix(names[k.ByID]+", "+r.F.Stamp(k.At), ", "), To: r.At("import", "headings", k.ID)}
		if k.Own {
			l.Form = NewForm(nil)
			if k.ID == id && wrong != nil {
				l.Form = r.NewForm()
			}
			l.Form.prefix = "kept" + plainInt(k.ID) + "-"
			l.Form.Text("name", "Name of the headings kept as "+k.Name, k.Name).Must()
			if k.ID == id {
				l.Form.Refused(wrong)
			}
		}
		lines = append(lines, l)
	}
	return lines, nil
}

// headingsWords says in short what a mapping reads: "splices and conveyors, 12 columns".
func headingsWords(mapping string) string {
	m, err := intake.ParseMapping("it", []byte(mapping))
	if err != nil {
		return "cannot be read any more"
	}
	columns, kinds := 0, map[intake.Kind]bool{}
	for _, t := range m.Tables {
		for _, c := range t.Columns {
			if c.Field != "" {
				columns++
			}
		}
		for _, k := range t.Records {
			kinds[k] = true
		}
	}
	var words []string
	for _, k := range intake.Kinds {
		if kinds[k] {
			words = append(words, string(k)+"s")
		}
	}
	return strings.Join(append(words, Figure(columns, "column", "columns")), ", ")
}

// changeHeadings renames or removes kept headings.
func (s *Site) changeHeadings(r *Request) error {
	id, err := r.ID("headings")
	if err != nil {
		return err
	}
	kept, err := s.Importing.KeptHeadings(r.Context(), r.Scope, r.Plant.Plant.CustomerID)
	if err != nil {
		return err
	}
	was := ""
	for _, k := range kept {
		if k.ID == id && k.Own {
			was = k.Name
		}
	}
	if was == "" {
		return fmt.Errorf("kept headings %d: %w", id, assets.ErrNotFound)
	}
	if r.C.Request.PostForm.Has("remove") {
		if err := s.Importing.RemoveHeadings(r.Context(), r.Scope, r.act("remove the headings kept as "+was, ""), r.Plant.Plant, id); err != nil {
			return err
		}
		return r.Done(r.At("import"), "The headings kept as "+was+" are removed.")
	}
	e := r.entry(r.headingsName(was))
	name := e.must("name", "a name under which the headings are found again")
	if err = e.Err(); err == nil {
		err = s.Importing.RenameHeadings(r.Context(), r.Scope, r.act("rename the headings kept as "+was, ""), r.Plant.Plant, id, name)
	}
	return s.headingsDone(r, kept, id, name, err)
}

// headingsName is the form of a name alone.
func (r *Request) headingsName(value string) *Form {
	f := r.NewForm()
	f.Text("name", "Name", value)
	return f
}

// headingsDone goes back to the page of lists, or shows it with what is wrong.
func (s *Site) headingsDone(r *Request, kept []KeptHeadings, id int64, name string, err error) error {
	var bad assets.Invalid
	if err == nil {
		return r.Done(r.At("import"), "The headings are kept as "+name+".")
	} else if !asInvalid(err, &bad) {
		return err
	}
	p := s.importPage(NewForm(nil), kept)
	if p.Kept, err = s.keptLines(r, kept, id, err); err != nil {
		return err
	}
	if err := s.broughtIn(r, p); err != nil {
		return err
	}
	return r.Refill("import", p)
}

// keepHeadings keeps how the list of a trial is read.
func (s *Site) keepHeadings(r *Request, t *trial, seen seenTrial) error {
	if nothingIn(seen.Out) || seen.Out.Mapping == nil {
		return s.showTrial(r, t.id, seen, assets.Invalid{"": "no headings were understood in this list, so there is nothing to keep"})
	}
	f := r.NewForm()
	keepFields(f)
	e := r.entry(f)
	name := e.must("name", "a name under which the headings are found again")
	if err := e.Err(); err != nil {
		return s.showTrial(r, t.id, seen, err)
	}
	mapping, err := json.Marshal(seen.Out.Mapping.ForNext())
	if err != nil {
		return fmt.Errorf("write the headings of %s: %w", seen.Name, err)
	}
	var bad assets.Invalid
	err = s.Importing.KeepHeadings(r.Context(), r.Scope, r.act("keep the headings of "+seen.Name, ""), r.Plant.Plant, name, string(mapping), f.Ticked("replace"))
	if asInvalid(err, &bad) {
		return s.showTrial(r, t.id, seen, err)
	} else if err != nil {
		return err
	}
	return r.Done(r.At("import", t.id), "The headings are kept as "+name+": choose them when you bring in the next list like this one.")
}

func keepFields(f *Form) {
	f.Text("name", "Keep these headings as", "").Hinted("For the next list like this one, e.g. Monthly hours")
	f.Tick("replace", "In place of those kept under this name", false)
}
