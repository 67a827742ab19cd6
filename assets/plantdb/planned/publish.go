package planned

import (
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/stops"
	"carryside/schedule/horizon"
	"carryside/schedule/workorder"
)

// Step is one order of a plan being published: how it was read, and the steps that bring it where the plan wants it.
type Step struct {
	OrderID     int64
	EditVersion int64         // as read; assets.ErrConflict when somebody changed the order since
	ToStop      int64         // 0: out of its stop
	Takes       time.Duration // work as the plan reckons it, where the order itself does not say
	// Do makes the order's next state as placing it by hand does, in the stop of the given number.
	Do func(o workorder.Order, stopID int64) (workorder.Order, workorder.Event, error)
}

// Publish writes a plan of one plant: each order takes its step, with its events, and the plan is kept beside them. All
// of it is one change: nothing is written when one order was changed since it was read, or a stop is not agreed any more.
func Publish(c *plantdb.Change, p *assets.PublishedPlan, steps []Step) error {
	ch, err := c.PlantChain(p.PlantID) // held: two planners who publish at once do so one after the other
	if err != nil {
		return err
	}
	var after []placed
	for _, s := range steps {
		o, err := publish(c, p.PlantID, s)
		if err != nil {
			return err
		}
		after = append(after, placed{o, max(s.Takes, time.Duration(o.WorkHours*float64(time.Hour)))})
	}
	if err := freeElsewhere(c, p.PlantID, after); err != nil {
		return err
	}
	if p.ID, err = c.NewIDs(ch, "plans", 1); err != nil {
		return err
	}
	if p.WithID == 0 {
		p.WithID = p.ID
	}
	p.PublishedAt, p.PublishedBy, p.KnownFrom = c.Now(), c.Act.PersonID, ch.Position
	return plantdb.Insert(c, ch, p.ID, p)
}

func publish(c *plantdb.Change, plantID int64, s Step) (after workorder.Order, err error) {
	o, err := orders.Order(c.Context(), c.DB, assets.PlantScope(plantID), s.OrderID)
	if err != nil {
		return o, err
	}
	if o.EditVersion != s.EditVersion {
		return o, fmt.Errorf("order %d: %w", o.Number, assets.ErrConflict)
	}
	stop := int64(0)
	if s.ToStop != 0 {
		if stop, err = stops.ForWork(c, plantID, s.ToStop); err != nil {
			return o, err
		}
	}
	after, event, err := s.Do(o, stop)
	if err != nil {
		return o, err
	}
	return after, orders.Step(c, &after, event)
}

// placed is an order as a plan places it, with how long it takes.
type placed struct {
	workorder.Order
	takes time.Duration
}

// freeElsewhere refuses orders whose people or kit were placed at another plant for the same time since the plan was made. Acts that
// publish declare the company, so that of two plants the second one sees what the first one took.
func freeElsewhere(c *plantdb.Change, plantID int64, list []placed) error {
	r := &reader{ctx: c.Context(), db: c.DB, f: &horizon.Facts{From: c.Now().Time()}}
	if err := r.outside([]int64{plantID}); err != nil {
		return err
	}
	for _, o := range list {
		if o.PlacedStart == nil {
			continue
		}
		from := o.PlacedStart.Time()
		to := from.Add(o.takes)
		for _, t := range r.f.Elsewhere {
			mine := t.PersonID != 0 && slices.Contains(o.PlacedPeople, t.PersonID) || t.KitID != 0 && slices.Contains(o.PlacedTools, t.KitID)
			if mine && t.From.Before(to) && from.Before(t.To) {
				what := "kit"
				if t.PersonID != 0 {
					what = "somebody of the crew"
				}
				return assets.Invalid{"": fmt.Sprintf("order %d: %s is not free then; plan anew", o.Number, what)}
			}
		}
	}
	return nil
}
