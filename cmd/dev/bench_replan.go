package main

import (
	"fmt"
	"runtime"
	"slices"
	"sync"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/outlook"
	"carryside/schedule/due"
	"carryside/schedule/horizon"
	"carryside/schedule/plan"
	"carryside/schedule/workorder"
)

// What the benchmark fleet is given for the re-plan, since it holds no stops and no crews: each line stands for twelve hours
// every other week, a plant has one person of its crew for ten conveyors, four at least, and one press for two plants lies at the depot,
// an hour and a half away.
const (
	replanWeeks     = 12
	replanSteps     = 600
	stopHours       = 12
	leastCrew       = 4
	plantsPerPress  = 2
	minutesToDepot  = 90
	replanWorkHours = 4
)

// replanner plans one plant after the other, two at a time; what a plan took of the shared presses is taken for those after it.
type replanner struct {
	now time.Time

	mu      sync.Mutex // guards what follows
	presses int
	taken   []horizon.Taken
	plants  int
	jobs    int
	placed  int
	cost    int
	bound   int
	broken  error
	slowest time.Duration
	all     horizon.Facts // of the plants so far, for the plan over all of them
}

// replan measures re-planning the fleet's next twelve weeks, plant by plant and with shared kit: reading each plant, its laws and
// forecasts included.
func (b *bench) replan() error {
	db, err := plantdb.Open(b.ctx, plantdb.Config{DSN: b.db})
	if err != nil {
		return err
	}
	defer db.Close()
	now, err := fleetNow(b.ctx, db)
	if err != nil {
		return err
	}
	var plants int64
	if err := db.SQL(b.ctx).Raw("SELECT count(*) FROM plants WHERE known_to IS NULL AND valid_to IS NULL").Scan(&plants).Error; err != nil {
		return err
	}
	r := &replanner{now: now, presses: max(1, int(plants)/plantsPerPress)}
	b.table.head("the next twelve weeks planned anew, plant by plant", "CPU", "wall", "orders", "placed")
	before, began := cpuOfSelf(), time.Now()
	nightly := outlook.Nightly{Keep: func(_ outlook.CustomerLaws, p *outlook.Standings, f []due.Forecast) { r.plan(b, p, f) }}
	if _, err := nightly.Run(b.ctx, db, now); err != nil {
		return err
	}
	if r.broken != nil {
		return r.broken
	}
	b.table.line(benchLine{fmt.Sprintf("%d plants, %d shared presses", r.plants, r.presses), seconds(cpuOfSelf() - before), seconds(time.Since(began)), fmt.Sprint(r.jobs), fmt.Sprint(r.placed), "under 5 min wall"})
	gap := 0.0
	if r.cost > 0 {
		gap = 100 * float64(r.cost-r.bound) / float64(r.cost)
	}
	b.table.line(benchLine{fmt.Sprintf("cost above the proven bounds: %.1f %%", gap), "", seconds(r.slowest), "", "", "wall: the slowest plant"})
	return r.together(b)
}

// together measures one plan over all plants with their crews at home and the presses of the depot shared: laying the sheet, the first
// legal plan, the search, and the memory all of it takes.
func (r *replanner) together(b *bench) error {
	f, began := &r.all, time.Now()
	f.Now, f.From, f.Until, f.Names = r.now, r.now, r.now.AddDate(0, 0, 7*replanWeeks), map[int64]string{}
	for _, m := range f.Members {
		f.Names[m.PersonID] = fmt.Sprintf("crew %d", m.PersonID)
	}
	f.Kit, f.Templates = r.kit(), replanTemplates()
	var mem runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&mem)
	registers := mem.HeapAlloc
	sheet := horizon.Lay(f.Inputs())
	laid, most := time.Since(began), uint64(0)
	before, first := cpuOfSelf(), time.Duration(0)
	began = time.Now()
	found, err := plan.Solve(b.ctx, sheet.Case, plan.Settings{Seed: 7, Limit: time.Minute, Clock: func() time.Duration { return time.Since(began) }, Tell: func(plan.Progress) {
		if first == 0 {
			first = time.Since(began)
		}
		runtime.ReadMemStats(&mem)
		most = max(most, mem.HeapAlloc)
	}})
	if err != nil {
		return fmt.Errorf("plan over %d plants: %w", len(f.Plants), err)
	}
	b.table.head("one plan over all plants", "CPU", "wall", "orders", "placed")
	b.table.line(benchLine{fmt.Sprintf("%d plants, sheet laid", len(f.Plants)), "", seconds(laid), fmt.Sprint(len(sheet.Case.Jobs)), "", ""})
	b.table.line(benchLine{"first legal plan", "", seconds(first), "", "", "under 1 s wall"})
	b.table.line(benchLine{fmt.Sprintf("search, %.0f %% above its bound, heap %d MiB beside %d MiB of registers", found.GapPercent(), (most-min(most, registers))>>20, registers>>20), seconds(cpuOfSelf() - before), seconds(time.Since(began)), "", fmt.Sprint(len(found.Placed)), "under 500 MiB"})
	return nil
}

// join adds a plant's facts to those of all plants, with numbers of its own. The caller holds the lock.
func (r *replanner) join(one *horizon.Facts) {
	p := one.Plants[0]
	if len(p.Orders)+r.jobs > horizon.MostTogether {
		return
	}
	base := p.Register.Plant.ID * 100_000
	p.Orders, p.Stops = slices.Clone(p.Orders), slices.Clone(p.Stops)
	wanted := map[int64]bool{}
	for i := range p.Orders {
		p.Orders[i].ID += base
		wanted[p.Orders[i].SpliceID] = true
	}
	for i := range p.Stops {
		p.Stops[i].ID += base
	}
	p.Forecasts = slices.DeleteFunc(slices.Clone(p.Forecasts), func(f due.Forecast) bool { return !wanted[f.SpliceID] })
	p.Standings = slices.DeleteFunc(slices.Clone(p.Standings), func(s due.Standing) bool { return !wanted[s.SpliceID] })
	for _, m := range one.Members {
		m.PersonID += base
		r.all.Members = append(r.all.Members, m)
	}
	r.all.Plants, r.all.Ways = append(r.all.Plants, p), append(r.all.Ways, one.Ways...)
}

// plan plans one plant and takes what it uses of the presses.
func (r *replanner) plan(b *bench, p *outlook.Standings, forecasts []due.Forecast) {
	began := time.Now()
	r.mu.Lock()
	taken := slices.Clone(r.taken)
	r.mu.Unlock()
	facts := r.facts(p, forecasts, taken)
	sheet := horizon.Lay(facts.Inputs())
	found, err := plan.Solve(b.ctx, sheet.Case, plan.Settings{Seed: 7, Steps: replanSteps, Workers: 1})
	r.mu.Lock()
	defer r.mu.Unlock()
	r.slowest = max(r.slowest, time.Since(began))
	if err != nil {
		r.broken = fmt.Errorf("plan %s: %w", p.Register.Plant.Name, err)
		return
	}
	r.join(facts)
	r.plants++
	r.jobs, r.placed, r.cost, r.bound = r.jobs+len(sheet.Case.Jobs), r.placed+len(found.Placed), r.cost+found.Cost, r.bound+found.Bound
	for id, at := range sheet.Placements(found) {
		for _, k := range at.Kit {
			r.taken = append(r.taken, horizon.Taken{KitID: k, PlantID: p.Register.Plant.ID, Span: horizon.Span{From: at.Start, To: at.Start.Add(sheet.Work(id))}})
		}
	}
}

// facts are a plant with the orders its splices need within the twelve weeks, and what the fleet is given for them.
func (r *replanner) facts(p *outlook.Standings, forecasts []due.Forecast, taken []horizon.Taken) *horizon.Facts {
	plant := p.Register.Plant
	until := r.now.AddDate(0, 0, 7*replanWeeks)
	f := &horizon.Facts{Now: r.now, From: r.now, Until: until, Company: p.Register.Company, Elsewhere: taken, Names: map[int64]string{},
		Ways: []assets.TravelTime{{FromPlantID: 0, ToPlantID: plant.ID, Minutes: minutesToDepot}}}
	pf := horizon.PlantFacts{Register: p.Register, Forecasts: forecasts, Standings: p.Standings}
	for i, line := range p.Register.Lines {
		for week := range replanWeeks / 2 {
			start := r.now.Truncate(24*time.Hour).AddDate(0, 0, 14*week+1+(i+int(plant.ID))%12).Add(5 * time.Hour)
			w := assets.StopWindow{PlantID: plant.ID, LineID: line.ID, Start: assets.InstantOf(start), End: assets.InstantOf(start.Add(stopHours * time.Hour))}
			w.ID = int64(len(pf.Stops)) + 1
			pf.Stops = append(pf.Stops, w)
		}
	}
	for i := range forecasts {
		fc := &forecasts[i]
		s, ok := p.Register.Splice(fc.SpliceID)
		if !ok || fc.Advice.At.IsZero() || fc.Advice.At.After(until) {
			continue
		}
		o := workorder.Order{PlantID: plant.ID, Number: int64(len(pf.Orders)) + 1, Kind: workorder.KindResplice, State: workorder.Accepted, ConveyorID: s.ConveyorID, BeltID: s.BeltID, SpliceID: s.ID, WorkHours: replanWorkHours, Crew: 2}
		o.ID = o.Number
		pf.Orders = append(pf.Orders, o)
	}
	f.Plants = []horizon.PlantFacts{pf}
	for i := range max(leastCrew, len(p.Register.Conveyors)/10) {
		id := int64(i) + 1
		f.Members = append(f.Members, assets.CrewMember{PersonID: id, HomePlantID: plant.ID})
		f.Names[id] = fmt.Sprintf("crew %d", id)
	}
	f.Kit, f.Templates = r.kit(), replanTemplates()
	return f
}

// kit are the presses that plants share.
func (r *replanner) kit() []assets.Kit {
	var out []assets.Kit
	for i := range r.presses {
		k := assets.Kit{Name: fmt.Sprintf("Press %d", i+1), Class: assets.KitPress, WorkingWidthM: 1.2, Mobile: true}
		k.ID = int64(i) + 1
		out = append(out, k)
	}
	return out
}

func replanTemplates() []assets.WorkTemplate {
	return []assets.WorkTemplate{{OrderKind: string(workorder.KindResplice), DurationMin: replanWorkHours * 60, Kit: []assets.KitNeed{{Class: string(assets.KitPress), AsBelt: true}}}}
}
