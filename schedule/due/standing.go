package due

import (
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/rules"
)

// Standing is where one live splice stands at an instant.
type Standing struct {
	SpliceID, ConveyorID, BeltID int64

	Age     Age
	From    time.Time // what the age counts from; zero when the date is not known
	Used    Figure    // life used: age on the deciding clock as a share of the age that sets the date (1 = 100 %)
	Band    Band
	Limit   *Limit       // what life used is held against: the binding re-splice rule that falls due first; nil: none
	Against string       // the age against Limit, in words with its numbers
	Hint    *Hint        // what a rule of thumb says; nil: none is in force here
	By      string       // what sets the date, short: rule, best age, trend, finding; "" when nothing does
	Class   assets.Class // of what sets it; "": a finding, or nothing
	Reason  string       // what sets the date, in words with its numbers, or why nothing does
	DueAt   time.Time
	DueDay  assets.Day // plant date of DueAt; "" when nothing sets one or it is never reached
	Overdue bool       // DueAt has passed

	// ClockedAt is when the first limit in running hours or passes is reached, also where one in days falls due
	// before it; zero: there is none, or it is never reached.
	ClockedAt time.Time
}

// Limit is a rule in force applied to one splice.
type Limit struct {
	RuleID  int64
	Name    string
	Class   assets.Class
	Source  string
	Clock   ClockName
	Limit   float64 // in days, running hours or passes
	Reached Figure  // age on that clock
}

// Hint is what the rule of thumb that falls due first says of a splice. It binds nothing: it sets no date and counts in no
// life used.
type Hint struct {
	Limit Limit
	Used  Figure     // the age as a share of it
	Day   assets.Day // on which it is reached; "" when it never is
	Past  bool       // it is reached
	Words string     // with its numbers
}

// ClockName names the clock a limit is counted on.
type ClockName string

// Clocks a re-splice can be limited on.
const (
	Days     ClockName = "days"
	RunHours ClockName = "running hours"
	Passes   ClockName = "passes"
)

// Band is the step of the seam ramp a splice stands on. A share on the edge of two counts in the higher.
type Band string

// Bands of the seam ramp, in their words.
const (
	BandUnknown  Band = "age not known"         // no date made: a dashed ring
	BandNoLimit  Band = "no limit set"          // age known, but no rule in force counts on a clock that is known
	BandUnder50  Band = "under 50 %"            // small dot
	Band50to80   Band = "50 to 80 %"            // split disc
	Band80to100  Band = "80 to 100 %"           // two open points
	BandPastRule Band = "past best age or rule" // wide points with a bar between
)

// Bands lists the bands, worst first.
var Bands = []Band{BandPastRule, Band80to100, Band50to80, BandUnder50, BandUnknown, BandNoLimit}

// Past tells whether the age that sets the date is reached.
func (b Band) Past() bool { return b == BandPastRule }

// bandOf returns the band of a share of life used.
func bandOf(ageKnown bool, used Figure) Band {
	switch {
	case !ageKnown:
		return BandUnknown
	case !used.Known:
		return BandNoLimit
	case used.Value >= 1:
		return BandPastRule
	case used.Value >= 0.8:
		return Band80to100
	case used.Value >= 0.5:
		return Band50to80
	}
	return BandUnder50
}

// Plant returns the standings of a plant's live splices at now, in the order of the register, which is
// arranged and holds what was in force then; splices that were not live are passed over.
//
// Life used comes from the rule in force that binds and falls due first, and Reason says so; a rule of thumb (class D)
// binds nothing and stands beside it as a hint. A splice whose date is
// not known has no age and no life used; only a rule about such splices sets it a date, counted from the
// day it was recorded, and Reason says that too.
func Plant(now time.Time, reg *assets.Register, rs []rules.Rule, clocks Clocks) []Standing {
	return Some(now, reg, reg.Splices, rs, clocks)
}

// Some returns the standings of some of a plant's splices, as Plant does.
func Some(now time.Time, reg *assets.Register, splices []assets.Splice, rs []rules.Rule, clocks Clocks) []Standing {
	e := evaluation{now: now, reg: reg, zone: calendar.ZoneOf(reg.Plant.Location()), lines: make(map[int64]Line, len(reg.Conveyors))}
	e.limits = limitsOf(now, reg.Plant, rs)
	at := assets.InstantOf(now)
	out := make([]Standing, 0, len(splices))
	for i := range splices {
		if s := &splices[i]; s.Live(at) {
			out = append(out, e.standing(s, run{e.lineOf(clocks, s.ConveyorID), clocks.Duties[s.BeltID]}))
		}
	}
	return out
}

// evaluation is one plant looked at once.
type evaluation struct {
	now    time.Time
	reg    *assets.Register
	zone   calendar.Zone
	limits []rules.Rule
	lines  map[int64]Line // of conveyors asked about so far
}

// lineOf returns a conveyor's line, nil for none. It knows the hours at now, which each of the conveyor's splices is
// asked for several times and which are a sum of its calendar.
func (e evaluation) lineOf(clocks Clocks, conveyor int64) Line {
	if l, asked := e.lines[conveyor]; asked {
		return l
	}
	l := clocks.Lines[conveyor]
	if l != nil {
		hours, known := l.HoursAt(e.now)
		l = lineNow{l, e.now, hours, known}
	}
	e.lines[conveyor] = l
	return l
}

// lineNow is a line whose hours at one instant are known already.
type lineNow struct {
	Line
	at    time.Time
	hours float64
	known bool
}

// HoursAt returns the running hours at t.
func (l lineNow) HoursAt(t time.Time) (float64, bool) {
	if t.Equal(l.at) {
		return l.hours, l.known
	}
	return l.Line.HoursAt(t)
}

func (e evaluation) standing(s *assets.Splice, r run) Standing {
	st := Standing{SpliceID: s.ID, ConveyorID: s.ConveyorID, BeltID: s.BeltID}
	from := s.Made.At.Time()
	used := r.between(from, e.now)
	if onlyLatest(s.Made) {
		used = used.atLeast()
	}
	if !undated(s.Made) {
		st.From = from
		st.Age = Age{
			Known: true, Exact: s.Made.Exact(), Days: wholeDays(from, e.now, e.zone),
			RunHours: used.hours, Passes: used.passes, Flexes: used.flexes, ReverseFlexes: used.reverse,
		}
		st.Age.AtLeastDays = wholeDays(atLeastFrom(s.Made, e.zone), e.now, e.zone)
	}
	g := e.govern(s, r, used)
	st.Reason = e.words(s, g)
	if best := g.binds; best.RuleID != 0 {
		st.Limit, st.Against, st.By, st.Class = &best.Limit, st.Reason, ByRule, best.Class
		st.DueAt, st.DueDay, st.Overdue, st.ClockedAt = best.at, best.day, best.reached(e.now), best.clockedAt
		if st.Age.Known {
			st.Used = best.share
		}
	}
	if g.thumb.RuleID != 0 {
		st.Hint = e.hint(s, g.thumb)
	}
	st.Band = bandOf(st.Age.Known, st.Used)
	return st
}

// hint tells a rule of thumb of a splice.
func (e evaluation) hint(s *assets.Splice, c candidate) *Hint {
	h := &Hint{Limit: c.Limit, Day: c.day, Past: c.reached(e.now), Words: e.counted(s, c)}
	if !undated(s.Made) {
		h.Used = c.share
	}
	return h
}
