package rules

import (
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/workorder"
)

// Inputs is one plant as its register has it now, with its clocks and what its rules raised before.
type Inputs struct {
	Now         time.Time
	Plant       assets.Plant
	Lines       []assets.Line
	Conveyors   []assets.Conveyor
	Belts       []assets.Belt
	Splices     []assets.Splice  // live ones; a preview of the past wants those ended in it as well
	Findings    []assets.Finding // those a finding rule may still answer; later ones of the same target too
	Families    map[int64]string // belt family by specification
	Clocks      Clocks
	Lives       map[int64]SpliceLife // by splice; nil: nobody asks
	Trends      []TrendEnd           // of splices and belts; nil where no rule asks
	Windows     []assets.StopWindow  // agreed ones, in any order; nil where no rule asks
	Resplices   map[int64]int        // re-splices the take-up leaves, by belt; absent: not known
	Wear        []KitWear            // counters of kit at home here; nil where no rule asks
	Calibrated  []KitDue             // kit at home here with calibration dates
	Stock       []StockLevel         // items kept here
	Tickets     []TicketEnd          // of people at home here; nil where no rule asks
	Rules       []Rule               // rules in force at the plant: life used comes from the one that falls due first, or the best age
	Occurrences []Occurrence         // what these rules raised at this plant
	Orders      []workorder.Order    // the orders those point to
}

// Outlook is a plant prepared for asking its rules what they raise.
type Outlook struct {
	in        Inputs
	zone      calendar.Zone
	lines     map[int64]*assets.Line
	conveyors map[int64]*assets.Conveyor
	belts     map[int64]*assets.Belt
	splices   map[int64]*assets.Splice
	fitted    map[int64]*assets.Belt // the belt on a conveyor now, by conveyor
	inBelt    map[int64][]*assets.Splice
	family    map[int64]string // by belt
	past      history
	forgets   bool                // for a preview: what was raised and answered before does not count
	silent    bool                // no reasons in words: a daily rule on 450 splices has a third of a million of them in two years
	life      map[int64]lifeLimit // by splice, filled as asked
	ends      map[hoursBy]float64 // hours at the ends of spans, filled as asked; below 0: not known
}

// NewOutlook prepares a plant. The inputs must not change while it is used.
func NewOutlook(in Inputs) *Outlook {
	o := &Outlook{
		in: in, zone: calendar.ZoneOf(in.Plant.Location()), life: map[int64]lifeLimit{}, ends: map[hoursBy]float64{},
		lines: byID(in.Lines), conveyors: byID(in.Conveyors), belts: byID(in.Belts), splices: byID(in.Splices),
		fitted: map[int64]*assets.Belt{}, inBelt: map[int64][]*assets.Splice{}, family: map[int64]string{},
	}
	for i := range in.Belts {
		b := &in.Belts[i]
		o.family[b.ID] = in.Families[b.SpecificationID]
		if b.Removed == nil {
			o.fitted[b.ConveyorID] = b
		}
	}
	for i := range in.Splices {
		s := &in.Splices[i]
		o.inBelt[s.BeltID] = append(o.inBelt[s.BeltID], s)
	}
	o.past = newHistory(in.Occurrences, in.Orders)
	return o
}

// versioned is any thing of the register.
type versioned[T any] interface {
	*T
	Versioned() *assets.Version
}

func byID[T any, P versioned[T]](things []T) map[int64]*T {
	m := make(map[int64]*T, len(things))
	for i := range things {
		m[P(&things[i]).Versioned().ID] = &things[i]
	}
	return m
}

// Since returns the instant after which a rule is asked when its plant was evaluated through mark last
// (zero: never). A clock, a finding or a splice may be entered late, so rules that rest on them are asked
// from their start; what was raised before is known by its key.
func (r Rule) Since(mark, now time.Time) time.Time {
	start := r.StartsAt.Time().Add(-time.Microsecond)
	if mark.IsZero() {
		mark = now
		if r.PlansDates() {
			mark = start
		}
	}
	from := start
	switch {
	case r.Trigger.Kind == TriggerCron:
		from = mark.Add(-time.Microsecond)
	case r.PlansDates():
		from = mark.AddDate(0, 0, -r.Template.LeadDays-1)
	case r.Trigger.Kind == TriggerEvent:
		from = mark.AddDate(0, 0, -lateEntryDays)
	}
	if from.Before(start) {
		return start
	}
	return from
}

// lateEntryDays is how late a splice or belt may be entered and still get its run-in check. Without a bound,
// a list of old splices brought in would raise a check for each. Our own choice.
const lateEntryDays = 30

// PlansDates tells whether the dates of a trigger are fixed beforehand.
func (r Rule) PlansDates() bool {
	return r.Trigger.Kind == TriggerCron || r.Trigger.Kind == TriggerInterval && r.Trigger.CountedFrom == FromPlan
}

// AppliesTo tells whether a rule is for a plant and switched on.
func (r Rule) AppliesTo(p assets.Plant) bool {
	return !r.Off && (r.PlantID == 0 || r.PlantID == p.ID) && (r.CustomerID == 0 || r.CustomerID == p.CustomerID)
}

// Propose returns the occurrences of a rule that are to be raised in (after, until], those of dates to come
// as forecast from the clocks as they are projected now. What was raised before and not withdrawn is left out.
// They come in order of the instant at which they are raised.
func (o *Outlook) Propose(r Rule, after, until time.Time) []Proposal {
	if !r.AppliesTo(o.in.Plant) || !after.Before(until) {
		return nil
	}
	var found []Proposal
	o.within(r, after, until, func(p Proposal) { found = append(found, p) })
	slices.SortStableFunc(found, byRaising)
	return found
}

// Count returns how many occurrences Propose would return.
func (o *Outlook) Count(r Rule, after, until time.Time) (n int) {
	if r.AppliesTo(o.in.Plant) && after.Before(until) {
		o.silently().within(r, after, until, func(Proposal) { n++ })
	}
	return n
}

// First returns the first instant of a span at which a rule raises something.
func (o *Outlook) First(r Rule, after, until time.Time) (first time.Time, found bool) {
	if !r.AppliesTo(o.in.Plant) || !after.Before(until) {
		return first, false
	}
	o.silently().within(r, after, until, func(p Proposal) {
		if !found || p.RaiseAt.Before(first) {
			first, found = p.RaiseAt, true
		}
	})
	return first, found
}

// silently is the same plant, its proposals without reasons in words.
func (o *Outlook) silently() *Outlook {
	c := *o
	c.silent = true
	return &c
}

// within visits the free occurrences of a rule that are to be raised in (after, until].
func (o *Outlook) within(r Rule, after, until time.Time, visit func(Proposal)) {
	o.each(r, after, until, func(p Proposal) {
		no, from, free := o.past.free(p.Key(), o.zone)
		if !free {
			return
		}
		p.WithdrawalNo = no
		if p.RaiseAt = later(p.RaiseAt, from); p.RaiseAt.After(after) && !p.RaiseAt.After(until) {
			visit(p)
		}
	})
}

func byRaising(a, b Proposal) int {
	if c := a.RaiseAt.Compare(b.RaiseAt); c != 0 {
		return c
	}
	return a.DueAt.Compare(b.DueAt)
}

// each visits every occurrence of a rule that may be raised in the span; some fall outside it.
func (o *Outlook) each(r Rule, after, until time.Time, visit func(Proposal)) {
	switch r.Trigger.Kind {
	case TriggerCron:
		o.eachCron(r, after, until, visit)
	case TriggerInterval:
		o.eachInterval(r, after, until, visit)
	case TriggerHours, TriggerPasses:
		o.eachClocked(r, until, visit)
	case TriggerEvent:
		o.eachEvent(r, until, visit)
	case TriggerGrade:
		o.eachFinding(r, visit)
	case TriggerTakeUp:
		o.eachTakeUp(r, visit)
	case TriggerLife:
		o.eachLife(r, after, until, visit)
	case TriggerTrend:
		o.eachTrend(r, until, visit)
	case TriggerKit:
		o.eachKit(r, visit)
	case TriggerStock:
		o.eachStock(r, visit)
	case TriggerTicket:
		o.eachTicket(r, visit)
	}
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// micro cuts an instant to what the database keeps, so that a key or a span never hangs on nanoseconds.
func micro(t time.Time) time.Time { return assets.InstantOf(t).Time() }
