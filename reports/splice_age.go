package reports

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/schedule/calendar"
	"carryside/schedule/due"
)

// The splice age register answers, to a planner, a customer and an auditor: how old is every splice, and how
// is it known? One row per splice that was live as of the day.
var spliceAge = Entry{
	Slug:     "splice-age",
	Title:    "Splice age register",
	Question: "How old is every splice, how is it known, and what sets its date?",
	Columns:  spliceAgeColumns,
	tallied:  "status",
	says:     bands(),
	rows:     Inputs.spliceAgeRows,
	notes: []string{
		"Life used is the age against the best age or the binding re-splice rule in force, whichever comes first; a rule of thumb (class D) binds nothing. It says how much of that is used, not how likely the splice is to fail.",
		"The chance of failing is averaged over what the lives of its cohort leave open, so that few failures make wide bands. Cohorts pool the plants of one customer.",
		"An age, a limit and a date in this register say nothing about whether a conveyor is safe to run. Site rules, local codes and qualified people decide that.",
	},
}

var spliceAgeColumns = []Column{
	{Key: "customer", Heading: "Customer", Kind: KindText, WidthCh: 14, Wrap: true, Meaning: "who owns the plant", OffPaper: true},
	{Key: "plant", Heading: "Plant", Kind: KindText, WidthCh: 15, Wrap: true, Meaning: "the site; its dates are those of its own time zone"},
	{Key: "line", Heading: "Line", Kind: KindText, WidthCh: 12, Wrap: true, Meaning: "the part of the plant that stands still together; empty where none is named", OffPaper: true},
	{Key: "conveyor", Heading: "Conveyor", Kind: KindText, WidthCh: 10, Meaning: "the conveyor's tag"},
	{Key: "splice", Heading: "Splice", Kind: KindText, WidthCh: 7, Meaning: "the mark of the splice in its belt"},
	{Key: "kind", Heading: "Made how", Kind: KindText, WidthCh: 14, Wrap: true, Meaning: "bond and form of the splice"},
	{Key: "made_on", Heading: "Made on", Kind: KindDay, WidthCh: 13, Wrap: true, Meaning: "day it was made; an approximate date stands as it was written"},
	{Key: "made_by", Heading: "Made by", Kind: KindText, WidthCh: 13, Wrap: true, Meaning: "person or crew", OffPaper: true},
	{Key: "age_days", Heading: "Age", Unit: "days", Kind: KindInteger, WidthCh: 7, Meaning: "whole days from the end of the day it was made to the end of the as-of day, or to the moment of building; an approximate date counts from its earliest day; empty where the date is not known"},
	{Key: "age_at_least_days", Heading: "Age at least", Unit: "days", Kind: KindInteger, WidthCh: 8, Meaning: "whole days from the latest day it can have been made; the same as the age where the date is exact", OffPaper: true},
	{Key: "age_hours", Heading: "Age", Unit: "running hours", Kind: KindNumber, Decimals: 1, WidthCh: 9, Meaning: "running hours of the conveyor since it was made, read off its hour meter and projected after the last reading; empty where the meter does not tell"},
	{Key: "age_passes", Heading: "Age", Unit: "passes", Kind: KindInteger, WidthCh: 11, Meaning: "times the splice went once round the loop: 3600 x belt speed (m/s) x running hours / loop length (m), summed over the times of one speed and one length"},
	{Key: "counted", Heading: "Hours and passes counted", Kind: KindText, WidthCh: 9, Wrap: true, Meaning: "over its whole life, or at least: the meter was first read after it was made", OffPaper: true},
	{Key: "life_used_percent", Heading: "Life used", Unit: "%", Kind: KindInteger, WidthCh: 6, Meaning: "age against the best age or the binding rule in force, whichever is reached first, rounded down; empty where neither is known. A rule of thumb (class D) binds nothing. It is not a chance of failing"},
	{Key: "status", Heading: "Status", Kind: KindText, WidthCh: 11, Wrap: true, Meaning: "the step life used stands on: under 50 %, 50 to 80 %, 80 to 100 %, past best age or rule; age not known; no limit set"},
	{Key: "rule", Heading: "Rule that governs", Kind: KindText, WidthCh: 17, Wrap: true, Meaning: "the re-splice rule of class A to C or P in force that falls due first, or best age where that comes first; a rule of thumb governs nothing"},
	{Key: "class", Heading: "Class of evidence", Kind: KindText, WidthCh: 9, Meaning: "of that rule or best age: A maker's instruction or standard for this belt, B handbook, C this plant's own history, P this plant's own decision, D rule of thumb (a reminder, never an order by itself)", OffPaper: true},
	{Key: "measured_against", Heading: "Age against it", Kind: KindText, WidthCh: 24, Wrap: true, Meaning: "the age against that rule or best age, in words with its numbers; what a rule of thumb says stands behind it", OffPaper: true},
	{Key: "next_due", Heading: "Next due", Kind: KindDay, WidthCh: 13, Meaning: "recommended day, as every screen tells it: the earliest of best age, a binding rule's limit (class A to C or P) by the hours as projected, a trend's crossing less its margin, and what a finding's grade demands; empty where nothing binds or the belt stands still"},
	{Key: "binding_reason", Heading: "What sets the date", Kind: KindText, WidthCh: 24, Wrap: true, Meaning: "which of these it is, in words with its numbers, or why nothing sets one"},
	{Key: "due_10", Heading: "Due 10 % by", Kind: KindDay, WidthCh: 11, Wrap: true, Meaning: "day by which the chance of coming due reaches 10 %: failing, or passing a limit that binds; causes are taken as independent; empty where it does not within 20 years, or nothing is known"},
	{Key: "due_50", Heading: "Due 50 % by", Kind: KindDay, WidthCh: 11, Wrap: true, Meaning: "day by which that chance reaches 50 %"},
	{Key: "due_90", Heading: "Due 90 % by", Kind: KindDay, WidthCh: 11, Wrap: true, Meaning: "day by which that chance reaches 90 %"},
	{Key: "best_age", Heading: "Best age", Kind: KindText, WidthCh: 20, Wrap: true, Meaning: "age at which replacing costs least in the long run, or why there is none", OffPaper: true},
	{Key: "failures", Heading: "Failures it rests on", Kind: KindInteger, WidthCh: 8, Wrap: true, Meaning: "lives of its cohort that ended by failure; empty where the life figures say nothing of it"},
	{Key: "life_class", Heading: "Class of life figures", Kind: KindText, WidthCh: 12, Wrap: true, Meaning: "C from five failures of its own cohort, else D; or why there are none", OffPaper: true},
	{Key: "last_finding_on", Heading: "Last finding on", Kind: KindDay, WidthCh: 13, Meaning: "day of the last finding at this splice up to the as-of day", OffPaper: true},
	{Key: "last_finding", Heading: "Last finding", Kind: KindText, WidthCh: 13, Wrap: true, Meaning: "its category", OffPaper: true},
	{Key: "last_finding_grade", Heading: "Grade", Kind: KindInteger, WidthCh: 7, Meaning: gradeMeaning(), OffPaper: true},
}

// bands are the words of the seam ramp, worst first.
func bands() []string {
	var out []string
	for _, b := range due.Bands {
		out = append(out, string(b))
	}
	return out
}

func gradeMeaning() string {
	s := "of that finding:"
	for i, w := range assets.GradeWords {
		s += fmt.Sprintf(" %d %s,", i, w)
	}
	return s[:len(s)-1]
}

// Plant is one plant as of an instant.
type Plant struct {
	Register  *assets.Register
	Standings []due.Standing           // of the splices live then
	Forecasts []due.Forecast           // of the same
	Findings  map[int64]assets.Finding // the last one by splice
	Chains    []ChainRead              // how far the chains reached that it was read from
	// Foresee works out the standings and the forecasts, which costs more than reading them and asks the source for nothing;
	// nil: they are there already.
	Foresee func(*Plant) error
}

// plantRead is a plant read ahead.
type plantRead struct {
	name PlantName
	Plant
	err error
}

// plantsAhead reads plant by plant, the next ones while forecasts of those before are worked out and their rows written. It
// closes the channel at the end; whoever stops taking them cancels the context.
func (in Inputs) plantsAhead(ctx context.Context, r *Report, plants []PlantName) <-chan chan plantRead {
	ahead := make(chan chan plantRead, 2)
	go func() {
		defer close(ahead)
		for _, name := range plants {
			p := plantRead{name: name}
			p.Plant, p.err = in.Source.PlantAt(ctx, name.ID, r.AsOf.Now(cmp.Or(name.Zone, time.UTC)))
			ready := make(chan plantRead, 1)
			go func() {
				if p.err == nil && p.Foresee != nil {
					p.err = p.Foresee(&p.Plant)
				}
				ready <- p
			}()
			select {
			case ahead <- ready:
			case <-ctx.Done():
				return
			}
		}
	}()
	return ahead
}

// spliceAgeRows hands over the rows plant by plant, so that memory is that of a few plants.
func (in Inputs) spliceAgeRows(ctx context.Context, r *Report, plants []PlantName, yield func([]Cell) error) error {
	reading, cancel := context.WithCancel(ctx)
	ahead := in.plantsAhead(reading, r, plants)
	defer func() { // the source is nobody else's again when this returns
		cancel()
		for range ahead {
		}
	}()
	found := false
	for ready := range ahead {
		p := <-ready
		if errors.Is(p.err, assets.ErrNotFound) {
			continue // the plant was not in the register yet on that day
		}
		if p.err != nil {
			return fmt.Errorf("read %s: %w", p.name.Name, p.err)
		}
		r.rests(p.Chains)
		t := newSpliceAgeTable(p.name, p.Plant, in.Filter)
		found = found || len(t.place) > 0
		for _, st := range t.standings {
			if err := yield(t.row(st)); err != nil {
				return err
			}
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if !found && in.Filter.Line+in.Filter.Conveyor != "" {
		return in.nothingOf()
	}
	return nil
}

// spliceAgeTable is one plant's part of the register.
type spliceAgeTable struct {
	plant     PlantName
	register  *assets.Register
	findings  map[int64]assets.Finding
	forecasts map[int64]*due.Forecast
	place     map[int64]int // of a conveyor in the filter, as one walks
	standings []due.Standing
	cells     []Cell
}

func newSpliceAgeTable(name PlantName, p Plant, f Filter) *spliceAgeTable {
	t := &spliceAgeTable{plant: name, register: p.Register, findings: p.Findings, cells: make([]Cell, 0, len(spliceAgeColumns)),
		place: make(map[int64]int, len(p.Register.Conveyors))}
	t.forecasts = make(map[int64]*due.Forecast, len(p.Forecasts))
	for i := range p.Forecasts {
		t.forecasts[p.Forecasts[i].SpliceID] = &p.Forecasts[i]
	}
	t.plant.Customer = cmp.Or(name.Customer, p.Register.Customer.Name) // a scope of one plant does not list its customer
	for i, c := range p.Register.Conveyors {
		if f.conveyor(c, p.Register.LineName(c)) {
			t.place[c.ID] = i
		}
	}
	t.standings = slices.DeleteFunc(slices.Clone(p.Standings), func(st due.Standing) bool {
		_, in := t.place[st.ConveyorID]
		return !in
	})
	slices.SortStableFunc(t.standings, t.byPlace)
	return t
}

// byPlace orders as one walks: along the lines and conveyors, then by the splices' marks.
func (t *spliceAgeTable) byPlace(a, b due.Standing) int {
	if c := cmp.Compare(t.place[a.ConveyorID], t.place[b.ConveyorID]); c != 0 {
		return c
	}
	sa, _ := t.register.Splice(a.SpliceID)
	sb, _ := t.register.Splice(b.SpliceID)
	return cmp.Or(assets.CompareTags(sa.Number, sb.Number), cmp.Compare(sa.ID, sb.ID))
}

// row writes one splice's row; it is good until the next one.
func (t *spliceAgeTable) row(st due.Standing) []Cell {
	s, _ := t.register.Splice(st.SpliceID)
	c, _ := t.register.Conveyor(st.ConveyorID)
	limit := due.Limit{}
	if st.Limit != nil {
		limit = *st.Limit
	}
	t.cells = append(t.cells[:0],
		Text(t.plant.Customer), Text(t.plant.Name), Text(t.register.LineName(c)), Text(c.Tag), Text(spliceMark(s.Number)),
		Text(assets.KindWords(s.Form, s.Bond)), madeOn(s.Made, t.plant.Zone), Text(s.MadeBy),
		days(st.Age, st.Age.Days), days(st.Age, st.Age.AtLeastDays),
		figure(st.Age.RunHours, func(v float64) Cell { return Number(v, 1) }), figure(st.Age.Passes, Integer), Text(counted(st.Age)),
		figure(st.Used, func(v float64) Cell { return Integer(100 * v) }), Text(string(st.Band)),
		Text(limit.Name), Text(string(limit.Class)), Text(againstWords(st)), Day(st.DueDay), Text(st.Reason))
	t.foreseen(t.forecasts[s.ID])
	f, found := t.findings[s.ID]
	if !found {
		t.cells = append(t.cells, Cell{}, Cell{}, Cell{})
		return t.cells
	}
	grade := Cell{}
	if f.Grade != nil {
		grade = Integer(float64(*f.Grade))
	}
	t.cells = append(t.cells, Day(f.FoundDay), Text(f.Category), grade)
	return t.cells
}

// againstWords is the age held against what governs, and a rule of thumb behind it.
func againstWords(st due.Standing) string {
	switch {
	case st.Hint == nil:
		return st.Against
	case st.Against == "":
		return "by rule of thumb alone: " + st.Hint.Words
	}
	return st.Against + "; by rule of thumb: " + st.Hint.Words
}

// foreseen adds when a splice comes due.
func (t *spliceAgeTable) foreseen(f *due.Forecast) {
	if f == nil {
		t.cells = append(t.cells, Cell{}, Cell{}, Cell{}, Cell{}, Cell{}, Cell{})
		return
	}
	failures, class := Cell{}, Text(f.NoLife)
	if f.NoLife == "" {
		failures, class = Integer(float64(f.Failures)), Text("class "+string(f.Class))
	}
	t.cells = append(t.cells, t.day(f.Band.At10), t.day(f.Band.At50), t.day(f.Band.At90), Text(f.Best.Words), failures, class)
}

// day is the plant's day of an instant, empty for none.
func (t *spliceAgeTable) day(at time.Time) Cell {
	if at.IsZero() {
		return Cell{}
	}
	return Day(assets.DayOf(at.In(cmp.Or(t.plant.Zone, time.UTC))))
}

// spliceMark is how a splice is called beside its conveyor: S2.
func spliceMark(number string) string {
	if number == "" {
		return ""
	}
	if number[0] >= '0' && number[0] <= '9' {
		return "S" + number
	}
	return number
}

// madeOn is the day a splice was made, or its approximate date as written.
func madeOn(w assets.When, zone *time.Location) Cell {
	switch {
	case w.Timed:
		return Day(assets.Day(calendar.ZoneOf(zone).Date(w.At.Time()).String()))
	case w.Exact():
		return Day(w.Earliest)
	case w.AsWritten != "":
		return Text(w.AsWritten)
	case w.Earliest != "" && w.Latest != "":
		return Text(string(w.Earliest) + " to " + string(w.Latest))
	case w.Latest != "":
		return Text("by " + string(w.Latest))
	case w.Earliest != "":
		return Text("after " + string(w.Earliest))
	}
	return Text("not known")
}

func days(a due.Age, n int) Cell {
	if !a.Known {
		return Cell{}
	}
	return Integer(float64(n))
}

func figure(f due.Figure, cell func(float64) Cell) Cell {
	if !f.Known {
		return Cell{}
	}
	return cell(f.Value)
}

// counted says over what hours and passes were counted.
func counted(a due.Age) string {
	switch {
	case !a.RunHours.Known:
		return ""
	case a.RunHours.AtLeast || a.Passes.AtLeast:
		return "at least"
	}
	return "whole life"
}
