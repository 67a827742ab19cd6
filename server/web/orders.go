package web

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/workorder"
)

// ordersPage answers: what work is open, why was it raised, by when must it be done, what is it waiting for.
type ordersPage struct {
	Page
	Form   *Form
	Rows   []orderRow
	Closed []orderRow // on the list of open orders: those closed since Monday
	Shown  string
	Clear  string
	Pager  Pager
	Empty  *Empty
}

type orderRow struct {
	Number       int64
	To           string
	About, What  string
	Why          string
	Latest       string
	Late         bool
	Stop, NoStop string
	Life         OrderLife
	Missing      string
	Lacks        bool
}

// OrderLife is the state of an order as six small boxes and the word.
type OrderLife struct {
	Boxes []string // "d" done, "x" never to be, "" still to come
	Word  string
}

// lifeOf draws a state.
func lifeOf(s workorder.State) OrderLife {
	life := OrderLife{Boxes: make([]string, len(workorder.States)), Word: string(s)}
	reached := slices.Index(workorder.States, s)
	for i := range life.Boxes {
		switch {
		case i <= reached || i == 0:
			life.Boxes[i] = "d"
		case s == workorder.Withdrawn:
			life.Boxes[i] = "x"
		}
	}
	return life
}

// Shows of the list.
const (
	showOpen    = ""
	showMissing = "missing"
	showClosed  = "closed"
)

func (s *Site) orders(r *Request) error {
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return err
	}
	v := viewOf(fl, r.F)
	open, err := s.Orders.OpenOrders(r.Context(), r.Scope, r.PlantID())
	if err != nil {
		return err
	}
	windows, err := s.windowsByID(r)
	if err != nil {
		return err
	}
	p := &ordersPage{Clear: r.At("orders"), Form: ordersFilter(r, fl.Register, open)}
	p.Sheet, p.Say = "Orders", ordersSay(open, r.F.Today())
	p.Sub = "By latest date. The latest date is set by the reason printed under each order; putting one off past it needs a name and a reason."
	r.Offer(&p.Page, "Workbook", "reports/orders", false)
	r.Offer(&p.Page, "Emergency splice", "emergency", false)
	r.Offer(&p.Page, "Raise an order", "orders/new", true)
	list := list{r: r, v: v, windows: windows}
	if p.Form.Value("show") == showClosed {
		err = s.closedOrders(p, list)
	} else {
		err = s.openOrders(p, list, open)
	}
	if err != nil {
		return err
	}
	return r.Show("orders", p)
}

// list is what turns orders into rows.
type list struct {
	r       *Request
	v       fleetView
	windows map[int64]assets.StopWindow
}

func (s *Site) windowsByID(r *Request) (map[int64]assets.StopWindow, error) {
	// Placed orders whose stop has just passed still name it.
	all, err := s.Days.Windows(r.Context(), r.Scope, r.PlantID(), r.Now.AddDate(0, -2, 0))
	m := make(map[int64]assets.StopWindow, len(all))
	for _, w := range all {
		m[w.ID] = w
	}
	return m, err
}

func ordersFilter(r *Request, reg *assets.Register, open []workorder.Order) *Form {
	f := NewForm(r.C.Request.URL.Query())
	f.Text("q", "Conveyor, splice or number", "")
	lines := []Option{{Value: "", Label: "every line"}}
	for _, l := range reg.Lines {
		lines = append(lines, Option{Value: strconv.FormatInt(l.ID, 10), Label: l.Name})
	}
	f.Select("line", "Line", "", lines)
	kinds := []Option{{Value: "", Label: "every kind"}}
	for _, k := range workorder.Kinds {
		kinds = append(kinds, Option{Value: string(k), Label: string(k)})
	}
	f.Select("kind", "Kind", "", kinds)
	missing := 0
	for _, o := range open {
		if len(workorder.Missing(o)) > 0 {
			missing++
		}
	}
	f.Radio("show", "Show", "", []Option{{Value: showOpen, Label: fmt.Sprintf("open, %d", len(open))},
		{Value: showMissing, Label: fmt.Sprintf("missing something, %d", missing)}, {Value: showClosed, Label: "closed"}})
	return f
}

// dueKey puts orders without a date last.
func dueKey(d assets.Day) string {
	if d == "" {
		return "9999"
	}
	return string(d)
}

func (s *Site) openOrders(p *ordersPage, l list, open []workorder.Order) error {
	var some []workorder.Order
	for _, o := range open {
		if l.passes(o, p.Form) && (p.Form.Value("show") != showMissing || len(workorder.Missing(o)) > 0) {
			some = append(some, o)
		}
	}
	slices.SortStableFunc(some, func(a, b workorder.Order) int { return strings.Compare(dueKey(a.LatestDay), dueKey(b.LatestDay)) })
	if len(some) < len(open) {
		p.Shown = fmt.Sprintf("%d of %s", len(some), Figure(len(open), "open order", "open orders"))
	}
	some, p.Pager = pageOf(some, l.r.C.Request.URL)
	for _, o := range some {
		p.Rows = append(p.Rows, l.row(o))
	}
	if len(open) == 0 {
		p.Empty = &Empty{What: "No order is open", Why: "Rules raise orders when a splice, a belt or a date calls for it; a person may raise one at any time."}
	}
	closed, _, err := s.Orders.OrderList(l.r.Context(), l.r.Scope, l.r.PlantID(), OrderFilter{Closed: true, Since: mondayOf(l.r.F), Limit: 20})
	for _, o := range closed {
		p.Closed = append(p.Closed, l.row(o))
	}
	return err
}

// mondayOf is the Monday on which this week began at the plant.
func mondayOf(f Format) time.Time {
	t := f.Now.In(f.zone())
	back := (int(t.Weekday()) + 6) % 7
	return time.Date(t.Year(), t.Month(), t.Day()-back, 0, 0, 0, 0, t.Location())
}

func (s *Site) closedOrders(p *ordersPage, l list) error {
	page := pageNumber(l.r.C.Request.URL)
	filter := OrderFilter{Closed: true, Kind: workorder.Kind(p.Form.Value("kind")), Offset: (page - 1) * rowsAPage, Limit: rowsAPage}
	if line, err := strconv.ParseInt(p.Form.Value("line"), 10, 64); err == nil {
		filter.Conveyors = []int64{0} // a line without conveyors has no orders
		for _, c := range l.v.Register.Conveyors {
			if c.LineID == line {
				filter.Conveyors = append(filter.Conveyors, c.ID)
			}
		}
	}
	if c, ok := l.v.Register.ConveyorByTag(p.Form.Value("q")); ok {
		filter.ConveyorID = c.ID
	}
	rows, all, err := s.Orders.OrderList(l.r.Context(), l.r.Scope, l.r.PlantID(), filter)
	if err != nil {
		return err
	}
	for _, o := range rows {
		p.Rows = append(p.Rows, l.row(o))
	}
	last := max(1, (all+rowsAPage-1)/rowsAPage)
	p.Pager = pagerOf(l.r.C.Request.URL, page, last, filter.Offset, filter.Offset+len(rows), all)
	return nil
}

func (l list) passes(o workorder.Order, f *Form) bool {
	c, _ := l.v.Register.Conveyor(o.ConveyorID)
	if line := f.Value("line"); line != "" && line != strconv.FormatInt(c.LineID, 10) {
		return false
	}
	if kind := f.Value("kind"); kind != "" && kind != string(o.Kind) {
		return false
	}
	q := assets.NameKey(f.Value("q"))
	if q == "" || q == strconv.FormatInt(o.Number, 10) || assets.TagKey(q) == c.TagKey {
		return true
	}
	return strings.Contains(assets.NameKey(orderName(o, l.v)+" "+c.Name+" "+o.Title), q)
}

func (l list) row(o workorder.Order) orderRow {
	row := orderRow{Number: o.Number, To: l.r.At("orders", o.Number), About: orderAbout(o, l.v), What: orderTitle(o), Why: o.Reason, Life: lifeOf(o.State), Latest: "none"}
	if o.LatestDay != "" {
		row.Latest = l.r.F.Day(o.LatestDay)
	}
	row.Late = workorder.Overdue(o, l.r.F.Today())
	row.Stop, row.NoStop = l.stopWords(o)
	switch missing := workorder.Missing(o); {
	case o.State == workorder.Withdrawn:
		row.Why, row.Missing = "Withdrawn: "+o.WithdrawnWhy, "nothing"
	case !o.State.Open():
		row.Missing = pick(o.State == workorder.Done, "a signature", "nothing")
	case len(missing) > 0:
		row.Missing, row.Lacks = List(missing), o.State != workorder.Raised
	default:
		row.Missing = "nothing"
	}
	return row
}

// orderAbout is the conveyor an order is about, "Q3", or what stands for it.
func orderAbout(o workorder.Order, v fleetView) string {
	if c, ok := v.Register.Conveyor(o.ConveyorID); ok {
		return c.Tag
	}
	return "Plant"
}

func orderTitle(o workorder.Order) string { return pick(o.Title == "", string(o.Kind), o.Title) }

// stopWords says in which stop an order is placed and how long its work is, or that it has none.
func (l list) stopWords(o workorder.Order) (stop, none string) {
	work := ""
	if o.WorkHours > 0 {
		work = ", " + Duration(o.WorkHours)
	}
	switch w, ok := l.windows[o.WindowID]; {
	case !o.DoneAt.IsZero():
		return "done " + l.r.F.Date(o.DoneAt) + pick(o.DoneHours > 0, ", "+Duration(o.DoneHours), ""), ""
	case ok:
		return l.r.F.Date(w.Start) + work, ""
	case o.State == workorder.Placed || o.State == workorder.Started:
		return strings.TrimPrefix(pick(o.PlacedKit == "", "where no stop is needed", o.PlacedKit)+work, ", "), ""
	case o.State == workorder.Accepted:
		return "", "no stop"
	}
	return "not placed" + work, ""
}

// ordersSay is the headline: how many are open and what is wrong with them, two findings at most.
func ordersSay(open []workorder.Order, today assets.Day) string {
	if len(open) == 0 {
		return "No order is open"
	}
	late, bare, raised := 0, 0, 0
	for _, o := range open {
		if workorder.Overdue(o, today) {
			late++
		}
		switch o.State {
		case workorder.Accepted:
			bare++
		case workorder.Raised:
			raised++
		}
	}
	var parts []string
	if late > 0 {
		parts = append(parts, Count(late, "is past its latest date", "are past their latest date"))
	}
	if bare > 0 {
		parts = append(parts, Count(bare, "has no stop", "have no stop"))
	}
	if raised > 0 {
		parts = append(parts, Count(raised, "waits to be accepted", "wait to be accepted"))
	}
	if late == 0 {
		parts = append(parts[:min(len(parts), 1)], "none is past its latest date")
	}
	return Capital(Count(len(open), "order", "orders")) + " open: " + strings.Join(parts[:min(len(parts), 2)], ", ")
}
