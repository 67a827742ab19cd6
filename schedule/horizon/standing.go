package horizon

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"carryside/assets"
	"carryside/schedule/plan"
)

// placement turns a placed job into instants, persons and kit.
func (s *Sheet) placement(p *plan.Placed) Placement {
	out := Placement{StopID: s.stops[p.Window].ID, Start: s.At(p.Start)}
	for _, m := range p.Crew {
		out.Crew = append(out.Crew, assets.CrewPlace{PersonID: s.in.People[m.Technician].ID, QualificationID: s.ticketID(m.Qualification)})
	}
	for _, k := range p.Tools {
		out.Kit = append(out.Kit, s.in.Kit[k].ID)
	}
	return out
}

func (s *Sheet) ticketID(index int) int64 {
	for id, i := range s.tickets {
		if i == index {
			return id
		}
	}
	return 0
}

// Standing returns where the orders of the case stand now, as they were placed: starts, crew and kit may be missing.
func (s *Sheet) Standing() Placements {
	at := Placements{}
	for _, o := range s.orders {
		if o.At == nil {
			continue
		}
		if _, ok := s.windowOf[o.At.StopID]; ok {
			at[o.ID] = *o.At
		}
	}
	return at
}

// Settle fills in what hands left open: starts, crews and kit of the orders that stand in each stop, as well as they go
// together, stop by stop in order of time. Stops in which they do not go together are named with what is in the way; their
// orders stand one after another from the stop's beginning. Where much stands in a stop it is tried until ctx ends.
func (s *Sheet) Settle(ctx context.Context, at Placements) (Placements, []Broken) {
	out := Placements{}
	for id, p := range at {
		out[id] = p
	}
	var broken []Broken
	for _, w := range s.byTime() {
		jobs := s.jobsIn(w, out)
		if len(jobs) == 0 {
			continue
		}
		if len(jobs) > few && s.eachHolds(w, jobs, out) || s.fillInTurn(w, jobs, out) {
			continue
		}
		q := s.part(w, jobs, out, lockStanding)
		if q.solve(ctx) {
			q.take(out)
			continue
		}
		why := []string{s.crowded(w, jobs)}
		if astray := s.astrayIn(w, jobs, out); len(astray) > 0 {
			why = []string{s.astrayWords(astray, out)}
		} else if ctx.Err() != nil {
			why = append(why, tooMuch)
		} else if others := s.part(w, jobs, out, lockStop); others.solve(ctx) {
			why[0] += "; with other people, at other times or with other kit they go together"
		} else if s.fitsInSum(w, jobs) {
			why = append(why, q.words()...)
		}
		broken = append(broken, Broken{StopID: s.stops[w].ID, Why: why})
		s.oneAfterAnother(w, jobs, out)
	}
	for _, x := range s.Case.Precedences {
		p, ok := out[s.orders[x.After].ID]
		if !ok {
			continue
		}
		if why := s.tooSoon(x, p.Start, out); why != "" {
			broken = append(broken, Broken{StopID: p.StopID, Why: []string{fmt.Sprintf("order %s: %s", s.Case.Jobs[x.After].ID, why)}})
		}
	}
	return out, broken
}

// tooMuch is said where ctx ended before it was known whether the orders of a stop go together.
const tooMuch = "so much stands in it that no way was found in this time in which they go together; set starts, people and kit by hand, or move one of them"

// Broken is a stop whose orders do not go together.
type Broken struct {
	StopID int64
	Why    []string
}

// Astray tells whether an order that stands in a stop is set for hours outside it, as it is once its stop was moved or cut short.
func (s *Sheet) Astray(orderID int64, p Placement) bool {
	j, ok := s.jobOf[orderID]
	w, there := s.windowOf[p.StopID]
	if !ok || !there || p.Start.IsZero() {
		return false
	}
	stop := s.stops[w]
	return p.Start.Before(stop.Start) || p.Start.Add(time.Duration(s.Case.Jobs[j].Duration)*time.Minute).After(stop.End)
}

// astrayIn are the jobs of a window that are set for hours outside it.
func (s *Sheet) astrayIn(w int, jobs []int, at Placements) []int {
	return slices.DeleteFunc(slices.Clone(jobs), func(j int) bool { return !s.Astray(s.orders[j].ID, at[s.orders[j].ID]) })
}

// astrayWords says for when they are set.
func (s *Sheet) astrayWords(jobs []int, at Placements) string {
	var set []string
	for _, j := range jobs {
		set = append(set, fmt.Sprintf("order %s is set for %s", s.Case.Jobs[j].ID, s.momentOf(j, at[s.orders[j].ID].Start)))
	}
	return strings.Join(set, " and ") + ", outside the stop as it is now"
}

// oneAfterAnother gives orders that do not go together starts to be drawn at.
func (s *Sheet) oneAfterAnother(w int, jobs []int, at Placements) {
	start := s.Case.Windows[w].Start
	for _, j := range jobs {
		p := at[s.orders[j].ID]
		if p.Start.IsZero() {
			p.Start = s.At(start)
			at[s.orders[j].ID] = p
		}
		start += s.Case.Jobs[j].Duration
	}
}

// Check names the stops, of those given, in which the orders do not go together exactly as they stand.
func (s *Sheet) Check(at Placements, stops []int64) []Broken {
	var broken []Broken
	for _, id := range stops {
		w, ok := s.windowOf[id]
		if !ok {
			broken = append(broken, Broken{StopID: id, Why: []string{"the stop is not there any more"}})
			continue
		}
		jobs := s.jobsIn(w, at)
		for _, j := range jobs {
			if _, may := s.Case.Jobs[j].OptionIn(w); !may {
				broken = append(broken, Broken{StopID: id, Why: []string{s.notThere(j, w)}})
			}
			if why := s.waits(j, at); why != "" {
				broken = append(broken, Broken{StopID: id, Why: []string{fmt.Sprintf("order %s: %s", s.Case.Jobs[j].ID, why)}})
			}
		}
		if len(jobs) == 0 || s.eachHolds(w, jobs, at) {
			continue
		}
		if q := s.part(w, jobs, at, lockExactly); !q.solve(context.Background()) {
			broken = append(broken, Broken{StopID: id, Why: q.words()})
		}
	}
	return broken
}

// byTime lists the windows in order of time.
func (s *Sheet) byTime() []int {
	list := make([]int, len(s.Case.Windows))
	for w := range list {
		list[w] = w
	}
	slices.SortStableFunc(list, func(a, b int) int { return s.Case.Windows[a].Start - s.Case.Windows[b].Start })
	return list
}

// jobsIn lists the jobs that stand in a window.
func (s *Sheet) jobsIn(w int, at Placements) []int {
	var jobs []int
	for j, o := range s.orders {
		if p, ok := at[o.ID]; ok && p.StopID == s.stops[w].ID {
			jobs = append(jobs, j)
		}
	}
	return jobs
}

// Booked is how long people work in a stop, from the first minute of work to the last one, and how long the stop is; and
// how many of the crew and which kit are in it.
type Booked struct {
	Work, Long time.Duration
	People     []int64
	Kit        []int64
	Orders     []int64
}

// Booked sums what stands in a stop. Work is the sum of the orders' hours.
func (s *Sheet) Booked(stopID int64, at Placements) Booked {
	w, ok := s.windowOf[stopID]
	if !ok {
		return Booked{}
	}
	b := Booked{Long: time.Duration(s.Case.Windows[w].Minutes()) * time.Minute}
	for _, j := range s.jobsIn(w, at) {
		p := at[s.orders[j].ID]
		b.Work += time.Duration(s.Case.Jobs[j].Duration) * time.Minute
		b.Orders = append(b.Orders, s.orders[j].ID)
		for _, m := range p.Crew {
			if !slices.Contains(b.People, m.PersonID) {
				b.People = append(b.People, m.PersonID)
			}
		}
		for _, k := range p.Kit {
			if !slices.Contains(b.Kit, k) {
				b.Kit = append(b.Kit, k)
			}
		}
	}
	return b
}

// Work is how long an order's work takes; 0 when it is not in the case.
func (s *Sheet) Work(orderID int64) time.Duration {
	j, ok := s.jobOf[orderID]
	if !ok {
		return 0
	}
	return time.Duration(s.Case.Jobs[j].Duration) * time.Minute
}

// Reseat sets the orders of some stops anew, crews and starts too, each in its stop; what stands elsewhere stays. Stops in
// which that is not possible, or not found before ctx ends, are named.
func (s *Sheet) Reseat(ctx context.Context, at Placements, stops []int64) (Placements, []Broken) {
	out := s.moved(at, 0)
	var broken []Broken
	for _, w := range s.byTime() {
		id := s.stops[w].ID
		jobs := s.jobsIn(w, out)
		if !slices.Contains(stops, id) || len(jobs) == 0 {
			continue
		}
		if q := s.part(w, jobs, out, lockStop); q.solve(ctx) {
			q.take(out)
		} else {
			why := q.words()
			if ctx.Err() != nil {
				why = []string{tooMuch}
			}
			broken = append(broken, Broken{StopID: id, Why: why})
		}
	}
	return out, broken
}

// Left is an order that a plan leaves out: why, and what was tried and would place it.
type Left struct{ Why, Help []string }

// LeftOut are the orders that a plan leaves out.
func (s *Sheet) LeftOut(p *plan.Plan) map[int64]Left {
	out := map[int64]Left{}
	for i := range p.LeftOut {
		l := &p.LeftOut[i]
		left := Left{Why: append(said(l.Reasons), s.lateFor(l.Job, l.Reasons)...), Help: said(l.Help)}
		if late := s.tooLate(l.Job); late != "" {
			left.Why = []string{late}
		}
		if len(s.Case.Jobs[l.Job].Options) == 0 {
			left.Why = []string{s.noStop(l.Job)}
		}
		out[s.orders[l.Job].ID] = left
	}
	return out
}

// siteOf is the site a job is done at.
func (s *Sheet) siteOf(j int) int {
	return s.Case.Groups[s.Case.Conveyors[s.Case.Jobs[j].Conveyor].Group].Site
}

// noStop says that no agreed stop of the sheet stops all that an order needs to stand.
func (s *Sheet) noStop(j int) string {
	job := &s.Case.Jobs[j]
	g := s.Case.Conveyors[job.Conveyor].Group
	var with []string
	for _, c := range s.Case.Conveyors {
		if c.Group == g {
			with = append(with, c.ID)
		}
	}
	if job.Isolation && len(with) > 1 {
		return fmt.Sprintf("no agreed stop on this sheet stops %s together, which %s isolates", strings.Join(with, ", "), s.Case.Groups[g].ID)
	}
	return fmt.Sprintf("no agreed stop on this sheet stops %s", s.Case.Conveyors[job.Conveyor].ID)
}

// tooLate says in one sentence that the latest date of an order comes before every stop it may be done in; "" when that is not
// what keeps it out.
func (s *Sheet) tooLate(j int) string {
	job := &s.Case.Jobs[j]
	if job.Deadline < 0 || len(job.Options) == 0 {
		return ""
	}
	first := -1
	for _, o := range job.Options {
		w := &s.Case.Windows[o.Window]
		if s.floor(s.workAt(o.Window, job))+job.Duration <= job.Deadline {
			return ""
		}
		if first < 0 || w.Start < s.Case.Windows[first].Start {
			first = o.Window
		}
	}
	last := s.At(job.Deadline).Add(-time.Minute).In(s.plants[s.siteOf(j)].Zone).Format("2 Jan")
	return fmt.Sprintf("its latest date is %s and work in its first stop on this sheet, %s, would end later; put the order off, with a reason, or ask for an earlier stop", last, s.Case.Windows[first].ID)
}

// Digest is the SHA-256 of the case, in hexadecimal: with seed and steps it makes the same plan again.
func (s *Sheet) Digest() string {
	raw, err := json.Marshal(s.Case)
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:])
}

// Takes is the stock an order takes.
func (s *Sheet) Takes(orderID int64) []StockNeed {
	if j, ok := s.jobOf[orderID]; ok {
		return s.orders[j].Stock
	}
	return nil
}
