package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/outlook"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/schedule/people"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// OpenOrders returns the orders raised to started.
func (d *Desk) OpenOrders(ctx context.Context, scope assets.Scope, plantID int64) ([]workorder.Order, error) {
	list, err := fact(ctx, d, scope, plantID, "open orders", func() ([]workorder.Order, error) {
		list, _, err := orders.List(ctx, d.db, scope, orders.Filter{PlantID: plantID, Open: true})
		return list, err
	})
	return slices.Clone(list), err
}

// OrderList returns a page of orders.
func (d *Desk) OrderList(ctx context.Context, scope assets.Scope, plantID int64, f web.OrderFilter) ([]workorder.Order, int, error) {
	return orders.List(ctx, d.db, scope, orders.Filter{PlantID: plantID, ConveyorID: f.ConveyorID, SpliceID: f.SpliceID, Kind: f.Kind,
		Open: f.Open, Closed: f.Closed, Conveyors: f.Conveyors, Since: assets.InstantOf(f.Since), Newest: f.Newest, Limit: f.Limit, Offset: f.Offset})
}

// Order returns an order with its history.
func (d *Desk) Order(ctx context.Context, scope assets.Scope, plantID, number int64) (*web.OrderFile, error) {
	o, err := orders.ByNumber(ctx, d.db, scope, plantID, number)
	if err != nil {
		return nil, err
	}
	f := &web.OrderFile{Order: o}
	if f.Events, err = orders.Events(ctx, d.db, scope, o.ID); err != nil {
		return nil, err
	}
	if o.WindowID != 0 {
		w, err := stops.Window(ctx, d.db, scope, o.WindowID)
		if err != nil {
			return nil, err
		}
		f.Window = &w
	}
	if after, _ := o.WaitsFor(); after != 0 {
		other, err := orders.Order(ctx, d.db, scope, after)
		if err != nil {
			return nil, err
		}
		f.After = &other
	}
	if o.RuleID != 0 {
		r, err := orders.Rule(ctx, d.db, scope, plantID, o.RuleID)
		if err != nil {
			return nil, err
		}
		f.Rule = &r
	}
	ids := append([]int64{o.RaisedBy, o.AcceptedBy, o.PlacedBy, o.StartedBy, o.DoneBy, o.SignedBy, o.WithdrawnBy, o.PutOffBy}, o.PlacedPeople...)
	for _, e := range f.Events {
		ids = append(ids, e.PersonID)
	}
	f.People, err = registry.Names(ctx, d.db, ids)
	return f, err
}

// step reads an order inside a change, checks that it is the one that was read, and decides its next state.
func step(c *plantdb.Change, scope assets.Scope, plantID, number, edit int64, next web.OrderStep) (workorder.Order, workorder.Event, error) {
	o, err := orders.ByNumber(c.Context(), c.DB, scope, plantID, number)
	if err != nil {
		return o, workorder.Event{}, err
	}
	if edit != o.EditVersion {
		return o, workorder.Event{}, fmt.Errorf("order %d: %w", number, assets.ErrConflict)
	}
	return next(o)
}

// Step takes one step of an order.
func (d *Desk) Step(ctx context.Context, scope assets.Scope, a web.Act, plantID, number, edit int64, next web.OrderStep) error {
	return d.step(ctx, scope, a, plantID, number, edit, next, assets.JobCounted{})
}

func (d *Desk) step(ctx context.Context, scope assets.Scope, a web.Act, plantID, number, edit int64, next web.OrderStep, counted assets.JobCounted) error {
	if err := d.db.Reach(ctx, scope, plantID); err != nil {
		return err
	}
	act := act(a, plantID)
	used, err := d.use(ctx, scope, &act, plantID, number, a.Now)
	if err != nil {
		return err
	}
	if used != nil {
		used.counted = counted
	}
	return d.db.Change(ctx, act, func(c *plantdb.Change) error {
		after, event, err := step(c, scope, plantID, number, edit, next)
		if err != nil {
			return err
		}
		if err := inStop(c, &after, &event); err != nil {
			return err
		}
		if err := d.qualified(c, scope, after, event); err != nil {
			return err
		}
		if err := orders.Step(c, &after, event); err != nil {
			return err
		}
		return used.book(c, after)
	})
}

// Steps takes several steps of an order that book nothing, one after the other in one change.
func (d *Desk) Steps(ctx context.Context, scope assets.Scope, a web.Act, plantID, number, edit int64, steps []web.OrderStep) error {
	return d.write(ctx, scope, a, plantID, func(c *plantdb.Change) error {
		for i, next := range steps {
			after, event, err := step(c, scope, plantID, number, edit+int64(i), next)
			if err != nil {
				return err
			}
			if err := inStop(c, &after, &event); err != nil {
				return err
			}
			if after.State == workorder.Signed {
				return fmt.Errorf("sign order %d: a signature books what the job took, so it is a step of its own", number)
			}
			if err := orders.Step(c, &after, event); err != nil {
				return err
			}
		}
		return nil
	})
}

// inStop holds that an order is placed in an agreed stop; one of a recurring stop gets its row now.
func inStop(c *plantdb.Change, after *workorder.Order, event *workorder.Event) error {
	before, err := orders.Order(c.Context(), c.DB, assets.PlantScope(after.PlantID), after.ID)
	if err != nil || after.WindowID == 0 || after.WindowID == before.WindowID {
		return err
	}
	if after.WindowID, err = stops.ForWork(c, after.PlantID, after.WindowID); err != nil {
		return err
	}
	told := workorder.NewEvent(event.What, before, *after, event.PersonID, event.At.Time(), event.EnteredAt.Time())
	event.Before, event.After = told.Before, told.After
	return nil
}

// qualified holds that whoever signs an order had the ticket for it on the day its work was done.
func (d *Desk) qualified(c *plantdb.Change, scope assets.Scope, o workorder.Order, event workorder.Event) error {
	if o.State != workorder.Signed {
		return nil
	}
	plant, err := registry.Plant(c.Context(), c.DB, scope, o.PlantID)
	if err != nil {
		return err
	}
	zone, err := time.LoadLocation(plant.Zone)
	if err != nil {
		return fmt.Errorf("zone of %s: %w", plant.Name, err)
	}
	var sp assets.Splice
	if o.SpliceID != 0 {
		if sp, err = registry.Splice(c.Context(), c.DB, scope, o.SpliceID, plantdb.AsOf{}); err != nil {
			return err
		}
	}
	return crew.MaySign(c, event.PersonID, string(o.Kind), sp.Form, sp.Bond, assets.DayOf(o.DoneAt.Time().In(zone)))
}

// Raise keeps a new order.
func (d *Desk) Raise(ctx context.Context, scope assets.Scope, a web.Act, order workorder.Order, event workorder.Event) (number int64, err error) {
	if err := d.db.Reach(ctx, scope, order.PlantID); err != nil {
		return 0, err
	}
	act := act(a, order.PlantID)
	if act.Reason == "" {
		act.Reason = event.Why
	}
	err = d.db.Change(ctx, act, func(c *plantdb.Change) error {
		o := order
		if number, err = orders.JustRaised(c, &o); err != nil || number > 0 {
			return cmp.Or(err, errSentTwice)
		}
		if err := orders.RaiseByHand(c, &o); err != nil {
			return err
		}
		number = o.Number
		if o.FindingID != 0 {
			return registry.FollowUp(c, o.FindingID, o.ID)
		}
		return nil
	})
	if errors.Is(err, errSentTwice) {
		return number, nil
	}
	return number, err
}

// errSentTwice ends a change that would raise the order that was raised a moment ago: nothing is written, and the person lands
// on that order.
var errSentTwice = errors.New("this order was raised a moment ago")

// CloseResplice reports a re-splice done and books it.
func (d *Desk) CloseResplice(ctx context.Context, scope assets.Scope, a web.Act, plantID, number, edit int64, made web.Resplice, next web.OrderStep) error {
	if err := d.db.Reach(ctx, scope, plantID); err != nil {
		return err
	}
	return d.db.Change(ctx, act(a, plantID), func(c *plantdb.Change) error {
		after, event, err := step(c, scope, plantID, number, edit, next)
		if err != nil {
			return err
		}
		r := orders.Resplice{OldSpliceID: made.OldSpliceID, Why: made.RetiredWhy, FailureMode: made.FailureMode, New: made.New,
			ShorteningM: made.LoopShorterM, TakeUpUsedM: made.TakeUpNowM}
		if r.New.BeltID == 0 {
			r.New.BeltID = after.BeltID
		}
		if made.MadeByID != 0 {
			r.New.MadeByID = made.MadeByID
		}
		if made.MadeWithWords != "" {
			r.New.MadeWith = made.MadeWithWords
		}
		return orders.CloseResplice(c, &r, &after, event)
	})
}

// Emergency keeps an order that was done before it was raised, books its re-splice, and how long the conveyor stood where that is told, in one change.
func (d *Desk) Emergency(ctx context.Context, scope assets.Scope, a web.Act, raised, done workorder.Order, event workorder.Event, made web.Resplice, stood *assets.Standstill) (number int64, err error) {
	err = d.write(ctx, scope, a, raised.PlantID, func(c *plantdb.Change) error {
		o := raised
		if number, err = orders.JustRaised(c, &o); err != nil || number > 0 {
			return cmp.Or(err, errSentTwice)
		}
		if err := orders.RaiseByHand(c, &o); err != nil {
			return err
		}
		number = o.Number
		after, e := done, event
		after.Version, after.Number, after.EditVersion = o.Version, o.Number, o.EditVersion
		e.OrderID = o.ID
		r := orders.Resplice{OldSpliceID: made.OldSpliceID, Why: made.RetiredWhy, FailureMode: made.FailureMode, New: made.New, ShorteningM: made.LoopShorterM}
		r.New.MadeByID = made.MadeByID
		if err := orders.CloseResplice(c, &r, &after, e); err != nil || stood == nil {
			return err
		}
		st := *stood
		st.OrderID = o.ID
		_, err := stops.SaveStandstill(c, &st)
		return err
	})
	if errors.Is(err, errSentTwice) {
		return number, nil
	}
	return number, err
}

// Windows returns the agreed stop windows that end after from.
func (d *Desk) Windows(ctx context.Context, scope assets.Scope, plantID int64, from time.Time) ([]assets.StopWindow, error) {
	hour := from.Truncate(time.Hour)
	list, err := fact(ctx, d, scope, plantID, "windows since "+hour.UTC().String(), func() ([]assets.StopWindow, error) {
		return stops.Agreed(ctx, d.db, scope, plantID, assets.InstantOf(hour), 0)
	})
	return slices.DeleteFunc(slices.Clone(list), func(w assets.StopWindow) bool { return w.End <= assets.InstantOf(from) }), err
}

// Reminders returns the occurrences without an order.
func (d *Desk) Reminders(ctx context.Context, scope assets.Scope, plantID int64, today assets.Day) ([]rules.Occurrence, error) {
	list, err := fact(ctx, d, scope, plantID, "reminders of "+string(today), func() ([]rules.Occurrence, error) {
		return orders.Reminders(ctx, d.db, scope, plantID, today)
	})
	return slices.Clone(list), err
}

// News returns what was recorded since an instant.
func (d *Desk) News(ctx context.Context, scope assets.Scope, plantID int64, since time.Time) (*web.News, error) {
	return fact(ctx, d, scope, plantID, "news since "+since.UTC().String(), func() (*web.News, error) {
		return d.news(ctx, scope, plantID, assets.InstantOf(since))
	})
}

func (d *Desk) news(ctx context.Context, scope assets.Scope, plantID int64, at assets.Instant) (*web.News, error) {
	n := &web.News{}
	var err error
	if n.Findings, err = registry.FindingsOfPlant(ctx, d.db, scope, plantID, at, plantdb.AsOf{}, 20); err != nil {
		return nil, err
	}
	events, err := orders.RecentEvents(ctx, d.db, scope, plantID, at, 20)
	if err != nil {
		return nil, err
	}
	var ids, people []int64
	for _, e := range events {
		ids, people = append(ids, e.OrderID), append(people, e.PersonID)
	}
	for _, f := range n.Findings {
		people = append(people, f.FoundByID)
	}
	list, _, err := orders.List(ctx, d.db, scope, orders.Filter{PlantID: plantID, IDs: ids})
	if err != nil {
		return nil, err
	}
	of := map[int64]workorder.Order{}
	for _, o := range list {
		of[o.ID] = o
	}
	for _, e := range events {
		o := of[e.OrderID]
		n.Steps = append(n.Steps, web.OrderNews{Number: o.Number, ConveyorID: o.ConveyorID, Title: o.Title, Event: e})
	}
	if n.Read, err = clocks.ReadSince(ctx, d.db, scope, plantID, at); err != nil {
		return nil, err
	}
	n.People, err = registry.Names(ctx, d.db, people)
	return n, err
}

// Held returns how many readings wait for a person.
func (d *Desk) Held(ctx context.Context, scope assets.Scope, plantID int64) (int, error) {
	return fact(ctx, d, scope, plantID, "held", func() (int, error) {
		held, err := clocks.Held(ctx, d.db, scope, plantID)
		return len(held), err
	})
}

// OpenGrades returns the findings of grade 3 and more that nobody answered.
func (d *Desk) OpenGrades(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.Finding, error) {
	list, err := fact(ctx, d, scope, plantID, "open grades", func() ([]assets.Finding, error) {
		return registry.OpenGrades(ctx, d.db, scope, plantID, 3)
	})
	return slices.Clone(list), err
}

// MakeOrder raises the order of a reminder.
func (d *Desk) MakeOrder(ctx context.Context, scope assets.Scope, a web.Act, plantID, occurrenceID int64) (number int64, err error) {
	oc, err := orders.Reminder(ctx, d.db, scope, plantID, occurrenceID)
	if err != nil {
		return 0, err
	}
	rule, err := orders.Rule(ctx, d.db, scope, plantID, oc.RuleID)
	if err != nil {
		return 0, err
	}
	plant, err := outlook.Load(ctx, d.db, scope, plantID, a.Now)
	if err != nil {
		return 0, err
	}
	if err := plant.ForeseeAsked(ctx, d.db, d.laws, a.Now); err != nil {
		return 0, err
	}
	order, err := rules.NewOutlook(plant.Inputs).MakeOrder(rule, oc, a.PersonID, a.Now)
	if err != nil {
		return 0, err
	}
	err = d.db.Change(ctx, act(a, plantID), func(c *plantdb.Change) error {
		o := order
		err := orders.MakeOrder(c, occurrenceID, &o)
		number = o.Number
		return err
	})
	return number, err
}

// NotBefore puts a reminder off until a day.
func (d *Desk) NotBefore(ctx context.Context, scope assets.Scope, a web.Act, plantID, occurrenceID int64, day assets.Day) error {
	if _, err := orders.Reminder(ctx, d.db, scope, plantID, occurrenceID); err != nil {
		return err
	}
	return d.db.Change(ctx, act(a, plantID), func(c *plantdb.Change) error { return orders.PutOffReminder(c, occurrenceID, day) })
}

// Crew returns the people who may be placed on an order at a plant: technicians, planners and leads whose grants
// reach it.
func (d *Desk) Crew(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.Person, error) {
	plant, err := registry.Plant(ctx, d.db, scope, plantID)
	if err != nil {
		return nil, err
	}
	all, err := registry.People(ctx, d.db, assets.JobScope(), true)
	if err != nil {
		return nil, err
	}
	grants, err := registry.GrantsByPerson(ctx, d.db, assets.InstantOf(d.now()))
	if err != nil {
		return nil, err
	}
	var crew []assets.Person
	for _, p := range all {
		if people.MayAt(grants[p.ID], plant.CustomerID, plantID, people.DoJob) {
			crew = append(crew, p)
		}
	}
	return crew, nil
}
