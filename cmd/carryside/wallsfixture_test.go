package main

import (
	"errors"
	"fmt"
	"io"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/attached"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/intakedb"
	"carryside/assets/plantdb/issued"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/pressing"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stops"
	"carryside/assets/plantdb/stores"
	"carryside/reports"
	"carryside/schedule/press"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
	"carryside/server"
)

// The plants of the tests of the walls: two customers, three plants. Every text of a plant carries the plant's own
// mark, a word that stands nowhere else, and behind it what would run if a page did not write it as text.

// hostile is what somebody may type into any field.
const hostile = `"><img src=x onerror=q>`

// estate is one plant of the walls' tests with a number of everything an address can name.
type estate struct {
	mark     string // word that stands in every text of the plant and nowhere else
	customer int64
	first    bool // plant of its customer
	plant    int64
	ids      map[string]int64 // by the name of the parameter: conveyor, belt, order ...
	reading  assets.Instant   // of the conveyor
	cost     string           // figure of costs as pages write it, without the thousands' space
}

// says is a text of the plant.
func (e *estate) says(field string) string { return e.mark + "x" + field + " " + hostile }

// walled is two customers with three plants: the first two of one customer.
type walled struct {
	*house
	home, sister, foreign *estate
}

func openWalls(t *testing.T) *walled {
	t.Helper()
	db := plantdbtest.Open(t)
	w := &walled{}
	ctx, act := t.Context(), plantdb.Act{Origin: plantdb.Command, Action: "set up", Now: plantDay.AddDate(-1, 0, 0), Company: true}
	must(t, db.Change(ctx, act, func(c *plantdb.Change) error {
		company := assets.Company{Name: "Brenna Belting", Zone: "Europe/Berlin", Currency: "EUR", UnitSystem: assets.UnitsSI}
		if err := registry.SaveCompany(c, &company, 0); err != nil {
			return err
		}
		if err := registry.SaveSpecification(c, &assets.Specification{Name: "EP 630/4 " + hostile, Family: "RB-EP", Carcass: hostile, Remark: hostile}, 0); err != nil {
			return err
		}
		if err := crew.SaveQualification(c, &assets.Qualification{Name: "hot vulcanising " + hostile, OrderKinds: []string{"re-splice"}, Remark: hostile}); err != nil {
			return err
		}
		if err := crew.SaveTemplate(c, &assets.WorkTemplate{OrderKind: "re-splice", DurationMin: 120, Crew: []assets.CrewNeed{{QualificationID: 1, Number: 1}}, Class: assets.ClassP, Source: hostile}); err != nil {
			return err
		}
		if err := stores.SaveItem(c, &assets.StockItem{Name: "tie gum " + hostile, Kind: assets.StockFilm, Unit: assets.UnitMetre, LeadTimeDays: 7, Class: assets.ClassD, Remark: hostile}); err != nil {
			return err
		}
		return registry.SaveSpliceKind(c, &assets.SpliceKind{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, Remark: hostile}, 0)
	}))
	must(t, firstRules(ctx, db, plantDay.AddDate(0, 0, -1)))
	numberFrom(t, db, 7191010)
	w.home = newEstate(t, db, "zqhome", 0, 3)
	numberFrom(t, db, 7291020)
	w.sister = newEstate(t, db, "zqsister", w.home.customer, 4)
	w.sister.ids["headings"] = w.home.ids["headings"]
	numberFrom(t, db, 7391030)
	w.foreign = newEstate(t, db, "zqforeign", 0, 5)
	numberFrom(t, db, 7491040)
	w.house = &house{t: t, db: db}
	h, err := server.Handler(w.serving())
	must(t, err)
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	w.base = s.URL
	return w
}

// numberFrom lets the next number of every kind of thing be n, so that the numbers of each plant can be told apart.
func numberFrom(t *testing.T, db *plantdb.DB, n int64) {
	t.Helper()
	act := plantdb.Act{Origin: plantdb.Command, Action: "number", Now: plantDay.AddDate(-1, 0, 0), Company: true}
	must(t, db.Change(t.Context(), act, func(c *plantdb.Change) error {
		for _, kind := range []string{"customers", "plants", "lines", "conveyors", "belts", "splices", "findings", "contacts", "contracts", "meters", "held_readings", "orders", "order_events", "occurrences",
			"rules", "stop_windows", "stop_recurrences", "travel_times", "crew_members", "person_qualifications", "absences", "isolation_groups", "people", "import_mappings", "attachments", "press_records", "kit", "kit_counters", "stock_lots", "supply_orders", "supply_order_numbers", "rounds", "round_entries", "standstills", "job_sheets", "job_entries", "job_signatures"} {
			n := n
			if kind == "stop_recurrences" { // there is room for 32 767 of a customer
				n = 30000 + n%1000
			}
			if err := c.Tx().Exec("INSERT INTO id_counters (kind, next) VALUES (?, ?) ON CONFLICT (kind) DO UPDATE SET next = excluded.next", kind, n).Error; err != nil {
				return err
			}
		}
		return nil
	}))
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// newEstate sets a plant up with n orders and one or more of everything else.
func newEstate(t *testing.T, db *plantdb.DB, mark string, customer int64, n int) *estate {
	t.Helper()
	e := &estate{mark: mark, customer: customer, first: customer == 0, ids: map[string]int64{}, cost: fmt.Sprintf("4%d71", 100+n)}
	early := plantDay.AddDate(-1, 0, 0)
	act := plantdb.Act{Origin: plantdb.Command, Action: e.says("action"), Now: early, Company: true}
	if customer != 0 {
		act.Customers = []int64{customer}
	}
	must(t, db.Change(t.Context(), act, func(c *plantdb.Change) error {
		if e.customer == 0 {
			owner := assets.Customer{Name: e.says("customer"), Remark: e.says("customerremark")}
			if err := registry.AddCustomer(c, &owner); err != nil {
				return err
			}
			e.customer = owner.ID
		}
		p := assets.Plant{CustomerID: e.customer, Name: e.says("plant"), Zone: "Europe/Berlin", Currency: "EUR", UnitSystem: assets.UnitsSI,
			SiteRules: e.says("rules"), AccessHours: e.says("hours"), VisitorNeeds: e.says("needs"), Remark: e.says("remark")}
		err := registry.AddPlant(c, &p)
		e.plant = p.ID
		return err
	}))
	e.ids["plant"], e.ids["customer"] = e.plant, e.customer
	e.write(t, db, early, e.equip)
	e.write(t, db, plantDay.AddDate(0, 0, -1), e.read)
	for i := range n {
		e.write(t, db, plantDay.Add(time.Duration(i)*time.Minute), e.order)
	}
	e.write(t, db, plantDay.Add(20*time.Minute), e.advance)
	e.write(t, db, plantDay.Add(30*time.Minute), e.remind)
	e.write(t, db, plantDay.Add(34*time.Minute), e.crew)
	e.write(t, db, plantDay.Add(35*time.Minute), e.attach)
	e.write(t, db, plantDay.Add(37*time.Minute), e.press)
	e.write(t, db, plantDay.Add(38*time.Minute), e.stock)
	e.write(t, db, plantDay.Add(39*time.Minute), e.walk)
	return e
}

// write runs one change of the plant as a crew of its own.
func (e *estate) write(t *testing.T, db *plantdb.DB, now time.Time, fn func(*plantdb.Change) error) {
	t.Helper()
	must(t, db.Change(t.Context(), plantdb.Act{Origin: plantdb.Command, Action: e.says("action"), Reason: e.says("reason"), Now: now, Plants: []int64{e.plant}, Company: true}, fn))
}

func (e *estate) on(day assets.Day) assets.When {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		panic(err) // zone data is built in
	}
	w, err := assets.OnDay(day, zone, plantDay)
	if err != nil {
		panic(err) // the test's own date
	}
	return w
}

// equip gives the plant people, a line, a conveyor with belt and splice, and what was agreed.
func (e *estate) equip(c *plantdb.Change) error {
	crewID, err := registry.PersonNamed(c, e.customer, e.says("crew"))
	if err != nil {
		return err
	}
	e.ids["crew"] = crewID
	staff := assets.Person{Name: e.mark + "xstaff " + hostile, Role: assets.RoleTechnician}
	if err := registry.AddPerson(c, &staff); err != nil {
		return err
	}
	if err := registry.GiveGrant(c, &assets.Grant{PersonID: staff.ID, Role: staff.Role, PlantID: e.plant}); err != nil {
		return err
	}
	e.ids["staff"], e.ids["person"] = staff.ID, staff.ID
	line := assets.Line{PlantID: e.plant, Name: e.says("line"), Position: 1}
	conveyor := assets.Conveyor{PlantID: e.plant, Tag: e.mark + "-Q1 " + hostile, Name: e.says("conveyor"), OtherNames: []string{e.says("other")}, SpeedMPS: 2, Product: e.says("product"),
		StopCostPerHour: numbered(e.cost), IsolationGroup: e.says("group"), AccessNote: e.says("access"), Remark: e.says("conveyorremark"), TakeUpTravelM: 3}
	belt := assets.Belt{Specification: e.says("specification"), RollNumber: e.says("roll"), WidthM: 1, LoopLengthM: 120, Fitted: e.on("2024-03-01"), FittedByID: crewID, Remark: e.says("beltremark")}
	splice := assets.Splice{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, KindWritten: e.says("kind"), Made: e.on("2024-03-01"), MadeByID: crewID, MadeWith: e.says("with"), Remark: e.says("spliceremark")}
	contact := assets.Contact{PlantID: e.plant, PersonID: crewID, Duty: e.says("duty"), Phone: e.says("phone"), Email: e.says("mail")}
	contract := assets.Contract{CustomerID: e.customer, Number: e.says("contract"), FromDay: "2026-01-01", PlantIDs: []int64{e.plant}, InspectionRounds: e.says("rounds"), Remark: e.says("contractremark")}
	headings := intakedb.ImportMapping{CustomerID: e.customer, Name: e.says("headings"), Mapping: `{"` + e.mark + `":"tag"}`}
	steps := []func() error{
		func() error { return registry.SaveLine(c, &line, 0) },
		func() error { conveyor.LineID = line.ID; return registry.AddConveyor(c, &conveyor) },
		func() error { belt.ConveyorID = conveyor.ID; return registry.FitBelt(c, &belt, "") },
		func() error { splice.BeltID = belt.ID; return registry.MakeSplice(c, &splice) },
		func() error { return registry.SaveContact(c, &contact, c.Now()) },
		func() error { return registry.SaveContract(c, &contract, c.Now()) },
		func() error { // kept for the lists of a customer: the first plant of each brings them
			if !e.first {
				return nil
			}
			err := intakedb.SaveMapping(c, &headings)
			e.ids["headings"] = headings.ID
			return err
		},
	}
	for _, do := range steps {
		if err := do(); err != nil {
			return err
		}
	}
	e.ids["line"], e.ids["conveyor"], e.ids["belt"], e.ids["splice"] = line.ID, conveyor.ID, belt.ID, splice.ID
	e.ids["contact"], e.ids["contract"] = contact.ID, contract.ID
	return nil
}

// numbered reads a whole figure.
func numbered(text string) float64 {
	var v float64
	if _, err := fmt.Sscan(text, &v); err != nil {
		panic(err) // the test's own figure
	}
	return v
}

// read gives the conveyor readings, one of them held, a replaced meter, a finding, a stop and a rule.
func (e *estate) read(c *plantdb.Change) error {
	id := e.ids["conveyor"]
	hour := func(day int, shown float64) error {
		at := assets.InstantOf(plantDay.AddDate(0, 0, -day).Add(-time.Duration(e.plant%100) * time.Minute)) // each plant reads at a minute of its own
		o, err := clocks.AddReading(c, clocks.Entered{ConveyorID: id, At: at, ShownH: shown, Remark: e.says("readingremark"), Origin: e.says("origin")})
		if o.HeldID != 0 {
			e.ids["held"] = o.HeldID
		} else {
			e.reading = at
		}
		return err
	}
	grade := 3
	finding := assets.Finding{PlantID: e.plant, ConveyorID: id, BeltID: e.ids["belt"], SpliceID: e.ids["splice"], FoundAt: assets.InstantOf(plantDay.AddDate(0, 0, -2)), FoundDay: "2026-11-23",
		Category: e.says("category"), Grade: &grade, Text: e.says("finding"), FoundByID: e.ids["crew"], Remark: e.says("findingremark")}
	stop := assets.StopWindow{PlantID: e.plant, LineID: e.ids["line"], Start: assets.InstantOf(plantDay.AddDate(0, 0, 3)), End: assets.InstantOf(plantDay.AddDate(0, 0, 4)), StartLocal: "2026-11-28T06:40", EndLocal: "2026-11-29T06:40", Note: e.says("stop")}
	often := assets.StopRecurrence{PlantID: e.plant, LineID: e.ids["line"], Rule: "FREQ=WEEKLY", StartLocal: "2026-12-05T20:00", EndLocal: "2026-12-06T04:00", Keeps: assets.KeepsClock, Note: e.says("often")}
	group := assets.IsolationGroup{PlantID: e.plant, Name: e.says("group"), Point: e.says("point"), IsolateMin: 10, ConveyorIDs: []int64{id}}
	meter := assets.Meter{PlantID: e.plant, ConveyorID: id, FromAt: assets.InstantOf(plantDay.AddDate(0, 0, -6)), Why: assets.MeterReplaced, SerialNumber: e.says("serial"), Remark: e.says("meterremark")}
	rule := rules.Rule{PlantID: e.plant, CustomerID: e.customer, Name: e.says("rule"), Class: assets.ClassD, Source: e.says("source"),
		Scope: rules.Scope{Target: rules.TargetConveyor}, Trigger: rules.Trigger{Kind: rules.TriggerInterval, Every: 4, Unit: "week", CountedFrom: rules.FromPlan, AnchorDay: "2026-12-24", TimeOfDay: "06:00"},
		Template: rules.Template{Kind: workorder.KindInspection, Title: e.says("title") + " {target}", LatestDays: 7, WorkHours: 1, Crew: 1}}
	steps := []func() error{
		func() error { return hour(9, 900) }, func() error { return hour(8, 910) }, func() error { return hour(7, 100) }, // the last one runs backwards
		func() error { return clocks.DeclareStretch(c, &meter) }, func() error { return hour(5, 20) },
		func() error { _, err := registry.AddFinding(c, &finding); return err },
		func() error { return stops.Save(c, &stop) }, func() error { return stops.SaveRecurrence(c, &often) }, func() error { return stops.SaveGroup(c, &group) },
		func() error { return orders.SaveRule(c, &rule) },
	}
	for i, do := range steps {
		if err := do(); err != nil {
			return fmt.Errorf("step %d: %w", i, err)
		}
	}
	e.ids["finding"], e.ids["stop"], e.ids["meter"], e.ids["rule"] = finding.ID, stop.ID, meter.ID, rule.ID
	e.ids["recurrence"], e.ids["group"] = often.ID, group.ID
	return nil
}

// crew gives the plant a person of its own with a ticket and days away.
func (e *estate) crew(c *plantdb.Change) error {
	m := assets.CrewMember{PersonID: e.ids["crew"], HomePlantID: e.plant, CalloutCost: numbered(e.cost)}
	k := assets.PersonQualification{PersonID: e.ids["crew"], QualificationID: 1, FromDay: "2026-01-01", CertificateNo: e.says("certificate")}
	a := assets.Absence{PersonID: e.ids["crew"], FromDay: "2027-03-01", UntilDay: "2027-03-02", Why: e.says("away")}
	way := assets.TravelTime{ToPlantID: e.plant, Minutes: 40}
	err := errors.Join(crew.SaveMember(c, &m), crew.SaveTicket(c, &k), crew.SaveAbsence(c, &a), crew.SaveTravel(c, &way))
	e.ids["member"], e.ids["ticket"], e.ids["absence"], e.ids["way"] = m.ID, k.ID, a.ID, way.ID
	return err
}

// order raises an order by hand.
func (e *estate) order(c *plantdb.Change) error {
	o := workorder.Order{PlantID: e.plant, Kind: workorder.KindResplice, ConveyorID: e.ids["conveyor"], BeltID: e.ids["belt"], SpliceID: e.ids["splice"], Title: e.says("order"), Reason: e.says("orderreason"),
		LatestDay: "2026-12-20", WorkHours: 2, Crew: 1}
	err := orders.RaiseByHand(c, &o)
	e.ids["order"], e.ids["order of a press record"] = o.Number, o.ID
	return err
}

// advance takes order 2 to accepted and order 1 to started, so that the forms of every step stand on a page.
func (e *estate) advance(c *plantdb.Change) error {
	by, now := workorder.Actor{PersonID: e.ids["crew"], Roles: []assets.Role{assets.RoleLead}}, c.Act.Now
	steps := []func(workorder.Order) (workorder.Order, workorder.Event, error){
		func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Accept(o, by, now, now)
		},
		func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Place(o, by, now, now, workorder.Placement{Where: e.says("where"), WindowDay: "2026-11-26", People: []int64{e.ids["crew"]}, Kit: e.says("kit")})
		},
		func(o workorder.Order) (workorder.Order, workorder.Event, error) {
			return workorder.Start(o, by, now, now)
		},
	}
	for number, n := range map[int64]int{1: 3, 2: 1} {
		for _, step := range steps[:n] {
			o, err := orders.ByNumber(c.Context(), c.DB, assets.PlantScope(e.plant), e.plant, number)
			if err != nil {
				return err
			}
			after, event, err := step(o)
			if err != nil {
				return err
			}
			if err := orders.Step(c, &after, event); err != nil {
				return err
			}
		}
	}
	return nil
}

// attach keeps a file with each kind of thing.
func (e *estate) attach(c *plantdb.Change) error {
	o, err := orders.ByNumber(c.Context(), c.DB, assets.PlantScope(e.plant), e.plant, 1)
	if err != nil {
		return err
	}
	for kind, id := range map[assets.AttachedTo]int64{assets.AttachedToConveyor: e.ids["conveyor"], assets.AttachedToSplice: e.ids["splice"], assets.AttachedToFinding: e.ids["finding"], assets.AttachedToOrder: o.ID} {
		a := assets.Attachment{PlantID: e.plant, OfKind: kind, OfID: id, Name: e.says("file") + ".csv"}
		if _, err := attached.Add(c, &a, []byte("time,"+e.mark+"xtrace\n0,20\n1,30\n"+string(kind))); err != nil {
			return err
		}
		e.ids["attachment"] = a.ID
	}
	return e.issue(c)
}

// press records how the plant's splice was pressed, by the company's recipe.
func (e *estate) press(c *plantdb.Change) error {
	all, err := pressing.Recipes(c.Context(), c.DB, plantdb.AsOf{})
	if err != nil {
		return err
	}
	if len(all) == 0 {
		all = []assets.Recipe{houseRecipe()}
		if err := pressing.SaveRecipe(c, &all[0]); err != nil {
			return err
		}
	}
	hot := 56.0
	rec := assets.PressRecord{PlantID: e.plant, SpliceID: e.ids["splice"], RecipeID: all[0].ID, Edition: all[0].Edition, Press: e.says("press"), PressedAt: e.on("2024-03-01").At,
		Figures: []assets.PressFigure{{Name: press.ReleaseTemp, Value: &hot, Verdict: string(press.Within)}}, Verdict: string(press.Within), Reason: e.says("pressreason")}
	err = pressing.Keep(c, &rec, "2026-11-25")
	e.ids["record"] = rec.ID
	return err
}

// houseRecipe is the company's recipe; it is the same for every plant and so carries no mark.
func houseRecipe() assets.Recipe {
	r := assets.Recipe{Name: "HV 145", Form: assets.FormStepped, Bond: assets.BondHotVulcanised}
	for _, q := range press.Quantities[:15] {
		v := (q.Least + q.Most) / 2
		if q.Name == "release_most_c" {
			v = q.Least
		}
		r.Values = append(r.Values, assets.CatalogueValue{Quantity: q.Name, Value: v, Unit: q.Unit, Class: assets.ClassP})
	}
	return r
}

// issue gives a report out whose file, scope and title carry the plant's mark.
func (e *estate) issue(c *plantdb.Change) error {
	file := "splice,made by\nS1," + e.says("issued") + "\n"
	out := reports.NewFileDigest(io.Discard)
	if _, err := io.WriteString(out, file); err != nil {
		return err
	}
	r := &reports.Report{Slug: "splice-age", Title: e.says("issuedtitle"), Scope: e.says("issuedscope"), Zone: time.UTC, AsOf: reports.AsOf{Built: plantDay}}
	proof, err := plantdb.Canonical(r.Prove(reports.Proof{Rows: 1}, out.Of(e.says("issuedfile")+".csv"), "csv"))
	if err != nil {
		return err
	}
	of := out.Of("")
	k := issued.Report{CustomerID: e.customer, PlantID: e.plant, Slug: r.Slug, Title: r.Title, Form: "csv", FileName: e.says("issuedfile") + ".csv", Scope: r.Scope, BuiltAt: assets.InstantOf(plantDay),
		MadeByID: e.ids["crew"], RowCount: 1, SizeBytes: of.SizeBytes, FileDigest: of.SHA256, Proof: proof}
	err = issued.Keep(c, &k, strings.NewReader(file))
	e.ids["issued"] = k.ID
	return err
}

// remind raises a reminder: what a rule of thumb asks for, without an order.
func (e *estate) remind(c *plantdb.Change) error {
	rule, err := orders.Rule(c.Context(), c.DB, assets.PlantScope(e.plant), e.plant, e.ids["rule"])
	if err != nil {
		return err
	}
	p := rules.Proposal{Rule: rule, PlantID: e.plant, Target: rules.Target{Kind: rules.TargetConveyor, ID: e.ids["conveyor"], ConveyorID: e.ids["conveyor"], ConveyorTag: e.mark, Words: e.says("target")},
		Cycle: "2026-11-20T06:00", DueAt: plantDay.AddDate(0, 0, 7), DueDay: "2026-12-02", RaiseAt: plantDay, Why: e.says("why")}
	if _, err := orders.Raise(c, e.plant, []rules.Proposal{p}, []int64{rule.ID}, c.Now()); err != nil {
		return err
	}
	all, err := orders.Reminders(c.Context(), c.DB, assets.PlantScope(e.plant), e.plant, "2026-11-25")
	if err != nil || len(all) == 0 {
		return fmt.Errorf("%d reminders: %w", len(all), err)
	}
	e.ids["reminder"] = all[0].ID
	return nil
}
