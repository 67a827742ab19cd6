package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/cmd/carryside/desk"
	"carryside/cmd/carryside/reporting"
	"carryside/reports"
	"carryside/schedule/cohort"
	"carryside/schedule/due"
	"carryside/schedule/life"
	"carryside/schedule/plan"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// loop follows one splice through everything that tells of it.
type loop struct {
	t     *testing.T
	h     *house
	front *desk.Desk
	now   time.Time
}

func (l *loop) fleet() *web.Fleet {
	l.t.Helper()
	f, err := l.front.Fleet(l.t.Context(), assets.PlantScope(1), 1, l.now)
	must(l.t, err)
	return f
}

func forecastOf(f *web.Fleet, splice int64) *due.Forecast {
	i := slices.IndexFunc(f.Forecasts, func(x due.Forecast) bool { return x.SpliceID == splice })
	if i < 0 {
		return nil
	}
	return &f.Forecasts[i]
}

func standingOf(f *web.Fleet, splice int64) due.Standing {
	i := slices.IndexFunc(f.Standings, func(x due.Standing) bool { return x.SpliceID == splice })
	if i < 0 {
		return due.Standing{}
	}
	return f.Standings[i]
}

// lifeOf is the life of a splice as the fit counts it.
func (l *loop) lifeOf(splice int64) cohort.Life {
	l.t.Helper()
	b, err := l.front.LifeBook(l.t.Context(), assets.JobScope(), 1, "", l.now)
	must(l.t, err)
	i := slices.IndexFunc(b.Lives, func(x cohort.Life) bool { return x.SpliceID == splice })
	if i < 0 {
		l.t.Fatalf("splice %d is no life", splice)
	}
	return b.Lives[i]
}

// figures are the key figures of all time a minute from now, since what happens at an instant is not before it: the value, and what it rests on.
func (l *loop) figures() map[string][2]string {
	l.t.Helper()
	entry, err := reports.Find("key-figures")
	must(l.t, err)
	r, err := entry.Build(l.t.Context(), reports.Inputs{Source: reporting.NewSource(l.h.db, assets.PlantScope(1)), Built: l.now.Add(time.Minute), By: "I. Vanterel", Version: "test", Zone: time.UTC}, "")
	must(l.t, err)
	var b bytes.Buffer
	_, err = r.WriteCSV(l.t.Context(), &b)
	must(l.t, err)
	rows, err := csv.NewReader(&b).ReadAll()
	must(l.t, err)
	out := map[string][2]string{}
	for _, row := range rows[1:] {
		out[row[2]] = [2]string{row[3], row[6]}
	}
	return out
}

// worked are the hours worked and orders done that a figure rests on.
func (l *loop) worked() (hours float64, done int) {
	l.t.Helper()
	if _, err := fmt.Sscanf(l.figures()["Planned work"][1], "%f h worked in %d orders done", &hours, &done); err != nil {
		l.t.Fatal(err)
	}
	return hours, done
}

// job is the order in the planner's case.
func (l *loop) job(number int64) (*plan.Case, *plan.Job) {
	l.t.Helper()
	v, err := l.front.Horizon(l.t.Context(), assets.PlantScope(1), 1, l.now, 12)
	must(l.t, err)
	c := v.Sheet.Case
	i := slices.IndexFunc(c.Jobs, func(j plan.Job) bool { return j.ID == strconv.FormatInt(number, 10) })
	if i < 0 {
		return c, nil
	}
	return c, &c.Jobs[i]
}

// take takes a step of an order, after some hours.
func (l *loop) take(number int64, after time.Duration, step web.OrderStep) workorder.Order {
	l.t.Helper()
	l.now = l.now.Add(after)
	f, err := l.front.Order(l.t.Context(), assets.PlantScope(1), 1, number)
	must(l.t, err)
	must(l.t, l.front.Step(l.t.Context(), assets.PlantScope(1), web.Act{PersonID: 1, Action: "step", Now: l.now}, 1, number, f.Order.EditVersion, step))
	f, err = l.front.Order(l.t.Context(), assets.PlantScope(1), 1, number)
	must(l.t, err)
	return f.Order
}

// onHand is what lies in the storeroom of each item, and what placed orders hold of it.
func (l *loop) onHand() (there, held map[int64]assets.Quantity) {
	l.t.Helper()
	room, err := l.front.Room(l.t.Context(), assets.PlantScope(1), 1, l.now)
	must(l.t, err)
	if room.Adrift != 0 {
		l.t.Errorf("the ledger is adrift for %d items", room.Adrift)
	}
	there, held = map[int64]assets.Quantity{}, map[int64]assets.Quantity{}
	for _, o := range room.Outlooks {
		there[o.Item.ID], held[o.Item.ID] = o.OnHand+o.Unfit, o.Reserved
	}
	return there, held
}

// takes is what a re-splice of a kind takes of each item by its template.
func (l *loop) takes(s assets.Splice, widthM float64) map[int64]assets.Quantity {
	l.t.Helper()
	room, err := l.front.Room(l.t.Context(), assets.PlantScope(1), 1, l.now)
	must(l.t, err)
	out := map[int64]assets.Quantity{}
	for _, t := range room.Demand.TakesOf(string(workorder.KindResplice), s.Form, s.Bond, widthM) {
		out[t.ItemID] = t.Quantity
	}
	return out
}

// counts are the counters of a piece of kit that a job moves, with what one job counts.
func (l *loop) counts(kitID int64) (now, perJob map[int64]float64) {
	l.t.Helper()
	room, err := l.front.KitRoom(l.t.Context(), assets.PlantScope(1), 1, l.now)
	must(l.t, err)
	now, perJob = map[int64]float64{}, map[int64]float64{}
	for _, c := range room.Counters[kitID] {
		now[c.ID] = c.Count
		if c.Moves() {
			perJob[c.ID] = c.PerJob
		}
	}
	return now, perJob
}

// kitThatCounts is a piece of kit whose counters a job moves.
func (l *loop) kitThatCounts() int64 {
	l.t.Helper()
	room, err := l.front.KitRoom(l.t.Context(), assets.PlantScope(1), 1, l.now)
	must(l.t, err)
	for _, k := range room.Kit {
		if _, per := l.counts(k.ID); len(per) > 0 {
			return k.ID
		}
	}
	l.t.Fatal("the demonstration has no kit that a job counts on")
	return 0
}

// A splice is followed from made to failed to remade, twice: in an emergency, and then as planned work with kit and stock. Every number that tells of it
// is held against what it must be: register, loop, lives and their ages, due bands, the planner's case, stock, kit, key figures.
func TestEveryNumberFollowsASpliceFromMadeToFailedToRemade(t *testing.T) {
	h := openHouse(t)
	now := plantDay.Add(time.Hour)
	l := &loop{t: t, h: h, now: now}
	l.front = desk.New(h.db, func() time.Time { return l.now }, nil, "test")
	old := vulcanised(t, h)

	// before: it runs, counts as a sound life of its age, and has a due band
	before := l.fleet()
	stood := standingOf(before, old.ID)
	was := l.lifeOf(old.ID)
	band := forecastOf(before, old.ID)
	if !was.Running || was.Outcome == cohort.Failed || !stood.Age.Known || band == nil {
		t.Fatalf("before it failed: life %+v, standing %+v, forecast %+v", was, stood, band)
	}
	sibling := siblingOf(before, band)
	hours, done := l.worked()
	loopWas := loopOf(t, h, old.BeltID)

	// it fails on the night shift, is remade at once, and its conveyor stood for two hours
	okker := h.as("M. Okkerdal")
	okker.submit("/plants/1/emergency", "Record it as done", map[string]string{"target": fmt.Sprintf("s%d", old.ID), "failure_mode": "edge torn", "hours": "1.5", "shortening_m": "1500"}, http.StatusOK)
	temp := l.newestOn(old)
	emergency := temp.order
	if got := loopOf(t, h, old.BeltID); math.Abs(loopWas-got-1.5) > 1e-9 {
		t.Errorf("the loop went from %v to %v m, want 1.5 m less", loopWas, got)
	}
	l.failedAtItsAge(old, was, stood)
	after := l.fleet()
	if a := standingOf(after, temp.ID).Age; !a.Known || a.Days != 0 || a.RunHours.Value != 0 || a.Passes.Value != 0 || a.Flexes.Value != 0 {
		t.Errorf("the new splice begins at %+v, want nought on every clock", a)
	}
	rested, rests := forecastOf(before, sibling), forecastOf(after, sibling)
	if rested == nil || rests == nil || rests.Failures != rested.Failures+1 || rests.Band.At50.Equal(rested.Band.At50) {
		t.Errorf("a splice of the same cohort rests on %+v, before on %+v; want a failure more and another date for 50 %%", rests, rested)
	}
	if hoursNow, doneNow := l.worked(); math.Abs(hoursNow-hours-1.5) > 0.051 || doneNow != done+1 {
		t.Errorf("key figures rest on %.1f h in %d orders, want %.1f h in %d", hoursNow, doneNow, hours+1.5, done+1)
	}
	l.standsInTheFigures(okker, old, emergency)
	page := fmt.Sprintf("/plants/1/orders/%d", emergency)
	okker.submit(page, signButton(t, okker, page), map[string]string{}, http.StatusOK)

	// it is to be remade properly: the planner's case has the work with its latest date and a cost for each stop
	planner := workorder.Actor{PersonID: 1, Roles: []assets.Role{assets.RoleLead}}
	l.now = now.Add(time.Minute)
	raised := workorder.Order{PlantID: 1, Kind: workorder.KindResplice, Title: "remake splice " + old.Number, Reason: "the emergency splice holds for a while only", State: workorder.Raised, RaisedAt: assets.InstantOf(l.now),
		ConveyorID: old.ConveyorID, BeltID: old.BeltID, SpliceID: temp.ID, WorkHours: 4, Crew: 1, LatestDay: assets.DayOf(now.AddDate(0, 0, 60))}
	number, err := l.front.Raise(t.Context(), assets.PlantScope(1), web.Act{PersonID: 1, Action: "raise", Now: l.now}, raised, workorder.Event{})
	must(t, err)
	l.take(number, time.Minute, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Accept(o, planner, l.now, l.now)
	})
	c, job := l.job(number)
	if job == nil || c.Conveyors[job.Conveyor].ID != h.tagOf(t, old.ConveyorID) || job.Deadline < 0 || len(job.Options) == 0 || job.Unplaced <= 0 {
		t.Fatalf("the planner's case has the work as %+v", job)
	}
	for i, o := range job.Options {
		w := c.Windows[o.Window]
		if w.End > job.Deadline+24*60 || o.Cost < 0 || !slices.Contains(w.Scope, job.Conveyor) || w.Minutes() < job.Duration {
			t.Errorf("option %d is the stop %+v at %d for %+v", i, w, o.Cost, job)
		}
	}

	// placed with kit: stock is held and none taken, the kit has counted nothing
	width := h.widthOf(t, old.BeltID)
	tool := l.kitThatCounts()
	windows, err := l.front.Windows(t.Context(), assets.PlantScope(1), 1, l.now)
	must(t, err)
	conveyor, _ := after.Register.Conveyor(old.ConveyorID)
	stop := windows[slices.IndexFunc(windows, func(w assets.StopWindow) bool { return w.Stops(conveyor) })]
	there, held := l.onHand()
	takes := l.takes(temp.Splice, width)
	l.take(number, time.Minute, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Place(o, planner, l.now, l.now, workorder.Placement{WindowID: stop.ID, WindowDay: assets.DayOf(stop.End.Time()), People: []int64{1}, Tools: []int64{tool}})
	})
	thereNow, heldNow := l.onHand()
	for item, q := range takes {
		if want := min(held[item]+q, max(thereNow[item], held[item])); thereNow[item] != there[item] || heldNow[item] != want && heldNow[item] != held[item]+q {
			t.Errorf("item %d: %v there and %v held, want %v and %v", item, thereNow[item], heldNow[item], there[item], held[item]+q)
		}
	}
	if _, j := l.job(number); j == nil || j.Previous == nil && j.Locked == nil {
		t.Errorf("placed, the planner's case does not know where it stands: %+v", j)
	}

	// done in its stop: the emergency splice ends as replaced while sound, the new one begins, the loop is 0.4 m shorter
	counted, perJob := l.counts(tool)
	l.now = stop.Start.Time()
	l.take(number, 10*time.Minute, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Start(o, planner, l.now, l.now)
	})
	l.now = l.now.Add(4 * time.Hour)
	f, err := l.front.Order(t.Context(), assets.PlantScope(1), 1, number)
	must(t, err)
	remade := web.Resplice{OldSpliceID: temp.ID, RetiredWhy: assets.RetiredPlanned, LoopShorterM: 0.4, MadeByID: 1,
		New: assets.Splice{PlantID: 1, ConveyorID: old.ConveyorID, BeltID: old.BeltID, Form: old.Form, Bond: old.Bond, Made: assets.Exactly(l.now, time.UTC)}}
	tempAge := standingOf(l.fleet(), temp.ID).Age
	must(t, l.front.CloseResplice(t.Context(), assets.PlantScope(1), web.Act{PersonID: 1, Action: "done", Now: l.now}, 1, number, f.Order.EditVersion, remade, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Finish(o, planner, l.now, l.now, workorder.Work{Hours: 6})
	}))
	final := l.newestOn(old)
	if final.Number != old.Number || final.Form != old.Form || final.ID == temp.ID {
		t.Errorf("made %+v, want the kind of the old one under its number", final.Splice)
	}
	if got := loopOf(t, h, old.BeltID); math.Abs(loopWas-got-1.9) > 1e-9 {
		t.Errorf("the loop is %v m, want 1.9 m less than %v", got, loopWas)
	}
	if ended := l.lifeOf(temp.ID); ended.Running || ended.Outcome == cohort.Failed {
		t.Errorf("replaced while sound, it counts as %+v", ended)
	} else if o, ok := ended.On(cohort.Days); ok && (o.Event == life.Failed || math.Abs(o.Life-l.now.Sub(now).Hours()/24) > 0.01 || tempAge.Days > int(o.Life)+1) {
		t.Errorf("it counts as %+v, want sound for %.2f days", o, l.now.Sub(now).Hours()/24)
	}
	if a := standingOf(l.fleet(), final.ID).Age; a.Days != 0 || a.Passes.Value != 0 {
		t.Errorf("the last splice begins at %+v", a)
	}
	if now, _ := l.counts(tool); !equal(now, counted) {
		t.Errorf("done and not signed, the kit has counted: %v, was %v", now, counted)
	}

	// signed: the kit has counted one job, the ledger has given what the template says, the figures have the work as planned
	signed := l.take(number, time.Minute, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Sign(o, planner, l.now, l.now)
	})
	if signed.State != workorder.Signed || signed.SignedBy != 1 || signed.SignedAt != assets.InstantOf(l.now) {
		t.Errorf("signed by %d at %v as %s", signed.SignedBy, signed.SignedAt, signed.State)
	}
	countedNow, _ := l.counts(tool)
	for id, per := range perJob {
		if countedNow[id] != counted[id]+per {
			t.Errorf("counter %d went from %v to %v, want %v more", id, counted[id], countedNow[id], per)
		}
	}
	l.gaveOut(signed, l.takes(final.Splice, width), there)
	if hoursNow, doneNow := l.worked(); math.Abs(hoursNow-hours-7.5) > 0.051 || doneNow != done+2 {
		t.Errorf("key figures rest on %.1f h in %d orders, want %.1f h in %d", hoursNow, doneNow, hours+7.5, done+2)
	}
	if _, j := l.job(number); j != nil {
		t.Errorf("signed, the work is still planned: %+v", j)
	}
}

func equal(a, b map[int64]float64) bool {
	for k, v := range a {
		if b[k] != v {
			return false
		}
	}
	return len(a) == len(b)
}

// siblingOf is another splice whose law rests on failures of the same cohort; 0: there is none.
func siblingOf(f *web.Fleet, of *due.Forecast) int64 {
	for _, x := range f.Forecasts {
		if x.SpliceID != of.SpliceID && x.Key == of.Key && x.NoLife == "" && !x.Band.At50.IsZero() {
			return x.SpliceID
		}
	}
	return 0
}

// madeBy is a splice with the number of the order that made it.
type madeBy struct {
	assets.Splice
	order int64
}

// newestOn is the running splice under the number of another in its belt.
func (l *loop) newestOn(old assets.Splice) madeBy {
	l.t.Helper()
	for _, s := range l.fleet().Register.SplicesOf(old.BeltID) {
		if s.Number == old.Number && s.Ended == nil {
			list, _, err := l.front.OrderList(l.t.Context(), assets.PlantScope(1), 1, web.OrderFilter{SpliceID: s.ID, Limit: 5})
			must(l.t, err)
			if len(list) == 0 {
				l.t.Fatalf("no order made splice %d", s.ID)
			}
			return madeBy{s, list[0].Number}
		}
	}
	l.t.Fatalf("no splice %s runs in belt %d", old.Number, old.BeltID)
	return madeBy{}
}

// failedAtItsAge holds the observation of a failed life against the ages the clocks showed when it failed.
func (l *loop) failedAtItsAge(old assets.Splice, was cohort.Life, stood due.Standing) {
	l.t.Helper()
	is := l.lifeOf(old.ID)
	if is.Running || is.Outcome != cohort.Failed || is.Key != was.Key {
		l.t.Errorf("failed, it counts as %+v", is)
	}
	for clock, age := range map[cohort.Clock]due.Figure{cohort.RunHours: stood.Age.RunHours, cohort.Passes: stood.Age.Passes} {
		o, ok := is.On(clock)
		if !ok || !age.Known {
			continue
		}
		at := o.Life
		if o.Event == life.Interval {
			at = o.Upper
		}
		if math.Abs(at-age.Value) > 1e-6*age.Value+0.5 {
			l.t.Errorf("it failed at %v on clock %v, and had run %v", at, clock, age.Value)
		}
	}
}

// standsInTheFigures records how long the conveyor stood and holds the figures against the sums of what is recorded.
func (l *loop) standsInTheFigures(v *visitor, old assets.Splice, order int64) {
	l.t.Helper()
	tag := l.h.tagOf(l.t, old.ConveyorID)
	zone := l.fleet().Register.Plant.Location()
	v.submit("/plants/1/standstills/new", "Record the standstill", map[string]string{"conveyor": tag, "cause": "splice", "from_at": l.now.Add(-2 * time.Hour).In(zone).Format("2006-01-02T15:04"),
		"until_at": l.now.In(zone).Format("2006-01-02T15:04"), "order": strconv.FormatInt(order, 10)}, http.StatusOK)
	all, err := stops.Standstills(l.t.Context(), l.h.db, assets.PlantScope(1), 1, 0, plantdbNow)
	must(l.t, err)
	sum := 0.0
	for _, s := range all {
		sum += s.UntilAt.Time().Sub(s.FromAt.Time()).Hours()
	}
	if all[0].ConveyorID != old.ConveyorID || all[0].SpliceID != old.ID || all[0].OrderID == 0 || all[0].UntilAt.Time().Sub(all[0].FromAt.Time()) != 2*time.Hour {
		l.t.Errorf("recorded %+v, want two hours by splice %d", all[0], old.ID)
	}
	figures := l.figures()
	if got, err := strconv.ParseFloat(figures["Mean time to restoration"][0], 64); err != nil || math.Abs(got-sum/float64(len(all))) > 0.051 {
		l.t.Errorf("mean time to restoration is %q, want %.2f h of %d standstills", figures["Mean time to restoration"][0], sum/float64(len(all)), len(all))
	}
	var required, failed, planned float64
	var n int
	if _, err := fmt.Sscanf(figures["Availability"][1], "%f h required of %d conveyors, %f h down by failures, %f h for planned work", &required, &n, &failed, &planned); err != nil {
		l.t.Fatal(err)
	}
	if got, err := strconv.ParseFloat(figures["Availability"][0], 64); err != nil || math.Abs(got-100*(required-failed-planned)/required) > 0.01 || failed < 2 && failed > sum {
		l.t.Errorf("availability is %q of %.1f h required, %.1f and %.1f h down", figures["Availability"][0], required, failed, planned)
	}
}

// gaveOut holds the ledger's lines of a signed order against its template, and the shelves against the ledger.
func (l *loop) gaveOut(o workorder.Order, takes, there map[int64]assets.Quantity) {
	l.t.Helper()
	ledger, err := l.front.Ledger(l.t.Context(), assets.PlantScope(1), 1, 0, 0, 200)
	must(l.t, err)
	given := map[int64]assets.Quantity{}
	for _, line := range ledger.Lines {
		if line.OrderID == o.ID {
			given[line.ItemID] -= line.Quantity
		}
	}
	if len(given) == 0 || len(takes) == 0 {
		l.t.Fatalf("the order took %v by the ledger, its template says %v", given, takes)
	}
	done, err := l.front.Changed(l.t.Context(), assets.PlantScope(1), o)
	must(l.t, err)
	made, ended := 0, 0
	for _, s := range done.Splices {
		made, ended = made+boolInt(s.MadeOrderID == o.ID), ended+boolInt(s.RetiredOrderID == o.ID)
	}
	if len(done.Taken) != len(given) || made != 1 || ended != 1 {
		l.t.Errorf("the sheet tells %d lines of stock and %d splices made, %d ended; want %d, 1 and 1", len(done.Taken), made, ended, len(given))
	}
	now, _ := l.onHand()
	for item, q := range takes {
		if given[item] != min(q, there[item]) {
			l.t.Errorf("item %d: the ledger gave %v, the template says %v of %v there", item, given[item], q, there[item])
		}
		if now[item] != there[item]-given[item] {
			l.t.Errorf("item %d: %v lie there, want %v less %v", item, now[item], there[item], given[item])
		}
	}
}

func boolInt(is bool) int {
	if is {
		return 1
	}
	return 0
}

// plantdbNow is what is so and known now.
var plantdbNow = plantdb.AsOf{}

func (h *house) tagOf(t *testing.T, conveyor int64) string {
	t.Helper()
	c, err := registry.Conveyor(t.Context(), h.db, assets.JobScope(), conveyor, plantdbNow)
	must(t, err)
	return c.Tag
}

func (h *house) widthOf(t *testing.T, belt int64) float64 {
	t.Helper()
	b, err := registry.Belt(t.Context(), h.db, assets.JobScope(), belt, plantdbNow)
	must(t, err)
	return b.WidthM
}
