package reports

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/keyfigures"
	"carryside/schedule/workorder"
)

// The report of key figures answers, to whoever leads and plans: how much of the work was planned, how well stops and latest dates were
// kept, and what waits. One row per plant and figure, with its formula and what it rests on.
var keyFigures = Entry{
	Slug:     "key-figures",
	Title:    "Order status and maintenance key figures",
	Question: "How much of the work was planned, how well were stops and latest dates kept, and what waits?",
	Columns:  keyFigureColumns,
	key:      []string{"figure"},
	periodic: true,
	rows:     Inputs.keyFigureRows,
	notes: []string{
		"Terms in the sense of EN 13306 and EN 15341. In the period means from its first instant to before its end; without a first day, since the first order.",
		"Planned work was placed in a stop before it was done. Work that could not wait ended a splice that had failed. A withdrawn order counts as not done.",
		"Required time is what the production calendar of a conveyor's line plans, as it stood at the period's end; without a calendar, around the clock. Without a first day it begins with the first order or standstill.",
		"A standstill is a down state by a failure as somebody recorded it; one that has not ended counts until the period's end. Failures that were recorded as work alone stand beside the figure and are not in it.",
		"Down for planned work are the agreed stops in which an order of the conveyor was done, each once, as far as no failure stood in them already.",
		"A figure without orders to rest on stays empty.",
	},
}

var keyFigureColumns = []Column{
	{Key: "customer", Heading: "Customer", Kind: KindText, WidthCh: 16, Wrap: true, Meaning: "who owns the plant"},
	{Key: "plant", Heading: "Plant", Kind: KindText, WidthCh: 20, Wrap: true, Meaning: "whose orders are counted"},
	{Key: "figure", Heading: "Figure", Kind: KindText, WidthCh: 30, Wrap: true, Meaning: "the key figure"},
	{Key: "value", Heading: "Value", Kind: KindNumber, Decimals: 1, WidthCh: 10, Meaning: "in the unit beside it; empty without orders to rest on"},
	{Key: "unit", Heading: "Unit", Kind: KindText, WidthCh: 9, Meaning: "of the value"},
	{Key: "formula", Heading: "Formula", Kind: KindText, WidthCh: 56, Wrap: true, Meaning: "how the value comes about"},
	{Key: "rests_on", Heading: "Rests on", Kind: KindText, WidthCh: 26, Wrap: true, Meaning: "orders or hours behind it"},
}

// WorkSource is a source that also knows the orders of plants.
type WorkSource interface {
	Source
	// WorkAt reads the orders of a plant at an instant.
	WorkAt(ctx context.Context, plantID int64, at time.Time) (Work, error)
}

// Work is a plant's orders at an instant.
type Work struct {
	Orders   []workorder.Order
	Windows  map[int64]assets.StopWindow
	Failures map[int64]bool // orders that ended a splice that had failed
	Chains   []ChainRead

	Intervals map[int64]time.Duration // between what the rule of an order raises; by order, where it raises at intervals
	Crew      keyfigures.Crew         // the people at home at the plant with their working week

	Conveyors   []assets.Conveyor // in use
	Calendars   []assets.ProductionCalendar
	Standstills []assets.Standstill
}

func (in Inputs) keyFigureRows(ctx context.Context, r *Report, plants []PlantName, yield func([]Cell) error) error {
	source, able := in.Source.(WorkSource)
	if !able {
		return errors.New("this source keeps no orders")
	}
	if in.Filter.Line+in.Filter.Conveyor != "" {
		return assets.Invalid{"scope": "key figures are a plant's as a whole; leave line and conveyor out"}
	}
	for _, name := range plants {
		zone := cmp.Or(name.Zone, time.UTC)
		now := r.AsOf.Now(zone)
		span, err := in.Period.span(zone, now)
		if err != nil {
			return err
		}
		w, err := source.WorkAt(ctx, name.ID, now)
		if errors.Is(err, assets.ErrNotFound) {
			continue
		}
		if err != nil {
			return fmt.Errorf("read the orders of %s: %w", name.Name, err)
		}
		r.rests(w.Chains)
		stood, err := w.stood(zone, span)
		if err != nil {
			return fmt.Errorf("read the production calendars of %s: %w", name.Name, err)
		}
		for _, row := range slices.Concat(figureRows(name, w.figures(zone, span), w.counted(span)), stood.rows(name)) {
			if err := yield(row); err != nil {
				return err
			}
		}
	}
	return nil
}

// figures computes the key figures of a span.
func (w Work) figures(zone *time.Location, s Span) keyfigures.Figures {
	var all []keyfigures.Order
	for _, o := range w.Orders {
		all = append(all, w.order(o, zone))
	}
	return keyfigures.Compute(all, keyfigures.Period{From: s.From, Until: s.To}, w.Crew)
}

// order is a work order as the figures want it.
func (w Work) order(o workorder.Order, zone *time.Location) keyfigures.Order {
	k := keyfigures.Order{Inspection: o.Kind == workorder.KindInspection, Immediate: w.Failures[o.ID], Failure: w.Failures[o.ID], Planned: o.PlacedAt != 0, Ready: o.State == workorder.Placed || o.State == workorder.Started,
		State: keyfigures.State(o.State), Raised: timeOf(o.RaisedAt), Done: timeOf(o.DoneAt), EstimatedH: o.WorkHours, WorkedH: o.DoneHours, Interval: w.Intervals[o.ID]}
	if o.LatestDay != "" {
		if end, err := o.LatestDay.End(zone); err == nil {
			k.Latest = end
		}
	}
	if s, there := w.Windows[o.WindowID]; there && o.WindowID != 0 {
		k.WindowFrom, k.WindowTo = s.Start.Time(), s.End.Time()
	}
	return k
}

// timeOf is an instant as a time; the zero time where there is none.
func timeOf(i assets.Instant) time.Time {
	if i == 0 {
		return time.Time{}
	}
	return i.Time()
}

// counted is how many orders were done in a span and how many of them were planned.
func (w Work) counted(s Span) (done [2]int) {
	for _, o := range w.Orders {
		if o.DoneAt != 0 && o.State != workorder.Withdrawn && s.Holds(o.DoneAt.Time()) {
			done[0]++
			if o.PlacedAt != 0 {
				done[1]++
			}
		}
	}
	return done
}

// figureRows are the rows of one plant.
func figureRows(name PlantName, f keyfigures.Figures, done [2]int) (rows [][]Cell) {
	say := func(figure string, v *float64, unit, formula, rests string) {
		cell := Cell{}
		if v != nil {
			decimals := 1
			if unit == "weeks" {
				decimals = 2
			}
			cell = Number(*v, decimals)
		}
		rows = append(rows, []Cell{Text(name.Customer), Text(name.Name), Text(figure), cell, Text(unit), Text(formula), Text(rests)})
	}
	of := func(v float64) *float64 { return &v }
	hours := fmt.Sprintf("%.1f h worked in %d orders done", f.WorkedH, done[0])
	say("Planned work", f.PlannedWorkPercent, "%", "worked hours of orders placed in a stop before they were done / worked hours of all orders done in the period x 100", hours)
	say("Planned work, by number of orders", f.PlannedWorkOrdersPercent, "%", "the same by number of orders", fmt.Sprintf("%d of %d orders done", done[1], done[0]))
	say("Reactive work", f.ReactiveWorkPercent, "%", "worked hours of orders that ended a failed splice / worked hours of all orders done in the period x 100", hours)
	scheduled := fmt.Sprintf("%d of %d orders whose stop began in the period", f.ScheduledDoneInWindow, f.Scheduled)
	say("Schedule compliance, by orders", f.ComplianceOrdersPercent, "%", "orders done inside their stop / orders whose stop begins in the period x 100", scheduled)
	say("Schedule compliance, by hours", f.ComplianceHoursPercent, "%", "the same with estimated hours", scheduled)
	due := fmt.Sprintf("%d inspections whose latest date lies in the period", f.InspectionsDue)
	say("Inspections on time", f.OnTimePercent, "%", "inspections done by their latest date / inspections whose latest date lies in the period x 100", due)
	say("Inspections on time, with grace", f.OnTimeWithGracePercent, "%", "the same, done by the latest date and one day, or a tenth of the interval of its rule where that is more", due)
	say("Backlog", of(f.BacklogH), "h", "estimated hours of orders accepted, placed or started and not done at the period's end", "open orders")
	crew := "nobody with a working week is at home at the plant"
	if f.CrewHoursAWeek > 0 {
		crew = fmt.Sprintf("%.1f h a week of the people at home at the plant", f.CrewHoursAWeek)
	}
	say("Backlog, in crew-weeks", f.BacklogCrewWeeks, "weeks", "backlog / (people at home at the plant x hours of their working week, all of them available)", crew)
	say("Backlog that is ready", of(f.ReadyBacklogH), "h", "the backlog's estimated hours of orders placed in a stop or started", "open orders")
	say("Backlog that is ready, in crew-weeks", f.ReadyBacklogCrewWeeks, "weeks", "backlog that is ready / the same hours a week", crew)
	say("Overdue", of(float64(f.Overdue)), "orders", "orders not done, not withdrawn, whose latest date lies before the period's end", "open orders")
	return rows
}
