// Package planfile reads the case of `carryside plan` and writes its plan: JSON outside, indices inside.
//
// It knows the format of both and every rule a case's data must keep, and nothing of planning. The first thing that is wrong ends
// the reading with one sentence that names the ids.
//
//	c, err := planfile.Read(text)
package planfile

import (
	"errors"
	"fmt"

	"carryside/schedule/plan"
)

// A reader holds a case in the making and the places of the ids read so far.
type reader struct {
	c *plan.Case

	sites, groups, conveyors, windows, technicians, tools, stock, jobs map[string]int
	qualifications, classes                                            map[string]int
}

// Read reads and judges a whole case.
func Read(text []byte) (*plan.Case, error) {
	v, err := parse(text)
	if err != nil {
		return nil, err
	}
	doc, err := value{"the case", v}.object()
	if err != nil {
		return nil, err
	}
	doc.where = ""
	r := &reader{c: &plan.Case{}, qualifications: map[string]int{}, classes: map[string]int{}}
	if err := r.read(doc); err != nil {
		return nil, err
	}
	return r.c, r.judge()
}

// read takes the parts in an order in which every name met is known already.
func (r *reader) read(doc object) error {
	for _, part := range []func(object) error{
		r.head, r.readSites, r.readTravel, r.readGroups, r.readConveyors, r.readWindows,
		r.readTechnicians, r.readTools, r.readStock, r.readJobs, r.readExclusions, r.readPrecedences,
	} {
		if err := part(doc); err != nil {
			return whole(err)
		}
	}
	return nil
}

// whole gives a sentence about the case itself a subject.
func whole(err error) error {
	if text := err.Error(); text != "" && text[0] == ' ' {
		return errors.New("the case" + text)
	}
	return err
}

// head reads format, texts and horizon.
func (r *reader) head(doc object) error {
	format, err := doc.whole("format", 0)
	if err != nil {
		return err
	}
	if format != 1 {
		return fmt.Errorf("format is %d; this program reads format 1", format)
	}
	if r.c.ID, err = doc.textOr("id"); err != nil {
		return err
	}
	if r.c.Title, err = doc.textOr("title"); err != nil {
		return err
	}
	if _, err = doc.textOr("note"); err != nil {
		return err
	}
	r.c.Horizon, err = doc.whole("horizon", 1)
	return err
}

// readSites reads the site ids.
func (r *reader) readSites(doc object) error {
	entries, err := doc.list("sites")
	if err != nil {
		return err
	}
	r.sites = map[string]int{}
	for _, e := range entries {
		id, err := e.text(true)
		if err != nil {
			return err
		}
		if _, twice := r.sites[id]; twice {
			return fmt.Errorf("site %s is listed twice", id)
		}
		r.sites[id] = len(r.c.Sites)
		r.c.Sites = append(r.c.Sites, id)
	}
	return nil
}

// readTravel reads the matrix of ways.
func (r *reader) readTravel(doc object) error {
	rows, err := doc.list("travel")
	if err != nil {
		return err
	}
	n := len(r.c.Sites)
	if len(rows) != n {
		return fmt.Errorf("travel has %d rows for %d sites", len(rows), n)
	}
	for a, row := range rows {
		entries, err := row.list()
		if err != nil {
			return err
		}
		if len(entries) != n {
			return fmt.Errorf("travel from site %s has %d entries for %d sites", r.c.Sites[a], len(entries), n)
		}
		minutes := make([]int, n)
		for b, e := range entries {
			if minutes[b], err = e.whole(0); err != nil {
				return fmt.Errorf("%w (from site %s to %s)", err, r.c.Sites[a], r.c.Sites[b])
			}
		}
		r.c.Travel = append(r.c.Travel, minutes)
	}
	return nil
}

// records reads a list of objects with ids of their own; each is given to read once its id is known to be new.
func records(doc object, list, noun string, required bool, read func(id string, o object) error) (map[string]int, error) {
	entries, err := doc.listOr(list)
	if required {
		entries, err = doc.list(list)
	}
	if err != nil {
		return nil, err
	}
	places := make(map[string]int, len(entries))
	for i, e := range entries {
		o, err := e.object()
		if err != nil {
			return nil, err
		}
		id, err := o.text("id")
		if err != nil {
			return nil, err
		}
		if _, twice := places[id]; twice {
			return nil, fmt.Errorf("%s %s is listed twice", noun, id)
		}
		o.where = noun + " " + id
		places[id] = i
		if err := read(id, o); err != nil {
			return nil, err
		}
	}
	return places, nil
}

// place is the index of a name that must exist.
func place(o object, name, noun string, places map[string]int) (int, error) {
	v, err := o.field(name)
	if err != nil {
		return 0, err
	}
	return named(v, noun, places)
}

// named is the index of the thing a value names.
func named(v value, noun string, places map[string]int) (int, error) {
	id, err := v.text(true)
	if err != nil {
		return 0, err
	}
	i, there := places[id]
	if !there {
		return 0, fmt.Errorf("%s: %s %s does not exist", v.where, noun, id)
	}
	return i, nil
}

// numbered is the index of a qualification or class, which exist by being mentioned.
func numbered(name string, places map[string]int, list *[]string) int {
	i, there := places[name]
	if !there {
		i = len(*list)
		places[name] = i
		*list = append(*list, name)
	}
	return i
}

// spans reads availability: sorted, disjoint, each from before to.
func spans(o object, name string) ([]plan.Span, error) {
	entries, err := o.list(name)
	if err != nil {
		return nil, err
	}
	out, last := make([]plan.Span, len(entries)), 0
	for i, e := range entries {
		pair, err := e.tuple(2)
		if err != nil {
			return nil, err
		}
		s := plan.Span{}
		if s.From, err = pair[0].whole(0); err != nil {
			return nil, err
		}
		if s.To, err = pair[1].whole(0); err != nil {
			return nil, err
		}
		if s.From >= s.To {
			return nil, fmt.Errorf("%s runs from %d to %d; it must end after it begins", e.where, s.From, s.To)
		}
		if s.From < last {
			return nil, fmt.Errorf("%s begins at %d, before the one ahead of it ended at %d; sort them and keep them apart", e.where, s.From, last)
		}
		out[i], last = s, s.To
	}
	return out, nil
}
