package horizon

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/schedule/plan"
	"carryside/schedule/plan/plantest"
)

func TestAMoveSaysWhatItBreaksAndWhatWouldHelp(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants[0].Orders[0].At = &Placement{StopID: 101}
	in.Plants[0].Orders[1].At = &Placement{StopID: 102}
	s := Lay(in)
	now, broken := s.Settle(t.Context(), s.Standing())
	if len(broken) != 0 {
		t.Fatalf("%+v", broken)
	}
	if now[1].Start.IsZero() || len(now[1].Crew) != 2 || len(now[1].Kit) != 1 {
		t.Errorf("what a hand left open is not filled in: %+v", now[1])
	}
	a := s.Ask(t.Context(), now, Move{OrderID: 2, StopID: 101})
	if a.Fits || len(a.Why) == 0 || len(a.Help) == 0 {
		t.Fatalf("23 h fit into 14 h: %+v", a)
	}
	if a.Booked.Work != 23*time.Hour || a.Booked.Long != 14*time.Hour {
		t.Errorf("booked %s of %s", a.Booked.Work, a.Booked.Long)
	}
	// Both jobs one after the other, 30 min to isolate, 20 min to restart; told as every screen tells a stretch of time.
	more := 11*60 + 12*60 + 50 - 14*60
	if help := strings.ReplaceAll(strings.Join(a.Help, "; "), "\u00a0", " "); !strings.HasPrefix(help, "9 h 50 min more in the stop of 12 Dec, until ") {
		t.Errorf("help %q names no stop longer by %d min", help, more)
	}
	// The help is true: with the stop longer by so much the order fits.
	in.Plants[0].Stops[0].End = in.Plants[0].Stops[0].End.Add(time.Duration(more) * time.Minute)
	if b := Lay(in).Ask(t.Context(), now, Move{OrderID: 2, StopID: 101}); !b.Fits {
		t.Errorf("with %d min more it does not fit either: %v", more, b.Why)
	}
	in.Plants[0].Stops[0].End = in.Plants[0].Stops[0].End.Add(-time.Minute)
	if b := Lay(in).Ask(t.Context(), now, Move{OrderID: 2, StopID: 101}); b.Fits {
		t.Errorf("%d min were not the least: one less fits as well", more)
	}
}

func TestAMoveThatFitsSaysWhatItCosts(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants[0].Orders[2].At = &Placement{StopID: 102}
	s := Lay(in)
	now, _ := s.Settle(t.Context(), s.Standing())
	a := s.Ask(t.Context(), now, Move{OrderID: 1, StopID: 101})
	if !a.Fits || a.After[1].StopID != 101 {
		t.Fatalf("%+v", a.Why)
	}
	if got := s.Cost(a.After).Total() - s.Cost(now).Total(); got != a.More.Total() || a.More.Setup != 100 || a.More.LeftOut >= 0 {
		t.Errorf("more %+v, reckoned %d", a.More, got)
	}
	if out := s.Ask(t.Context(), a.After, Move{OrderID: 1}); !out.Fits || out.More.Total() != -a.More.Total() {
		t.Errorf("taking it out again: %+v, want %d back", out.More, a.More.Total())
	}
	for name, m := range map[string]Move{"a line that runs": {3, 101}, "no stop": {1, 999}} {
		if b := s.Ask(t.Context(), now, m); b.Fits || len(b.Why) == 0 {
			t.Errorf("%s: %+v", name, b)
		}
	}
}

func TestLockedOrdersStay(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants[0].Orders[0].At = &Placement{StopID: 101, Start: at(z, "2026-12-12 07:00")}
	in.Plants[0].Orders[0].Locked = true
	s := Lay(in)
	now, _ := s.Settle(t.Context(), s.Standing())
	if a := s.Ask(t.Context(), now, Move{OrderID: 1, StopID: 102}); a.Fits || !strings.Contains(a.Why[0], "locked") {
		t.Errorf("%+v", a.Why)
	}
	if p := s.Placements(solved(t, s)); p[1].StopID != 101 || !p[1].Start.Equal(at(z, "2026-12-12 07:00")) {
		t.Errorf("a locked order is planned to %+v", p[1])
	}
}

// The stop of a locked order was moved by a day: the order is named with its hours of before, stays in its stop, and does not keep a re-plan from
// finding a plan for the others.
func TestALockedOrderStaysInAStopThatWasMoved(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants[0].Orders[0].At, in.Plants[0].Orders[0].Locked = &Placement{StopID: 101, Start: at(z, "2026-12-11 07:00")}, true
	s := Lay(in)
	now, broken := s.Settle(t.Context(), s.Standing())
	if len(broken) != 1 || broken[0].Why[0] != "order 412 is set for 11 Dec 07:00, outside the stop as it is now" || !s.Astray(1, now[1]) {
		t.Errorf("%+v stands %+v", broken, now[1])
	}
	if p := s.Placements(solved(t, s)); p[1].StopID != 101 || s.Astray(1, p[1]) || p[2].StopID != 102 {
		t.Errorf("planned %+v", p)
	}
}

func TestStopsWhoseOrdersDoNotGoTogetherAreNamed(t *testing.T) {
	z := zone(t, "Europe/Oslo")
	in := quay(z)
	in.Plants[0].Orders[0].At = &Placement{StopID: 101}
	in.Plants[0].Orders[1].At = &Placement{StopID: 101}
	s := Lay(in)
	now, broken := s.Settle(t.Context(), s.Standing())
	if len(broken) != 1 || broken[0].StopID != 101 || len(broken[0].Why) == 0 {
		t.Fatalf("%+v", broken)
	}
	if now[1].Start.IsZero() || now[2].Start.IsZero() {
		t.Error("they cannot be drawn")
	}
	if left := s.Check(now, []int64{101}); len(left) != 1 {
		t.Errorf("check finds %+v", left)
	}
}

// drawn is a small random plant; its stops and work are some minutes long, so that every plan can be tried.
func drawn(rng *rand.Rand) *Inputs {
	from := time.Date(2026, 11, 25, 6, 40, 0, 0, time.UTC)
	in := &Inputs{Title: "drawn", From: from, Until: from.Add(40 * time.Minute), Plants: []Plant{{ID: 1, Name: "A", Zone: time.UTC}, {ID: 2, Name: "B", Zone: time.UTC}}, Ways: []Way{{1, 2, 1 + rng.IntN(3)}}}
	always := []Span{{in.From, in.Until}}
	for i := range in.Plants {
		p := &in.Plants[i]
		p.Groups = []Group{{ID: int64(10 + i), Name: "g", IsolateMin: rng.IntN(2), RestartMin: rng.IntN(2), SetupCost: float64(rng.IntN(3) * 10)}}
		for k := range 2 {
			p.Conveyors = append(p.Conveyors, Conveyor{ID: int64(100*i + k + 1), LineID: int64(k), GroupID: int64(10+i) * int64(rng.IntN(2)), Tag: fmt.Sprintf("%c%d", 'C'+i, k)})
		}
		for k, start := 0, rng.IntN(4); k < 2; k++ {
			end := start + 3 + rng.IntN(4)
			p.Stops = append(p.Stops, Stop{ID: int64(1000 + 10*i + k), LineID: int64(0), Start: from.Add(time.Duration(start) * time.Minute), End: from.Add(time.Duration(end) * time.Minute), Name: fmt.Sprintf("s%d%d", i, k)})
			start = end + rng.IntN(3)
		}
	}
	for k := range 3 {
		p := &in.Plants[rng.IntN(2)]
		o := Order{ID: int64(k + 1), Number: int64(k + 1), ConveyorID: p.Conveyors[rng.IntN(2)].ID, DurationMin: 1 + rng.IntN(3), Crew: []CrewNeed{{int64(7 * rng.IntN(2)), 1}}, Isolation: rng.IntN(2) == 0,
			Date: Date{Due: from.Add(time.Duration(rng.IntN(20)) * time.Minute), Planned: 20, Unplanned: 20 + 90*24*60*float64(rng.IntN(3)), PerDay: 1440 * float64(rng.IntN(2))}}
		if rng.IntN(2) == 0 {
			o.Kit = []KitNeed{{"press", 800, 0}}
		}
		if rng.IntN(3) == 0 {
			o.Stock = []StockNeed{{50, 1}}
		}
		if rng.IntN(3) == 0 {
			o.At = &Placement{StopID: p.Stops[rng.IntN(2)].ID}
		}
		p.Orders = append(p.Orders, o)
	}
	in.People = []Person{{ID: 1, Name: "x", Home: 1, Tickets: []Ticket{{ID: 7, Name: "splice"}}, Available: always, Callout: 5}, {ID: 2, Name: "y", Home: 2, Available: always}}
	in.Kit = []Kit{{ID: 1, Name: "P", Class: "press", WidthMM: 900, Home: 1, Mobile: rng.IntN(2) == 0, Available: always}}
	in.Stock = []Item{{ID: 50, Name: "cloth", OnHand: int64(rng.IntN(2)), Arrivals: []Arrival{{from.Add(5 * time.Minute), 1}}}}
	return in
}

// Small random plants: the plan is what trying everything finds, comes back as placements that cost the same, and moves are
// answered as the judge would.
func TestSmallPlantsAgainstTryingEverything(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	fits, refused := 0, 0
	for n := range 60 {
		s := Lay(drawn(rng))
		p := solved(t, s)
		if least, ok := plantest.Cheapest(s.Case); !ok || p.Cost != least {
			t.Errorf("plant %d: cost %d, trying everything finds %d %v", n, p.Cost, least, ok)
		}
		at := s.Placements(p)
		if got := s.Cost(at).Total(); got != p.Cost || got != plantest.Cost(s.Case, p.Placed) {
			t.Errorf("plant %d: placements cost %d, the plan %d", n, got, p.Cost)
		}
		for _, o := range s.orders {
			for _, stop := range s.stops {
				a := s.Ask(t.Context(), at, Move{o.ID, stop.ID})
				if !a.Fits {
					refused++
					if len(a.Why) == 0 {
						t.Errorf("plant %d: order %d is refused without a reason", n, o.ID)
					}
					if w, j := s.windowOf[stop.ID], s.jobOf[o.ID]; n%3 == 0 {
						if _, may := s.Case.Jobs[j].OptionIn(w); may {
							rest := s.moved(at, o.ID)
							q := s.part(w, s.jobsIn(w, rest), rest, lockStop, j)
							if least, ok := plantest.Cheapest(q.c); ok && least < mustStand {
								t.Errorf("plant %d: order %d is refused by stop %d, trying everything finds room: %v", n, o.ID, stop.ID, a.Why)
							}
						}
					}
					continue
				}
				fits++
				for _, broken := range judged(s, a.After) {
					t.Errorf("plant %d: order %d to stop %d: %s", n, o.ID, stop.ID, broken)
				}
			}
		}
	}
	if fits < 50 || refused < 50 {
		t.Errorf("%d moves fit and %d are refused: the plants drawn show too little", fits, refused)
	}
}

// judged holds placements against the independent judge of plans.
func judged(s *Sheet, at Placements) []string {
	p := &plan.Plan{Status: plan.Feasible, Cost: s.Cost(at).Total()}
	for j, o := range s.orders {
		v, ok := at[o.ID]
		if !ok {
			p.LeftOut = append(p.LeftOut, plan.LeftOut{Job: j, Reasons: []string{"moved"}})
			continue
		}
		placed := plan.Placed{Job: j, Window: s.windowOf[v.StopID], Start: s.above(v.Start)}
		for _, m := range v.Crew {
			placed.Crew = append(placed.Crew, plan.Member{Technician: s.people[m.PersonID], Qualification: s.tickets[m.QualificationID]})
		}
		for _, k := range v.Kit {
			placed.Tools = append(placed.Tools, s.kit[k])
		}
		p.Placed = append(p.Placed, placed)
	}
	return plantest.Judge(s.Case, p)
}

// large is 60 conveyors over 26 weeks: a stop of each of six lines every other week, an order for two conveyors in three.
func large() *Inputs {
	from := time.Date(2026, 11, 25, 6, 40, 0, 0, time.UTC)
	in := &Inputs{Title: "large", From: from, Until: from.AddDate(0, 0, 182), Plants: []Plant{{ID: 1, Name: "A", Zone: time.UTC}}}
	always := []Span{{in.From, in.Until}}
	p := &in.Plants[0]
	for i := range 60 {
		p.Conveyors = append(p.Conveyors, Conveyor{ID: int64(i + 1), LineID: int64(i%6 + 1), Tag: fmt.Sprintf("C%d", i+1)})
	}
	for week := range 26 {
		for line := range 6 {
			if (week+line)%2 == 0 {
				start := from.AddDate(0, 0, 7*week+line).Truncate(24 * time.Hour).Add(30 * time.Hour)
				p.Stops = append(p.Stops, Stop{ID: int64(100*week + line + 1), LineID: int64(line + 1), Start: start, End: start.Add(time.Duration(10+4*(week%4)) * time.Hour), Name: fmt.Sprintf("%d of %d", line, week)})
			}
		}
	}
	for i := range 120 {
		p.Orders = append(p.Orders, Order{ID: int64(i + 1), Number: int64(i + 1), ConveyorID: int64(i%60 + 1), DurationMin: 120 + 60*(i%8), Crew: []CrewNeed{{7, 2}, {0, i % 2}}, Kit: []KitNeed{{"press", 800 + 100*(i%6), 0}}, Isolation: true,
			Date: Date{Due: from.AddDate(0, 0, (i*37)%180), Planned: 10_000, Unplanned: 40_000, PerDay: 5}})
	}
	for i := range 12 {
		q := Person{ID: int64(i + 1), Name: fmt.Sprintf("P%d", i), Home: 1, Available: always}
		if i%2 == 0 {
			q.Tickets = []Ticket{{ID: 7, Name: "splice"}}
		}
		in.People = append(in.People, q)
	}
	for i := range 3 {
		in.Kit = append(in.Kit, Kit{ID: int64(i + 1), Name: fmt.Sprintf("Press %d", i), Class: "press", WidthMM: 1000 + 200*i, Home: 1, Mobile: true, Available: always})
	}
	return in
}

// Twenty orders ask for one stop of 18 hours with two presses wide enough: what goes in beside others is answered at once, as is what
// finds no room any more, and setting all anew is given up when nobody waits for it any longer.
func TestAMoveIntoACrowdedStopIsAnsweredWhileSomebodyWaits(t *testing.T) {
	s := Lay(large())
	now, stop := Placements{}, int64(205)
	fits, refused := 0, 0
	for _, o := range s.orders {
		if !slices.Contains(s.Stops(o.ID), stop) {
			continue
		}
		ctx, done := context.WithTimeout(t.Context(), 10*time.Millisecond)
		a := s.Ask(ctx, now, Move{o.ID, stop})
		done()
		if !a.Fits {
			refused++
			if len(a.Why) == 0 {
				t.Errorf("order %d is refused without a reason", o.ID)
			}
			continue
		}
		fits++
		for _, broken := range judged(s, a.After) {
			t.Errorf("order %d: %s", o.ID, broken)
		}
		now = a.After
	}
	if fits < 7 || refused < 3 {
		t.Errorf("%d orders fit and %d are refused: the stop is not crowded", fits, refused)
	}
}

// What hands placed in a crowded stop without naming anybody is filled in without trying all ways at once.
func TestHandsLeftOpenInACrowdedStopAreFilledIn(t *testing.T) {
	in := large()
	for i := range in.Plants[0].Orders {
		if o := &in.Plants[0].Orders[i]; o.ConveyorID%6 == 5 && o.ID <= 42 {
			o.At = &Placement{StopID: 205}
		}
	}
	s := Lay(in)
	ended, end := context.WithCancel(t.Context())
	end()
	at, broken := s.Settle(ended, s.Standing())
	if len(broken) > 0 || len(at) < 5 {
		t.Fatalf("%d stand, broken: %+v", len(at), broken)
	}
	for _, wrong := range judged(s, at) {
		t.Error(wrong)
	}
}

// BenchmarkAsk asks every order of 60 conveyors over 26 weeks for every stop of its line, with the plan a search found and with the
// first stops crowded as far as they hold, within the time a page gives it.
func BenchmarkAsk(b *testing.B) {
	s := Lay(large())
	p, err := plan.Solve(b.Context(), s.Case, plan.Settings{Seed: 1, Steps: 500, Plain: true})
	if err != nil {
		b.Fatal(err)
	}
	b.Run("planned", func(b *testing.B) { askAll(b, s, s.Placements(p)) })
	crowded := Placements{}
	for _, o := range s.orders {
		for _, stop := range s.Stops(o.ID) {
			if a := askWithin(b.Context(), s, crowded, Move{o.ID, stop}); a.Fits {
				crowded = a.After
				break
			}
		}
	}
	b.Run("crowded", func(b *testing.B) { askAll(b, s, crowded) })
}

func askWithin(ctx context.Context, s *Sheet, at Placements, m Move) Answer {
	ctx, done := context.WithTimeout(ctx, 40*time.Millisecond)
	defer done()
	return s.Ask(ctx, at, m)
}

func askAll(b *testing.B, s *Sheet, at Placements) {
	var slowest time.Duration
	asked, fits, over := 0, 0, 0
	for b.Loop() {
		for _, o := range s.orders {
			for _, stop := range s.Stops(o.ID) {
				began := time.Now()
				if askWithin(b.Context(), s, at, Move{o.ID, stop}).Fits {
					fits++
				}
				took := time.Since(began)
				slowest = max(slowest, took)
				if asked++; took > 100*time.Millisecond {
					over++
				}
			}
		}
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/1000/float64(asked), "ms/move")
	b.ReportMetric(float64(slowest.Milliseconds()), "slowest-ms")
	b.ReportMetric(float64(over), "over-100-ms")
	b.ReportMetric(float64(fits)/float64(asked), "fits/move")
}
