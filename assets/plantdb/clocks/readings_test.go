package clocks_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/schedule/clock"
)

var (
	bg   = context.Background()
	noon = plantdbtest.Noon
)

// daysAgo is an instant whole days before the moment of entry.
func daysAgo(n int) assets.Instant { return assets.InstantOf(noon.AddDate(0, 0, -n)) }

// enter adds a reading and returns what became of it.
func enter(t *testing.T, s *plantdbtest.Site, at assets.Instant, shownH float64) clocks.Outcome {
	t.Helper()
	var o clocks.Outcome
	s.Change(t, noon, func(c *plantdb.Change) (err error) {
		o, err = clocks.AddReading(c, clocks.Entered{ConveyorID: s.Conveyor.ID, At: at, ShownH: shownH, Origin: "screen"})
		return err
	})
	return o
}

func line(t *testing.T, s *plantdbtest.Site, asOf plantdb.AsOf) clock.Line {
	t.Helper()
	readings, err := clocks.Readings(bg, s.DB, s.Scope, s.Conveyor.ID, clocks.Span{}, asOf)
	if err != nil {
		t.Fatal(err)
	}
	meters, err := clocks.Meters(bg, s.DB, s.Scope, s.Conveyor.ID, asOf)
	if err != nil {
		t.Fatal(err)
	}
	return clock.NewLine(clocks.Points(meters, readings))
}

func hoursAt(t *testing.T, l clock.Line, at assets.Instant) float64 {
	t.Helper()
	h, ok := l.At(at.Time())
	if !ok {
		t.Fatalf("no hours at %s", at)
	}
	return h
}

func TestReadingThatRunsBackwardsIsHeld(t *testing.T) {
	s := plantdbtest.Plant(t)
	enter(t, s, daysAgo(30), 1000)
	enter(t, s, daysAgo(20), 1100)
	if o := enter(t, s, daysAgo(20), 1100); o.Class != clock.Duplicate {
		t.Errorf("the same reading again: %q, want a repeat", o.Class)
	}
	o := enter(t, s, daysAgo(10), 40)
	if o.Class != clock.Backwards || o.HeldID == 0 {
		t.Fatalf("a reading of 40 h after 1100 h: %+v, want it held", o)
	}
	if o := enter(t, s, daysAgo(19), 1140); o.Class != clock.MoreThanADay {
		t.Errorf("40 h in a day: %q, want it held", o.Class)
	}
	held, err := clocks.Held(bg, s.DB, s.Scope, s.Plant.ID)
	if err != nil || len(held) != 2 || held[0].Question == "" {
		t.Fatalf("held: %+v, %v; want two with their questions", held, err)
	}
	if last, _ := line(t, s, plantdb.AsOf{}).Last(); last.Hours != 1100 {
		t.Errorf("the line ends at %v h; a held reading must not be used", last.Hours)
	}
}

// decide takes a decision on a held reading.
func decide(s *plantdbtest.Site, id int64, d clocks.Decision) error {
	return s.Try(noon, func(c *plantdb.Change) error { return clocks.Decide(c, id, d) })
}

func TestHeldReadingExplainedByAReplacement(t *testing.T) {
	s := plantdbtest.Plant(t)
	enter(t, s, daysAgo(30), 1000)
	enter(t, s, daysAgo(20), 1100)
	o := enter(t, s, daysAgo(10), 40)
	if err := decide(s, o.HeldID, clocks.Decision{What: clocks.DecideReplaced}); err == nil {
		t.Error("a decision without a reason is taken")
	}
	final := 1110.0
	err := decide(s, o.HeldID, clocks.Decision{What: clocks.DecideReplaced, Why: "new drive", From: daysAgo(18), PreviousFinalH: &final})
	if err != nil {
		t.Fatal(err)
	}
	if h := hoursAt(t, line(t, s, plantdb.AsOf{}), daysAgo(10)); h != 1150 {
		t.Errorf("running hours after the replacement %v, want 1110 + 40", h)
	}
	err = decide(s, o.HeldID, clocks.Decision{What: clocks.DecideLeftOut, Why: "typing error"})
	if !errors.Is(err, assets.ErrConflict) {
		t.Errorf("deciding twice: %v, want a conflict", err)
	}
	before := plantdb.AsOf{Known: 3}
	if last, _ := line(t, s, before).Last(); last.Hours != 1000 {
		t.Errorf("as known after the first reading: %v h, want 1000", last.Hours)
	}
}

func TestHeldReadingThatIsRightLeavesOutTheWrongOne(t *testing.T) {
	s := plantdbtest.Plant(t)
	enter(t, s, daysAgo(30), 1000)
	enter(t, s, daysAgo(20), 1200)
	o := enter(t, s, daysAgo(10), 1150)
	if o.Class == clock.Accepted {
		t.Fatalf("1150 h after 1200 h is accepted")
	}
	if err := decide(s, o.HeldID, clocks.Decision{What: clocks.DecideAccepted, Why: "read again"}); err != nil {
		t.Fatal(err)
	}
	l := line(t, s, plantdb.AsOf{})
	if len(l.Points()) != 2 || hoursAt(t, l, daysAgo(10)) != 1150 {
		t.Errorf("points %v, want 1000 h and 1150 h", l.Points())
	}
}

// The planner sees which readings go before saying that the held one is right, and exactly those go.
func TestWhatARightReadingLeavesOutIsNamedBeforehand(t *testing.T) {
	s := plantdbtest.Plant(t)
	for days, h := range map[int]float64{30: 1000, 20: 1200, 15: 1250} {
		enter(t, s, daysAgo(days), h)
	}
	o := enter(t, s, daysAgo(10), 1150)
	out, err := clocks.LeftOutBy(bg, s.DB, s.Scope, o.HeldID)
	if err != nil || len(out) != 2 || out[0].ShownH != 1250 || out[1].ShownH != 1200 {
		t.Fatalf("named %+v, %v; want 1250 h and 1200 h", out, err)
	}
	if _, all, err := clocks.Decided(bg, s.DB, s.Scope, s.Plant.ID, 0, 10); err != nil || all != 0 {
		t.Errorf("%d decided before anybody decided, %v", all, err)
	}
	if err := decide(s, o.HeldID, clocks.Decision{What: clocks.DecideAccepted, Why: "read again"}); err != nil {
		t.Fatal(err)
	}
	left, err := clocks.Readings(bg, s.DB, s.Scope, s.Conveyor.ID, clocks.Span{From: daysAgo(40), To: daysAgo(0)}, plantdb.AsOf{})
	if err != nil || len(left) != 2 || left[0].ShownH != 1000 || left[1].ShownH != 1150 {
		t.Errorf("left are %+v, %v; want 1000 h and 1150 h", left, err)
	}
	past, all, err := clocks.Decided(bg, s.DB, s.Scope, s.Plant.ID, 0, 10)
	if err != nil || all != 1 || len(past) != 1 || past[0].DecidedFor != "read again" {
		t.Errorf("decided: %+v of %d, %v", past, all, err)
	}
	if _, err := clocks.LeftOutBy(bg, s.DB, assets.Scope{}, o.HeldID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("outside the scope: %v, want not found", err)
	}
	if rest, all, err := clocks.Decided(bg, s.DB, s.Scope, s.Plant.ID, 1, 10); err != nil || all != 1 || len(rest) != 0 {
		t.Errorf("second page: %+v of %d, %v", rest, all, err)
	}
}

func TestCounterRolledOverTwice(t *testing.T) {
	s := plantdbtest.Plant(t)
	enter(t, s, daysAgo(90), 9900)
	for _, o := range []struct {
		at    int
		shown float64
	}{{60, 100}, {30, 50}} {
		held := enter(t, s, daysAgo(o.at), o.shown)
		if held.HeldID == 0 {
			t.Fatalf("%v h is accepted", o.shown)
		}
		err := decide(s, held.HeldID, clocks.Decision{What: clocks.DecideRolledOver, Why: "four digits", RollsOverAtH: 10000})
		if o.at == 30 && err == nil {
			t.Error("9950 h in 30 days is accepted as a rollover")
		}
		if o.at == 60 && err != nil {
			t.Fatal(err)
		}
	}
	if h := hoursAt(t, line(t, s, plantdb.AsOf{}), daysAgo(60)); h != 10100 {
		t.Errorf("running hours after the rollover %v, want 10100", h)
	}
}

func TestReplacementDeclaredLateMovesLaterStretches(t *testing.T) {
	s := plantdbtest.Plant(t)
	enter(t, s, daysAgo(100), 500)
	declare := func(at assets.Instant, final float64) {
		s.Change(t, noon, func(c *plantdb.Change) error {
			return clocks.DeclareStretch(c, &assets.Meter{ConveyorID: s.Conveyor.ID, FromAt: at, Why: assets.MeterReplaced, PreviousFinalH: &final})
		})
	}
	declare(daysAgo(40), 600) // the second replacement is entered first
	enter(t, s, daysAgo(30), 100)
	declare(daysAgo(80), 520)
	again := 520.0
	var wrong assets.Invalid
	err := s.DB.Change(bg, plantdb.Act{Origin: plantdb.Screen, Action: "the form sent twice", Now: noon, Plants: []int64{s.Plant.ID}}, func(c *plantdb.Change) error {
		return clocks.DeclareStretch(c, &assets.Meter{ConveyorID: s.Conveyor.ID, FromAt: daysAgo(80), Why: assets.MeterReplaced, PreviousFinalH: &again})
	})
	if !errors.As(err, &wrong) || wrong["from_at"] == "" {
		t.Errorf("the same replacement a second time: %v, want a sentence at its time", err)
	}
	if h := hoursAt(t, line(t, s, plantdb.AsOf{}), daysAgo(30)); h != 1220 {
		t.Errorf("running hours %v, want 520 + 600 + 100", h)
	}
}

func TestCorrectedReadingAsKnownBefore(t *testing.T) {
	s := plantdbtest.Plant(t)
	enter(t, s, daysAgo(30), 1000)
	enter(t, s, daysAgo(20), 1100)
	known, err := s.DB.HeadPosition(bg, s.Plant.ID)
	if err != nil {
		t.Fatal(err)
	}
	right, wrong := 1090.0, 900.0
	s.Change(t, noon, func(c *plantdb.Change) error { return clocks.CorrectReading(c, s.Conveyor.ID, daysAgo(20), &right) })
	var bad assets.Invalid
	err = s.Try(noon, func(c *plantdb.Change) error { return clocks.CorrectReading(c, s.Conveyor.ID, daysAgo(20), &wrong) })
	if !errors.As(err, &bad) {
		t.Errorf("a correction below the reading before: %v, want a refusal", err)
	}
	if h := hoursAt(t, line(t, s, plantdb.AsOf{}), daysAgo(20)); h != 1090 {
		t.Errorf("now %v h, want 1090", h)
	}
	if h := hoursAt(t, line(t, s, plantdb.AsOf{Known: known}), daysAgo(20)); h != 1100 {
		t.Errorf("as known before the correction %v h, want 1100", h)
	}
}

func TestPlantReadingsTellTheSameHoursAsWholeHistories(t *testing.T) {
	s := plantdbtest.Plant(t)
	var readings []assets.Reading
	for d := 400; d > 0; d -= 7 {
		readings = append(readings, assets.Reading{ConveyorID: s.Conveyor.ID, At: daysAgo(d), ShownH: float64(400-d) * (10 + float64(d%3))})
	}
	s.Change(t, noon, func(c *plantdb.Change) error {
		ch, err := c.PlantChain(s.Plant.ID)
		if err != nil {
			return err
		}
		return clocks.WriteReadings(c, ch, readings)
	})
	var asked []clocks.Asked
	for d := 395; d > 20; d -= 31 {
		asked = append(asked, clocks.Asked{ConveyorID: s.Conveyor.ID, At: daysAgo(d)})
	}
	asked = append(asked, clocks.Asked{ConveyorID: s.Conveyor.ID + 1000, At: daysAgo(5)}) // of another plant: falls away
	for _, trailingH := range []float64{0, 24 * 30} {
		few, err := clocks.PlantReadings(bg, s.DB, s.Scope, s.Plant.ID, clocks.Wanted{Asked: asked, TrailingH: trailingH}, plantdb.AsOf{})
		if err != nil {
			t.Fatal(err)
		}
		if n := len(few[s.Conveyor.ID]); n >= len(readings) || len(few) != 1 {
			t.Errorf("%d readings of %d conveyors fetched, want fewer than the whole history of one", n, len(few))
		}
		whole, part := line(t, s, plantdb.AsOf{}), clock.NewLine(clocks.Points(nil, few[s.Conveyor.ID]))
		for _, a := range asked[:len(asked)-1] {
			if w, p := hoursAt(t, whole, a.At), hoursAt(t, part, a.At); w != p {
				t.Errorf("%s: %v h from the few, %v h from all", a.At, p, w)
			}
		}
		if trailingH > 0 && hoursAt(t, part, daysAgo(28)) != hoursAt(t, whole, daysAgo(28)) {
			t.Error("the trailing stretch is not whole")
		}
	}
	through, err := clocks.ReadThrough(bg, s.DB, s.Scope, s.Plant.ID)
	if err != nil || through != readings[len(readings)-1].At {
		t.Errorf("read through %s, %v; want the newest reading", through, err)
	}
}

func TestHundredThousandReadingsAreWrittenInSeconds(t *testing.T) {
	s := plantdbtest.Plant(t)
	readings := make([]assets.Reading, 100_000)
	for i := range readings {
		readings[i] = assets.Reading{ConveyorID: int64(i % 300), At: assets.Instant(i/300) * 86_400e6, ShownH: float64(i / 300)}
	}
	began := time.Now()
	s.Change(t, noon, func(c *plantdb.Change) error {
		ch, err := c.PlantChain(s.Plant.ID)
		if err != nil {
			return err
		}
		c.Compact(map[string]any{"readings": len(readings)})
		return clocks.WriteReadings(c, ch, readings)
	})
	took := time.Since(began)
	t.Logf("100,000 readings in %v", took)
	if took > 3*time.Minute { // a hang; speed is told by the benchmarks
		t.Errorf("100,000 readings took %v", took)
	}
}

func TestAHeldReadingTypedTwiceWaitsOnce(t *testing.T) {
	s := plantdbtest.Plant(t)
	enter(t, s, daysAgo(30), 1000)
	first, again := enter(t, s, daysAgo(20), 900), enter(t, s, daysAgo(20), 900)
	held, err := clocks.Held(bg, s.DB, s.Scope, s.Plant.ID)
	if err != nil || len(held) != 1 || first.HeldID == 0 || first.HeldID != again.HeldID {
		t.Errorf("%d readings wait (%v), numbers %d and %d; want one", len(held), err, first.HeldID, again.HeldID)
	}
}
