package calc

import (
	"math"
	"slices"
	"time"

	"carryside/schedule/calendar"
	"carryside/schedule/clock"
)

// clockKinds are hour meters, their projection, and passes.
var clockKinds = map[string]Kind{
	"hours":      hours,
	"projection": projection,
	"passes":     passes,
}

// metered is what hours, projection and passes share: a zone, a meter and its readings, judged.
type metered struct {
	zone     calendar.Zone
	numbers  []int64 // the n of each reading, in the order of entry
	verdicts []clock.Verdict
	line     clock.Line
}

// entered is a reading as it stands in the case.
type entered struct {
	n     int64
	at    string
	shown float64
}

// readMeter reads and judges a case's readings.
func readMeter(c *Case) (*metered, error) {
	name, resolution := c.Text("zone"), c.Object("meter").NumberOr("resolution_h", 0)
	var list []entered
	for _, r := range c.Objects("readings") {
		list = append(list, entered{r.Whole("n"), r.Text("at"), finite(r, "value_h")})
	}
	if err := c.Err(); err != nil {
		return nil, err
	}
	slices.SortStableFunc(list, func(a, b entered) int { return int(a.n - b.n) })
	zone, err := calendar.LoadZone(name)
	if err != nil {
		return nil, err
	}
	m := &metered{zone: zone}
	var readings []clock.Reading
	for _, r := range list {
		at, err := instant(zone, r.at)
		if err != nil {
			return nil, err
		}
		m.numbers = append(m.numbers, r.n)
		readings = append(readings, clock.Reading{At: at, Shown: r.shown})
	}
	events, err := meterEvents(c, m, readings)
	if err != nil {
		return nil, err
	}
	m.line, m.verdicts = clock.NewMeter(resolution, events).Accept(readings)
	return m, nil
}

// mostOfAnything bounds hours, speeds and lengths: sums and quotients of what is below it are numbers.
const mostOfAnything = 1e12

// finite reads a needed number of a size that can be counted with.
func finite(f *Fields, name string) float64 {
	v := f.Number(name)
	if math.Abs(v) > mostOfAnything {
		f.fail(name, "a number below 1e12")
		return 0
	}
	return v
}

// meterEvents reads replacements and rollovers.
func meterEvents(c *Case, m *metered, readings []clock.Reading) ([]clock.Event, error) {
	if !c.Has("events") {
		return nil, nil
	}
	var events []clock.Event
	for _, e := range c.Objects("events") {
		var event clock.Event
		var err error
		switch kind := e.Text("kind"); kind {
		case "replacement":
			event = clock.Event{OldFinal: finite(e, "old_final_h"), NewStart: finite(e, "new_start_h")}
			event.At, err = instant(m.zone, e.Text("at"))
		case "rollover":
			event = clock.Event{Rollover: true, RangeH: finite(c.Object("meter"), "rolls_over_at_h")}
			i := slices.Index(m.numbers, e.Whole("at_reading"))
			if i < 0 {
				return nil, &Refusal{"unknown_reading", "a rollover is declared at a reading that is not there; correct at_reading"}
			}
			event.At = readings[i].At
		default:
			return nil, &Refusal{"unknown_event", "a meter's event is a \"replacement\" or a \"rollover\", not \"" + kind + "\""}
		}
		if missing := c.Err(); missing != nil {
			return nil, missing
		}
		if err != nil {
			return nil, err
		}
		events = append(events, event)
	}
	return events, nil
}

// heldAt is a held reading as it is printed.
type heldAt struct {
	N      int64  `json:"n"`
	Reason string `json:"reason"`
}

// hoursAt is H at an instant as it is printed; null when not known.
type hoursAt struct {
	At     string   `json:"at"`
	UTC    string   `json:"at_utc"`
	Hours  *float64 `json:"hours"`
	Spread *float64 `json:"spread_h,omitempty"`
}

// hours judges readings and reads the line off at the instants asked for, or at its own points when none are.
func hours(c *Case) (any, error) {
	m, err := readMeter(c)
	if err != nil {
		return nil, err
	}
	answer := struct {
		Held       []heldAt  `json:"held"`
		Duplicates []int64   `json:"duplicates"`
		H          []hoursAt `json:"H"`
	}{[]heldAt{}, []int64{}, []hoursAt{}}
	for i, v := range m.verdicts {
		switch {
		case v.Class.Held():
			answer.Held = append(answer.Held, heldAt{m.numbers[i], v.Class.Words()})
		case v.Class == clock.Duplicate:
			answer.Duplicates = append(answer.Duplicates, m.numbers[i])
		}
	}
	for _, text := range m.instantsAsked(c, "H") {
		at, err := instant(m.zone, text)
		if err != nil {
			return nil, err
		}
		h := hoursAt{At: text, UTC: utcText(at)}
		if value, known := m.line.At(at); known {
			h.Hours = &value
		}
		answer.H = append(answer.H, h)
	}
	return answer, nil
}

// instantsAsked are the instants a case asks about, else those of the line's points.
func (m *metered) instantsAsked(c *Case, list string) []string {
	if asked := asked(c, "at", []string{list}); asked != nil {
		return asked
	}
	var own []string
	for _, p := range m.line.Points() {
		own = append(own, m.zone.Local(p.At).String())
	}
	return own
}

// projected is the answer of projection.
type projected struct {
	Projection []hoursAt   `json:"projection"`
	Basis      clock.Basis `json:"basis"`
	Ratio      *float64    `json:"ratio,omitempty"`
	Rate       *float64    `json:"rate_h_per_h,omitempty"`
	Planned    []float64   `json:"planned_hours_after_last_reading,omitempty"`
}

// projection projects the hours after the last reading.
func projection(c *Case) (any, error) {
	days := c.Number("trailing_days")
	m, err := readMeter(c)
	if err != nil {
		return nil, err
	}
	if !(days > 0 && days <= 36525) {
		return nil, &Refusal{"bad_interval", "the trailing period is a number of days from above 0 to 36525; correct trailing_days"}
	}
	plan, err := production(c, m.zone)
	if err != nil {
		return nil, err
	}
	var since time.Time
	if c.Has("in_service_since") {
		if since, err = instant(m.zone, c.Text("in_service_since")); err != nil {
			return nil, err
		}
	}
	ahead := clock.Project(m.line, plan, time.Duration(days*24*float64(time.Hour)), since)
	var answer projected
	basis, rate := ahead.Basis()
	answer.Basis = basis
	switch basis {
	case clock.NoBasis:
	case clock.ObservedMeanRate:
		answer.Rate = &rate
	default:
		answer.Ratio = &rate
	}
	answer.Projection = []hoursAt{}
	for _, text := range m.instantsAsked(c, "projection") {
		at, err := instant(m.zone, text)
		if err != nil {
			return nil, err
		}
		h := hoursAt{At: text, UTC: utcText(at)}
		if e := ahead.At(at); e.Known {
			h.Hours, h.Spread = &e.Hours, &e.SpreadH
		}
		answer.Projection = append(answer.Projection, h)
		if last, some := m.line.Last(); some && plan != nil {
			answer.Planned = append(answer.Planned, plan.Planned(last.At, at))
		}
	}
	return answer, nil
}

// weekdayNames are the days of a case's calendar.
var weekdayNames = map[string]time.Weekday{"Mon": time.Monday, "Tue": time.Tuesday, "Wed": time.Wednesday, "Thu": time.Thursday, "Fri": time.Friday, "Sat": time.Saturday, "Sun": time.Sunday}

// production reads a case's production calendar; a nil Plan when it has none.
func production(c *Case, zone calendar.Zone) (clock.Plan, error) {
	if !c.Has("calendar") {
		return nil, nil
	}
	fields := c.Object("calendar")
	var weekly []calendar.DayShifts
	if fields.Has("weekly") {
		for _, f := range fields.Objects("weekly") {
			day, known := weekdayNames[f.Text("day")]
			if !known {
				f.fail("day", "Mon, Tue, Wed, Thu, Fri, Sat or Sun")
			}
			s, err := shift(f)
			if err != nil {
				return nil, err
			}
			weekly = append(weekly, calendar.DayShifts{Day: day, Shifts: []calendar.Shift{s}})
		}
	}
	exceptions, err := exceptionDays(fields)
	if err != nil {
		return nil, err
	}
	return calendar.NewProduction(zone, weekly, exceptions)
}

// exceptionDays reads the dated exceptions of a case's calendar.
func exceptionDays(fields *Fields) ([]calendar.Exception, error) {
	if !fields.Has("exceptions") {
		return nil, nil
	}
	var list []calendar.Exception
	for _, f := range fields.Objects("exceptions") {
		date, err := calendar.ParseDate(f.Text("date"))
		if err != nil {
			return nil, err
		}
		e := calendar.Exception{Date: date}
		for _, shiftFields := range f.Objects("shifts") {
			s, err := shift(shiftFields)
			if err != nil {
				return nil, err
			}
			e.Shifts = append(e.Shifts, s)
		}
		list = append(list, e)
	}
	return list, fields.Err()
}

// shift reads the start and end of a shift.
func shift(f *Fields) (calendar.Shift, error) {
	from, to := f.Text("start"), f.Text("end")
	if err := f.Err(); err != nil {
		return calendar.Shift{}, err
	}
	start, err := calendar.ParseTimeOfDay(from)
	if err != nil {
		return calendar.Shift{}, err
	}
	end, err := calendar.ParseTimeOfDay(to)
	return calendar.Shift{Start: start, End: end}, err
}

// passes adds up passes and flexes between two instants.
func passes(c *Case) (any, error) {
	m, err := readMeter(c)
	if err != nil {
		return nil, err
	}
	var d clock.Duty
	if d.SpeedMPS, err = levels(c, m.zone, "speed_m_s"); err != nil {
		return nil, err
	}
	if d.LoopM, err = levels(c, m.zone, "loop_length_m"); err != nil {
		return nil, err
	}
	if d.Bends, err = bends(c, m.zone); err != nil {
		return nil, err
	}
	from, err := fieldInstant(&c.Fields, m.zone, "from")
	if err != nil {
		return nil, err
	}
	to, err := fieldInstant(&c.Fields, m.zone, "to")
	if err != nil {
		return nil, err
	}
	u, err := d.Usage(m.line.At, from, to)
	if err != nil {
		return nil, err
	}
	answer := map[string]any{"running_hours": u.RunningHours, "passes": u.Passes, "flexes": nil, "reverse_flexes": nil}
	if u.FlexesKnown {
		answer["flexes"], answer["reverse_flexes"] = u.Flexes, u.ReverseFlexes
	}
	return answer, nil
}

// fieldInstant reads a needed instant.
func fieldInstant(f *Fields, zone calendar.Zone, name string) (time.Time, error) {
	text := f.Text(name)
	if err := f.Err(); err != nil {
		return time.Time{}, err
	}
	return instant(zone, text)
}

// levels reads values over time, in order of time.
func levels(c *Case, zone calendar.Zone, name string) ([]clock.Level, error) {
	var list []clock.Level
	for _, f := range c.Objects(name) {
		from, err := fieldInstant(f, zone, "from")
		if err != nil {
			return nil, err
		}
		list = append(list, clock.Level{From: from, Value: finite(f, "value")})
	}
	slices.SortStableFunc(list, func(a, b clock.Level) int { return a.From.Compare(b.From) })
	return list, c.Err()
}

// bends reads the bends over time, in order of time.
func bends(c *Case, zone calendar.Zone) ([]clock.Bends, error) {
	if !c.Has("bends") {
		return nil, nil
	}
	var list []clock.Bends
	for _, f := range c.Objects("bends") {
		from, err := fieldInstant(f, zone, "from")
		if err != nil {
			return nil, err
		}
		list = append(list, clock.Bends{From: from, Plain: int(finite(f, "plain")), Reverse: int(finite(f, "reverse"))})
	}
	slices.SortStableFunc(list, func(a, b clock.Bends) int { return a.From.Compare(b.From) })
	return list, c.Err()
}
