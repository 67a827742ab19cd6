package workorder

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
)

var (
	morning = time.Date(2026, 11, 25, 6, 40, 0, 0, time.UTC)
	today   = assets.Day("2026-11-25")
	planner = Actor{PersonID: 1, Roles: []assets.Role{assets.RolePlanner}}
	fitter  = Actor{PersonID: 2, Roles: []assets.Role{assets.RoleTechnician}}
	auditor = Actor{PersonID: 3, Roles: []assets.Role{assets.RoleAuditor}}
)

// remake412 is an order of a rule as it stands in one state, with everything that state has seen.
func remake412(s State) Order {
	o := Order{PlantID: 1, Number: 412, Kind: KindResplice, State: s, ConveyorID: 5, BeltID: 6, SpliceID: 7,
		Title: "remake splice 2", RuleID: 3, LatestDay: "2026-12-13", Crew: 2, WorkHours: 11,
		RaisedAt: assets.InstantOf(morning.AddDate(0, 0, -7))}
	o.ID = 90
	if s == Placed || s == Started || s == Done || s == Signed {
		o.WindowID, o.PlacedPeople = 4, []int64{2, 9}
	}
	if s == Started || s == Done || s == Signed {
		o.StartedAt = assets.InstantOf(morning.Add(-5 * time.Hour))
	}
	if s == Done || s == Signed {
		o.DoneAt = assets.InstantOf(morning.Add(-2 * time.Hour))
	}
	return o
}

// take does one action with everything it demands.
func take(o Order, a Action, by Actor) (Order, Event, error) {
	switch a {
	case ToAccept:
		return Accept(o, by, morning, morning)
	case ToPlace:
		return Place(o, by, morning, morning, Placement{WindowID: 8, WindowDay: "2026-12-12", People: []int64{2, 9}, Kit: "press 2"})
	case ToTakeOut:
		return TakeOut(o, by, morning, morning, "the stop was refused")
	case ToStart:
		return Start(o, by, morning, morning)
	case ToFinish:
		return Finish(o, by, morning, morning, Work{Hours: 9.5, Note: "five plies"})
	case ToSign:
		return Sign(o, by, morning, morning)
	case ToWithdraw:
		return Withdraw(o, by, morning, morning, today, Withdrawal{Why: "measured in the round", HoldsUntil: "2027-01-10"})
	case ToPutOff:
		return PutOff(o, by, morning, morning, "2027-01-10", "no stop before")
	case ToWait:
		return Wait(o, by, morning, morning, 91, 240, []Order{{Version: assets.Version{ID: 91}, Number: 415}})
	}
	panic("no such action")
}

// drawing is the drawing of the package's comment as pairs, written down apart from the table.
var drawing = map[State]map[State]bool{
	Raised:    {Accepted: true, Withdrawn: true},
	Accepted:  {Placed: true, Withdrawn: true},
	Placed:    {Placed: true, Accepted: true, Started: true, Withdrawn: true},
	Started:   {Done: true, Withdrawn: true},
	Done:      {Signed: true},
	Signed:    {},
	Withdrawn: {},
}

func TestEveryPairOfStatesIsAsDrawn(t *testing.T) {
	all := append(slices.Clone(States), Withdrawn)
	for _, from := range all {
		reached := map[State]bool{}
		for _, s := range Steps {
			o := remake412(from)
			after, e, err := take(o, s.Action, planner)
			switch {
			case err != nil && (after.State != from || e.What != ""):
				t.Errorf("%s from %s was refused (%v) and still changed the order", s.Action, from, err)
			case err == nil && s.To != "":
				reached[after.State] = true
			case err == nil && after.State != from:
				t.Errorf("%s moved an order from %s to %s", s.Action, from, after.State)
			}
		}
		for _, to := range all {
			if reached[to] != drawing[from][to] {
				t.Errorf("%s to %s: steps say %v, the drawing says %v", from, to, reached[to], drawing[from][to])
			}
		}
	}
}

func TestARefusedStepSaysWhichStatesAllowIt(t *testing.T) {
	_, _, err := Place(remake412(Signed), planner, morning, morning, Placement{WindowID: 1, WindowDay: today, People: []int64{2}})
	if want := "order 412 is signed; only an order that is accepted or placed can be placed in a stop"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %q", err, want)
	}
}

func TestWhoMayTakeWhichStep(t *testing.T) {
	tests := []struct {
		who  string
		by   Actor
		from State
		want []Action
	}{
		{"planner with a raised order", planner, Raised, []Action{ToAccept, ToWithdraw, ToPutOff, ToWait}},
		{"technician with a raised order", fitter, Raised, nil},
		{"technician with a placed order", fitter, Placed, []Action{ToStart}},
		{"technician with a started order", fitter, Started, []Action{ToFinish}},
		{"technician with work done", fitter, Done, []Action{ToSign}},
		{"auditor with anything", auditor, Started, nil},
		{"planner with a signed order", planner, Signed, nil},
	}
	for _, tt := range tests {
		if got := Possible(remake412(tt.from), tt.by); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.who, got, tt.want)
		}
	}
	for _, s := range Steps {
		if _, _, err := take(remake412(s.From[0]), s.Action, auditor); !errors.Is(err, assets.ErrForbidden) {
			t.Errorf("%s by an auditor: %v, want it not allowed", s.Action, err)
		}
	}
}

func TestWhatAStepDemands(t *testing.T) {
	soon := morning.Add(time.Hour)
	tests := []struct {
		name  string
		field string
		do    func() error
	}{
		{"placed without a window or a word where", "window", func() error {
			_, _, err := Place(remake412(Accepted), planner, morning, morning, Placement{WindowDay: today, People: []int64{2}})
			return err
		}},
		{"started in a year that is a slip of the keys", "at", func() error {
			_, _, err := Start(remake412(Placed), fitter, morning.AddDate(-25, 0, 0), morning)
			return err
		}},
		{"placed with nobody", "people", func() error {
			_, _, err := Place(remake412(Accepted), planner, morning, morning, Placement{WindowID: 4, WindowDay: today})
			return err
		}},
		{"placed after the latest date without putting off", "window", func() error {
			_, _, err := Place(remake412(Accepted), planner, morning, morning, Placement{WindowID: 4, WindowDay: "2026-12-14", People: []int64{2}})
			return err
		}},
		{"started in the future", "at", func() error { _, _, err := Start(remake412(Placed), fitter, soon, morning); return err }},
		{"done before it was started", "at", func() error {
			_, _, err := Finish(remake412(Started), fitter, morning.Add(-6*time.Hour), morning, Work{Hours: 1})
			return err
		}},
		{"done in less than no time", "hours", func() error {
			_, _, err := Finish(remake412(Started), fitter, morning, morning, Work{Hours: -1})
			return err
		}},
		{"signed by nobody", "name", func() error {
			_, _, err := Sign(remake412(Done), Actor{Roles: fitter.Roles}, morning, morning)
			return err
		}},
		{"signed before it was done", "at", func() error {
			_, _, err := Sign(remake412(Done), fitter, morning.Add(-3*time.Hour), morning)
			return err
		}},
		{"withdrawn without a reason", "why", func() error {
			_, _, err := Withdraw(remake412(Raised), planner, morning, morning, today, Withdrawal{Why: " ", InError: true})
			return err
		}},
		{"withdrawn with no date until which it holds", "holds_until", func() error {
			_, _, err := Withdraw(remake412(Raised), planner, morning, morning, today, Withdrawal{Why: "not now"})
			return err
		}},
		{"withdrawn until yesterday", "holds_until", func() error {
			_, _, err := Withdraw(remake412(Raised), planner, morning, morning, today, Withdrawal{Why: "not now", HoldsUntil: "2026-11-24"})
			return err
		}},
		{"withdrawn in error and until a date", "holds_until", func() error {
			_, _, err := Withdraw(remake412(Raised), planner, morning, morning, today, Withdrawal{Why: "x", InError: true, HoldsUntil: "2026-12-24"})
			return err
		}},
		{"put off past the latest date without a reason", "why", func() error {
			_, _, err := PutOff(remake412(Accepted), planner, morning, morning, "2026-12-20", "")
			return err
		}},
		{"put off without a name", "name", func() error {
			_, _, err := PutOff(remake412(Accepted), Actor{Roles: planner.Roles}, morning, morning, "2026-12-20", "no stop")
			return err
		}},
		{"put off to a date that is none", "latest_day", func() error {
			_, _, err := PutOff(remake412(Accepted), planner, morning, morning, "20 Dec", "no stop")
			return err
		}},
		{"raised with a kind nobody knows", "kind", func() error {
			_, _, err := Raise(Order{PlantID: 1, Title: "look", Kind: "mend"}, planner, morning, morning, today)
			return err
		}},
		{"raised with a latest date gone by", "latest_day", func() error {
			_, _, err := Raise(Order{PlantID: 1, Title: "look", Kind: KindInspection, LatestDay: "2026-11-24"}, planner, morning, morning, today)
			return err
		}},
	}
	for _, tt := range tests {
		var wrong assets.Invalid
		if err := tt.do(); !errors.As(err, &wrong) || wrong[tt.field] == "" {
			t.Errorf("%s: %v, want a sentence at %q", tt.name, err, tt.field)
		}
	}
}

func TestTimeOfWorkAndTimeOfEntryAreTwoFacts(t *testing.T) {
	done := morning.Add(-90 * time.Minute)
	o, e, err := Finish(remake412(Started), fitter, done, morning, Work{Hours: 3.5, Note: " tips closed "})
	if err != nil {
		t.Fatal(err)
	}
	if o.DoneAt.Time() != done || e.At.Time() != done || e.EnteredAt.Time() != morning {
		t.Errorf("done %v, event at %v entered %v; want %v, %v, %v", o.DoneAt, e.At, e.EnteredAt, done, done, morning)
	}
	if !strings.Contains(e.Before, `"State":"started"`) || !strings.Contains(e.After, `"DoneNote":"tips closed"`) || strings.Contains(e.After, "Title") {
		t.Errorf("event keeps %s before and %s after; want exactly what changed", e.Before, e.After)
	}
}

func TestPuttingOffKeepsNameAndReason(t *testing.T) {
	o, e, err := PutOff(remake412(Accepted), planner, morning, morning, "2027-01-10", "no stop before January")
	if err != nil {
		t.Fatal(err)
	}
	if o.PutOffBy != 1 || o.PutOffWhy != "no stop before January" || o.LatestDay != "2027-01-10" || o.State != Accepted || e.What != "put off" {
		t.Errorf("got %+v, event %+v", o, e)
	}
	sooner, e, err := PutOff(remake412(Accepted), planner, morning, morning, "2026-12-01", "")
	if err != nil || sooner.PutOffBy != 0 || e.What != "changed" {
		t.Errorf("an earlier date: %+v %+v %v; want it changed without a reason", sooner, e, err)
	}
}

func TestOverdueIsComputed(t *testing.T) {
	tests := []struct {
		name  string
		state State
		today assets.Day
		days  int
	}{
		{"on its latest date", Placed, "2026-12-13", 0},
		{"a day after", Placed, "2026-12-14", 1},
		{"over the turn of the year", Raised, "2027-01-02", 20},
		{"done in time, not signed", Done, "2027-01-02", 0},
		{"withdrawn", Withdrawn, "2027-01-02", 0},
	}
	for _, tt := range tests {
		o := remake412(tt.state)
		if got := OverdueDays(o, tt.today); got != tt.days || Overdue(o, tt.today) != (tt.days > 0) {
			t.Errorf("%s: %d days overdue, want %d", tt.name, got, tt.days)
		}
	}
}

func TestWhatAnOrderStillLacks(t *testing.T) {
	short := remake412(Placed)
	short.PlacedPeople = []int64{2}
	for _, tt := range []struct {
		name string
		o    Order
		want []string
	}{
		{"just raised", remake412(Raised), []string{"not accepted", "no stop"}},
		{"accepted", remake412(Accepted), []string{"no stop"}},
		{"placed with one of two", short, []string{"1 of 2 people"}},
		{"placed with its crew", remake412(Placed), nil},
		{"being done", remake412(Started), nil},
	} {
		if got := Missing(tt.o); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}

func TestAnOrderWaitsForAnotherButNeverInARing(t *testing.T) {
	one := func(id, number, after int64) Order {
		o := Order{Version: assets.Version{ID: id}, Number: number, State: Accepted}
		if after != 0 {
			o.AfterID = &after
		}
		return o
	}
	open := []Order{one(90, 412, 0), one(91, 415, 92), one(92, 420, 0), one(93, 421, 90)}
	o, e, err := Wait(remake412(Accepted), planner, morning, morning, 91, 240, open)
	if id, wait := o.WaitsFor(); err != nil || id != 91 || wait != 4*time.Hour || e.Why != "waits for order 415, then 4 h" || o.State != Accepted {
		t.Errorf("waits for %d, %s, %q, %v", id, wait, e.Why, err)
	}
	if o, _, err = Wait(o, planner, morning, morning, 0, 0, open); err != nil || o.AfterID != nil {
		t.Errorf("let go: %+v, %v", o.AfterID, err)
	}
	for name, bad := range map[string][2]int64{"itself": {90, 0}, "by way of another": {93, 0}, "an order that is not open": {99, 0}, "below nothing": {91, -1}, "a year": {91, 366 * 24 * 60}} {
		if _, _, err := Wait(remake412(Accepted), planner, morning, morning, bad[0], bad[1], open); err == nil {
			t.Errorf("waits for %s", name)
		}
	}
	if _, _, err := Wait(remake412(Started), planner, morning, morning, 91, 0, open); err == nil {
		t.Error("an order that is begun waits")
	}
}
