package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/stores"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
)

// demoStores fills the demonstration's storerooms and gives its crews presses and cutters, as they lay there at an instant.
// Items, lots and counts are invented; limits and shelf lives are those of common practice (class D).
type demoStores struct {
	c    *plantdb.Change
	now  time.Time
	item map[string]int64
}

// stockUp writes the company's list of stock, what each kind of work takes of it, and the storeroom and kit of each plant.
func stockUp(ctx context.Context, db *plantdb.DB, now time.Time) error {
	plants, err := registry.Plants(ctx, db, assets.JobScope())
	if err != nil {
		return err
	}
	lead, err := demoActor(ctx, db, assets.RoleLead)
	if err != nil {
		return err
	}
	act := plantdb.Act{PersonID: lead.PersonID, Origin: plantdb.Demo, Action: "set up the sample stores", Now: now, Company: true}
	for _, p := range plants {
		act.Plants = append(act.Plants, p.ID)
		act.Customers = append(act.Customers, p.CustomerID)
	}
	specs, err := registry.Specifications(ctx, db, plantdb.AsOf{})
	if err != nil {
		return err
	}
	return db.Change(ctx, act, func(c *plantdb.Change) error {
		d := &demoStores{c: c, now: now, item: map[string]int64{}}
		if err := d.list(specs); err != nil {
			return err
		}
		if err := d.work(); err != nil {
			return err
		}
		if err := d.rules(); err != nil {
			return err
		}
		if err := d.depot(); err != nil {
			return fmt.Errorf("stock up the depot: %w", err)
		}
		for _, p := range plants {
			nth := slices.Index(demoPlants, p.Name)
			if nth < 0 {
				continue
			}
			if err := d.plant(p, nth); err != nil {
				return fmt.Errorf("stock up %s: %w", p.Name, err)
			}
		}
		return nil
	})
}

// depot lays what no plant has yet into the company's own depot.
func (d *demoStores) depot() error {
	for i, of := range []struct {
		item  string
		q     assets.Quantity
		shelf string
	}{{"Release cloth, 1.6 m", 50000, "rack 1"}, {"Fastener sets", 6000, "drawer 12"}, {"Cutter pads", 4000, "drawer 3"}} {
		lot := assets.StockLot{ItemID: d.item[of.item], Lot: fmt.Sprintf("D-%d", 101+i), Shelf: of.shelf}
		if err := stores.Receive(d.c, nil, &lot, of.q, assets.InstantOf(d.now.AddDate(0, 0, -20+i))); err != nil {
			return err
		}
	}
	return nil
}

// list writes the company's items.
func (d *demoStores) list(specs []assets.Specification) error {
	for _, it := range []assets.StockItem{
		{Name: "Release cloth, 1.6 m", Kind: assets.StockCloth, Unit: assets.UnitMetre, LeadTimeDays: 42, PackQuantity: 50000, WidthM: 1.6, Critical: true},
		{Name: "Cover compound", Kind: assets.StockFilm, Unit: assets.UnitKilogram, LeadTimeDays: 21, ShelfLifeDays: 180},
		{Name: "Tie gum", Kind: assets.StockFilm, Unit: assets.UnitKilogram, LeadTimeDays: 21, ShelfLifeDays: 365},
		{Name: "Hot cement", Kind: assets.StockAdhesive, Unit: assets.UnitLitre, LeadTimeDays: 14, ShelfLifeDays: 270},
		{Name: "Cold cement with hardener", Kind: assets.StockAdhesive, Unit: assets.UnitKilogram, LeadTimeDays: 14, ShelfLifeDays: 365, Critical: true},
		{Name: "Cutter pads", Kind: assets.StockCutPad, Unit: assets.UnitPiece, LeadTimeDays: 14, Critical: true},
		{Name: "Step cutter blades", Kind: assets.StockBlade, Unit: assets.UnitSet, LeadTimeDays: 14, Critical: true},
		{Name: "Knife blades", Kind: assets.StockBlade, Unit: assets.UnitPiece, LeadTimeDays: 7, PackQuantity: 50000},
		{Name: "Fastener sets", Kind: assets.StockFastener, Unit: assets.UnitSet, LeadTimeDays: 14, Critical: true},
		{Name: "Silicone paper, 1.2 m", Kind: assets.StockCloth, Unit: assets.UnitMetre, LeadTimeDays: 10, PackQuantity: 100000, WidthM: 1.2, Critical: true},
		{Name: "PVC foil", Kind: assets.StockFilm, Unit: assets.UnitMetre, LeadTimeDays: 10, ShelfLifeDays: 540, PackQuantity: 10000},
	} {
		it.ServiceLevel, it.Class, it.Source = 0.95, assets.ClassD, "common practice"
		if err := d.keep(it); err != nil {
			return err
		}
	}
	for _, belt := range []struct {
		spec   string
		widthM float64
	}{{"EP 400/3 4+2", 0.8}, {"EP 800/4 4+2", 1.2}} {
		i := slices.IndexFunc(specs, func(s assets.Specification) bool { return s.Name == belt.spec })
		if i < 0 {
			continue
		}
		it := assets.StockItem{Name: fmt.Sprintf("%s, %g mm", belt.spec, belt.widthM*1000), Kind: assets.StockBelt, Unit: assets.UnitMetre, LeadTimeDays: 56, SpecificationID: specs[i].ID, WidthM: belt.widthM,
			ServiceLevel: 0.9, Class: assets.ClassD, Source: "common practice"}
		if err := d.keep(it); err != nil {
			return err
		}
	}
	return nil
}

func (d *demoStores) keep(it assets.StockItem) error {
	if err := stores.SaveItem(d.c, &it); err != nil {
		return err
	}
	d.item[it.Name] = it.ID
	return nil
}

// work says what each kind of work takes, where nobody has said so yet.
func (d *demoStores) work() error {
	need := func(name string, perSplice, perMWidth float64) assets.StockNeed {
		return assets.StockNeed{ItemID: d.item[name], PerSplice: perSplice, PerMWidth: perMWidth}
	}
	press := []assets.KitNeed{{Class: string(assets.KitPress), AsBelt: true}, {Class: string(assets.KitCutter)}}
	held, err := crew.Templates(d.c.Context(), d.c.DB, assets.JobScope())
	if err != nil {
		return err
	}
	for _, t := range []assets.WorkTemplate{
		{Form: assets.FormStepped, Bond: assets.BondHotVulcanised, DurationMin: 420, Kit: press,
			Stock: []assets.StockNeed{need("Release cloth, 1.6 m", 4, 0), need("Cover compound", 0, 8), need("Tie gum", 0, 4.3), need("Hot cement", 0, 2.9), need("Knife blades", 4, 0)}},
		{Form: assets.FormStepped, Bond: assets.BondColdBonded, DurationMin: 300, Stock: []assets.StockNeed{need("Cold cement with hardener", 0, 3), need("Knife blades", 4, 0)}},
		{Form: assets.FormBoltedPlate, Bond: assets.BondNone, DurationMin: 120, Stock: []assets.StockNeed{need("Fastener sets", 1, 0), need("Knife blades", 2, 0)}},
		{Form: assets.FormFinger, Bond: assets.BondHotPressed, DurationMin: 120, Kit: press, Stock: []assets.StockNeed{need("Silicone paper, 1.2 m", 0.8, 0), need("PVC foil", 0, 1), need("Knife blades", 1, 0)}},
	} {
		t.OrderKind, t.Isolation, t.Class, t.Source = string(workorder.KindResplice), true, assets.ClassD, "common practice"
		if i := slices.IndexFunc(held, func(h assets.WorkTemplate) bool {
			return h.OrderKind == t.OrderKind && h.Form == t.Form && h.Bond == t.Bond && h.CustomerID == 0
		}); i >= 0 {
			held[i].Stock = t.Stock
			t = held[i]
		}
		if err := crew.SaveTemplate(d.c, &t); err != nil {
			return err
		}
	}
	return nil
}

// rules watches kit, stock and tickets for every plant.
func (d *demoStores) rules() error {
	for _, r := range []rules.Rule{
		{Name: "Kit at its limit", Trigger: rules.Trigger{Kind: rules.TriggerKit, Watches: rules.KitLimit}, Template: rules.Template{Kind: workorder.KindKitService, Title: "service {target}", LatestDays: 14, WorkHours: 2, Crew: 1}},
		{Name: "Calibration due", Trigger: rules.Trigger{Kind: rules.TriggerKit, Watches: rules.KitCalibration}, Template: rules.Template{Kind: workorder.KindKitService, Title: "calibrate {target}", LeadDays: 30, WorkHours: 1, Crew: 1}},
		{Name: "Stock below its reorder point", Trigger: rules.Trigger{Kind: rules.TriggerStock}, Template: rules.Template{Kind: workorder.KindOther, Title: "order {target}", LatestDays: 7, WorkHours: 0.5, Crew: 1}},
		{Name: "Ticket ends", Trigger: rules.Trigger{Kind: rules.TriggerTicket}, Template: rules.Template{Kind: workorder.KindOther, Title: "renew {target}", LeadDays: 90, WorkHours: 0.5, Crew: 1}},
	} {
		r.Scope, r.Class = rules.Scope{Target: rules.TargetPlant}, assets.ClassP
		if err := orders.SaveRule(d.c, &r); err != nil {
			return err
		}
	}
	return nil
}

// demoLot is a lot with what was received and what went out since.
type demoLot struct {
	item, lot, shelf string
	received, used   float64
	goodDays         int // from now; 0: does not age
}

// demoPlants are the plants that demoLots and kit are for, in that order.
var demoPlants = []string{"Skarrow Grain Terminal", "Ferrant Parcel Hub", "Dunmarrow Bakery"}

var demoLots = [][]demoLot{{
	{"Release cloth, 1.6 m", "31", "rack 2", 50, 32.8, 0},
	{"Cover compound", "7731", "cold store", 40, 16, 25}, {"Cover compound", "7702", "cold store", 25, 11, 45},
	{"Tie gum", "7710", "cold store", 40, 14, 95},
	{"Hot cement", "1188", "solvent cabinet", 5, 3.5, 5}, {"Hot cement", "1203", "solvent cabinet", 16, 0, 141},
	{"Cold cement with hardener", "C88", "solvent cabinet", 12, 0, 217},
	{"Cutter pads", "7", "drawer 4", 2, 1, 0}, {"Step cutter blades", "10", "drawer 4", 1, 0, 0}, {"Knife blades", "K2", "drawer 1", 50, 28, 0}, {"Fastener sets", "F3", "drawer 6", 5, 2, 0},
	{"EP 400/3 4+2, 800 mm", "26-0311", "rack 4", 130, 0, 0}, {"EP 800/4 4+2, 1200 mm", "22-0840", "rack 2", 24, 0, 0},
}, {
	{"Silicone paper, 1.2 m", "S12", "cage, shelf 1", 100, 61, 0}, {"PVC foil", "P4", "cage, shelf 1", 10, 3.5, 300},
	{"Knife blades", "K7", "cage, shelf 2", 50, 12, 0}, {"Cutter pads", "2", "cage, shelf 2", 1, 0, 0},
}, {
	{"Silicone paper, 1.2 m", "S14", "workshop", 100, 88, 0}, {"PVC foil", "P6", "workshop", 10, 7, 120}, {"Knife blades", "K8", "workshop", 50, 31, 0},
}}

// plant fills one plant's storeroom and puts its kit to work.
func (d *demoStores) plant(p assets.Plant, nth int) error {
	zone := p.Location()
	received := assets.InstantOf(d.now.AddDate(0, -2, 0))
	for _, l := range demoLots[nth] {
		lot := assets.StockLot{PlantID: p.ID, ItemID: d.item[l.item], Lot: l.lot, Shelf: l.shelf}
		if lot.ItemID == 0 {
			continue
		}
		if l.goodDays > 0 {
			lot.GoodUntil = assets.DayOf(d.now.In(zone).AddDate(0, 0, l.goodDays))
		}
		in, _ := assets.QuantityOf(l.received)
		if err := stores.Receive(d.c, nil, &lot, in, received); err != nil {
			return err
		}
		out, _ := assets.QuantityOf(l.used)
		if out == 0 {
			continue
		}
		line := assets.StockMovement{LotID: lot.ID, Quantity: -out, Why: assets.MoveIssued, At: received + 20*86400e6, Reason: "splices of the last weeks, from the old stock book"}
		if err := stores.Post(d.c, []assets.StockMovement{line}); err != nil {
			return err
		}
	}
	if nth == 0 {
		today := assets.DayOf(d.now.In(zone))
		so := assets.SupplyOrder{PlantID: p.ID, ItemID: d.item["Tie gum"], Quantity: 20000, State: assets.SupplyOrdered, OrderedDay: today.AddDays(-9), ExpectedDay: today.AddDays(12), Supplier: "the usual rubber works", Reference: "R-2207"}
		if err := stores.SaveSupplyOrder(d.c, &so); err != nil {
			return err
		}
	}
	kit, err := d.kit(p, nth)
	if err != nil {
		return err
	}
	return d.tools(p, kit)
}

// demoCounter is a counter with where it stands.
type demoCounter struct {
	counts        assets.Wear
	part          string
	count, limit  float64
	perJob        float64
	up            bool
	limitAndWhere string
}

var (
	pressCounter  = []demoCounter{{assets.WearPressCycles, "", 215, 400, 1, false, "platens looked at every 400 cycles"}, {assets.WearPadCycles, "pads 3", 88, 200, 1, false, "50 to 300 cycles by pad"}}
	cutterCounter = []demoCounter{{assets.WearPadCutsA, "pad 6", 300, 300, 60, false, "150 to 300 strokes a side"}, {assets.WearPadCutsB, "pad 6", 180, 300, 60, true, "150 to 300 strokes a side"},
		{assets.WearBladeCuts, "blades 9", 1860, 2000, 60, false, "as this crew found"}}
)

// kit writes a plant's presses, cutters and instruments and returns those that go along with crews.
func (d *demoStores) kit(p assets.Plant, nth int) ([]assets.Kit, error) {
	width := []float64{1.4, 1.1, 1.2}[nth]
	press := assets.Kit{CustomerID: p.CustomerID, HomePlantID: p.ID, Name: "Press 1", Class: assets.KitPress, WorkingWidthM: width, MaxTemperatureC: 200, Mobile: true, Serial: fmt.Sprintf("SP-%d", 400+nth)}
	cutter := assets.Kit{CustomerID: p.CustomerID, HomePlantID: p.ID, Name: []string{"Step cutter", "Finger cutter", "Finger cutter"}[nth], Class: assets.KitCutter, WorkingWidthM: width, Mobile: true}
	if err := d.counted(&press, pressCounter); err != nil {
		return nil, err
	}
	if err := d.counted(&cutter, cutterCounter); err != nil {
		return nil, err
	}
	probe := assets.Kit{CustomerID: p.CustomerID, HomePlantID: p.ID, Name: "TH-1", Class: assets.KitThermometer, GoesWithID: press.ID}
	if err := stores.SaveKit(d.c, &probe); err != nil {
		return nil, err
	}
	today := assets.DayOf(d.now)
	cal := assets.Calibration{KitID: probe.ID, OnDay: today.AddDays(-345), DueDay: today.AddDays(20), Certificate: "K-1188", CalibratedFor: "150 and 180 °C", Class: assets.ClassP, Source: "this company's own: every twelve months"}
	if err := stores.SaveCalibration(d.c, &cal); err != nil {
		return nil, err
	}
	if nth == 0 {
		lent := assets.Kit{CustomerID: p.CustomerID, HomePlantID: p.ID, Name: "Press 2", Class: assets.KitPress, WorkingWidthM: 1.4, MaxTemperatureC: 200, HiredFrom: "another terminal", Mobile: true}
		if err := d.counted(&lent, []demoCounter{{assets.WearPressCycles, "", 331, 400, 1, false, "as its owner states"}}); err != nil {
			return nil, err
		}
		away := assets.KitAway{KitID: press.ID, FromAt: assets.InstantOf(d.now.AddDate(0, 0, 24)), ToAt: assets.InstantOf(d.now.AddDate(0, 0, 38)), Why: assets.AwayService, Where: "the maker's workshop, yearly check"}
		if err := stores.SaveAway(d.c, &away); err != nil {
			return nil, err
		}
	}
	return []assets.Kit{press, cutter}, nil
}

// counted writes a piece of kit with its counters as the old book has them.
func (d *demoStores) counted(k *assets.Kit, counters []demoCounter) error {
	if err := stores.SaveKit(d.c, k); err != nil {
		return err
	}
	for _, c := range counters {
		counter := assets.KitCounter{KitID: k.ID, Counts: c.counts, Part: c.part, Limit: c.limit, PerJob: c.perJob, InUse: c.up, Class: assets.ClassD, Source: c.limitAndWhere, FittedAt: assets.InstantOf(d.now.AddDate(-1, 0, 0))}
		if err := stores.SaveCounter(d.c, &counter); err != nil {
			return err
		}
		line := assets.KitCount{CounterID: counter.ID, Quantity: c.count, At: assets.InstantOf(d.now.AddDate(0, 0, -10)), Reason: "brought over from the kit book"}
		if err := stores.Count(d.c, &line); err != nil {
			return err
		}
	}
	return nil
}

// tools puts the plant's press and cutter on the re-splices that are placed, as the planner would have.
func (d *demoStores) tools(p assets.Plant, kit []assets.Kit) error {
	placed, _, err := orders.List(d.c.Context(), d.c.DB, assets.PlantScope(p.ID), orders.Filter{PlantID: p.ID, Open: true})
	if err != nil {
		return err
	}
	ch, err := d.c.PlantChain(p.ID)
	if err != nil {
		return err
	}
	for _, o := range placed {
		if o.State != workorder.Placed || o.Kind != workorder.KindResplice || len(o.PlacedTools) > 0 {
			continue
		}
		for _, k := range kit {
			o.PlacedTools = append(o.PlacedTools, k.ID)
		}
		if err := plantdb.Amend(d.c, ch, &o, d.c.Now()); err != nil {
			return err
		}
	}
	return nil
}
