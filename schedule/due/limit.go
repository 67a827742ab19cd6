package due

import (
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// candidate is a limit with the date it sets for one splice.
type candidate struct {
	Limit
	share     Figure
	at        time.Time // zero: never reached on the line as projected
	day       assets.Day
	targetH   float64   // running hours at which it is reached; used until the line is inverted
	clockedAt time.Time // of the one that falls due first: when the first limit in hours or passes is reached
	timeOfDay string    // of a limit in days; "" its end
	unit      string    // a limit in months or years says so beside its days: "36 months"
}

func (c candidate) reached(now time.Time) bool { return !c.at.IsZero() && !c.at.After(now) }

// limitsOf returns the rules that limit the age of splices at now: in force, of kind re-splice, about
// splices, counted from the splice's own date. A rule that looks at life used itself limits nothing, and
// neither does one that starts later.
func limitsOf(now time.Time, plant assets.Plant, rs []rules.Rule) []rules.Rule {
	return limitsAbout(rules.TargetSplice, workorder.KindResplice, now, plant, rs)
}

// limitsAbout are those about one kind of target that ask for one kind of work.
func limitsAbout(target rules.TargetKind, kind workorder.Kind, now time.Time, plant assets.Plant, rs []rules.Rule) []rules.Rule {
	at := assets.InstantOf(now)
	var out []rules.Rule
	for _, r := range rs {
		switch {
		case r.Off || r.StartsAt > at || (r.ValidTo != nil && *r.ValidTo <= at):
		case r.PlantID != 0 && r.PlantID != plant.ID, r.CustomerID != 0 && r.CustomerID != plant.CustomerID:
		case r.Template.Kind != kind || r.Scope.UsedFrom > 0:
		case r.Scope.Target != target && (r.Scope.Target != "" || target != rules.TargetSplice):
		case limitClock(r.Trigger) == "":
		default:
			out = append(out, r)
		}
	}
	return out
}

// limitClock returns the clock a trigger counts on from a splice's making; "" when it does not.
func limitClock(t rules.Trigger) ClockName {
	switch {
	case t.Kind == rules.TriggerInterval && t.CountedFrom == rules.FromMade && t.Every > 0:
		return Days
	case t.Kind == rules.TriggerHours && between(t.Hours, 1e-3, 1e7):
		return RunHours
	case t.Kind == rules.TriggerPasses && between(t.Passes, 1e-3, 1e13):
		return Passes
	}
	return ""
}

// undated tells whether the date a splice was made is not known.
func undated(w assets.When) bool { return w.IsZero() || w.Unknown() }

// matches tells whether a splice is in a rule's scope. A date that is not known counts only for a rule about
// splices of unknown age.
func (e evaluation) matches(sc rules.Scope, s *assets.Splice) bool {
	c, _ := e.reg.Conveyor(s.ConveyorID)
	among := func(n int, has bool) bool { return n == 0 || has }
	return among(len(sc.Lines), slices.Contains(sc.Lines, c.LineID)) &&
		among(len(sc.Conveyors), slices.Contains(sc.Conveyors, s.ConveyorID)) &&
		among(len(sc.Forms), slices.Contains(sc.Forms, s.Form)) &&
		among(len(sc.Bonds), slices.Contains(sc.Bonds, s.Bond)) &&
		(len(sc.Families) == 0 || slices.Contains(sc.Families, e.family(s))) &&
		sc.AgeUnknown == undated(s.Made) &&
		(sc.WashDown == nil || *sc.WashDown == c.WashDown) &&
		(sc.Outdoor == nil || *sc.Outdoor == c.Outdoor)
}

// family returns the belt family a splice is in.
func (e evaluation) family(s *assets.Splice) string {
	b, _ := e.reg.Belt(s.BeltID)
	return e.reg.Family(b)
}

// governing are the limits of one splice that fall due first: of the rules that bind (class A to C or P), and of the rules
// of thumb, which bind nothing.
type governing struct {
	binds, thumb candidate
	uncounted    string // a binding rule in scope whose clock is not known here
}

// govern finds them. Limits on hours and passes are compared as running hours, so that the line is inverted once for each.
// A limit the projected line never reaches stands behind every dated one, by its share.
func (e evaluation) govern(s *assets.Splice, r run, used usage) (g governing) {
	binds, thumb := firsts{}, firsts{}
	for _, rule := range e.limits {
		if !e.matches(rule.Scope, s) {
			continue
		}
		among, binding := &thumb, rule.Class.RaisesOrders()
		if binding {
			among = &binds
		}
		if counted := among.take(e, s, r, used, rule); !counted && binding {
			g.uncounted = rule.Name
		}
	}
	g.binds, g.thumb = binds.first(e, s, r), thumb.first(e, s, r)
	return g
}

// firsts are the first limits in days and in hours or passes of some rules.
type firsts struct{ days, hours candidate }

// take looks at one rule; false when its clock is not known here.
func (f *firsts) take(e evaluation, s *assets.Splice, r run, used usage, rule rules.Rule) bool {
	c := limitBy(rule)
	if c.Clock == Days {
		if c.onDays(s.Made, rule.Trigger, e.zone) && (f.days.RuleID == 0 || c.day < f.days.day) {
			f.days = c
		}
		return true
	}
	if !c.onHours(r, s.Made.At.Time(), used, rule.Trigger) {
		return false
	}
	if f.hours.RuleID == 0 || c.targetH < f.hours.targetH {
		f.hours = c
	}
	return true
}

// limitBy is a rule as a limit of a splice, not yet dated.
func limitBy(rule rules.Rule) candidate {
	return candidate{Limit: Limit{RuleID: rule.ID, Name: rule.Name, Class: rule.Class, Source: rule.Source, Clock: limitClock(rule.Trigger)}}
}

// first dates the limits and returns the one that falls due first.
func (f *firsts) first(e evaluation, s *assets.Splice, r run) candidate {
	if f.days.RuleID != 0 {
		f.days.date(e, s.Made)
	}
	if f.hours.RuleID != 0 {
		f.hours.invert(r.line, e.zone)
	}
	best := earlier(f.days, f.hours)
	best.clockedAt = f.hours.at
	return best
}

// earlier returns whichever of two candidates falls due first; a dated one before one never reached.
func earlier(days, hours candidate) candidate {
	switch {
	case days.RuleID == 0:
		return hours
	case hours.RuleID == 0 || hours.at.IsZero():
		return days
	case hours.at.Before(days.at):
		return hours
	}
	return days
}

// onDays sets the day of an interval counted from the splice's making: its day plus n units by the
// calendar, months clamped to the month's end; the limit in days is what lies between. False where that is
// beyond the calendar.
func (c *candidate) onDays(made assets.When, t rules.Trigger, zone calendar.Zone) bool {
	every, err := calendar.NewInterval(t.Every, t.Unit)
	if err != nil {
		return false
	}
	base, _, _ := baseOf(made, zone)
	due := every.From(base, 1)
	c.day, c.Limit.Limit, c.timeOfDay = assets.Day(due.String()), float64(due.DaysSince(base)), t.TimeOfDay
	if every.Unit != calendar.Days {
		c.unit = plural(t.Every, strings.TrimSuffix(string(every.Unit), "s"))
	}
	return !due.IsZero()
}

// date sets the instant of a limit in days and the share of it that is used. Zones are slow to ask, so
// only the first day of a splice's limits is.
func (c *candidate) date(e evaluation, made assets.When) {
	from := made.At.Time()
	_, wall, whole := baseOf(made, e.zone)
	due, _ := calendar.ParseDate(string(c.day))
	switch tod, err := calendar.ParseTimeOfDay(c.timeOfDay); {
	case c.timeOfDay != "" && err == nil:
		c.at = e.zone.Instant(calendar.Local{Date: due, Time: tod})
	case whole:
		c.at = e.zone.EndOfDay(due)
	default:
		c.at = e.zone.Instant(calendar.Local{Date: due, Time: wall})
	}
	c.Reached = Figure{Value: float64(wholeDays(from, e.now, e.zone)), Known: true, AtLeast: onlyLatest(made)}
	c.share = Figure{Known: true, Value: 1, AtLeast: c.Reached.AtLeast}
	if span := c.at.Sub(from); span > 0 {
		c.share.Value = max(0, float64(e.now.Sub(from))/float64(span))
	}
}

// baseOf returns the day an interval counts from, the time of day on it, and whether it stands for the
// whole day: the day given, or the earliest of an approximate date; both open, the day of entry.
func baseOf(w assets.When, zone calendar.Zone) (calendar.Date, calendar.TimeOfDay, bool) {
	local := zone.Local(w.At.Time())
	if w.Timed {
		return local.Date, local.Time, false
	}
	day := w.Earliest
	if day == "" {
		day = w.Latest
	}
	if d, err := calendar.ParseDate(string(day)); err == nil && !d.IsZero() {
		return d, 0, true
	}
	return local.Date, local.Time, false
}

// onHours sets the running hours at which a limit on hours or passes is reached; false when its clock is
// not known. Where the clock began after the making, the true date is no later than the one set.
func (c *candidate) onHours(r run, from time.Time, used usage, t rules.Trigger) bool {
	ok := false
	if c.Clock == RunHours {
		c.Limit.Limit, c.Reached = t.Hours, used.hours
		var h float64
		_, h, _, ok = r.begin(from)
		c.targetH = h + t.Hours
	} else {
		c.Limit.Limit, c.Reached = t.Passes, used.passes
		c.targetH, ok = r.hoursForPasses(from, t.Passes)
	}
	if !ok || !c.Reached.Known {
		return false
	}
	c.share = c.Reached
	c.share.Value /= c.Limit.Limit
	return true
}

// invert turns the running hours of a limit into its date.
func (c *candidate) invert(line Line, zone calendar.Zone) {
	at, ok := line.HoursReachedAt(c.targetH)
	if !ok {
		return
	}
	c.at, c.day = at.UTC(), assets.Day(zone.Date(at).String())
}
