package web

import (
	"context"
	"fmt"
	"html/template"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"carryside/assets"
	"carryside/schedule/horizon"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
	"carryside/server/web/drawing"
)

// Horizons is what the horizon and the plan need.
type Horizons interface {
	// Horizon lays a plant's orders against its stops for so many weeks. It may be shared: screens do not change it.
	Horizon(ctx context.Context, scope assets.Scope, plantID int64, now time.Time, weeks int) (*HorizonView, error)
	// Horizons lays several plants on one sheet, with the crews and the kit they share. tell hears how many of them are read; it may
	// be nil.
	Horizons(ctx context.Context, scope assets.Scope, plants []int64, now time.Time, weeks int, tell func(read int)) (*HorizonView, error)
	// Draft returns what somebody has moved at a plant (0: over many plants) and not published.
	Draft(ctx context.Context, scope assets.Scope, personID, plantID int64) (assets.PlanDraft, error)
	// SaveDraft keeps what somebody has moved; without moves there is no draft any more.
	SaveDraft(ctx context.Context, scope assets.Scope, draft *assets.PlanDraft) error
	// PublishPlan takes the steps of a plan's orders and keeps the plan, all in one change. assets.ErrConflict when one of the
	// orders was changed since it was read.
	PublishPlan(ctx context.Context, scope assets.Scope, act Act, plan *assets.PublishedPlan, steps []PlanStep) error
	// PublishedPlans lists what was published for a plant, newest first.
	PublishedPlans(ctx context.Context, scope assets.Scope, plantID int64, most int) ([]assets.PublishedPlan, error)
	// LastChanges returns what was done last to some orders of a plant, closed ones too, and by whom.
	LastChanges(ctx context.Context, scope assets.Scope, plantID int64, orderIDs []int64) ([]LastChange, error)
}

// LastChange is an order as it is now and what was done to it last.
type LastChange struct {
	Order workorder.Order
	Event workorder.Event
	By    string // who did it
}

// PlanStep is one order of a plan being published, as it was read, and the step that brings it where the plan wants it.
type PlanStep struct {
	OrderID, EditVersion, ToStop int64
	Takes                        time.Duration // its work as the plan reckons it
	Do                           func(o workorder.Order, stopID int64) (workorder.Order, workorder.Event, error)
}

// HorizonView is a laid sheet with where everything stands as published.
type HorizonView struct {
	Facts  *horizon.Facts
	Sheet  *horizon.Sheet
	At     horizon.Placements // with what hands left open filled in
	Broken []horizon.Broken   // stops whose orders do not go together
	People []horizon.Person
	Kit    []horizon.Kit
	Money  bool
	Base   int64 // position of the plant's chain it was read at

	once   sync.Once // fills in what follows
	orders map[int64]spot
	stops  map[int64]spot
}

// spot is a plant of a sheet and a place in one of its lists.
type spot struct{ plant, nth int }

// find notes where each order and stop stands: a sheet over many plants is asked for each of thousands.
func (v *HorizonView) find() {
	v.once.Do(func() {
		v.orders, v.stops = map[int64]spot{}, map[int64]spot{}
		for i := range v.Facts.Plants {
			for k := range v.Facts.Plants[i].Orders {
				v.orders[v.Facts.Plants[i].Orders[k].ID] = spot{i, k}
			}
			for k := range v.Facts.Plants[i].Stops {
				w := v.Facts.Plants[i].Stops[k]
				v.stops[w.ID] = spot{i, k}
				if alias := horizon.Alias(w); alias != 0 {
					v.stops[alias] = spot{i, k}
				}
			}
		}
	})
}

// order returns an open order of the sheet.
func (v *HorizonView) order(id int64) (workorder.Order, bool) {
	v.find()
	if at, ok := v.orders[id]; ok {
		return v.Facts.Plants[at.plant].Orders[at.nth], true
	}
	return workorder.Order{}, false
}

// plantOf is the place on the sheet of the plant that has an order; -1 when none has.
func (v *HorizonView) plantOf(orderID int64) int {
	v.find()
	if at, ok := v.orders[orderID]; ok {
		return at.plant
	}
	return -1
}

// stop returns a stop of the sheet, by the number of an occurrence too.
func (v *HorizonView) stop(id int64) (assets.StopWindow, bool) {
	v.find()
	if at, ok := v.stops[id]; ok {
		return v.Facts.Plants[at.plant].Stops[at.nth], true
	}
	return assets.StopWindow{}, false
}

// asNumbered is a draft's moves with the numbers that its stops have now: an occurrence of a recurring stop gets another one when
// somebody publishes work in it.
func (v *HorizonView) asNumbered(moves []assets.DraftMove) []assets.DraftMove {
	out := slices.Clone(moves)
	for i := range out {
		for _, id := range []*int64{&out[i].FromStop, &out[i].ToStop} {
			if w, ok := v.stop(*id); ok && *id != 0 {
				*id = w.ID
			}
		}
	}
	return out
}

// horizonPage answers: which belts come due when, which stops stand in front of them, and what is placed in them?
type horizonPage struct {
	Page
	Wide, Narrow template.HTML
	Spans        []Option
	Rows         []horizonRow
	Stops        []horizonStop
	Unplaced     []horizonLeft
	Without      []horizonLeft // accepted, and in no stop
	Broken       []horizonLeft
	Weeks        int // of the sheet
	SeesKit      bool
	Asked        bool // a stop is drawn that is asked for and not agreed
	Mine         int  // moves of whoever looks that are not published
	Plan         string
	MayPlan      bool
	Published    string
	Empty        *Empty
}

// horizonRow is a belt in numbers.
type horizonRow struct {
	Line, Tag, Name, To            string
	At10, At50, At90, Work, Before string
	Says                           string
}

// horizonStop is a stop in numbers: what stands still, how far it is filled, by whom and with what.
type horizonStop struct{ Name, To, Where, Booked, Orders, Crew, Kit string }

// horizonLeft is something with reasons.
type horizonLeft struct {
	Name, To string
	Why      []string
	Hours    int64 // the stop whose hours can be set anew; 0: none
}

// spans are the lengths a sheet may have, in weeks.
var spans = []struct {
	weeks int
	words string
}{{12, "12 weeks"}, {26, "26 weeks"}, {104, "2 years"}}

// span is the length of the sheet asked for; 26 weeks unless another is.
func (r *Request) span() int {
	for _, s := range spans {
		if r.C.Query("weeks") == strconv.Itoa(s.weeks) {
			return s.weeks
		}
	}
	return 26
}

// sheet is everything a page of the horizon is made of.
type sheetOf struct {
	r     *Request
	v     fleetView
	h     *HorizonView
	until time.Time
	moves []assets.DraftMove
	weeks int
	at    horizon.Placements   // with the moves that fit
	since map[int64]LastChange // of orders that somebody changed since they were moved here
}

// readSheet reads the sheet with what whoever asks has moved.
func (s *Site) readSheet(r *Request, weeks int) (*sheetOf, error) {
	h, err := s.Horizons.Horizon(r.Context(), r.Scope, r.PlantID(), r.Now, weeks)
	if err != nil {
		return nil, err
	}
	return s.sheetOn(r, weeks, h)
}

// freshSheet is the sheet as everything stands at this moment, what other plants took of shared crews and kit included.
func (s *Site) freshSheet(r *Request, weeks int) (*sheetOf, error) {
	h, err := s.Horizons.Horizons(r.Context(), r.Scope, []int64{r.PlantID()}, r.Now, weeks, nil)
	if err != nil {
		return nil, err
	}
	return s.sheetOn(r, weeks, h)
}

func (s *Site) sheetOn(r *Request, weeks int, h *HorizonView) (*sheetOf, error) {
	fl, err := s.Fleets.Fleet(r.Context(), r.Scope, r.PlantID(), r.Now)
	if err != nil {
		return nil, err
	}
	d, err := s.Horizons.Draft(r.Context(), r.Scope, r.Who.Person.ID, r.PlantID())
	if err != nil {
		return nil, err
	}
	sh := &sheetOf{r: r, v: viewOf(fl, r.F), h: h, weeks: weeks, until: r.Now.AddDate(0, 0, 7*weeks), moves: h.asNumbered(d.Moves)}
	sh.at = h.At
	for _, m := range sh.moves {
		sh.at = applied(sh.at, m)
	}
	return sh, nil
}

// applied is where everything stands with a move that fits.
func applied(at horizon.Placements, m assets.DraftMove) horizon.Placements {
	return appliedAll(at, []assets.DraftMove{m})
}

// appliedAll is where everything stands with moves made, those left aside that do not fit.
func appliedAll(at horizon.Placements, moves []assets.DraftMove) horizon.Placements {
	out := make(horizon.Placements, len(at)+len(moves))
	maps.Copy(out, at)
	for _, m := range moves {
		if !m.Fits() {
			continue
		}
		delete(out, m.OrderID)
		if m.ToStop != 0 {
			out[m.OrderID] = horizon.Placement{StopID: m.ToStop, Start: m.Start.Time(), Crew: m.Crew, Kit: m.Tools}
		}
	}
	return out
}

func (s *Site) horizon(r *Request) error {
	sh, err := s.readSheet(r, r.span())
	if err != nil {
		return err
	}
	p := &horizonPage{MayPlan: r.May(people.PlanOrders), SeesKit: r.May(people.ReadStores), Weeks: r.span(), Plan: r.At("horizon", "plan")}
	p.Sheet = "Horizon"
	if len(sh.v.Register.Conveyors) == 0 {
		p.Say = "Nothing comes due: the plant has no conveyors yet"
		p.Empty = &Empty{What: "No conveyors", Why: "The horizon shows when each belt comes due and which stop stands in front of it. Bring in the belts first.", Do: r.firstBelts()}
		return r.Show("horizon", p)
	}
	belts := sh.belts()
	left := sh.left()
	p.Say, p.Without = horizonSay(belts, sh.until.In(r.F.zone()), withoutSay(left, r.F)), sh.without(left)
	if broken := sh.brokenSay(); broken != "" {
		p.Say = horizonSay(belts, sh.until.In(r.F.zone()), broken)
	}
	r.Offer(&p.Page, "Add a stop", "stops/new", false)
	r.Offer(&p.Page, "Try a re-plan", "horizon/plan", true)
	d := sh.drawing(belts, false)
	d.Sentence = "Horizon: " + strconv.Itoa(sh.weeks) + " weeks, conveyors by line. The same facts are in the table below."
	p.Wide, p.Narrow = drawing.OfHorizon(d), drawing.OfHorizonNarrow(d)
	for _, o := range spans {
		p.Spans = append(p.Spans, Option{Value: strconv.Itoa(o.weeks), Label: o.words, Chosen: o.weeks == sh.weeks})
	}
	for _, b := range belts {
		p.Rows = append(p.Rows, b.row)
	}
	p.Stops, p.Asked = sh.stops(), slices.ContainsFunc(d.Groups, func(g drawing.HorizonGroup) bool {
		return slices.ContainsFunc(g.Stops, func(st drawing.HorizonStop) bool { return st.Asked })
	})
	p.Unplaced, p.Broken = sh.unplaced(), sh.broken()
	for _, m := range sh.moves {
		if !companion(m) && (m.FromStop != 0 || m.ToStop != 0) {
			p.Mine++
		}
	}
	if p.Published, err = s.publishedWords(r); err != nil {
		return err
	}
	return r.Show("horizon", p)
}

// firstBelts leads a plant without belts on.
func (r *Request) firstBelts() []Action {
	if to, ok := r.Link("import"); ok {
		return []Action{{Word: "Bring in a list", To: to, Main: true}}
	}
	return nil
}

// companion is a move that only goes with another one: the order stays in its stop, at another time or with others.
func companion(m assets.DraftMove) bool { return m.Fits() && m.FromStop == m.ToStop && !m.Hours }

// kept tells whether a move can be published by itself.
func kept(m assets.DraftMove) bool { return m.Fits() && (m.FromStop != m.ToStop || m.Hours) }

// publishedWords says when the plan was published last and by whom.
func (s *Site) publishedWords(r *Request) (string, error) {
	plans, err := s.Horizons.PublishedPlans(r.Context(), r.Scope, r.PlantID(), 1)
	if err != nil || len(plans) == 0 {
		return "", err
	}
	names, err := s.Meters.NamesOf(r.Context(), []int64{plans[0].PublishedBy})
	if err != nil {
		return "", err
	}
	return "Published " + r.F.Stamp(plans[0].PublishedAt) + " by " + names[plans[0].PublishedBy] + ": " + Figure(len(plans[0].Changes), "change", "changes") + ".", nil
}

// drawing makes the picture of the sheet.
func (sh *sheetOf) drawing(belts []horizonBelt, slim bool) drawing.Horizon {
	d := drawing.Horizon{Now: sh.r.Now, Until: sh.until, Zone: sh.r.F.zone(), Slim: slim}
	last := int64(-1)
	for _, b := range belts {
		if len(d.Groups) == 0 || b.conveyor.LineID != last {
			last = b.conveyor.LineID
			d.Groups = append(d.Groups, drawing.HorizonGroup{Name: b.line, Stops: sh.groupStops(belts, last)})
		}
		g := &d.Groups[len(d.Groups)-1]
		row := drawing.HorizonBelt{Tag: b.conveyor.Tag, Name: b.conveyor.Name, To: b.row.To, Glyph: sh.v.drawn(b.conveyor, sh.r.PlantID()), Works: b.works, Says: b.says, Under: b.under(), Alarm: b.alarm, Moved: b.moved}
		if b.due != nil {
			t := taperOf(b.due)
			row.Taper = &t
		}
		g.Belts = append(g.Belts, row)
	}
	d.Rows = []drawing.HorizonMarks{sh.crewMarks()}
	if presses := sh.pressMarks(); presses.Says != "" && sh.r.May(people.ReadStores) {
		d.Rows = append(d.Rows, presses)
	}
	return d
}

// groupStops are the stops of the belts of a line, with how far each is filled there.
func (sh *sheetOf) groupStops(belts []horizonBelt, line int64) []drawing.HorizonStop {
	var out []drawing.HorizonStop
	for _, w := range sh.h.Facts.Plants[0].Stops {
		stops := slices.ContainsFunc(belts, func(b horizonBelt) bool { return b.conveyor.LineID == line && w.Stops(b.conveyor) })
		if !stops || w.Answer.Given() == assets.AnswerRefused || !w.Start.Time().Before(sh.until) {
			continue
		}
		start := sh.r.F.Local(w.Start)
		st := drawing.HorizonStop{From: w.Start.Time(), To: w.End.Time(), Day: hard(start.Format("2 Jan")), Asked: !w.Agreed()}
		if w.Start.Time().Sub(sh.r.Now) < 21*24*time.Hour {
			st.Day = hard(start.Format("Mon 2 Jan"))
		}
		st.Filled = Short(sh.bookedHours(w, line), 1) + "/" + Duration(stopHours(w))
		if st.Asked { // nothing is placed in it
			st.Filled = Duration(stopHours(w))
		}
		out = append(out, st)
	}
	return out
}

// bookedHours are the hours of work in a stop on a line.
func (sh *sheetOf) bookedHours(w assets.StopWindow, line int64) float64 {
	hours := 0.0
	for _, o := range sh.h.Facts.Plants[0].Orders {
		c, _ := sh.v.Register.Conveyor(o.ConveyorID)
		p, ok := sh.at[o.ID]
		if ok && p.StopID == w.ID && c.LineID == line {
			hours += sh.hours(o)
		}
	}
	return hours
}

// hours are an order's hours of work as the plan takes them.
func (sh *sheetOf) hours(o workorder.Order) float64 {
	if d := sh.h.Sheet.Work(o.ID); d > 0 {
		return d.Hours()
	}
	return o.WorkHours
}

// crewMarks are the people at work in each stop.
func (sh *sheetOf) crewMarks() drawing.HorizonMarks {
	m := drawing.HorizonMarks{Name: "Crew", Says: Count(len(sh.h.People), "person can be sent", "people can be sent")}
	for _, w := range sh.h.Facts.Plants[0].Stops {
		if b := sh.h.Sheet.Booked(w.ID, sh.at); len(b.People) > 0 {
			m.Marks = append(m.Marks, drawing.HorizonMark{At: w.Start.Time(), People: len(b.People)})
		}
	}
	return m
}

// pressMarks are the presses in each stop.
func (sh *sheetOf) pressMarks() drawing.HorizonMarks {
	m := drawing.HorizonMarks{Name: "Presses"}
	name, of := map[int64]string{}, map[int][]string{}
	var widths []int // in the order of the pieces
	for _, k := range sh.h.Kit {
		if k.Class != string(assets.KitPress) {
			continue
		}
		name[k.ID] = strings.TrimSpace(strings.TrimPrefix(k.Name, "Press"))
		if of[k.WidthMM] == nil {
			widths = append(widths, k.WidthMM)
		}
		of[k.WidthMM] = append(of[k.WidthMM], name[k.ID])
	}
	var says []string
	for _, mm := range widths {
		word := List(of[mm])
		if mm > 0 {
			word += " for belts to " + sh.r.F.Width(float64(mm)/1000)
		}
		says = append(says, word)
	}
	m.Says = strings.Join(says, "; ")
	for _, w := range sh.h.Facts.Plants[0].Stops {
		was := sh.h.Sheet.Booked(w.ID, sh.h.At).Kit
		var here, moved []string
		for _, id := range sh.h.Sheet.Booked(w.ID, sh.at).Kit {
			switch {
			case name[id] == "":
			case slices.Contains(was, id):
				here = append(here, name[id])
			default:
				moved = append(moved, name[id])
			}
		}
		if all := slices.Concat(here, moved); len(all) > 0 {
			m.Marks = append(m.Marks, drawing.HorizonMark{At: w.Start.Time(), Kit: strings.Join(all, ", "), Dashed: len(moved) > 0})
		}
	}
	return m
}

// unplaced are the orders that stand in no stop and why no plan holds them.
func (sh *sheetOf) unplaced() []horizonLeft {
	var out []horizonLeft
	for _, u := range sh.h.Sheet.Unplanned {
		if o, ok := sh.h.order(u.OrderID); ok && o.State != workorder.Started && o.State != workorder.Accepted && o.ConveyorID != 0 {
			out = append(out, horizonLeft{Name: sh.orderName(o), To: sh.r.At("orders", o.Number), Why: []string{Capital(u.Why)}})
		}
	}
	return out
}

// orderName is an order with its conveyor: "412 Q3: remake S2".
func (sh *sheetOf) orderName(o workorder.Order) string {
	c, _ := sh.v.Register.Conveyor(o.ConveyorID)
	return strings.TrimSpace(fmt.Sprintf("%d %s", o.Number, c.Tag)) + ": " + pickWord(o.Title, string(o.Kind))
}

func (sh *sheetOf) broken() []horizonLeft {
	var out []horizonLeft
	for _, b := range sh.h.Broken {
		if w, ok := sh.h.stop(b.StopID); ok {
			l := horizonLeft{Name: "Stop of " + sh.r.F.Stamp(w.Start), To: sh.r.At("stops"), Why: capitals(b.Why)}
			if to, may := sh.r.Link("stops/:stop", w.ID); may {
				l.To = to
			}
			if len(sh.astray(w.ID)) > 0 && sh.r.May(people.PlanOrders) {
				l.Hours = w.ID
			}
			out = append(out, l)
		}
	}
	return out
}

// brokenSay says in the headline which stop holds work that does not go into it as it stands; "" when none does.
func (sh *sheetOf) brokenSay() string {
	switch n := len(sh.h.Broken); n {
	case 0:
		return ""
	case 1:
		return "the work in the stop of " + sh.day(sh.h.Broken[0].StopID) + " does not go into it as it stands"
	default:
		return "the work in " + Count(n, "stop", "stops") + " does not go into them as it stands"
	}
}

// choices are the orders that can be moved.
func (sh *sheetOf) choices(chosen int64) []Option {
	var orders []Option
	for _, o := range sh.h.Facts.Plants[0].Orders {
		if !sh.h.Sheet.Holds(o.ID) {
			continue
		}
		orders = append(orders, Option{Value: plainInt(o.Number), Label: sh.orderName(o), Chosen: o.Number == chosen})
	}
	return orders
}

func (sh *sheetOf) stopLabel(w assets.StopWindow) string {
	label := sh.r.F.Stamp(w.Start) + ", " + Duration(stopHours(w))
	if l, ok := sh.v.Register.Line(w.LineID); ok {
		return label + ", " + l.Name
	}
	return label
}

func horizonRoutes() []Route {
	return []Route{
		{Method: get, Path: "/plants/plan", May: people.KeepCrew, Under: "plants", Do: (*Site).companyPlan},
		{Method: post, Path: "/plants/plan", May: people.KeepCrew, Under: "plants", Do: (*Site).companyPlan},
		{Method: get, Path: "/plants/:plant/horizon", May: people.Read, Under: "horizon", Back: "horizon", Do: (*Site).horizon},
		{Method: get, Path: "/plants/:plant/horizon/move", May: people.PlanOrders, Under: "horizon", Back: "horizon", Do: (*Site).planMove},
		{Method: post, Path: "/plants/:plant/horizon/move", May: people.PlanOrders, Under: "horizon", Back: "horizon", Do: (*Site).planMove},
		{Method: get, Path: "/plants/:plant/horizon/plan", May: people.PlanOrders, Under: "horizon", Back: "horizon", Do: (*Site).horizonPlan},
		{Method: post, Path: "/plants/:plant/horizon/plan", May: people.PlanOrders, Under: "horizon", Back: "horizon", Do: (*Site).horizonPlan},
	}
}
