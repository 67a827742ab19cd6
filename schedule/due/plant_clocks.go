package due

import (
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/clock"
)

// Trailing is the period whose hours run are compared with the plan when hours are projected: 90 days, a
// quarter, long enough to even out weeks and short enough to follow the season (our own choice).
const Trailing = 90 * 24 * time.Hour

// History is what a plant's usage clocks are made of.
type History struct {
	Register *assets.Register
	// Other versions of conveyors and belts than the register's, by number; the register's may stand among them.
	Conveyors map[int64][]assets.Conveyor
	Belts     map[int64][]assets.Belt
	Points    map[int64][]clock.Point // of H(t), by conveyor: accepted readings and meter replacements
	Calendars []assets.ProductionCalendar
}

// NewClocks makes the clocks of a plant. A line's hours are projected by its own production calendar, else by
// the plant's, else by the mean rate of its readings. A conveyor nobody read runs by its plan alone since
// its first belt or splice whose date is known.
func NewClocks(h History) Clocks {
	reg := h.Register
	c := Clocks{Lines: make(map[int64]Line, len(reg.Conveyors)), Duties: make(map[int64]clock.Duty, len(reg.Belts)),
		plans: plansOf(reg.Plant, h.Calendars), began: inService(reg)}
	c.Read(h, reg.Conveyors)
	for _, b := range reg.Belts {
		c.Duties[b.ID] = h.duty(b)
	}
	return c
}

// Read makes the lines of some conveyors anew, after more of the readings of the history they were made of were
// fetched.
func (c Clocks) Read(h History, some []assets.Conveyor) {
	for i := range some {
		v := &some[i]
		plan := c.plans[v.LineID]
		if plan == nil {
			plan = c.plans[0]
		}
		read := clock.NewLine(h.Points[v.ID])
		c.Lines[v.ID] = NewLine(read, clock.Project(read, plan, Trailing, c.began[v.ID]))
	}
}

func (h History) duty(b assets.Belt) clock.Duty {
	v, _ := h.Register.Conveyor(b.ConveyorID)
	return Duty(append(slices.Clip(h.Conveyors[v.ID]), v), append(slices.Clip(h.Belts[b.ID]), b))
}

// plansOf returns the planned running by line, 0 the whole plant's. A calendar that cannot be read is no plan:
// it was checked when it was saved.
func plansOf(plant assets.Plant, calendars []assets.ProductionCalendar) map[int64]clock.Plan {
	zone, plans := calendar.ZoneOf(plant.Location()), map[int64]clock.Plan{}
	for _, c := range calendars {
		if p, err := Production(zone, c); err == nil {
			plans[c.LineID] = p
		}
	}
	return plans
}

// Production reads a production calendar of the register.
func Production(zone calendar.Zone, c assets.ProductionCalendar) (*calendar.Production, error) {
	var weekly []calendar.DayShifts
	for _, s := range c.Shifts {
		shift, err := shiftOf(s)
		if err != nil {
			return nil, err
		}
		weekly = append(weekly, calendar.DayShifts{Day: time.Weekday(s.Weekday), Shifts: []calendar.Shift{shift}})
	}
	var exceptions []calendar.Exception
	for _, x := range c.Exceptions {
		e := calendar.Exception{}
		var err error
		if e.Date, err = calendar.ParseDate(string(x.Day)); err != nil {
			return nil, err
		}
		for _, s := range x.Shifts {
			shift, err := shiftOf(s)
			if err != nil {
				return nil, err
			}
			e.Shifts = append(e.Shifts, shift)
		}
		exceptions = append(exceptions, e)
	}
	return calendar.NewProduction(zone, weekly, exceptions)
}

func shiftOf(s assets.Shift) (shift calendar.Shift, err error) {
	if shift.Start, err = calendar.ParseTimeOfDay(s.Start); err != nil {
		return shift, err
	}
	shift.End, err = calendar.ParseTimeOfDay(s.End)
	return shift, err
}

// inService returns since when each conveyor is known to run: its first belt or splice whose date is known.
func inService(reg *assets.Register) map[int64]time.Time {
	began := map[int64]time.Time{}
	note := func(conveyor int64, w assets.When) {
		at := w.At.Time()
		if first, known := began[conveyor]; !undated(w) && (!known || at.Before(first)) {
			began[conveyor] = at
		}
	}
	for _, b := range reg.Belts {
		note(b.ConveyorID, b.Fitted)
	}
	for _, s := range reg.Splices {
		note(s.ConveyorID, s.Made)
	}
	return began
}
