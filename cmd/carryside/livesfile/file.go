// Package livesfile reads a file of lives for the fit: a CSV of events and ages.
//
// It knows the columns and what may stand in them, and nothing of fitting. The first line that cannot be used ends the reading,
// and the error names line and column.
//
//	file, err := livesfile.Read(text)
package livesfile

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"carryside/schedule/life"
)

// File is a file of lives, read.
type File struct {
	Cohorts []life.Cohort // in order of first appearance
	Ignored []string      // columns that mean nothing here, as written
}

// The columns that mean something.
var columnNames = []string{"event", "life", "lower", "upper", "entry", "count", "cohort"}

// noCohort is the group of rows that name none.
const noCohort = "all"

// Read reads the whole file.
func Read(text []byte) (*File, error) {
	s := newScanner(text)
	header, err := s.next()
	if err != nil {
		return nil, err
	}
	if header == nil {
		return nil, errors.New("the file is empty; write a header line and the lives below it")
	}
	h, err := readHeader(header)
	if err != nil {
		return nil, err
	}
	f, places := &File{Ignored: h.ignored}, map[string]int{}
	for {
		r, err := s.next()
		if err != nil {
			return nil, err
		}
		if r == nil {
			break
		}
		name, o, err := h.life(r)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", r.where(), err)
		}
		i, there := places[name]
		if !there {
			i = len(f.Cohorts)
			places[name] = i
			f.Cohorts = append(f.Cohorts, life.Cohort{Name: name})
		}
		f.Cohorts[i].Lives = append(f.Cohorts[i].Lives, o)
	}
	if len(f.Cohorts) == 0 {
		return nil, errors.New("the file has a header and no lives; write one life a line below it")
	}
	return f, nil
}

// heading is where each column stands.
type heading struct {
	width   int
	at      map[string]int
	ignored []string
}

// readHeader finds the columns, whatever their order and case.
func readHeader(r *record) (*heading, error) {
	h := &heading{width: len(r.fields), at: map[string]int{}, ignored: []string{}}
	seen := map[string]bool{}
	for i, written := range r.fields {
		name := strings.ToLower(written)
		if name != "" && seen[name] {
			return nil, fmt.Errorf("%s: the column %s is named twice; keep one", r.where(), name)
		}
		seen[name] = true
		if isColumn(name) {
			h.at[name] = i
		} else {
			h.ignored = append(h.ignored, written)
		}
	}
	if _, there := h.at["event"]; !there {
		return nil, fmt.Errorf("%s: there is no column event; name the one that says failed, censored or interval", r.where())
	}
	return h, nil
}

func isColumn(name string) bool {
	for _, c := range columnNames {
		if c == name {
			return true
		}
	}
	return false
}

// events are the words of the column event.
var events = map[string]life.Event{"failed": life.Failed, "censored": life.Censored, "interval": life.Interval}

// life reads one life and its cohort.
func (h *heading) life(r *record) (cohort string, o life.Observation, err error) {
	if n := len(r.fields); n != h.width {
		return "", o, fmt.Errorf("there are %d fields where the header names %d columns; write as many", n, h.width)
	}
	word := h.field(r, "event")
	event, there := events[strings.ToLower(word)]
	if !there {
		return "", o, &life.BadField{Field: "event", Why: fmt.Sprintf("is %q; write failed, censored or interval", word)}
	}
	if o, err = h.ages(r, event); err != nil {
		return "", o, err
	}
	if o.Count, err = whole(h.field(r, "count")); err != nil {
		return "", o, err
	}
	if cohort = h.field(r, "cohort"); cohort == "" {
		cohort = noCohort
	}
	return cohort, o, o.Check()
}

// field is a column of a record, "" where there is none.
func (h *heading) field(r *record, name string) string {
	if i, there := h.at[name]; there {
		return r.fields[i]
	}
	return ""
}

// ages reads the ages that an event needs and holds that the others are blank.
func (h *heading) ages(r *record, event life.Event) (o life.Observation, err error) {
	o.Event, o.Count = event, 1
	needs := map[string]bool{"life": event != life.Interval, "upper": event == life.Interval}
	may := map[string]bool{"life": needs["life"], "upper": needs["upper"], "lower": event == life.Interval, "entry": true}
	into := map[string]*float64{"life": &o.Life, "lower": &o.Lower, "upper": &o.Upper, "entry": &o.Entry}
	for _, name := range []string{"life", "lower", "upper", "entry"} {
		text := h.field(r, name)
		switch {
		case text == "" && needs[name]:
			return o, &life.BadField{Field: name, Why: "is blank; this event needs it"}
		case text != "" && !may[name]:
			return o, &life.BadField{Field: name, Why: "is filled; this event leaves it blank"}
		case text == "":
			continue
		}
		if *into[name], err = age(name, text); err != nil {
			return o, err
		}
	}
	if event == life.Interval && h.field(r, "lower") == "" {
		o.Lower = o.Entry
	}
	return o, nil
}

// age reads a number of zero or more.
func age(name, text string) (float64, error) {
	v, err := number(text)
	switch {
	case err != nil:
		return 0, &life.BadField{Field: name, Why: fmt.Sprintf("is %q, not a finite number; write digits with a decimal point", text)}
	case v < 0:
		return 0, &life.BadField{Field: name, Why: fmt.Sprintf("is negative (%s); an age is 0 or more", text)}
	}
	return v + 0, nil
}

// number reads a decimal number; the other forms that a program may read (hexadecimal, infinities) are refused.
func number(text string) (float64, error) {
	if strings.Trim(text, "+-.0123456789eE") != "" {
		return 0, strconv.ErrSyntax
	}
	return strconv.ParseFloat(text, 64)
}

// whole reads a count.
func whole(text string) (int64, error) {
	if text == "" {
		return 1, nil
	}
	v, err := number(text)
	if err != nil || v != math.Trunc(v) || v < 1 || v > 1<<53 {
		return 0, &life.BadField{Field: "count", Why: fmt.Sprintf("is %q, not a whole number of 1 or more; write how many identical lives the row stands for", text)}
	}
	return int64(v), nil
}
