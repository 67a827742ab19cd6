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
	book, err := s.Lives.LifeBook(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	here := book.ofPlant(r.PlantID())
	i := slices.IndexFunc(here, func(l cohort.Law) bool { return l.Key.Words() == r.Query("cohort") })
	if i < 0 {
		return fmt.Errorf("cohort %q: %w", r.Query("cohort"), assets.ErrNotFound)
	}
	law := here[i]
	lives := book.livesOf(law.Key).Lives
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
	p.Do = []Action{{Word: "Back to the cohort", To: r.At("life") + "?cohort=" + url.QueryEscape(law.Key.Words())}}
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
