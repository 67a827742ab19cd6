package web

import (
	"fmt"
	"html/template"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// beltsPage answers: what belts are there, how are they spliced, and which of them comes due first.
type beltsPage struct {
	Page
	Form   *Form
	Ramp   []drawing.Used
	Groups []beltGroup
	Shown  string // "5 of 15 conveyors" while filtered
	Clear  string // address without the filter
	Pager  Pager
	Empty  *Empty
	Gone   []goneRow // conveyors out of use
}

// goneRow is a conveyor out of use.
type goneRow struct{ Tag, Name, To, Since string }

// beltGroup is the conveyors of a line, or all of them when sorted by date.
type beltGroup struct {
	Name string
	Rows []beltRow
}

type beltRow struct {
	Tag, Name, To        string
	Glyph                template.HTML
	Centres, Belt, Kinds string
	Used                 *drawing.Used // nil: no live splice
	Due, Why             string
	Taper                template.HTML // of the splice that comes due first
	Band                 string
	Late                 bool
	Work                 []Link
}

// listed is a conveyor on its way into the list: what filter and order look at.
type listed struct {
	conveyor assets.Conveyor
	belt     assets.Belt
	splices  []assets.Splice
	due      time.Time
}

const rowsAPage = 100

func (s *Site) belts(r *Request) error {
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	v := viewOf(fl, r.F)
	p := &beltsPage{Ramp: drawing.Ramp(), Form: beltsFilter(r, fl.Register), Clear: r.At("belts")}
	p.Sheet, p.Say = "Belts", v.beltsSay()
	retired, err := s.Fleets.Retired(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	for _, c := range retired {
		p.Gone = append(p.Gone, goneRow{Tag: c.Tag, Name: c.Name, To: r.At("conveyors", c.ID), Since: r.F.When(c.Retired)})
	}
	r.Offer(&p.Page, "Bring in a list", "import", false)
	r.Offer(&p.Page, "Add a conveyor", "conveyors/new", true)
	if len(fl.Register.Conveyors) == 0 {
		p.Empty = r.noConveyors()
		return r.Show("belts", p)
	}
	rows := p.choose(v)
	if len(rows) < len(fl.Register.Conveyors) {
		p.Shown = fmt.Sprintf("%d of %s", len(rows), Figure(len(fl.Register.Conveyors), "conveyor", "conveyors"))
	}
	rows, p.Pager = pageOf(rows, r.C.Request.URL)
	p.Groups = r.beltGroups(v, rows, ordersByConveyor(open), p.Form.Value("by") == "due")
	return r.Show("belts", p)
}

// noConveyors says what a plant without a register needs first.
func (r *Request) noConveyors() *Empty {
	e := &Empty{What: "No belts yet: bring in your list, and the first dates appear",
		Why: "A workbook or CSV as you keep it: your own headings, inches or metres, blanks and all. You see what would be made before anything is."}
	var p Page
	r.Offer(&p, "Bring in a list", "import", true)
	e.Do = p.Do
	return e
}

// beltsFilter is the form above the list; what it holds stands in the address.
func beltsFilter(r *Request, reg *assets.Register) *Form {
	f := NewForm(r.C.Request.URL.Query())
	f.Text("q", "Tag, name or belt", "")
	lines := []Option{{Value: "", Label: "every line"}}
	for _, l := range reg.Lines {
		lines = append(lines, Option{Value: strconv.FormatInt(l.ID, 10), Label: l.Name})
	}
	f.Select("line", "Line", "", lines)
	forms := []Option{{Value: "", Label: "every form"}}
	for _, form := range assets.Forms {
		forms = append(forms, Option{Value: string(form), Label: form.Words()})
	}
	f.Select("form", "Splices made as", "", forms)
	f.Radio("by", "Order", "", []Option{{Value: "", Label: "as the material flows"}, {Value: "due", Label: "soonest due first"}})
	return f
}

// choose returns the conveyors the filter lets through, in the order asked for.
func (p *beltsPage) choose(v fleetView) []listed {
	var rows []listed
	for _, c := range v.Register.Conveyors {
		l := listed{conveyor: c, splices: v.live(c.ID)}
		l.belt, _ = v.Register.BeltOn(c.ID, 0)
		l.due = lastOfAll
		for _, s := range l.splices {
			if at := v.dueKeyOf(s.ID); at.Before(l.due) {
				l.due = at
			}
		}
		if b := v.beltDate(c.ID); b != nil && b.Advice.At.Before(l.due) {
			l.due = b.Advice.At
		}
		if l.passes(p.Form, v) {
			rows = append(rows, l)
		}
	}
	if p.Form.Value("by") == "due" {
		slices.SortStableFunc(rows, func(a, b listed) int { return a.due.Compare(b.due) })
	}
	return rows
}

func (l listed) passes(f *Form, v fleetView) bool {
	if line := f.Value("line"); line != "" && line != strconv.FormatInt(l.conveyor.LineID, 10) {
		return false
	}
	form := assets.Form(f.Value("form"))
	if form != "" && !slices.ContainsFunc(l.splices, func(s assets.Splice) bool { return s.Form == form }) {
		return false
	}
	q := assets.NameKey(f.Value("q"))
	if q == "" || assets.TagKey(q) == l.conveyor.TagKey {
		return true
	}
	words := append([]string{l.conveyor.Tag, l.conveyor.Name, v.specWords(l.belt), l.belt.RollNumber}, l.conveyor.OtherNames...)
	return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(assets.NameKey(w), q) })
}

// beltGroups makes the rows of a page, by line as the material flows or in one list by date.
func (r *Request) beltGroups(v fleetView, rows []listed, orders map[int64][]workorder.Order, byDate bool) []beltGroup {
	var groups []beltGroup
	last := int64(-1)
	for _, l := range rows {
		if len(groups) == 0 || !byDate && l.conveyor.LineID != last {
			groups = append(groups, beltGroup{})
			last = l.conveyor.LineID
		}
		g := &groups[len(groups)-1]
		g.Rows = append(g.Rows, r.beltRow(v, l, orders[l.conveyor.ID]))
	}
	if byDate {
		return groups
	}
	for i := range groups {
		g := &groups[i]
		line := v.Register.LineName(rows[lineStart(groups, i)].conveyor)
		if line == "" {
			line = "No line named"
		}
		g.Name = line + ", " + Figure(len(g.Rows), "conveyor", "conveyors")
	}
	return groups
}

// lineStart is the place of a group's first row among all.
func lineStart(groups []beltGroup, i int) int {
	n := 0
	for _, g := range groups[:i] {
		n += len(g.Rows)
	}
	return n
}

func (r *Request) beltRow(v fleetView, l listed, orders []workorder.Order) beltRow {
	c := l.conveyor
	row := beltRow{Tag: c.Tag, Name: c.Name, To: r.At("conveyors", c.ID), Glyph: drawing.Glyph(v.drawn(c, r.PlantID())),
		Centres: r.F.Centres(c.CentreDistanceM), Belt: "no belt on it", Kinds: kindsWords(l.splices), Due: "none set"}
	if l.belt.ID != 0 {
		row.Belt = v.beltWords(l.belt)
	}
	if c.Status == assets.ConveyorRetired {
		row.Belt = "retired " + r.F.When(c.Retired)
	}
	if s, st, ok := v.worst(c.ID); ok {
		u := usedOf(spliceMark(s), st)
		row.Used = &u
	}
	if s, st, ok := v.soonest(c.ID); ok {
		row.Due, row.Why, row.Late = r.F.Day(st.DueDay), spliceMark(s)+" by "+setsWords(st), st.Overdue
	}
	if b := v.beltDate(c.ID); b != nil && (row.Due == "none set" || b.Advice.Day < v.firstDay(c.ID)) {
		row.Due, row.Why, row.Late = r.F.Day(b.Advice.Day), "the belt itself, by a "+b.Advice.By, b.Overdue
	}
	if s, f := v.firstDue(c.ID); f != nil {
		row.Taper, row.Band = v.taperCell(f), spliceMark(s)+" "+v.bandWords(f)
	}
	for _, o := range orders {
		row.Work = append(row.Work, Link{Word: orderShort(o), To: r.At("orders", o.Number)})
	}
	return row
}

// firstDay is the first day on which a splice of a conveyor comes due, "" for none.
func (v fleetView) firstDay(conveyorID int64) assets.Day {
	_, st, _ := v.soonest(conveyorID)
	return st.DueDay
}

// beltsSay is the headline: what there is and how much of it is past.
func (v fleetView) beltsSay() string {
	if len(v.Register.Conveyors) == 0 {
		return "No belts yet: bring in your list, and the first dates appear"
	}
	length, past, unknown := 0.0, 0, 0
	for _, c := range v.Register.Conveyors {
		if b, ok := v.Register.BeltOn(c.ID, 0); ok {
			length += b.LoopLengthM
		}
	}
	for _, s := range v.Standings {
		switch {
		case s.Band.Past():
			past++
		case !s.Age.Known:
			unknown++
		}
	}
	say := Figure(len(v.Register.Conveyors), "conveyor", "conveyors") + ", " + v.allBelt(length) + Figure(len(v.Standings), "splice", "splices") + "; "
	switch {
	case past > 0:
		return say + Count(past, "splice is past its best age or rule", "splices are past their best age or rule")
	case unknown > 0:
		return say + "none is past its best age or rule, the age of " + Count(unknown, "is not known", "is not known")
	case len(v.Standings) == 0:
		return say + "nothing comes due yet"
	}
	return say + "none is past its best age or rule"
}

func (v fleetView) allBelt(m float64) string {
	switch {
	case m <= 0:
		return ""
	case v.f.us():
		return With(Num(m/0.3048, 0), "ft") + " of belt, "
	case m >= 1000:
		return With(Num(m/1000, 1), "km") + " of belt, "
	}
	return With(Num(m, 0), "m") + " of belt, "
}

// ordersByConveyor groups orders by the conveyor they are about.
func ordersByConveyor(orders []workorder.Order) map[int64][]workorder.Order {
	m := make(map[int64][]workorder.Order, len(orders))
	for _, o := range orders {
		m[o.ConveyorID] = append(m[o.ConveyorID], o)
	}
	return m
}

// orderShort names an order in a cell: "412: remake splice 2".
func orderShort(o workorder.Order) string {
	title := o.Title
	if title == "" {
		title = string(o.Kind)
	}
	return fmt.Sprintf("%d: %s", o.Number, title)
}

// pageOf cuts a list to the page the address names.
func pageOf[T any](rows []T, u *url.URL) ([]T, Pager) {
	page, last := pageNumber(u), max(1, (len(rows)+rowsAPage-1)/rowsAPage)
	page = min(page, last)
	from, to := (page-1)*rowsAPage, min(page*rowsAPage, len(rows))
	return rows[from:to], pagerOf(u, page, last, from, to, len(rows))
}

// firstRow is the row the page begins at that the address names, where the storage cuts the list.
func (r *Request) firstRow() int { return (pageNumber(r.C.Request.URL) - 1) * rowsAPage }

// pagerFrom is the pager below rows that the storage cut out of a list of so many. Behind the last row it leads back to the last page.
func (r *Request) pagerFrom(from, shown, all int) Pager {
	u, last := r.C.Request.URL, max(1, (all+rowsAPage-1)/rowsAPage)
	if shown == 0 && all > 0 {
		p := pagerOf(u, last+1, last, from, from, all)
		p.Says = "nothing there; the list has " + Int(int64(all))
		return p
	}
	return pagerOf(u, from/rowsAPage+1, last, from, from+shown, all)
}

func pageNumber(u *url.URL) int {
	page, err := strconv.Atoi(u.Query().Get("page"))
	if err != nil || page < 1 || page > 1_000_000 {
		return 1
	}
	return page
}

func pagerOf(u *url.URL, page, last, from, to, all int) Pager {
	link := func(n int) string {
		q := u.Query()
		q.Set("page", strconv.Itoa(n))
		return u.Path + "?" + q.Encode()
	}
	p := Pager{Says: fmt.Sprintf("%d to %d of %s", from+1, to, Int(int64(all)))}
	if page > 1 {
		p.Prev = link(page - 1)
	}
	if page < last {
		p.Next = link(page + 1)
	}
	return p
}
