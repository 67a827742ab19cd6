package desk_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stores"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// sheeted is a workshop with an order that is placed on its kit, and a technician who may sign.
type sheeted struct {
	*workshop
	signer assets.Person
	order  workorder.Order
	made   *assets.JobMade
}

func newSheeted(t *testing.T) *sheeted { return newSheetedOf(t, workorder.KindRetension) }

func newSheetedOf(t *testing.T, kind workorder.Kind) *sheeted {
	t.Helper()
	s := &sheeted{workshop: newWorkshop(t), signer: assets.Person{Name: "M. Okkerdal", Role: assets.RoleTechnician}}
	act := s.Act(s.now)
	act.Company, act.Customers = true, []int64{s.Customer.ID}
	err := s.DB.Change(t.Context(), act, func(c *plantdb.Change) error {
		if err := registry.AddPerson(c, &s.signer); err != nil {
			return err
		}
		return registry.GiveGrant(c, &assets.Grant{PersonID: s.signer.ID, CustomerID: s.Customer.ID, Role: assets.RoleTechnician})
	})
	if err != nil {
		t.Fatal(err)
	}
	o := workorder.Order{PlantID: s.Site.Plant.ID, Kind: kind, Title: string(kind), Reason: "slack", State: workorder.Raised, RaisedAt: assets.InstantOf(s.now), ConveyorID: s.Conveyor.ID, SpliceID: s.Splice.ID, BeltID: s.Belt.ID}
	number, err := s.desk.Raise(t.Context(), s.Scope, web.Act{PersonID: 1, Action: "raise", Now: s.now}, o, workorder.Event{})
	if err != nil {
		t.Fatal(err)
	}
	by := workorder.Actor{PersonID: 1, Roles: []assets.Role{assets.RoleLead}}
	s.take(t, number, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Accept(o, by, s.now, s.now)
	})
	s.take(t, number, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Place(o, by, s.now, s.now, workorder.Placement{Where: "the round", WindowDay: "2026-11-26", People: []int64{s.signer.ID}, Tools: []int64{s.press.ID, s.cutter.ID}})
	})
	file, err := s.desk.Order(t.Context(), s.Scope, s.Site.Plant.ID, number)
	if err != nil {
		t.Fatal(err)
	}
	s.order = file.Order
	return s
}

// sends lets a signature come in as the screens take it, and returns why it waits.
func (s *sheeted) sends(t *testing.T, clientID string, right bool, counted assets.JobCounted) (g assets.JobSignature, again bool, why string) {
	t.Helper()
	now := assets.InstantOf(s.now)
	g = assets.JobSignature{PlantID: s.order.PlantID, OrderID: s.order.ID, ClientID: clientID, PersonID: s.signer.ID, DeviceAt: now, BeganAt: now, DoneAt: now, Hours: 1, Note: "done", NumberRight: right, Counted: counted, Made: s.made}
	if !right {
		g.Why = "the PIN that came with it is wrong"
	}
	act := web.Act{PersonID: s.signer.ID, Action: "sign", Now: s.now}
	sent := &web.SheetSent{Device: "tablet", DeviceName: "tablet", Order: s.order, Signature: &g}
	again, err := s.desk.TakeSheet(t.Context(), s.Scope, act, sent)
	if err != nil {
		t.Fatal(err)
	}
	if why = g.Why; why == "" && g.State == assets.SignatureWaits {
		if why, err = s.desk.SignSheet(t.Context(), s.Scope, act, g, 0, ""); err != nil {
			t.Fatal(err)
		}
	}
	return g, again, why
}

func (s *sheeted) state(t *testing.T) workorder.Order {
	t.Helper()
	file, err := s.desk.Order(t.Context(), s.Scope, s.Site.Plant.ID, s.order.Number)
	if err != nil {
		t.Fatal(err)
	}
	return file.Order
}

func (s *sheeted) waiting(t *testing.T) []web.SignatureFile {
	t.Helper()
	all, err := s.desk.SignaturesWaiting(t.Context(), s.Scope, s.Site.Plant.ID)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestASignatureFromADeviceSignsTheOrderAndBooksWhatTheSheetCounted(t *testing.T) {
	s := newSheeted(t)
	counted := assets.JobCounted{Wear: map[assets.Wear]float64{assets.WearPressCycles: 3, assets.WearPadCutsB: 41}, Taken: map[int64]assets.Quantity{s.cement.ID: 1500}}
	if _, again, why := s.sends(t, "sig-1", true, counted); again || why != "" {
		t.Fatalf("again %v, why %q", again, why)
	}
	o := s.state(t)
	if o.State != workorder.Signed || o.SignedBy != s.signer.ID || o.DoneHours != 1 {
		t.Fatalf("%s by %d, %g h; want it started, done and signed by whoever signed", o.State, o.SignedBy, o.DoneHours)
	}
	if _, again, _ := s.sends(t, "sig-1", true, counted); !again {
		t.Error("sent twice, it is taken twice")
	}
	kits, err := s.desk.KitRoom(t.Context(), s.Scope, s.Site.Plant.ID, s.now)
	if err != nil || kits.Counters[s.press.ID][0].Count != 3 || kits.Counters[s.cutter.ID][0].Count != 0 || kits.Counters[s.cutter.ID][1].Count != 41 {
		t.Errorf("%+v (%v); want the 3 cycles and the 41 cuts that were counted, on the side that is up", kits.Counters, err)
	}
	room, err := s.desk.Room(t.Context(), s.Scope, s.Site.Plant.ID, s.now)
	if err != nil || room.Outlooks[0].OnHand != 6000-1500 {
		t.Errorf("%v on hand (%v); want 4.5 l after the 1.5 l that were taken", room.Outlooks[0].OnHand, err)
	}
	if n := len(s.waiting(t)); n != 0 {
		t.Errorf("%d signatures wait", n)
	}
}

func TestTwoPressesOnOneOrderEachGetTheirOwnCycles(t *testing.T) {
	s := newSheeted(t)
	second := assets.Kit{Name: "Press 2", Class: assets.KitPress}
	act := s.Act(s.now)
	act.Company = true
	cycles := assets.KitCounter{Counts: assets.WearPressCycles, Limit: 400, PerJob: 1, Class: assets.ClassD}
	if err := s.DB.Change(t.Context(), act, func(c *plantdb.Change) error {
		if err := stores.SaveKit(c, &second); err != nil {
			return err
		}
		cycles.KitID = second.ID
		return stores.SaveCounter(c, &cycles)
	}); err != nil {
		t.Fatal(err)
	}
	by := workorder.Actor{PersonID: 1, Roles: []assets.Role{assets.RoleLead}}
	s.take(t, s.order.Number, func(o workorder.Order) (workorder.Order, workorder.Event, error) {
		return workorder.Place(o, by, s.now, s.now, workorder.Placement{Where: "the round", WindowDay: "2026-11-26", People: []int64{s.signer.ID}, Tools: []int64{s.press.ID, second.ID}})
	})
	s.order = s.state(t)
	kits, err := s.desk.KitRoom(t.Context(), s.Scope, s.Site.Plant.ID, s.now)
	if err != nil {
		t.Fatal(err)
	}
	counted := assets.JobCounted{Counters: map[int64]float64{kits.Counters[s.press.ID][0].ID: 0, cycles.ID: 3}} // the first stayed on the truck
	if _, _, why := s.sends(t, "sig-1", true, counted); why != "" {
		t.Fatal(why)
	}
	kits, err = s.desk.KitRoom(t.Context(), s.Scope, s.Site.Plant.ID, s.now)
	if err != nil || kits.Counters[s.press.ID][0].Count != 0 || kits.Counters[second.ID][0].Count != 3 {
		t.Errorf("%+v (%v); want no cycle on the press that was not used and 3 on the other", kits.Counters, err)
	}
}

func TestAPermitNotedInAPitWithoutNetworkKeepsItsClockOffsetAndArrival(t *testing.T) {
	s := newSheeted(t)
	by := web.Act{PersonID: s.signer.ID, Action: "note", Now: s.now}
	off := int64(-7 * time.Minute / time.Microsecond) // its clock was behind at the last contact
	noted := assets.InstantOf(s.now.Add(-3 * time.Hour))
	sent := &web.SheetSent{Device: "tablet", DeviceName: "tablet", Order: s.order, Offset: -8 * time.Minute, DeviceAt: noted, OffsetUS: &off, Head: &web.SheetHead{Isolation: "MCC 2, breaker 14", Permit: "P-118"}}
	for _, want := range []bool{false, true} {
		if again, err := s.desk.TakeSheet(t.Context(), s.Scope, by, sent); err != nil || again != want {
			t.Fatalf("again %v, %v; want %v", again, err, want)
		}
	}
	sheet := func() assets.JobSheet {
		t.Helper()
		f, err := s.desk.Sheet(t.Context(), s.Scope, s.order, "", "")
		if err != nil {
			t.Fatal(err)
		}
		return f.Sheet
	}
	h := sheet()
	if h.Permit != "P-118" || h.HeadDeviceID == nil || h.HeadDeviceAt == nil || *h.HeadDeviceAt != noted || h.HeadOffsetUS == nil || *h.HeadOffsetUS != off || h.HeadSentOffsetUS == nil ||
		*h.HeadSentOffsetUS != (-8*time.Minute).Microseconds() || h.HeadArrivedAt == nil || *h.HeadArrivedAt != assets.InstantOf(s.now) {
		t.Fatalf("%+v; want device, its time, both offsets and the arrival", h)
	}
	s.now = s.now.Add(time.Minute)
	by.Now = s.now
	if err := s.desk.NoteSteps(t.Context(), s.Scope, by, s.order, "", "", web.SheetHead{Isolation: "MCC 2, breaker 14", Permit: "P-119"}, nil); err != nil {
		t.Fatal(err)
	}
	if h := sheet(); h.Permit != "P-119" || h.HeadDeviceAt != nil || h.HeadArrivedAt != nil {
		t.Errorf("%+v; noted on a screen, it still carries a device's clock", h)
	}
}

// The permit was changed at noon on the tablet; at one o'clock the phone of the early shift comes out of the pit with that of the morning. It is kept, twice
// sent once, and the one of noon stands.
func TestAPermitOfTheMorningArrivingLateDoesNotReplaceTheOneOfNoon(t *testing.T) {
	s := newSheeted(t)
	noon := s.now
	send := func(device, client, permit string, noted time.Time, offset time.Duration, want bool) {
		t.Helper()
		s.now = s.now.Add(time.Minute)
		sent := &web.SheetSent{Device: device, DeviceName: device, ClientID: client, Order: s.order, Offset: offset, DeviceAt: assets.InstantOf(noted.Add(offset)), Head: &web.SheetHead{Isolation: "MCC 2, breaker 14", Permit: permit}}
		if again, err := s.desk.TakeSheet(t.Context(), s.Scope, web.Act{PersonID: s.signer.ID, Action: "note", Now: s.now}, sent); err != nil || again != want {
			t.Fatalf("%s: again %v, %v; want %v", permit, again, err, want)
		}
	}
	stands := func(permit string, late ...string) {
		t.Helper()
		f, err := s.desk.Sheet(t.Context(), s.Scope, s.order, "", "")
		if err != nil {
			t.Fatal(err)
		}
		if f.Sheet.Permit != permit {
			t.Errorf("permit %q stands, want %q", f.Sheet.Permit, permit)
		}
		var kept []string
		for _, e := range f.Entries {
			if e.StepKey == assets.HeadStep && e.DeviceAt != nil && f.People[e.PersonID] != "" {
				kept = append(kept, e.Note)
			}
		}
		if !slices.Equal(kept, late) {
			t.Errorf("kept of what came late: %q, want %q", kept, late)
		}
	}
	send("tablet", "t-1", "P-119", noon, 0, false)
	send("phone", "p-1", "P-118", noon.Add(-4*time.Hour), 5*time.Hour, false) // its clock is five hours ahead
	stands("P-119", "isolation point MCC 2, breaker 14; permit P-118")
	send("phone", "p-1", "P-118", noon.Add(-4*time.Hour), 5*time.Hour, true)
	stands("P-119", "isolation point MCC 2, breaker 14; permit P-118")
	send("phone", "p-2", "P-120", noon.Add(90*time.Second), 5*time.Hour, false)
	send("tablet", "t-1", "P-119", noon, 0, true) // its first answer was lost
	stands("P-120", "isolation point MCC 2, breaker 14; permit P-118")
}

// A shared tablet sends what two crews signed with wrong PINs: each signature waits with the order it is under.
func TestSignaturesOfTwoOrdersThatWaitEachNameTheirOwn(t *testing.T) {
	s := newSheeted(t)
	first := s.order
	s.sends(t, "sig-1", false, assets.JobCounted{})
	o := workorder.Order{PlantID: s.Site.Plant.ID, Kind: workorder.KindInspection, Title: "look", Reason: "asked", State: workorder.Raised, RaisedAt: assets.InstantOf(s.now), ConveyorID: s.Conveyor.ID}
	number, err := s.desk.Raise(t.Context(), s.Scope, web.Act{PersonID: 1, Action: "raise", Now: s.now}, o, workorder.Event{})
	if err != nil {
		t.Fatal(err)
	}
	file, err := s.desk.Order(t.Context(), s.Scope, s.Site.Plant.ID, number)
	if err != nil {
		t.Fatal(err)
	}
	s.order = file.Order
	s.sends(t, "sig-2", false, assets.JobCounted{})
	under := map[string]int64{}
	for _, w := range s.waiting(t) {
		under[w.Signature.ClientID] = w.Order.Number
	}
	if len(under) != 2 || under["sig-1"] != first.Number || under["sig-2"] != number {
		t.Errorf("waiting under %v, want sig-1 under %d and sig-2 under %d", under, first.Number, number)
	}
}

func TestAWrongPINGoesToTheLeadAndNothingIsLost(t *testing.T) {
	s := newSheeted(t)
	if _, _, why := s.sends(t, "sig-1", false, assets.JobCounted{}); !strings.Contains(why, "PIN") {
		t.Fatalf("why %q", why)
	}
	if o := s.state(t); o.State != workorder.Placed {
		t.Fatalf("the order is %s", o.State)
	}
	waits := s.waiting(t)
	if len(waits) != 1 || waits[0].By != s.signer.Name || waits[0].Signature.Note != "done" {
		t.Fatalf("%+v waits", waits)
	}
	lead := web.Act{PersonID: 1, Action: "decide", Now: s.now}
	if why, err := s.desk.SignSheet(t.Context(), s.Scope, lead, waits[0].Signature, 1, "seen them sign"); err != nil || why != "" {
		t.Fatalf("%q, %v", why, err)
	}
	if o := s.state(t); o.State != workorder.Signed || o.SignedBy != s.signer.ID {
		t.Errorf("answered for by the lead, it is %s by %d", o.State, o.SignedBy)
	}
	g, err := s.desk.Signature(t.Context(), s.Scope, s.Site.Plant.ID, waits[0].Signature.ID)
	if err != nil || g.Signature.DecidedBy != 1 || g.Signature.DecidedWhy != "seen them sign" || g.Signature.State != assets.SignatureTaken {
		t.Errorf("%+v, %v", g.Signature, err)
	}
}

func TestALapsedTicketGoesToTheLeadUntilItIsRenewed(t *testing.T) {
	s := newSheeted(t)
	ticket := assets.Qualification{Name: "tensioning", OrderKinds: []string{string(workorder.KindRetension)}}
	held := assets.PersonQualification{FromDay: "2025-01-01", UntilDay: "2026-11-24"}
	act := s.Act(s.now)
	act.Company, act.Customers = true, []int64{s.Customer.ID}
	write := func(fn func(c *plantdb.Change) error) {
		t.Helper()
		if err := s.DB.Change(t.Context(), act, fn); err != nil {
			t.Fatal(err)
		}
	}
	write(func(c *plantdb.Change) error {
		if err := crew.SaveQualification(c, &ticket); err != nil {
			return err
		}
		held.PersonID, held.QualificationID = s.signer.ID, ticket.ID
		return crew.SaveTicket(c, &held)
	})
	if _, _, why := s.sends(t, "sig-1", true, assets.JobCounted{}); !strings.Contains(why, "ran out on 2026-11-24") {
		t.Fatalf("why %q", why)
	}
	o := s.state(t)
	if o.State != workorder.Placed {
		t.Fatalf("refused, the order is %s: half of it was written", o.State)
	}
	waits := s.waiting(t)
	if len(waits) != 1 || !strings.Contains(waits[0].Signature.Why, "ran out") {
		t.Fatalf("%+v waits", waits)
	}
	lead := web.Act{PersonID: 1, Action: "decide", Now: s.now}
	if why, err := s.desk.SignSheet(t.Context(), s.Scope, lead, waits[0].Signature, 1, "renewed"); err != nil || why == "" {
		t.Fatalf("not renewed, it stands: %q, %v", why, err)
	}
	write(func(c *plantdb.Change) error {
		return crew.SaveTicket(c, &assets.PersonQualification{PersonID: s.signer.ID, QualificationID: ticket.ID, FromDay: "2026-11-25"})
	})
	if why, err := s.desk.SignSheet(t.Context(), s.Scope, lead, waits[0].Signature, 1, "renewed in time"); err != nil || why != "" {
		t.Fatalf("renewed: %q, %v", why, err)
	}
	if o := s.state(t); o.State != workorder.Signed {
		t.Errorf("it is %s", o.State)
	}
}

func TestASignatureFromADeviceRemakesTheSplice(t *testing.T) {
	s := newSheetedOf(t, workorder.KindResplice)
	if _, _, why := s.sends(t, "sig-0", true, assets.JobCounted{}); !strings.Contains(why, "how the old splice ended") {
		t.Errorf("without a word on the old splice: %q", why)
	}
	s.made = &assets.JobMade{Retired: assets.RetiredPlanned, ShorterM: 0.9}
	if _, _, why := s.sends(t, "sig-1", true, assets.JobCounted{}); why != "" {
		t.Fatal(why)
	}
	fleet, err := s.desk.Fleet(t.Context(), s.Scope, s.Site.Plant.ID, s.now)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := fleet.Register.Belt(s.Belt.ID)
	made := fleet.Register.SplicesOn(s.Conveyor.ID)
	if len(made) != 1 || made[0].ID == s.Splice.ID || made[0].MadeByID != s.signer.ID || made[0].Form != s.Splice.Form || math.Abs(b.LoopLengthM-(s.Belt.LoopLengthM-0.9)) > 1e-9 {
		t.Errorf("%+v on a loop of %g m; want the old splice's like, by whoever signed, on a loop 0.9 m shorter than %g", made, b.LoopLengthM, s.Belt.LoopLengthM)
	}
}

func TestASignerWhoseGrantEndedOnTheWayGoesToTheLeadAndNothingIsLost(t *testing.T) {
	s := newSheeted(t)
	signedAt := s.now.Add(time.Hour)
	grants, err := registry.GrantsOf(t.Context(), s.DB, s.signer.ID, assets.InstantOf(s.now))
	if err != nil || len(grants) != 1 {
		t.Fatalf("%+v, %v", grants, err)
	}
	act := s.Act(s.now.Add(2 * time.Hour))
	act.Company = true
	if err := s.DB.Change(t.Context(), act, func(c *plantdb.Change) error { return registry.TakeGrant(c, grants[0].ID) }); err != nil {
		t.Fatal(err)
	}
	if may, err := s.desk.MayHaveSigned(t.Context(), s.Scope, s.order.PlantID, s.signer.ID); err != nil || !may {
		t.Fatalf("their signature is turned away on arrival (%v)", err)
	}
	if may, _ := s.desk.MayHaveSigned(t.Context(), s.Scope, s.order.PlantID, s.signer.ID+1000); may {
		t.Error("somebody who never belonged to the plant may have signed")
	}
	s.now = s.now.Add(3 * time.Hour) // it arrives
	sends := func(clientID string, doneAt time.Time) string {
		at := assets.InstantOf(doneAt)
		g := assets.JobSignature{PlantID: s.order.PlantID, OrderID: s.order.ID, ClientID: clientID, PersonID: s.signer.ID, DeviceAt: at, BeganAt: at, DoneAt: at, Hours: 1, Note: "by the contractor", NumberRight: true}
		if _, err := s.desk.TakeSheet(t.Context(), s.Scope, web.Act{PersonID: 1, Action: "sign", Now: s.now}, &web.SheetSent{Device: "tablet", DeviceName: "tablet", Order: s.order, Signature: &g}); err != nil {
			t.Fatal(err)
		}
		why, err := s.desk.SignSheet(t.Context(), s.Scope, web.Act{PersonID: 1, Action: "sign", Now: s.now}, g, 0, "")
		if err != nil {
			t.Fatal(err)
		}
		return why
	}
	for _, why := range []string{sends("after it ended", s.now), sends("while held", signedAt)} {
		if !strings.Contains(why, "no grant") {
			t.Fatalf("it waits because %q", why)
		}
	}
	if o := s.state(t); o.State != workorder.Placed {
		t.Fatalf("the order is %s: half of it was written", o.State)
	}
	waits := s.waiting(t)
	if len(waits) != 2 || waits[0].Signature.Note != "by the contractor" || waits[0].Signature.Hours != 1 {
		t.Fatalf("%+v waits", waits)
	}
	lead := web.Act{PersonID: 1, Action: "decide", Now: s.now}
	if why, err := s.desk.SignSheet(t.Context(), s.Scope, lead, waits[0].Signature, 1, "seen"); err != nil || !strings.Contains(why, "no grant") {
		t.Fatalf("signed after the grant had ended, it stands: %q, %v", why, err)
	}
	if why, err := s.desk.SignSheet(t.Context(), s.Scope, lead, waits[1].Signature, 1, "the work was done while they were still with us"); err != nil || why != "" {
		t.Fatalf("signed while the grant was held: %q, %v", why, err)
	}
	if o := s.state(t); o.State != workorder.Signed || o.SignedBy != s.signer.ID {
		t.Errorf("it is %s by %d; want it signed by whoever held the grant when they signed", o.State, o.SignedBy)
	}
}
