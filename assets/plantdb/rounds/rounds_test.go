package rounds_test

import (
	"errors"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/rounds"
)

// office is a plant with somebody who walks and a phone.
type office struct {
	*plantdbtest.Site
	t      *testing.T
	person int64
	device assets.Device
}

func open(t *testing.T) *office {
	t.Helper()
	o := &office{Site: plantdbtest.Plant(t), t: t, person: 1}
	o.must(o.change(func(c *plantdb.Change) (err error) {
		p := assets.Person{Name: "M. Okkerdal", Role: assets.RoleTechnician}
		if err := registry.AddPerson(c, &p); err != nil {
			return err
		}
		o.person, c.Act.PersonID = p.ID, p.ID
		o.device, err = rounds.Know(c, "phone-1", "a  phone")
		return err
	}))
	return o
}

func (o *office) must(err error) {
	o.t.Helper()
	if err != nil {
		o.t.Fatal(err)
	}
}

func (o *office) change(fn func(c *plantdb.Change) error) error {
	act := plantdb.Act{PersonID: o.person, Origin: plantdb.Screen, Action: "a round", Now: plantdbtest.Noon, Plants: []int64{o.Plant.ID}, Company: true}
	return o.DB.Change(o.t.Context(), act, fn)
}

func (o *office) send(revision int64, grade int, text string) (assets.RoundEntry, bool, error) {
	e := assets.RoundEntry{PlantID: o.Plant.ID, ClientID: "made-on-phone", Revision: revision, DeviceID: o.device.ID, DeviceAt: assets.InstantOf(plantdbtest.Noon), Clock: assets.ClocksAsked}
	f := assets.Finding{PlantID: o.Plant.ID, ConveyorID: o.Conveyor.ID, BeltID: o.Belt.ID, SpliceID: o.Splice.ID, Target: "S1", FoundAt: assets.InstantOf(plantdbtest.Noon),
		FoundDay: assets.DayOf(plantdbtest.Noon), Category: "edge damage", Grade: &grade, Text: text}
	var again bool
	err := o.change(func(c *plantdb.Change) (err error) {
		next, found := e, f
		again, err = rounds.Take(c, &next, &found)
		if err == nil {
			e = next
		}
		return err
	})
	return e, again, err
}

func (o *office) findings() []assets.Finding {
	o.t.Helper()
	all, err := registry.FindingsOfPlant(o.t.Context(), o.DB, o.Scope, o.Plant.ID, 0, plantdb.AsOf{}, 0)
	o.must(err)
	return all
}

func TestRoundEntrySentAgainIsOneFindingAndAlteredLaterIsItsCorrection(t *testing.T) {
	o := open(t)
	for i, want := range []bool{false, true, true} {
		_, again, err := o.send(1, 2, "a cut of 20 mm")
		o.must(err)
		if again != want {
			t.Errorf("sent %d: again %v, want %v", i, again, want)
		}
	}
	if _, again, err := o.send(2, 4, "a cut of 90 mm"); err != nil || again {
		t.Fatalf("altered: again %v, %v", again, err)
	}
	if _, again, err := o.send(1, 2, "a cut of 20 mm"); err != nil || !again {
		t.Errorf("the first again, late: again %v, %v", again, err)
	}
	all := o.findings()
	if len(all) != 1 || *all[0].Grade != 4 || all[0].Text != "a cut of 90 mm" {
		t.Errorf("%d findings, the first %+v; want one with what was entered last", len(all), all[0])
	}
}

// TestGradeThatEndsInAnOrderIsNotTakenBackFromAPhone holds that whoever entered a grade 3 or 4 cannot lower it by sending the
// entry again: refusing it is another's to sign. What does correct says why in the journal.
func TestGradeThatEndsInAnOrderIsNotTakenBackFromAPhone(t *testing.T) {
	o := open(t)
	_, _, err := o.send(1, 2, "a cut of 20 mm")
	o.must(err)
	_, _, err = o.send(2, 4, "torn across")
	o.must(err)
	var reason string
	o.must(o.DB.SQL(t.Context()).Raw("SELECT reason FROM journal_entries WHERE plant_id = ? ORDER BY position DESC LIMIT 1", o.Plant.ID).Scan(&reason).Error)
	if reason == "" {
		t.Error("the correction stands in the journal without a reason")
	}
	for revision, grade := range []int{0, 2} {
		var bad assets.Invalid
		if _, _, err := o.send(int64(3+revision), grade, "was nothing"); !errors.As(err, &bad) {
			t.Errorf("lowered to %d: %v", grade, err)
		}
	}
	if _, _, err := o.send(9, 3, "torn half across"); err != nil {
		t.Errorf("still among those that end in an order: %v", err)
	}
	if all := o.findings(); len(all) != 1 || *all[0].Grade != 3 {
		t.Errorf("%d findings, the first %+v", len(all), all[0])
	}
}

func TestEndedPhoneIsTakenNothingFrom(t *testing.T) {
	o := open(t)
	if err := o.change(func(c *plantdb.Change) error { return rounds.EndDevice(c, o.person+1, o.device.ID) }); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("somebody else's phone: %v", err)
	}
	o.must(o.change(func(c *plantdb.Change) error { return rounds.EndDevice(c, o.person, o.device.ID) }))
	if _, _, err := o.send(1, 2, "a cut"); !errors.Is(err, rounds.ErrEnded) {
		t.Errorf("sent from an ended phone: %v", err)
	}
	if n := len(o.findings()); n != 0 {
		t.Errorf("%d findings from an ended phone", n)
	}
}

func TestPhoneIsKnownOnceWithItsLastContact(t *testing.T) {
	o := open(t)
	o.must(o.change(func(c *plantdb.Change) error {
		d, err := rounds.Know(c, "phone-1", "another name")
		if d.ID != o.device.ID || d.Name != "a phone" {
			t.Errorf("known as %+v", d)
		}
		return err
	}))
	for _, off := range []time.Duration{time.Hour, -time.Minute} {
		o.must(rounds.NoteContact(t.Context(), o.DB, o.device.ID, assets.InstantOf(plantdbtest.Noon), off))
	}
	seen, err := rounds.Devices(t.Context(), o.DB, o.person)
	o.must(err)
	if len(seen) != 1 || seen[0].OffsetUS != -60_000_000 || seen[0].LastAt != assets.InstantOf(plantdbtest.Noon) {
		t.Errorf("phones %+v", seen)
	}
}

func TestGradeFourWaitsUntilANamedPersonAnswersAndTheClockUntilItIsSaid(t *testing.T) {
	o := open(t)
	e, _, err := o.send(1, 4, "torn across")
	o.must(err)
	waiting := func() (unanswered, asked int) {
		u, err := rounds.Unanswered(t.Context(), o.DB, o.Scope, o.Plant.ID)
		o.must(err)
		a, err := rounds.Asked(t.Context(), o.DB, o.Scope, o.Plant.ID)
		o.must(err)
		return len(u), len(a)
	}
	if u, a := waiting(); u != 1 || a != 1 {
		t.Fatalf("%d unanswered, %d asked", u, a)
	}
	future := assets.InstantOf(plantdbtest.Noon.Add(time.Hour))
	var bad assets.Invalid
	if err := o.change(func(c *plantdb.Change) error { return rounds.SetClock(c, e, assets.ClockPhone, future, "") }); !errors.As(err, &bad) {
		t.Errorf("a time to come is taken: %v", err)
	}
	early := assets.InstantOf(plantdbtest.Noon.Add(-time.Hour))
	o.must(o.change(func(c *plantdb.Change) error {
		if err := rounds.SetClock(c, e, assets.ClockPhone, early, assets.DayOf(plantdbtest.Noon)); err != nil {
			return err
		}
		return rounds.Answer(c, e)
	}))
	if u, a := waiting(); u != 0 || a != 0 {
		t.Errorf("%d unanswered, %d asked after both were said", u, a)
	}
	if at := o.findings()[0].FoundAt; at != early {
		t.Errorf("found at %v, want the phone's time", at)
	}
	kept, err := rounds.Entry(t.Context(), o.DB, o.Scope, o.Plant.ID, e.ID)
	o.must(err)
	if kept.AnsweredBy != o.person || kept.ClockBy != o.person {
		t.Errorf("answered by %d, clock by %d", kept.AnsweredBy, kept.ClockBy)
	}
}

func TestRoundWalksLinesOfItsOwnPlant(t *testing.T) {
	o := open(t)
	var bad assets.Invalid
	if err := o.change(func(c *plantdb.Change) error {
		return rounds.Save(c, &assets.Round{PlantID: o.Plant.ID, Name: " ", LineIDs: []int64{999}})
	}); !errors.As(err, &bad) || bad["name"] == "" || bad["lines"] == "" {
		t.Errorf("a round without name along a line of nowhere: %v", err)
	}
	line := assets.Line{PlantID: o.Plant.ID, Name: "North", Position: 1}
	r := assets.Round{PlantID: o.Plant.ID, Name: "North  side"}
	o.must(o.change(func(c *plantdb.Change) error {
		if err := registry.SaveLine(c, &line, 0); err != nil {
			return err
		}
		r.LineIDs = []int64{line.ID}
		return rounds.Save(c, &r)
	}))
	got, err := rounds.Round(t.Context(), o.DB, o.Scope, o.Plant.ID, r.ID)
	o.must(err)
	if got.Name != "North side" || len(got.LineIDs) != 1 {
		t.Errorf("kept %+v", got)
	}
	if _, err := rounds.Round(t.Context(), o.DB, assets.PlantScope(o.Plant.ID+1), o.Plant.ID, r.ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("another plant sees it: %v", err)
	}
}

func TestLeadEndsAPhoneThatFindingsOfThePlantCameFrom(t *testing.T) {
	o := open(t)
	end := func(c *plantdb.Change) error { return rounds.EndDeviceSeen(c, o.Plant.ID, o.device.ID) }
	if err := o.change(end); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a phone that sent nothing here was ended: %v", err)
	}
	_, _, err := o.send(1, 1, "frayed")
	o.must(err)
	o.person = 0 // whoever ends it is not whose phone it is
	o.must(o.change(end))
	seen, err := rounds.DevicesSeen(t.Context(), o.DB, o.Scope, o.Plant.ID)
	o.must(err)
	if len(seen) != 1 || seen[0].EndedAt == nil {
		t.Fatalf("seen %+v", seen)
	}
	if _, _, err := o.send(2, 2, "worse"); !errors.Is(err, rounds.ErrEnded) {
		t.Errorf("an ended phone sent: %v", err)
	}
	if other, err := rounds.DevicesSeen(t.Context(), o.DB, assets.PlantScope(o.Plant.ID+1), o.Plant.ID); err == nil {
		t.Errorf("another plant sees %+v", other)
	}
}
