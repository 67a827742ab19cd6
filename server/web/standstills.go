package web

import (
	"cmp"
	"context"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/people"
	"carryside/schedule/workorder"
)

// Standstills is how a plant's conveyors stood by failures.
type Standstills interface {
	// Standstills returns those that had not ended at an instant, the newest first.
	Standstills(ctx context.Context, scope assets.Scope, plantID int64, since assets.Instant) ([]assets.Standstill, error)
	Standstill(ctx context.Context, scope assets.Scope, plantID, id int64) (assets.Standstill, error)
	// SaveStandstill adds one (ID 0; again is true when it was there already) or corrects it. assets.Invalid names what is wrong.
	SaveStandstill(ctx context.Context, scope assets.Scope, act Act, s *assets.Standstill) (again bool, err error)
}

// standstillsPage answers: which conveyor stands by a failure, which stood in the last year, why, and for how long?
type standstillsPage struct {
	Page
	Rows    []standstillRow
	Causes  []causeRow
	Figures Link
	Empty   *Empty
}

type standstillRow struct {
	Conveyor, To, From, Until, Lasted, Cause, Words string
	Stands                                          bool
	Order                                           *Link
}

type causeRow struct{ Cause, Times, Hours string }

// standstillsFor is how far back the page goes; the report of key figures goes as far as asked.
const standstillsFor = 365 * 24 * time.Hour

func (s *Site) standstills(r *Request) error {
	all, err := s.Standing.Standstills(r.Context(), r.Scope, r.PlantID(), assets.InstantOf(r.Now.Add(-standstillsFor)))
	if err != nil {
		return err
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	orders, _, err := s.Orders.OrderList(r.Context(), r.Scope, r.PlantID(), OrderFilter{Limit: 500})
	if err != nil {
		return err
	}
	numbers := map[int64]int64{}
	for _, o := range orders {
		numbers[o.ID] = o.Number
	}
	p := &standstillsPage{Figures: Link{Word: "Availability and mean time to restoration, with their formulas", To: r.At("reports") + "?report=key-figures"}}
	standing := 0
	for _, st := range all {
		row := r.standstillRow(reg, st)
		if n := numbers[st.OrderID]; n != 0 {
			row.Order = &Link{Word: "order " + plainInt(n), To: r.At("orders", n)}
		}
		standing += count(row.Stands)
		p.Rows = append(p.Rows, row)
	}
	p.Causes = r.causes(all)
	p.Sheet, p.Say = "Standstills", standstillsSay(len(all), standing)
	p.Sub = "Down states by failures, each from when the conveyor stopped until it could run again. Planned stops stand under Stops."
	r.Offer(&p.Page, "Record a standstill", "standstills/new", true)
	if len(all) == 0 {
		p.Empty = &Empty{What: "No standstill is recorded in the last year", Why: "Availability and time to restoration rest on what is recorded here: when the conveyor stopped, when it could run again, and why.", Do: p.Do}
	}
	return r.Show("standstills", p)
}

// standingNow is a conveyor that stands by a failure, with the number of the order that restores it, 0 while none is named.
type standingNow struct {
	standstill assets.Standstill
	order      int64
}

// standingNow lists what stands by a failure now.
func (s *Site) standingNow(r *Request) ([]standingNow, error) {
	all, err := s.Standing.Standstills(r.Context(), r.Scope, r.PlantID(), assets.InstantOf(r.Now))
	if err != nil {
		return nil, err
	}
	var out []standingNow
	for _, st := range all {
		if st.UntilAt != nil {
			continue
		}
		now := standingNow{standstill: st}
		if st.OrderID != 0 {
			if now.order, err = s.numberOfOrder(r, st); err != nil {
				return nil, err
			}
		}
		out = append(out, now)
	}
	return out, nil
}

// standingDecision leads until somebody says since when the conveyor can run again: since when it stands, why, and which order restores it.
func (r *Request) standingDecision(st standingNow, v fleetView) decision {
	c, known := v.Register.Conveyor(st.standstill.ConveyorID)
	from := st.standstill.FromAt
	stands := r.Now.Sub(from.Time())
	d := decision{kind: standsNow, Name: pick(known, joinWords(c.Tag, c.Name), "A conveyor out of use"), short: pick(known, c.Tag, "a conveyor out of use"), past: r.F.Stamp(from), days: -int(stands.Minutes()),
		Bad: "Stands since " + r.F.Stamp(from) + ", for " + Duration(stands.Hours()) + " now.", Says: fullStop("Cause: " + joinWords(string(st.standstill.Cause), st.standstill.Text))}
	if st.order != 0 {
		d.To = r.At("orders", st.order)
		d.Says += " Order " + plainInt(st.order) + " restores it."
	} else {
		d.Says += " No order that restores it is named."
	}
	r.lead(&d, "Name order or end", "standstills/:standstill", people.RecordFinding, st.standstill.ID)
	return d
}

func standstillsSay(all, standing int) string {
	switch {
	case all == 0:
		return "No conveyor stood by a failure in the last year, as far as recorded"
	case standing == 0:
		return "No conveyor stands by a failure; " + Count(all, "standstill was", "standstills were") + " recorded in the last year"
	}
	return Capital(Count(standing, "conveyor stands", "conveyors stand")) + " by a failure now; " + Count(all, "standstill was", "standstills were") + " recorded in the last year"
}

func (r *Request) standstillRow(reg *assets.Register, st assets.Standstill) standstillRow {
	c, known := reg.Conveyor(st.ConveyorID)
	row := standstillRow{Conveyor: pick(known, c.Tag, "a conveyor out of use"), From: r.F.Stamp(st.FromAt), Until: "still stands", Stands: st.UntilAt == nil, Cause: string(st.Cause), Words: st.Text}
	until := assets.InstantOf(r.Now)
	if st.UntilAt != nil {
		until, row.Until = *st.UntilAt, r.F.Stamp(*st.UntilAt)
	}
	row.Lasted = Duration(until.Time().Sub(st.FromAt.Time()).Hours())
	row.To, _ = r.Link("standstills/:standstill", st.ID)
	return row
}

// causes adds up what conveyors stood by, the most hours first. What still stands counts until now.
func (r *Request) causes(all []assets.Standstill) []causeRow {
	hours, times := map[assets.Cause]float64{}, map[assets.Cause]int{}
	for _, st := range all {
		until := r.Now
		if st.UntilAt != nil {
			until = st.UntilAt.Time()
		}
		hours[st.Cause] += until.Sub(st.FromAt.Time()).Hours()
		times[st.Cause]++
	}
	var out []causeRow
	by := slices.Clone(assets.Causes)
	slices.SortStableFunc(by, func(a, b assets.Cause) int { return cmp.Compare(hours[b], hours[a]) })
	for _, c := range by {
		if times[c] > 0 {
			out = append(out, causeRow{Capital(string(c)), Int(int64(times[c])), Num(hours[c], 1)})
		}
	}
	return out
}

// editStandstill answers: which conveyor stopped, when, why, and since when can it run again?
func (s *Site) editStandstill(r *Request) error {
	st := assets.Standstill{PlantID: r.PlantID(), FromAt: r.thisMinute()}
	if r.C.Param("standstill") != "" {
		id, err := r.ID("standstill")
		if err != nil {
			return err
		}
		if st, err = s.Standing.Standstill(r.Context(), r.Scope, r.PlantID(), id); err != nil {
			return err
		}
	}
	reg, err := s.register(r)
	if err != nil {
		return err
	}
	number, err := s.numberOfOrder(r, st)
	if err != nil {
		return err
	}
	return r.answer(func(f *Form) (*formPage, error) { return r.standstillForm(f, reg, st, number), nil }, func(_ *formPage, e *entry) (string, string, error) {
		next := st
		c, err := s.readStandstill(e, reg, &next)
		if err != nil {
			return "", "", err
		}
		if next.ID == 0 {
			next.ClientID = r.onceAsTyped(e.text("client_id"))
		}
		again, err := s.Standing.SaveStandstill(r.Context(), r.Scope, r.act("record a standstill of "+c.Tag, e.text("reason")), &next)
		return r.At("standstills"), pick(again, "This standstill of "+c.Tag+" was recorded already; nothing was added.", "Standstill of "+c.Tag+" recorded."), err
	})
}

func (r *Request) standstillForm(f *Form, reg *assets.Register, st assets.Standstill, number int64) *formPage {
	p := &formPage{Form: f, Save: "Record the standstill", Leave: r.At("standstills")}
	p.Sheet, p.Say = "Standstill", pick(st.ID == 0, "Say which conveyor stopped, and since when it can run again", "Complete or correct the standstill")
	p.Says = []string{"Leave the end empty while it stands. That it can run again is decided at the conveyor by the site's rules, not here."}
	tag := ""
	if c, ok := reg.Conveyor(st.ConveyorID); ok {
		tag = c.Tag
	} else if c, ok := reg.Conveyor(numberOf(r.Query("conveyor"))); ok {
		tag = c.Tag
	}
	until := assets.Instant(0)
	if st.UntilAt != nil {
		until = *st.UntilAt
	}
	f.version(st.Version)
	if st.ID == 0 {
		f.Hidden("client_id", token())
	}
	p.section("Which and when", f.ConveyorTag("conveyor", "Conveyor", "choose one", tag, reg).Must(), f.At("from_at", "Stopped", st.FromAt).Must(), f.At("until_at", "Could run again", until))
	worked := ""
	if st.WorkedH != nil {
		worked = plainNumber(*st.WorkedH)
	}
	order := ""
	if number != 0 {
		order = plainInt(number)
	}
	p.section("Why", f.Select("cause", "Cause", string(st.Cause), choices("choose one", assets.Causes, func(c assets.Cause) string { return string(c) })).Must(),
		f.Number("order", "Order that restored it", order, "").Hinted("Its number; empty: none"), f.Number("worked_h", "Hours of work, all people together", worked, "h"), f.Area("text", "In words", st.Text).OverBoth())
	if st.ID != 0 {
		p.section("", f.Tick("left_out", "Entered in error: it did not stand by a failure", st.LeftOut))
		p.reason(st.UntilAt != nil, "What was wrong, and how it is known now")
	}
	return p
}

// readStandstill reads the form.
func (s *Site) readStandstill(e *entry, reg *assets.Register, st *assets.Standstill) (assets.Conveyor, error) {
	st.RowID = e.rowID()
	c, ok := reg.ConveyorByTag(e.must("conveyor", "the conveyor's tag"))
	if !ok {
		e.bad.Add("conveyor", "there is no such conveyor in this plant; give its tag as it stands on it")
	}
	st.ConveyorID, st.Cause, st.Text = c.ID, oneOf(e, "cause", "choose a cause from the list", assets.Causes...), e.text("text")
	e.must("from_at", "the time at which it stopped")
	st.FromAt, st.UntilAt, st.WorkedH = e.moment("from_at"), nil, nil
	if e.text("until_at") != "" {
		until := e.moment("until_at")
		st.UntilAt = &until
	}
	if e.text("worked_h") != "" {
		h := e.number("worked_h")
		st.WorkedH = &h
	}
	st.LeftOut = e.f.Ticked("left_out")
	if f := e.f.Get("reason"); f != nil && f.Required {
		e.reason()
	}
	if err := e.Err(); err != nil {
		return c, err
	}
	return c, s.restoredBy(e, st)
}

// restoredBy finds the order that restored a conveyor, and the splice that had let go where it remade one.
func (s *Site) restoredBy(e *entry, st *assets.Standstill) error {
	st.OrderID, st.SpliceID = 0, 0
	if e.text("order") == "" {
		return nil
	}
	file, err := s.Orders.Order(e.r.Context(), e.r.Scope, st.PlantID, numberOf(e.text("order")))
	if err != nil || file.Order.ConveyorID != st.ConveyorID {
		return assets.Invalid{"order": "there is no such order at this conveyor; give its number as it stands on the sheet"}
	}
	st.OrderID = file.Order.ID
	past, err := s.Fleets.Past(e.r.Context(), e.r.Scope, st.PlantID, st.ConveyorID)
	if err != nil {
		return err
	}
	for _, sp := range past.Splices {
		if sp.RetiredOrderID == st.OrderID && sp.RetiredWhy == assets.RetiredFailed {
			st.SpliceID = sp.ID
		}
	}
	return nil
}

// numberOfOrder is the number of the order that restored a conveyor; of a new one that of the address.
func (s *Site) numberOfOrder(r *Request, st assets.Standstill) (int64, error) {
	if st.OrderID == 0 {
		return numberOf(r.Query("order")), nil
	}
	orders, _, err := s.Orders.OrderList(r.Context(), r.Scope, r.PlantID(), OrderFilter{ConveyorID: st.ConveyorID, Limit: 500})
	i := slices.IndexFunc(orders, func(o workorder.Order) bool { return o.ID == st.OrderID })
	if err != nil || i < 0 {
		return 0, err
	}
	return orders[i].Number, nil
}

// standstillRoutes are the addresses of standstills.
func standstillRoutes() []Route {
	var out []Route
	add := func(may people.Deed, path string, do func(*Site, *Request) error, methods ...string) {
		for _, m := range methods {
			out = append(out, Route{Method: m, Path: "/plants/:plant/" + path, May: may, Under: "horizon", Back: "standstills", Do: do})
		}
	}
	add(people.Read, "standstills", (*Site).standstills, get)
	add(people.RecordFinding, "standstills/new", (*Site).editStandstill, get, post)
	add(people.RecordFinding, "standstills/:standstill", (*Site).editStandstill, get, post)
	return out
}
