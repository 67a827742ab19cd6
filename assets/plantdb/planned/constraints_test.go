package planned_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/planned"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/assets/plantdb/stores"
	"carryside/schedule/horizon"
	"carryside/schedule/plan"
	"carryside/schedule/workorder"
)

// workshop is a plant with one stop, Sunday 6 December from 06:00 to 14:00 plant time (UTC+1), and one order of four hours in it, that takes
// one splicer, a press as wide as the belt (1 m) and 2.5 kg of rubber, with 30 min of isolating and 15 of restarting.
type workshop struct {
	*plantdbtest.Site
	order   workorder.Order
	stop    assets.StopWindow
	other   assets.Conveyor // on the same line
	splicer assets.Person
	ticket  assets.PersonQualification
	member  assets.CrewMember
	press   assets.Kit
	item    assets.StockItem
	lot     assets.StockLot
	group   assets.IsolationGroup
}

// change runs a change of the plant and of the company.
func (w *workshop) change(t *testing.T, fn func(*plantdb.Change) error) {
	t.Helper()
	act := w.Act(plantdbtest.Noon)
	act.Company = true
	if err := w.DB.Change(bg, act, fn); err != nil {
		t.Fatal(err)
	}
}

func newWorkshop(t *testing.T) *workshop {
	t.Helper()
	w := &workshop{Site: plantdbtest.Plant(t)}
	w.splicer = assets.Person{Name: "S. Ilveth"}
	skill := assets.Qualification{Name: "hot splicing"}
	w.press = assets.Kit{HomePlantID: w.Plant.ID, Name: "Press 4", Class: assets.KitPress, WorkingWidthM: 1.2, MaxTemperatureC: 180, Mobile: true}
	w.item = assets.StockItem{Name: "rubber", Kind: assets.StockFilm, Unit: assets.UnitKilogram, LeadTimeDays: 20, Class: assets.ClassD}
	w.other = assets.Conveyor{PlantID: w.Plant.ID, LineID: w.Line.ID, Tag: "Q2", SpeedMPS: 2}
	w.change(t, func(c *plantdb.Change) error {
		for _, do := range []func() error{
			func() error { return registry.AddConveyor(c, &w.other) },
			func() error { return registry.AddPerson(c, &w.splicer) },
			func() error { return crew.SaveQualification(c, &skill) },
			func() error {
				w.ticket = assets.PersonQualification{PersonID: w.splicer.ID, QualificationID: skill.ID, FromDay: "2024-01-01"}
				return crew.SaveTicket(c, &w.ticket)
			},
			func() error {
				w.member = assets.CrewMember{PersonID: w.splicer.ID, HomePlantID: w.Plant.ID}
				return crew.SaveMember(c, &w.member)
			},
			func() error { return stores.SaveKit(c, &w.press) },
			func() error { return stores.SaveItem(c, &w.item) },
			func() error {
				w.lot = assets.StockLot{PlantID: w.Plant.ID, ItemID: w.item.ID, Lot: "7"}
				return stores.Receive(c, nil, &w.lot, 3000, 0)
			},
			func() error {
				return crew.SaveTemplate(c, &assets.WorkTemplate{OrderKind: string(workorder.KindRetension), DurationMin: 240, Crew: []assets.CrewNeed{{QualificationID: skill.ID, Number: 1}},
					Kit: []assets.KitNeed{{Class: string(assets.KitPress), AsBelt: true, MinTemperatureC: 160}}, Stock: []assets.StockNeed{{ItemID: w.item.ID, PerSplice: 0.5, PerMWidth: 2}}, Isolation: true, Class: assets.ClassP})
			},
			func() error {
				w.group = assets.IsolationGroup{PlantID: w.Plant.ID, Name: "Crusher feed", Point: "E-14", IsolateMin: 30, RestartMin: 15, ConveyorIDs: []int64{w.Conveyor.ID}}
				return stops.SaveGroup(c, &w.group)
			},
			func() error {
				start := at("2026-12-06T05:00:00Z")
				w.stop = assets.StopWindow{PlantID: w.Plant.ID, LineID: w.Line.ID, Start: start, End: start + assets.Instant(8*time.Hour/time.Microsecond), StartLocal: "2026-12-06T06:00", EndLocal: "2026-12-06T14:00"}
				return stops.Save(c, &w.stop)
			},
			func() error {
				w.order = workorder.Order{PlantID: w.Plant.ID, ConveyorID: w.Conveyor.ID, BeltID: w.Belt.ID, Kind: workorder.KindRetension, Title: "re-tension", Reason: "slack"}
				return orders.RaiseByHand(c, &w.order)
			},
		} {
			if err := do(); err != nil {
				return err
			}
		}
		return nil
	})
	step(t, w.Site, w.order.ID, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Accept(o, planner, plantdbtest.Noon, plantdbtest.Noon)
	})
	return w
}

// planned plans the plant anew and returns where the order stands (no stop: nowhere), and all that is said of it.
func (w *workshop) planned(t *testing.T) (horizon.Placement, string) {
	t.Helper()
	reg, err := registry.PlantAsOf(bg, w.DB, w.Scope, w.Plant.ID, plantdb.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	f, err := planned.Facts(bg, w.DB, w.Scope, []*assets.Register{reg}, plantdbtest.Noon, plantdbtest.Noon.AddDate(0, 0, 60))
	if err != nil {
		t.Fatal(err)
	}
	s := horizon.Lay(f.Inputs())
	p, err := plan.Solve(context.Background(), s.Case, plan.Settings{Seed: 1, Steps: 20})
	if err != nil {
		t.Fatal(err)
	}
	left := s.LeftOut(p)[w.order.ID]
	said := append(slices.Clone(left.Why), left.Help...)
	for _, u := range s.Unplanned {
		said = append(said, u.Why)
	}
	return s.Placements(p)[w.order.ID], strings.Join(said, "; ")
}

// TestEveryLimitOfTheRegistryReachesThePlan changes the registry one limit after the other and sees the plan leave the order out, or place it
// at another time, with a word of the limit; then takes the change back and sees the order placed again.
func TestEveryLimitOfTheRegistryReachesThePlan(t *testing.T) {
	w := newWorkshop(t)
	if p, said := w.planned(t); p.StopID != w.stop.ID || len(p.Crew) != 1 || !slices.Equal(p.Kit, []int64{w.press.ID}) {
		t.Fatalf("with everything there: %+v, %s", p, said)
	}
	save := func(fn func(c *plantdb.Change) error) func() { return func() { t.Helper(); w.change(t, fn) } }
	stop := func(change func(s *assets.StopWindow)) (do, undo func()) {
		was := w.stop
		return save(func(c *plantdb.Change) error { change(&w.stop); return stops.Save(c, &w.stop) }),
			save(func(c *plantdb.Change) error {
				was.Version = w.stop.Version
				w.stop = was
				return stops.Save(c, &w.stop)
			})
	}
	ticket := func(from, until assets.Day) (do, undo func()) {
		return save(func(c *plantdb.Change) error {
				w.ticket.FromDay, w.ticket.UntilDay = from, until
				return crew.SaveTicket(c, &w.ticket)
			}), save(func(c *plantdb.Change) error {
				w.ticket.FromDay, w.ticket.UntilDay = "2024-01-01", ""
				return crew.SaveTicket(c, &w.ticket)
			})
	}
	press := func(change func(k *assets.Kit)) (do, undo func()) {
		was := w.press
		return save(func(c *plantdb.Change) error { change(&w.press); return stores.SaveKit(c, &w.press) }),
			save(func(c *plantdb.Change) error {
				was.Version = w.press.Version
				w.press = was
				return stores.SaveKit(c, &w.press)
			})
	}
	supply := func(expected assets.Day) (do, undo func()) {
		order := assets.SupplyOrder{PlantID: w.Plant.ID, ItemID: w.item.ID, Quantity: 5000, State: assets.SupplyOrdered, OrderedDay: "2026-11-20", ExpectedDay: expected}
		return save(func(c *plantdb.Change) error {
				if err := stores.Post(c, []assets.StockMovement{{LotID: w.lot.ID, Quantity: -3000, Why: assets.MoveScrapped, Reason: "wet"}}); err != nil {
					return err
				}
				return stores.SaveSupplyOrder(c, &order)
			}), save(func(c *plantdb.Change) error {
				order.State = assets.SupplyCancelled
				if err := stores.SaveSupplyOrder(c, &order); err != nil {
					return err
				}
				return stores.Post(c, []assets.StockMovement{{LotID: w.lot.ID, Quantity: 3000, Why: assets.MoveCounted, Reason: "found"}})
			})
	}
	type limit struct {
		name     string
		do, undo func()
		want     string // a word of what is said; "": the order is placed all the same
	}
	var limits []limit
	add := func(name, want string, do, undo func()) { limits = append(limits, limit{name, do, undo, want}) }
	for _, v := range []struct {
		name, want string
		change     func(s *assets.StopWindow)
	}{
		{"the stop is only asked for", "no agreed stop", func(s *assets.StopWindow) { s.Answer.Word = assets.AnswerAsked }},
		{"the plant refuses the stop", "no agreed stop", func(s *assets.StopWindow) { s.Answer = assets.StopAnswer{Word: assets.AnswerRefused, Why: "sold"} }},
		{"the stop is of the other conveyor alone", "no agreed stop", func(s *assets.StopWindow) { s.ConveyorIDs = []int64{w.other.ID} }},
		{"the stop is a minute shorter than isolating, work and restarting", "this needs 4\u00a0h\u00a045\u00a0min with isolation", func(s *assets.StopWindow) { s.End = s.Start + assets.Instant(284*time.Minute/time.Microsecond) }},
		{"the stop is just as long", "", func(s *assets.StopWindow) { s.End = s.Start + assets.Instant(285*time.Minute/time.Microsecond) }},
	} {
		do, undo := stop(v.change)
		add(v.name, v.want, do, undo)
	}
	for _, v := range []struct {
		name        string
		from, until assets.Day
		want        string
	}{
		{"the ticket ends the day before", "2024-01-01", "2026-12-05", "hot splicing"},
		{"the ticket ends on the day", "2024-01-01", "2026-12-06", ""},
		{"the ticket begins the day after", "2026-12-07", "", "hot splicing"},
		{"the ticket begins on the day", "2026-12-06", "", ""},
	} {
		do, undo := ticket(v.from, v.until)
		add(v.name, v.want, do, undo)
	}
	for _, v := range []struct {
		name, want string
		change     func(k *assets.Kit)
	}{
		{"the press is narrower than the belt", "1000 mm", func(k *assets.Kit) { k.WorkingWidthM = 0.9 }},
		{"the press does not get as hot as the work asks", "reaches 160 °C", func(k *assets.Kit) { k.MaxTemperatureC = 155 }},
		{"the press gets just as hot", "", func(k *assets.Kit) { k.MaxTemperatureC = 160 }},
		{"the press is out of use before", "press", func(k *assets.Kit) { k.InUseUntilDay = "2026-12-05" }},
	} {
		do, undo := press(v.change)
		add(v.name, v.want, do, undo)
	}
	for _, v := range []struct {
		name, want string
		expected   assets.Day
	}{
		{"the rubber comes the day before", "", "2026-12-05"},
		{"the rubber comes on the day of the stop", "2.5 kg of rubber are needed by 6 Dec 09:45", "2026-12-06"},
		{"the rubber comes after the stop", "more comes at 9 Dec 00:00", "2026-12-08"},
		{"the rubber was to come last week and has not", "5 kg of rubber were to come by 20 Nov 2026 and have not", "2026-11-20"},
	} {
		do, undo := supply(v.expected)
		add(v.name, v.want, do, undo)
	}
	var a assets.Absence
	away := func(from, until assets.Day) (do, undo func()) {
		return save(func(c *plantdb.Change) error {
				a = assets.Absence{PersonID: w.splicer.ID, FromDay: from, UntilDay: until, Why: "leave"}
				return crew.SaveAbsence(c, &a)
			}), save(func(c *plantdb.Change) error {
				return crew.EndAbsence(c, a.ID, a.RowID)
			})
	}
	do, undo := away("2026-11-30", "2026-12-06")
	add("the splicer is away to the day of the stop", "hot splicing", do, undo)
	do, undo = away("2026-11-30", "2026-12-05")
	add("the splicer is back on the day", "", do, undo)
	service := func(from, to string) (do, undo func()) {
		k := assets.KitAway{KitID: w.press.ID, FromAt: at(from), ToAt: at(to), Why: assets.AwayService, Where: "Brenna workshop"}
		return save(func(c *plantdb.Change) error { return stores.SaveAway(c, &k) }), save(func(c *plantdb.Change) error {
			k.Cancelled = true
			return stores.SaveAway(c, &k)
		})
	}
	do, undo = service("2026-12-06T09:00:00Z", "2026-12-10T00:00:00Z") // work of 4 h begins at 05:30 at the earliest
	add("the press leaves for service before the work is over", "press", do, undo)
	do, undo = service("2026-12-06T09:30:00Z", "2026-12-10T00:00:00Z")
	add("the press leaves as the work is over", "", do, undo)
	calibrated := func(due assets.Day) (do, undo func()) {
		k := assets.Calibration{KitID: w.press.ID, OnDay: "2025-11-01", DueDay: due, Class: assets.ClassP}
		return save(func(c *plantdb.Change) error { return stores.SaveCalibration(c, &k) }), save(func(c *plantdb.Change) error {
			k.Withdrawn, k.WithdrawnWhy = true, "of another press"
			return stores.SaveCalibration(c, &k)
		})
	}
	do, undo = calibrated("2026-12-05")
	add("the press is to be calibrated the day before", "calibration is due on 5 Dec 2026", do, undo)
	do, undo = calibrated("2026-12-06")
	add("the press is calibrated to the day of the stop", "", do, undo)
	group := func(conveyors ...int64) (do, undo func()) {
		return save(func(c *plantdb.Change) error {
				w.group.ConveyorIDs = conveyors
				w.stop.ConveyorIDs = []int64{w.Conveyor.ID}
				if err := stops.SaveGroup(c, &w.group); err != nil {
					return err
				}
				return stops.Save(c, &w.stop)
			}), save(func(c *plantdb.Change) error {
				w.group.ConveyorIDs, w.stop.ConveyorIDs = []int64{w.Conveyor.ID}, nil
				if err := stops.SaveGroup(c, &w.group); err != nil {
					return err
				}
				return stops.Save(c, &w.stop)
			})
	}
	do, undo = group(w.Conveyor.ID, w.other.ID)
	add("a conveyor isolated together with it runs on", "no agreed stop", do, undo)
	do, undo = group(w.Conveyor.ID)
	add("a conveyor of another group runs on", "", do, undo)
	home := func(minutes int) (do, undo func()) {
		way := assets.TravelTime{ToPlantID: w.Plant.ID, Minutes: minutes}
		return save(func(c *plantdb.Change) error {
				w.member.HomePlantID = 0
				if err := crew.SaveMember(c, &w.member); err != nil || minutes == 0 {
					return err
				}
				return crew.SaveTravel(c, &way)
			}), save(func(c *plantdb.Change) error {
				w.member.HomePlantID = w.Plant.ID
				if err := crew.SaveMember(c, &w.member); err != nil || minutes == 0 {
					return err
				}
				return crew.EndTravel(c, way.ID, way.RowID)
			})
	}
	do, undo = home(0)
	add("the splicer lives at the depot and nobody knows the way", "hot splicing", do, undo)
	do, undo = home(90)
	add("the splicer lives at the depot", "", do, undo)
	for _, l := range limits {
		l.do()
		p, said := w.planned(t)
		switch {
		case l.want == "" && p.StopID == 0:
			t.Errorf("%s: left out, %s", l.name, said)
		case l.want != "" && (p.StopID != 0 || !strings.Contains(said, l.want)):
			t.Errorf("%s: stop %d from %s, said %q, want %q", l.name, p.StopID, p.Start, said, l.want)
		}
		l.undo()
	}
	if p, said := w.planned(t); p.StopID == 0 {
		t.Fatalf("with all of it taken back: left out, %s", said)
	}
}

// TestWhoIsPlacedAtAnotherPlantIsNotPlannedHere: the press and the splicer are at work at another plant an hour's drive away, in the morning
// of the stop; what keeps them is not told.
func TestWhoIsPlacedAtAnotherPlantIsNotPlannedHere(t *testing.T) {
	for name, place := range map[string]func(w *workshop, o *workorder.Order){
		"the press":   func(w *workshop, o *workorder.Order) { o.PlacedTools = []int64{w.press.ID} },
		"the splicer": func(w *workshop, o *workorder.Order) { o.PlacedPeople = []int64{w.splicer.ID} },
	} {
		t.Run(name, func(t *testing.T) {
			w := newWorkshop(t)
			elsewhere := workorder.Order{PlantID: w.Plant.ID + 1, Number: 900, State: workorder.Placed, WorkHours: 2, PlacedStart: &w.stop.Start}
			place(w, &elsewhere)
			w.change(t, func(c *plantdb.Change) error {
				ch, err := c.PlantChain(w.Plant.ID)
				if err != nil {
					return err
				}
				there := assets.StopWindow{PlantID: w.Plant.ID + 1, Start: w.stop.Start, End: w.stop.End}
				if err := plantdb.Create(c, ch, &there); err != nil {
					return err
				}
				elsewhere.WindowID = there.ID
				if err := crew.SaveTravel(c, &assets.TravelTime{FromPlantID: w.Plant.ID, ToPlantID: w.Plant.ID + 1, Minutes: 60}); err != nil {
					return err
				}
				return plantdb.Create(c, ch, &elsewhere)
			})
			// Free from 09:00 plant time, after two hours of work and one of driving; four hours of work and restarting end at 13:15.
			if p, said := w.planned(t); p.StopID == 0 || p.Start.Before(at("2026-12-06T08:00:00Z").Time()) {
				t.Errorf("begins %s (%s)", p.Start, said)
			}
			w.stop.End -= assets.Instant(time.Hour / time.Microsecond)
			w.change(t, func(c *plantdb.Change) error { return stops.Save(c, &w.stop) })
			if p, said := w.planned(t); p.StopID != 0 || strings.Contains(said, "900") {
				t.Errorf("an hour less: begins %s; said %q", p.Start, said)
			}
		})
	}
}

// TestAStopWithWorkInItKeepsRoomForIt: a stop is moved and shortened with work in it, but not so that the conveyor runs, or that it is over.
func TestAStopWithWorkInItKeepsRoomForIt(t *testing.T) {
	w := newWorkshop(t)
	step(t, w.Site, w.order.ID, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Place(o, planner, plantdbtest.Noon, plantdbtest.Noon, workorder.Placement{WindowID: w.stop.ID, WindowDay: "2026-12-06", People: []int64{7}})
	})
	for name, tt := range map[string]struct {
		change func(s *assets.StopWindow)
		field  string // that is refused; "": none
	}{
		"moved by a day": {func(s *assets.StopWindow) {
			s.Start, s.End = s.Start+assets.Instant(24*time.Hour/time.Microsecond), s.End+assets.Instant(24*time.Hour/time.Microsecond)
		}, ""},
		"of the conveyor alone":       {func(s *assets.StopWindow) { s.ConveyorIDs = []int64{w.Conveyor.ID} }, ""},
		"of the other conveyor alone": {func(s *assets.StopWindow) { s.ConveyorIDs = []int64{w.other.ID} }, "conveyors"},
		"into last week":              {func(s *assets.StopWindow) { s.Start, s.End = at("2026-11-20T05:00:00Z"), at("2026-11-20T13:00:00Z") }, "end"},
		"refused":                     {func(s *assets.StopWindow) { s.Answer = assets.StopAnswer{Word: assets.AnswerRefused, Why: "sold"} }, ""},
	} {
		next, err := stops.Window(bg, w.DB, w.Scope, w.stop.ID)
		if err != nil {
			t.Fatal(err)
		}
		tt.change(&next)
		err = w.Try(plantdbtest.Noon, func(c *plantdb.Change) error { return stops.Save(c, &next) })
		var bad assets.Invalid
		switch refused := errors.As(err, &bad); {
		case name == "refused":
			if bad[""] != "order 1 is placed in this stop; on the horizon move it to another, or take it out, first" {
				t.Errorf("%s: %v", name, err)
			}
		case tt.field == "" && err != nil, tt.field != "" && (!refused || !strings.Contains(bad[tt.field], "order 1 is placed in this stop")):
			t.Errorf("%s: %v", name, err)
		}
	}
	step(t, w.Site, w.order.ID, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Start(o, planner, plantdbtest.Noon, plantdbtest.Noon)
	})
	next, err := stops.Window(bg, w.DB, w.Scope, w.stop.ID)
	if err != nil {
		t.Fatal(err)
	}
	next.ConveyorIDs = []int64{w.other.ID}
	var bad assets.Invalid
	if err := w.Try(plantdbtest.Noon, func(c *plantdb.Change) error { return stops.Save(c, &next) }); !errors.As(err, &bad) || !strings.Contains(bad["conveyors"], "order 1 has begun in this stop") {
		t.Errorf("of the other conveyor alone while somebody works: %v", err)
	}
}
