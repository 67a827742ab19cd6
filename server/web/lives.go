package web

import (
	"fmt"
	"net/url"
	"slices"

	"carryside/assets"
	"carryside/schedule/cohort"
	"carryside/schedule/life"
)

// livesPage answers: which splices do the figures of a cohort rest on, and why does each count as it does?
type livesPage struct {
	Page
	Clock   string
	Records []string // since when each plant's endings are on record, and how that is known
	Rows    []liveRow
	Pages   Pager
}

type liveRow struct {
	Name, To, Made     string
	Counts, Age, Entry string
	Reason, Question   string
}

// livesShown is how many lives a page of the table has.
const livesShown = 100

func (s *Site) lives(r *Request) error {
	asked, err := s.askLife(r)
	if err != nil {
		return err
	}
	if len(asked.here) == 0 {
		return fmt.Errorf("a life of this plant: %w", assets.ErrNotFound)
	}
	law, lives, way := asked.law, asked.lives.Lives, asked.way
	slices.SortStableFunc(lives, func(a, b cohort.Life) int { return b2i(b.Question != "") - b2i(a.Question != "") })
	p := &livesPage{Clock: law.Clock.String()}
	p.Sheet = "Lives"
	asks := 0
	for _, l := range lives {
		asks += b2i(l.Question != "")
	}
	p.Say = fmt.Sprintf("%s of %s", Capital(Count(len(lives), "life", "lives")), law.Key.Words())
	if asks > 0 {
		p.Say += ", " + Count(asks, "of them with a question", "of them with a question")
	}
	p.Sub = "Every splice of this cohort that may be seen here, with the reason it counts as it does; ages in " + p.Clock + "."
	back := r.At("life") + "?cohort=" + url.QueryEscape(law.Key.Words())
	if way != "" {
		p.Sub += " Only failures by " + way + " count here, the others as sound until then."
		back += "&way=" + url.QueryEscape(way)
	}
	p.Do = []Action{{Word: "Back to the cohort", To: back}}
	for _, rec := range recordsOf(lives) {
		p.Records = append(p.Records, r.recordWords(rec))
	}
	r.Offer(&p.Page, "State since when failures are on record", "settings", false)
	page, last := pageNumber(r.C.Request.URL), max(1, (len(lives)+livesShown-1)/livesShown)
	page = min(page, last)
	from, to := (page-1)*livesShown, min(page*livesShown, len(lives))
	p.Pages = pagerOf(r.C.Request.URL, page, last, from, to, len(lives))
	for _, l := range lives[from:to] {
		p.Rows = append(p.Rows, r.liveRow(l, law.Clock))
	}
	return r.Show("lives", p)
}

func (r *Request) liveRow(l cohort.Life, clock cohort.Clock) liveRow {
	row := liveRow{Name: l.Tag + " S" + l.Number, Counts: string(l.Outcome), Reason: Capital(l.Reason), Question: l.Question, Made: pick(l.Made == "", "not known", l.Made), To: at(l.PlantID, "splices", l.SpliceID)}
	o, known := l.On(clock)
	switch {
	case !known:
		row.Age = "not known"
	case o.Event == life.Interval:
		row.Age = ageFigure(o.Lower) + " to " + ageFigure(o.Upper)
	default:
		row.Age = ageFigure(o.Life)
	}
	if known && o.Entry > 0 {
		row.Entry = ageFigure(o.Entry)
	}
	return row
}
