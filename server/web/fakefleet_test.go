package web

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/due"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

func on(y, m, d int) assets.When {
	w, _ := assets.OnDay(assets.Day(fmt.Sprintf("%04d-%02d-%02d", y, m, d)), time.UTC, morning)
	return w
}

func metres(m float64) *float64 { return &m }

// fillFleet builds three lines of conveyors: Q1 to Q3 with splices of every band, R2 whose splice has no
// date, D9 without a belt and G3 with a belt and no splice.
func (f *fakePlant) fillFleet(p assets.Plant) {
	reg := &assets.Register{Plant: p, Customer: assets.Customer{Name: "Skarrow Harbour"}, People: map[int64]string{1: "I. Vanterel", 2: "R. Asquenne", 4: "M. Okkerdal"}}
	for i, name := range []string{"Ship intake", "Rail intake", "Dryer"} {
		l := assets.Line{PlantID: 3, Name: name, Position: i}
		l.ID = int64(i + 1)
		reg.Lines = append(reg.Lines, l)
	}
	spec := assets.Specification{Name: "EP 1000/4 6+3", Family: "RB-EP"}
	spec.ID = 1
	reg.Specifications = []assets.Specification{spec}
	f.fleet = &Fleet{Register: reg}
	f.conveyor(1, 1, "Q1", "Quay conveyor", 286, 0.4, 590)
	f.conveyor(2, 1, "Q2", "Quay transfer", 64, 8, 140)
	f.conveyor(3, 1, "Q3", "Rise to weigh tower", 118, 13.4, 251)
	f.conveyor(4, 2, "R2", "Rail incline", 96, 13, 205)
	f.conveyor(5, 3, "D9", "Spare dryer feed", 30, 0, 0)
	f.conveyor(6, 3, "G3", "Gallery cross", 38, 0, 80)
	f.splice(11, 1, "1", 24, 0.49, "2028-03-24")
	f.splice(12, 1, "2", 200, 0.77, "2027-03-24")
	f.splice(21, 2, "1", 30, 0.93, "2027-01-07")
	f.splice(31, 3, "1", 24, 0.04, "2029-10-17")
	f.splice(32, 3, "2", 115, 1.06, "2026-09-19")
	f.splice(33, 3, "3", 185, 0.88, "2027-04-05")
	f.splice(41, 4, "2", 60, -1, "")
	reg.Arrange()
	q3 := &Past{Belts: reg.BeltsOf(3), People: map[int64]string{2: "R. Asquenne"}}
	old := assets.Belt{PlantID: 3, ConveyorID: 3, Specification: "EP 800/4 6+3", LoopLengthM: 253.1, RollNumber: "18-0417", Fitted: on(2018, 5, 4)}
	old.ID = 900
	removed := on(2023, 9, 13).At
	old.Removed = &removed
	q3.Belts = append([]assets.Belt{old}, q3.Belts...)
	failed := on(2021, 3, 20)
	torn := assets.Splice{PlantID: 3, ConveyorID: 3, BeltID: 900, Number: "1", Made: on(2018, 5, 4), Ended: &failed.At, Retired: failed,
		RetiredWhy: assets.RetiredFailed, FailureMode: "edge torn", Form: assets.FormStepped, Bond: assets.BondHotVulcanised}
	torn.ID = 901
	q3.Splices = append([]assets.Splice{torn}, reg.SplicesOn(3)...)
	grade, gap, running := 3, 0.0034, false
	q3.Findings = []assets.Finding{{PlantID: 3, ConveyorID: 3, SpliceID: 32, Target: "S2", FoundAt: on(2026, 11, 24).At, Category: "splice", Text: "seam open at the trailing step",
		Grade: &grade, Quantity: "splice gap", Measurement: &gap, MeasurementUnit: "m", Running: &running, FoundByID: 2, FollowUpOrderID: 1412},
		{PlantID: 3, ConveyorID: 3, Target: "take-up", FoundAt: on(2026, 10, 24).At, Quantity: rules.TakeUpTravel, Measurement: metres(2.02), MeasurementUnit: "m", Category: "take-up", FoundByID: 2}}
	q3.Meters = []assets.Meter{{ConveyorID: 3, FromAt: on(2022, 2, 12).At, Why: assets.MeterReplaced}}
	f.past[3] = q3
}

func (f *fakePlant) conveyor(id, line int64, tag, name string, centres, incline, loopM float64) {
	reg := f.fleet.Register
	c := assets.Conveyor{PlantID: 3, LineID: line, Tag: tag, TagKey: assets.TagKey(tag), Name: name, Position: int(id), SpeedMPS: 2.6, CentreDistanceM: centres,
		InclineDeg: incline, TakeUpKind: "gravity", TakeUpTravelM: 3.4, Status: assets.ConveyorInUse, IsolationGroup: "E-14", Pulleys: []assets.Pulley{
			{Role: assets.PulleyTail, DiameterM: 0.8}, {Role: assets.PulleyHead, DiameterM: 1, Drive: true}, {Role: assets.PulleySnub, DiameterM: 0.5, OuterFace: true},
			{Role: assets.PulleyBend, DiameterM: 0.5, OuterFace: true}, {Role: assets.PulleyTakeUp, DiameterM: 0.8}, {Role: assets.PulleyBend, DiameterM: 0.5, OuterFace: true}}}
	c.ID = id
	reg.Conveyors = append(reg.Conveyors, c)
	if loopM == 0 {
		return
	}
	b := assets.Belt{PlantID: 3, ConveyorID: id, SpecificationID: 1, WidthM: 1.4, LoopLengthM: loopM, ThicknessM: 0.015, RollNumber: "23-1102", Fitted: on(2023, 9, 14)}
	b.ID = 100 + id
	reg.Belts = append(reg.Belts, b)
}

// splice adds a live splice of a conveyor's belt; used below zero: its date is not known.
func (f *fakePlant) splice(id, conveyor int64, number string, position, used float64, day assets.Day) {
	s := assets.Splice{PlantID: 3, ConveyorID: conveyor, BeltID: 100 + conveyor, Number: number, PositionM: metres(position), Form: assets.FormStepped,
		Bond: assets.BondHotVulcanised, StepLengthM: 0.25, Steps: 3, Made: on(2023, 9, 14), MadeBy: "M. Okkerdal"}
	s.ID = id
	st := due.Standing{SpliceID: id, ConveyorID: conveyor, BeltID: s.BeltID, Band: due.BandUnknown, Reason: "its date is not known"}
	if used >= 0 {
		st.Age = due.Age{Known: true, Days: 1168, AtLeastDays: 1168, Exact: true, RunHours: due.Figure{Value: 10408, Known: true},
			Passes: due.Figure{Value: used * 364000, Known: true}, Flexes: due.Figure{Value: 6 * used * 364000, Known: true}, ReverseFlexes: due.Figure{Value: 3 * used * 364000, Known: true}}
		st.Used = due.Figure{Value: used, Known: true}
		st.Limit = &due.Limit{RuleID: 1, Name: "remake at 364 000 passes", Class: assets.ClassC, Clock: due.Passes, Limit: 364000, Reached: st.Age.Passes}
		st.Reason = due.Count(used*364000) + " of 364\u00a0000 passes since 14 Sep 2023 (class C)"
		st.DueDay, st.Overdue, st.Band, st.By, st.Class = day, used >= 1, due.Band80to100, due.ByRule, assets.ClassC
		if used >= 1 {
			st.Band = due.BandPastRule
		}
	} else {
		s.Made = assets.When{At: assets.InstantOf(morning)}
	}
	f.fleet.Register.Splices = append(f.fleet.Register.Splices, s)
	f.fleet.Standings = append(f.fleet.Standings, st)
}

func (f *fakePlant) fillOrders() {
	order := func(number, conveyor, splice int64, state workorder.State, title, reason string, latest assets.Day) {
		o := workorder.Order{PlantID: 3, Number: number, Kind: workorder.KindResplice, State: state, ConveyorID: conveyor, SpliceID: splice,
			BeltID: 100 + conveyor, Title: title, Reason: reason, LatestDay: latest, RuleID: 1, WorkHours: 11, Crew: 3, RaisedAt: on(2026, 10, 28).At, EditVersion: 2}
		o.ID = 1000 + number
		if state == workorder.Placed {
			o.WindowID, o.PlacedPeople, o.PlacedKit = 7, []int64{4}, "press 2"
		}
		f.orders = append(f.orders, o)
	}
	order(412, 3, 32, workorder.Placed, "remake splice 2", "386 000 of 364 000 passes since 14 Sep 2023 (class C)", "2026-12-13")
	order(415, 2, 21, workorder.Raised, "remake splice 1", "339 000 of 364 000 passes since 14 Sep 2023 (class C)", "2027-01-07")
	order(409, 1, 11, workorder.Signed, "re-clip splice 1", "2 960 of 3 000 running hours", "2026-11-30")
	f.orders[2].DoneAt, f.orders[2].SignedAt, f.orders[2].SignedBy, f.orders[2].DoneHours = on(2026, 11, 24).At, on(2026, 11, 24).At, 2, 3.17
	f.events = []workorder.Event{
		{PlantID: 3, OrderID: 1412, What: "raised", At: on(2026, 10, 28).At, EnteredAt: on(2026, 10, 28).At},
		{PlantID: 3, OrderID: 1412, What: "accepted", At: on(2026, 10, 29).At, EnteredAt: on(2026, 10, 30).At, PersonID: 1},
		{PlantID: 3, OrderID: 1412, What: "placed", At: on(2026, 11, 2).At, EnteredAt: on(2026, 11, 2).At, PersonID: 1, Before: `{"WindowID":0}`, After: `{"WindowID":7}`},
	}
	w := assets.StopWindow{PlantID: 3, LineID: 1, Start: assets.InstantOf(time.Date(2026, 12, 12, 4, 0, 0, 0, time.UTC)), End: assets.InstantOf(time.Date(2026, 12, 12, 18, 0, 0, 0, time.UTC))}
	w.ID = 7
	f.stops = []assets.StopWindow{w}
}

func (f *fakePlant) Fleet(context.Context, assets.Scope, int64, time.Time) (*Fleet, error) {
	return f.fleet, nil
}

func (f *fakePlant) Retired(context.Context, assets.Scope, int64) ([]assets.Conveyor, error) {
	return f.retired, nil
}

func (f *fakePlant) Past(_ context.Context, _ assets.Scope, _, conveyor int64) (*Past, error) {
	if p := f.past[conveyor]; p != nil {
		return p, nil
	}
	return &Past{Belts: f.fleet.Register.BeltsOf(conveyor), Splices: f.fleet.Register.SplicesOn(conveyor)}, nil
}

func (f *fakePlant) OpenOrders(context.Context, assets.Scope, int64) ([]workorder.Order, error) {
	var open []workorder.Order
	for _, o := range f.orders {
		if o.State.Open() {
			open = append(open, o)
		}
	}
	return open, nil
}

func (f *fakePlant) OrderList(_ context.Context, _ assets.Scope, _ int64, filter OrderFilter) ([]workorder.Order, int, error) {
	var list []workorder.Order
	for _, o := range f.orders {
		if filter.Open && !o.State.Open() || filter.Closed && o.State.Open() || filter.SpliceID != 0 && filter.SpliceID != o.SpliceID ||
			filter.Kind != "" && filter.Kind != o.Kind || filter.ConveyorID != 0 && filter.ConveyorID != o.ConveyorID {
			continue
		}
		list = append(list, o)
	}
	return list, len(list), nil
}

func (f *fakePlant) Order(_ context.Context, _ assets.Scope, _, number int64) (*OrderFile, error) {
	for _, o := range f.orders {
		if o.Number == number {
			file := &OrderFile{Order: o, People: map[int64]string{1: "I. Vanterel", 2: "R. Asquenne", 4: "M. Okkerdal"}}
			for _, e := range f.events {
				if e.OrderID == o.ID {
					file.Events = append(file.Events, e)
				}
			}
			if o.WindowID != 0 {
				file.Window = &f.stops[0]
			}
			return file, nil
		}
	}
	return nil, assets.ErrNotFound
}

func (f *fakePlant) Steps(ctx context.Context, scope assets.Scope, act Act, plant, number, edit int64, steps []OrderStep) error {
	before := slices.Clone(f.orders)
	for i, step := range steps {
		if err := f.Step(ctx, scope, act, plant, number, edit+int64(i), step); err != nil {
			f.orders = before
			return err
		}
	}
	return nil
}

func (f *fakePlant) Step(_ context.Context, _ assets.Scope, act Act, _, number, edit int64, step OrderStep) error {
	for i, o := range f.orders {
		if o.Number != number {
			continue
		}
		if o.EditVersion != edit {
			return assets.ErrConflict
		}
		next, e, err := step(o)
		if err != nil {
			return err
		}
		next.EditVersion++
		f.orders[i] = next
		f.events = append(f.events, e)
		f.steps = append(f.steps, act)
		return nil
	}
	return assets.ErrNotFound
}

func (f *fakePlant) Raise(_ context.Context, _ assets.Scope, act Act, o workorder.Order, e workorder.Event) (int64, error) {
	o.Number, o.ID = 430, 1430
	f.orders, f.events, f.steps = append(f.orders, o), append(f.events, e), append(f.steps, act)
	return 430, nil
}

// Order 410's work ended splice 31 and made splice 33, with one lot of compound and one press cycle; its press cycle raised order 416.
func (f *fakePlant) Changed(_ context.Context, _ assets.Scope, o workorder.Order) (*OrderDone, error) {
	return &OrderDone{Splices: []assets.Splice{{Version: assets.Version{ID: 31}, Number: "1", RetiredOrderID: o.ID, RetiredWhy: assets.RetiredFailed}, {Version: assets.Version{ID: 33}, Number: "1", MadeOrderID: o.ID, Form: assets.FormStepped, Bond: assets.BondHotVulcanised}},
		Taken: []assets.StockMovement{{ItemID: 2, LotID: 41, Quantity: -11000}}, Items: map[int64]assets.StockItem{2: {Name: "Cover compound", Unit: assets.UnitKilogram}}, Lots: map[int64]assets.StockLot{41: {Lot: "7702", GoodUntil: "2027-01-09"}},
		Counts: []assets.KitCount{{KitID: 1, CounterID: 1, Quantity: 1}}, Raised: map[int64]int64{5: 416}, Ticket: "Hot vulcanising", TicketUntil: "2028-05-31"}, nil
}

func (f *fakePlant) CloseResplice(ctx context.Context, scope assets.Scope, act Act, plant, number, edit int64, made Resplice, step OrderStep) error {
	if err := f.Step(ctx, scope, act, plant, number, edit, step); err != nil {
		return err
	}
	f.made = append(f.made, made)
	return nil
}

func (f *fakePlant) Windows(context.Context, assets.Scope, int64, time.Time) ([]assets.StopWindow, error) {
	return f.stops, nil
}

func (f *fakePlant) Reminders(context.Context, assets.Scope, int64, assets.Day) ([]rules.Occurrence, error) {
	return f.remind, nil
}

func (f *fakePlant) Doubts(context.Context, assets.Scope, int64, time.Time) ([]rules.Doubt, error) {
	return f.doubts, nil
}

func (f *fakePlant) News(context.Context, assets.Scope, int64, time.Time) (*News, error) {
	return &f.news, nil
}

func (f *fakePlant) Held(context.Context, assets.Scope, int64) (int, error) { return f.held, nil }

func (f *fakePlant) OpenGrades(context.Context, assets.Scope, int64) ([]assets.Finding, error) {
	return f.grades, nil
}

func (f *fakePlant) Find(_ context.Context, _ assets.Scope, _ int64, q string) ([]Hit, error) {
	var hits []Hit
	for _, c := range f.fleet.Register.Conveyors {
		if strings.Contains(strings.ToLower(c.Tag+" "+c.Name), strings.ToLower(q)) {
			hits = append(hits, Hit{ConveyorID: c.ID, Word: c.Tag, Says: c.Name})
		}
	}
	return hits, nil
}

func (f *fakePlant) MakeOrder(_ context.Context, _ assets.Scope, act Act, _, id int64) (int64, error) {
	for i, o := range f.remind {
		if o.ID == id {
			f.remind = append(f.remind[:i], f.remind[i+1:]...)
			f.steps = append(f.steps, act)
			return 431, nil
		}
	}
	return 0, assets.ErrNotFound
}

func (f *fakePlant) NotBefore(_ context.Context, _ assets.Scope, act Act, _, id int64, day assets.Day) error {
	for i := range f.remind {
		if f.remind[i].ID == id {
			f.remind[i].NotBefore = day
			f.steps = append(f.steps, act)
			return nil
		}
	}
	return assets.ErrNotFound
}

func (f *fakePlant) Crew(context.Context, assets.Scope, int64) ([]assets.Person, error) {
	return []assets.Person{{ID: 4, Name: "M. Okkerdal", Role: assets.RoleTechnician}, {ID: 2, Name: "R. Asquenne", Role: assets.RoleTechnician}}, nil
}
