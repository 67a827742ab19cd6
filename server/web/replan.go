package web

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"carryside/assets"
	"carryside/schedule/horizon"
	"carryside/schedule/plan"
)

// runFor is how long a re-plan may search.
const runFor = 30 * time.Second

// replans are the re-plans on their way or just done at one server, one for each person and plant. What they find becomes the
// person's draft; nothing of them is a fact.
type replans struct {
	mu   sync.Mutex // guards list
	list map[replanKey]*replan
}

type replanKey struct{ plant, person int64 }

// mostReplans run at one time: each takes the processor for as long as it runs.
const mostReplans = 4

var errTooManyReplans = assets.Invalid{"": "four re-plans are running already; wait until one of them is done"}

// replan is one search.
type replan struct {
	mu       sync.Mutex // guards what follows
	running  bool
	began    time.Time
	ended    time.Time
	stop     context.CancelFunc
	progress plan.Progress
	found    *plan.Plan
	err      error
	view     *HorizonView
	limit    time.Duration // how long it may search
	from     time.Time     // it searches; zero while plants are read
	plants   []int64       // of a plan over plants
	left     bool          // whoever asked has left it: what it finds is not wanted any more
	read     int           // of them so far
}

func (rs *replans) of(plant, person int64) *replan {
	rs.mu.Lock()
	defer rs.mu.Unlock()
	return rs.list[replanKey{plant, person}]
}

// forget stops a re-plan and lets it keep nothing of what it found: a draft left or published is not written over by it.
func (rs *replans) forget(plant, person int64) {
	if r := rs.of(plant, person); r != nil {
		r.mu.Lock()
		r.left = true
		r.stop()
		r.mu.Unlock()
	}
	rs.mu.Lock()
	defer rs.mu.Unlock()
	delete(rs.list, replanKey{plant, person})
}

func (rs *replans) stop(plant, person int64) {
	if r := rs.of(plant, person); r != nil {
		r.mu.Lock()
		defer r.mu.Unlock()
		r.stop()
	}
}

// add takes a re-plan in unless the same person runs one there, or too many run.
func (rs *replans) add(key replanKey, r *replan) error {
	rs.mu.Lock()
	defer rs.mu.Unlock()
	if rs.list == nil {
		rs.list = map[replanKey]*replan{}
	}
	if old := rs.list[key]; old != nil && old.busy() {
		return assets.Invalid{"": "your re-plan of this plant is running already"}
	}
	busy := 0
	for k, o := range rs.list {
		switch {
		case o.busy():
			busy++
		case r.began.Sub(o.began) > time.Hour:
			delete(rs.list, k)
		}
	}
	if busy >= mostReplans {
		return errTooManyReplans
	}
	rs.list[key] = r
	return nil
}

func (p *replan) busy() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.running
}

// startReplan searches in the background, from the plan as it is published.
func (s *Site) startReplan(r *Request) error {
	weeks := r.formSpan()
	h, err := s.Horizons.Horizon(r.Context(), r.Scope, r.PlantID(), r.Now, weeks)
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(context.Background())
	p := &replan{running: true, began: r.Now, from: r.Now, limit: runFor, stop: stop, view: h}
	key := replanKey{r.PlantID(), r.Who.Person.ID}
	if err := s.replans.add(key, p); err != nil {
		stop()
		return s.showPlan(r, err)
	}
	scope := r.Scope
	go func() {
		defer stop()
		found, err := p.search(ctx, s.now)
		if err == nil && found.Status != plan.Infeasible {
			err = s.keepFound(key, scope, p, found)
		}
		p.end(found, err, s.now())
		if err != nil {
			s.log.Error("re-plan failed", "plant", key.plant, "error", err)
		}
	}()
	return r.Done(r.At("horizon", "plan")+fmt.Sprintf("?weeks=%d", weeks), "")
}

// formSpan is the length of the sheet a form names.
func (r *Request) formSpan() int {
	weeks := int(numberOf(r.C.Request.PostForm.Get("weeks")))
	for _, s := range spans {
		if s.weeks == weeks {
			return weeks
		}
	}
	return 26
}

// search runs the planner; a panic of ours ends the re-plan, not the server.
func (p *replan) search(ctx context.Context, now func() time.Time) (found *plan.Plan, err error) {
	defer func() {
		if broke := recover(); broke != nil {
			err = fmt.Errorf("the re-plan broke off: %v", broke)
		}
	}()
	return plan.Solve(ctx, p.view.Sheet.Case, plan.Settings{Seed: planSeed, Limit: p.limit, Clock: func() time.Duration { return now().Sub(p.from) }, Tell: p.tell})
}

// planSeed sets the course of every search: the same plant gives the same plan.
const planSeed = 7

// tellRead notes how many plants are read.
func (p *replan) tellRead(read int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.read = read
}

// laid takes the sheet in: the search begins.
func (p *replan) laid(h *HorizonView, at time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.view, p.from = h, at
}

// sheet is what was searched on; nil before it is read.
func (p *replan) sheet() *HorizonView {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.view
}

func (p *replan) tell(now plan.Progress) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.progress = now
}

func (p *replan) end(found *plan.Plan, err error, at time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.running, p.found, p.err, p.ended = false, found, err, at
}

// shown is how far a re-plan is.
func (p *replan) shown(r *Request) *runShown {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.view == nil {
		return &runShown{Reading: fmt.Sprintf("%d of %s read", p.read, Figure(len(p.plants), "plant", "plants")), Share: 100 * p.read / max(1, len(p.plants))}
	}
	used := r.Now.Sub(p.from)
	out := &runShown{Placed: p.progress.Placed, Jobs: max(p.progress.Jobs, len(p.view.Sheet.Case.Jobs)), Share: min(100, int(100*used/p.limit)), Gap: "no plan yet"}
	if p.progress.Jobs > 0 {
		out.Gap = "within " + Num(p.progress.GapPercent(), 1) + nb + "% of the proven bound"
	}
	out.Left = seconds(p.limit - used)
	return out
}

// seconds say how long a search takes, in whole seconds, or that it is less than one.
func seconds(d time.Duration) string {
	if d < time.Second {
		return "under " + With("1", "s")
	}
	return With(Num(d.Seconds(), 0), "s")
}

// words say how the search went.
func (p *replan) words() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case errors.Is(p.err, context.Canceled):
		return "stopped before a plan was found"
	case p.err != nil:
		return "broke off: " + p.err.Error()
	case p.found == nil:
		return "running"
	case p.found.Status == plan.Infeasible:
		return "no plan keeps every lock"
	}
	words := Int(int64(p.found.Steps)) + " steps in " + seconds(p.ended.Sub(p.from))
	if p.found.Status == plan.Optimal {
		return words + ", proven: no plan is cheaper; seed " + Int(planSeed)
	}
	return words + ", within " + Num(p.found.GapPercent(), 1) + nb + "% of the proven bound, seed " + Int(planSeed)
}

// without says why a re-plan found no plan at all; "" when it found one, or runs.
func (p *replan) without() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case errors.Is(p.err, context.Canceled):
		return "The re-plan was stopped before it found a plan"
	case errors.Is(p.err, plan.ErrNoPlan), p.err == nil && p.found != nil && p.found.Status == plan.Infeasible:
		return "The re-plan found no plan that keeps every lock"
	case p.err != nil:
		return "The re-plan broke off"
	}
	return ""
}

// conflict are the locks that cannot hold together.
func (p *replan) conflict() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case errors.Is(p.err, plan.ErrNoPlan):
		return []string{"No plan that keeps every lock was found in this time. Unlock an order and try again."}
	case errors.Is(p.err, context.Canceled):
		return nil
	case p.err != nil:
		return []string{"The re-plan broke off. Nothing was changed."}
	case p.found == nil:
		return nil
	}
	return capitals(p.view.Sheet.Words(p.found.Conflict))
}

// keepFound makes a found plan the draft of whoever asked for it, unless they have left it in the meantime.
func (s *Site) keepFound(key replanKey, scope assets.Scope, p *replan, found *plan.Plan) error {
	d := assets.PlanDraft{PersonID: key.person, PlantID: key.plant, At: assets.InstantOf(s.now()), Moves: foundMoves(p.sheet(), found)}
	p.mu.Lock() // whoever leaves it waits until it is written, and takes it out again
	defer p.mu.Unlock()
	if p.left {
		return nil
	}
	return s.Horizons.SaveDraft(context.Background(), scope, &d)
}

// foundMoves are the changes of a plan against what is published, and the orders it leaves without a stop.
func foundMoves(h *HorizonView, found *plan.Plan) []assets.DraftMove {
	at := h.Sheet.Placements(found)
	left := h.Sheet.LeftOut(found)
	total := h.Sheet.Cost(at).Total()
	var moves, also []assets.DraftMove
	touched := map[int64]bool{}
	for i := range h.Facts.Plants {
		for _, o := range h.Facts.Plants[i].Orders {
			if !h.Sheet.Holds(o.ID) {
				continue
			}
			p, placed := at[o.ID]
			m := assets.DraftMove{OrderID: o.ID, EditVersion: o.EditVersion, FromStop: o.WindowID, ToStop: p.StopID, Searched: true}
			place(&m, p)
			switch {
			case !placed && o.WindowID == 0:
				m.Why, m.Help = joinSentences(left[o.ID].Why), capitals(left[o.ID].Help)
				moves = append(moves, m)
			case !placed:
				m.Help = append(capitals(left[o.ID].Why), capitals(left[o.ID].Help)...)
				fallthrough
			case p.StopID != o.WindowID:
				m.Cost = int64(total - costWithout(h, at, o.ID))
				touched[m.FromStop], touched[m.ToStop] = true, true
				moves = append(moves, m)
			case h.astray(o):
				m.Hours = true
				touched[m.ToStop] = true
				moves = append(moves, m)
			default:
				also = append(also, m)
			}
		}
	}
	for _, m := range also {
		if touched[m.ToStop] {
			moves = append(moves, m)
		}
	}
	return moves
}

// costWithout is what a plan costs with one order as it was. The placements are changed for the while of the question.
func costWithout(h *HorizonView, at horizon.Placements, id int64) int {
	is, stands := at[id]
	delete(at, id)
	if was, stood := h.At[id]; stood {
		at[id] = was
	}
	cost := h.Sheet.Cost(at).Total()
	delete(at, id)
	if stands {
		at[id] = is
	}
	return cost
}

func joinSentences(list []string) string {
	out := ""
	for i, w := range capitals(list) {
		out += pick(i > 0, " ", "") + w
	}
	if out == "" {
		return "No stop takes it."
	}
	return out
}

// searched tells what a plan being published was found by; zeros where it was moved by hand.
func (p *replan) searched(moves []assets.DraftMove) assets.PublishedPlan {
	if p == nil || !slices.ContainsFunc(moves, func(m assets.DraftMove) bool { return m.Searched }) {
		return assets.PublishedPlan{}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.found == nil {
		return assets.PublishedPlan{}
	}
	return assets.PublishedPlan{Cost: int64(p.found.Cost), Bound: int64(p.found.Bound), Seed: planSeed, Steps: int64(p.found.Steps), CaseDigest: p.view.Sheet.Digest()}
}
