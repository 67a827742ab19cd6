package samplefleet

import (
	"fmt"
	"math"
	"time"

	"carryside/assets"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// Sizes says how large a benchmark fleet is made. Per conveyor: 1.5 live splices, 6 retired ones, 250 readings,
// 25 findings, 10 orders.
type Sizes struct {
	Plants    int
	Conveyors []int // per plant, taken in turn
}

// WholeFleet is the service company of the sizes to hold: 400 plants, 40,000 conveyors. One plant in ten has the
// 300 conveyors of "one plant", one has 20, so that cost per page can be held against the plant's size.
var WholeFleet = Sizes{Plants: 400, Conveyors: []int{300, 100, 60, 140, 40, 100, 20, 100, 60, 80}}

// benchmarkKinds are the sorts of conveyor a benchmark plant has in turn.
var benchmarkKinds = []struct {
	spec   string
	form   assets.Form
	bond   assets.Bond
	centre float64
	speed  float64
	weekH  float64
}{
	{"EP 800/4 4+2", assets.FormStepped, assets.BondHotVulcanised, 140, 2.5, 48},
	{"PVC 2-ply ribbed, guide 13 x 8", assets.FormFinger, assets.BondHotPressed, 11, 1.6, 70},
	{"EP 630/4 5+2", assets.FormStepped, assets.BondColdBonded, 74, 1.9, 40},
	{"PU 2-ply white, smooth", assets.FormFinger, assets.BondHotPressed, 3.4, 0.6, 90},
}

// Benchmark draws a fleet plant by plant. head is called once with the company, catalogues and company-wide rules;
// plant once per plant with that plant's rows alone. Numbers go on across plants. The same day and sizes give the same
// fleet. An error of either ends the drawing.
func Benchmark(today time.Time, sizes Sizes, head, plant func(*Fleet) error) error {
	b := newBuilder(today, 400_40_000)
	begin := today.AddDate(-9, 0, 0)
	b.fleet.Company = assets.Company{Version: b.version("companies", begin), Name: "Kesterlane Belting Service", Zone: "Europe/Oslo", Currency: "EUR", UnitSystem: assets.UnitsSI}
	who := b.person(planner, 0, assets.RolePlanner)
	b.grant(who, assets.RolePlanner)
	b.catalogues(begin)
	b.companyRules(begin)
	if err := head(b.fleet); err != nil {
		return err
	}
	specs := b.fleet.Specifications
	for i := range sizes.Plants {
		b.fleet = &Fleet{Today: today, Specifications: specs}
		b.benchmarkPlant(i, sizes.Conveyors[i%len(sizes.Conveyors)], begin, who)
		b.fleet.Specifications = nil
		if err := plant(b.fleet); err != nil {
			return err
		}
	}
	return nil
}

// companyRules are the company-wide rules of the benchmark: one on each trigger that costs something.
func (b *builder) companyRules(from time.Time) {
	remake := rules.Template{Kind: workorder.KindResplice, Title: "remake {target}", LeadDays: 30, LatestDays: 14, WorkHours: 4, Crew: 2, BeltStands: true}
	look := rules.Template{Kind: workorder.KindInspection, Title: "look at {target}", LatestDays: 7, WorkHours: 0.2, Crew: 1}
	for _, r := range []struct {
		name    string
		trigger rules.Trigger
		what    rules.Template
	}{{"Remake at 6 million passes", rules.Trigger{Kind: rules.TriggerPasses, Passes: 6_000_000}, remake},
		{"Remake at 14 000 running hours", rules.Trigger{Kind: rules.TriggerHours, Hours: 14_000}, remake},
		{"Remake after 66 months", rules.Trigger{Kind: rules.TriggerInterval, Every: 66, Unit: "month", CountedFrom: "made"}, remake},
		{"Close look every four weeks", rules.Trigger{Kind: rules.TriggerInterval, Every: 4, Unit: "week", CountedFrom: "plan", AnchorDay: assets.DayOf(from), TimeOfDay: "06:00"}, look},
		{"Run-in check", rules.Trigger{Kind: rules.TriggerEvent, Event: "splice made", AfterHours: 24}, look}} {
		b.fleet.Rules = append(b.fleet.Rules, rules.Rule{Version: b.version("rules", from), Name: r.name, Scope: rules.Scope{Target: rules.TargetSplice}, Trigger: r.trigger, Template: r.what,
			Class: assets.ClassP, Source: "benchmark", SavedBy: 1, StartsAt: assets.InstantOf(b.today.AddDate(0, 0, -28)), EditVersion: 1})
	}
}

// benchmarkPlant draws one plant of n conveyors.
func (b *builder) benchmarkPlant(nth, n int, begin time.Time, who int64) {
	f := b.fleet
	name := fmt.Sprintf("Plant %03d", nth+1)
	customer := assets.Customer{Version: b.version("customers", begin), Name: fmt.Sprintf("Customer %03d", nth+1), NameKey: fmt.Sprintf("customer %03d", nth+1)}
	p := assets.Plant{Version: b.version("plants", begin), CustomerID: customer.ID, Name: name, NameKey: assets.NameKey(name), Zone: "Europe/Oslo", UnitSystem: assets.UnitsSI, Currency: "EUR"}
	f.Customers, f.Plants = append(f.Customers, customer), append(f.Plants, p)
	perLine := 20
	for i := range n {
		if i%perLine == 0 {
			line := fmt.Sprintf("Line %d", i/perLine+1)
			f.Lines = append(f.Lines, assets.Line{Version: b.version("lines", begin), PlantID: p.ID, Name: line, NameKey: assets.NameKey(line), Position: i/perLine + 1})
			f.Calendars = append(f.Calendars, assets.ProductionCalendar{Version: b.version("production_calendars", begin), PlantID: p.ID, LineID: f.Lines[len(f.Lines)-1].ID,
				Shifts: week("06:00", "22:00", 1, 2, 3, 4, 5)})
		}
		b.benchmarkConveyor(p, f.Lines[len(f.Lines)-1], i, begin, who)
	}
	for i := range f.Orders {
		f.Orders[i].Number = int64(i) + 1
	}
}

// benchmarkConveyor draws one conveyor with its belt, splices, readings, findings and orders.
func (b *builder) benchmarkConveyor(p assets.Plant, l assets.Line, i int, begin time.Time, who int64) {
	f, k := b.fleet, benchmarkKinds[i%len(benchmarkKinds)]
	tag := fmt.Sprintf("C%03d", i+1)
	c := b.conveyor(p, l, siteConveyor{tag: tag, name: fmt.Sprintf("Conveyor %d", i+1), centresM: k.centre, speedMPS: k.speed, takeUp: "screw", travelM: k.centre / 40, pulleyM: 0.4, costPerHour: 1000}, i%20, begin)
	loop := 2*k.centre + 1.3
	at := assets.InstantOf(begin)
	zone := p.Location()
	belt := assets.Belt{Version: b.version("belts", begin), PlantID: p.ID, ConveyorID: c.ID, SpecificationID: b.specification(k.spec), Specification: k.spec, WidthM: 0.8, LoopLengthM: loop,
		ThicknessM: 0.01, Fitted: assets.Exactly(begin, zone), FittedByID: who}
	f.Belts = append(f.Belts, belt)
	f.Meters = append(f.Meters, assets.Meter{Version: b.version("meters", begin), PlantID: p.ID, ConveyorID: c.ID, FromAt: at, Why: assets.MeterFirst, RollsOverAtH: 100_000, ResolutionH: 0.1})
	b.benchmarkReadings(c, begin, k.weekH)
	live := 1 + i%2
	for s := range live {
		b.benchmarkSplices(p, c, belt, k.form, k.bond, s, 6/live, begin, who)
	}
	for j := range 25 {
		t := b.today.AddDate(0, 0, -7-110*j).Add(-time.Duration(i%50) * time.Hour)
		grade, splice := (i+j)%3, f.Splices[len(f.Splices)-1]
		gap := round(0.0006+0.0001*float64((i*7+j)%20), 4)
		f.Findings = append(f.Findings, assets.Finding{Version: assets.Version{ID: b.id("findings"), ValidFrom: assets.InstantOf(t), KnownFrom: seedPosition}, PlantID: p.ID, ConveyorID: c.ID, BeltID: belt.ID,
			SpliceID: splice.ID, Target: "S1", FoundAt: assets.InstantOf(t), FoundDay: assets.DayOf(t.In(zone)), Category: "opening along the seam", Grade: &grade, Quantity: "splice gap", Measurement: &gap, MeasurementUnit: "m", FoundByID: who})
	}
	for j := range 10 {
		t := assets.InstantOf(b.today.AddDate(0, 0, -40-300*j))
		f.Orders = append(f.Orders, workorder.Order{Version: assets.Version{ID: b.id("orders"), ValidFrom: t, KnownFrom: seedPosition}, PlantID: p.ID, Kind: workorder.KindInspection, State: workorder.Signed,
			ConveyorID: c.ID, Title: "inspection round", Reason: "every 28 days", RaisedAt: t, AcceptedAt: t, AcceptedBy: who, StartedAt: t, StartedBy: who, DoneAt: t, DoneBy: who, SignedAt: t, SignedBy: who, EditVersion: 1})
	}
}

// benchmarkReadings adds 250 readings, evenly up to this morning.
func (b *builder) benchmarkReadings(c assets.Conveyor, begin time.Time, weekH float64) {
	const n = 250
	step := b.today.Add(-3*time.Hour).Sub(begin) / n
	h := 0.0
	for j := 1; j <= n; j++ {
		h += weekH * step.Hours() / 168 * b.between(0.85, 1.15)
		f := b.fleet
		f.Readings = append(f.Readings, assets.Reading{ConveyorID: c.ID, At: assets.InstantOf(begin.Add(time.Duration(j) * step).Truncate(time.Minute)), KnownFrom: seedPosition, ShownH: math.Round(h*10) / 10})
	}
}

// benchmarkSplices adds one place on the belt: so many ended splices, then the live one.
func (b *builder) benchmarkSplices(p assets.Plant, c assets.Conveyor, belt assets.Belt, form assets.Form, bond assets.Bond, place, ended int, begin time.Time, who int64) {
	zone := p.Location()
	pos := belt.LoopLengthM * (float64(place) + 0.4) / 2
	t := begin
	step := b.today.Sub(begin) / time.Duration(ended+1)
	for g := 0; g <= ended; g++ {
		at := pos
		s := assets.Splice{Version: b.version("splices", t), PlantID: p.ID, ConveyorID: c.ID, BeltID: belt.ID, Number: fmt.Sprint(place + 1), PositionM: &at, Form: form, Bond: bond,
			Made: assets.Exactly(t, zone), MadeByID: who}
		if g < ended {
			t = t.Add(time.Duration(float64(step) * b.between(0.8, 1.15))).Truncate(time.Minute)
			end := assets.InstantOf(t)
			s.Ended, s.Retired, s.RetiredWhy = &end, assets.Exactly(t, zone), assets.RetiredPlanned
			if b.rng.IntN(3) == 0 {
				s.RetiredWhy, s.FailureMode = assets.RetiredFailed, failureModes(form)[b.rng.IntN(5)]
			}
		}
		b.fleet.Splices = append(b.fleet.Splices, s)
	}
}
