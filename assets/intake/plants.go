package intake

import (
	"fmt"
	"sort"
	"time"

	"carryside/assets"
)

// plantState is a plant while an import is worked out.
type plantState struct {
	id       int64
	name     string
	zone     *time.Location
	asked    bool // named by a column, a title or a sheet
	creating bool // a list of conveyors names it
	several  bool // found at two customers
	lines    map[string]string
	newLines []string
	lineRows map[string]*entry
	stored   map[string]*ConveyorState
	groups   map[string]*group
	order    []*group
	looks    map[string]string // tags by what they look like
	firstRow *entry
	changed  []*ConveyorChange
}

// findPlants looks up the plants that the rows name and loads their registers.
func (j *judge) findPlants() error {
	named := map[string]string{}
	for _, e := range j.entries {
		if e.plant == "" {
			e.plant = e.t.plant
		}
		if e.plant != "" {
			named[assets.NameKey(e.plant)] = e.plant
		}
	}
	if len(named) == 0 && len(j.entries) > 0 {
		return ErrNoPlant
	}
	only := ""
	if len(named) == 1 {
		for _, name := range named {
			only = name // a file that names one plant is about that plant
		}
	}
	var err error
	if j.settings, err = j.reg.NewPlant(j.ctx); err != nil {
		return fmt.Errorf("read the company's settings: %w", err)
	}
	for _, e := range j.entries {
		if e.plant == "" && e.t.byField["plant"] == nil {
			e.plant = only
		}
		if e.plant == "" {
			e.refuse(e.t.byField["plant"], faultNoKey, "", "names no plant; write its name in the row, or give --plant")
			continue
		}
		p, err := j.plantNamed(e.plant)
		if err != nil {
			return err
		}
		p.creating = p.creating || e.t.creates
		p.asked = p.asked || e.t.byField["plant"] != nil || e.t.plantTitle != "" || j.sheetPlants
		if p.several {
			e.refuse(e.t.byField["plant"], faultTwoPlants, e.plant, "is a plant of more than one customer; give --customer NAME")
		}
	}
	return nil
}

// plantNamed returns the state of a plant, loaded at its first row.
func (j *judge) plantNamed(name string) (*plantState, error) {
	key := assets.NameKey(name)
	if p := j.plants[key]; p != nil {
		return p, nil
	}
	p := &plantState{name: cleanName(name), lines: map[string]string{}, lineRows: map[string]*entry{}, stored: map[string]*ConveyorState{}, groups: map[string]*group{}, zone: j.zoneOf("")}
	j.plants[key] = p
	j.plantOrder = append(j.plantOrder, p)
	refs, err := j.reg.FindPlants(j.ctx, key)
	if err != nil {
		return nil, fmt.Errorf("look up the plant %s: %w", quoted(name), err)
	}
	if j.opt.Customer != "" {
		refs = ofCustomer(refs, j.opt.Customer) // a name is a plant's own within its customer only
	}
	switch len(refs) {
	case 0:
		return p, nil
	case 1:
		p.id, p.name, p.zone = refs[0].ID, refs[0].Name, j.zoneOf(refs[0].Zone)
		return p, j.load(p)
	}
	p.several = true
	return p, nil
}

func cleanName(s string) string { return kept(joinBlanks(s)) }

func ofCustomer(refs []PlantRef, customer string) []PlantRef {
	var own []PlantRef
	for _, r := range refs {
		if assets.NameKey(r.Customer) == assets.NameKey(customer) {
			own = append(own, r)
		}
	}
	return own
}

// zoneOf loads a zone by name; a created plant's comes from the options, else from the company.
func (j *judge) zoneOf(name string) *time.Location {
	for _, n := range []string{name, j.opt.Zone, j.settings.Zone} {
		if n == "" {
			continue
		}
		if z, err := time.LoadLocation(n); err == nil {
			return z
		}
	}
	return j.opt.Zoned
}

// load takes the register of a plant in.
func (j *judge) load(p *plantState) error {
	s, err := j.reg.Load(j.ctx, p.id, Want{Readings: j.readings, Findings: j.findings})
	if err != nil {
		return fmt.Errorf("read the register of %s: %w", quoted(p.name), err)
	}
	for _, l := range s.Lines {
		p.lines[assets.NameKey(l)] = l
	}
	for i := range s.Conveyors {
		c := &s.Conveyors[i]
		p.stored[assets.TagKey(c.Conveyor.Tag)] = c
	}
	return nil
}

// judgeAll gathers the rows of each conveyor and judges them, conveyor by conveyor.
func (j *judge) judgeAll() error {
	j.gather()
	for _, p := range j.plantOrder {
		for _, g := range p.order {
			sort.SliceStable(g.rows, func(a, b int) bool {
				x, y := g.rows[a], g.rows[b]
				if rx, ry := x.t.rank(), y.t.rank(); rx != ry {
					return rx < ry
				}
				return x.at < y.at
			})
			for range g.rows {
				if err := j.step(); err != nil {
					return err
				}
			}
			g.judge()
		}
		p.guessTags()
	}
	for _, e := range j.entries {
		j.close(e)
	}
	j.plantRecords()
	return nil
}

// gather sorts the rows by plant and conveyor. A plant that only lists of splices, readings or findings name is unknown.
func (j *judge) gather() {
	for _, e := range j.entries {
		if e.refusal != nil {
			continue
		}
		p := j.plants[assets.NameKey(e.plant)]
		if p.id == 0 && !p.creating && p.asked {
			e.refuse(e.t.byField["plant"], faultUnknown, e.plant, "is no plant of the register, and no list of conveyors in the file makes it; correct the name or bring its conveyors in first")
			continue
		}
		key := assets.TagKey(e.tag)
		g := p.groups[key]
		if g == nil {
			g = &group{j: j, p: p, key: key}
			p.groups[key] = g
			p.order = append(p.order, g)
		}
		g.rows = append(g.rows, e)
	}
}

// guessTags adds to rows with an unknown tag the one that was perhaps meant.
func (p *plantState) guessTags() {
	for _, g := range p.order {
		for _, e := range g.rows {
			if e.refusal == nil || e.refusal.Class != string(faultUnknownTag) {
				continue
			}
			if p.looks == nil {
				p.learnLooks()
			}
			if meant := p.looks[lookalikes(g.key)]; meant != "" {
				e.refusal.Text = cutTo(e.refusal.Text+"; did you mean "+quoted(meant)+"?", 390)
			}
		}
	}
}

func (p *plantState) learnLooks() {
	p.looks = map[string]string{}
	for key, c := range p.stored {
		p.looks[lookalikes(key)] = c.Conveyor.Tag
	}
	for _, g := range p.order {
		if g.conv != nil {
			p.looks[lookalikes(g.key)] = g.conv.tag
		}
	}
}

// close lists what became of a row: refused, passed over, or accepted.
func (j *judge) close(e *entry) {
	dated := e.t.hasDatedColumns()
	switch {
	case e.refusal != nil && dated && !e.t.creates:
		j.refuseCells(e)
	case e.refusal != nil:
		j.refused = append(j.refused, *e.refusal)
	case e.held:
	case e.used && !dated:
		j.out.Rows.Accepted++
	case !e.used:
		j.skip(e.t.sheet, e.row.Number, skipNothing)
	}
}

// refuseCells refuses each filled cell of a row in a table with a column per reading.
func (j *judge) refuseCells(e *entry) {
	n := 0
	for _, c := range e.t.columns {
		if !c.dated || e.row.at(c.col).Kind == Blank || noWord(j.book.shown(e.row.at(c.col))) {
			continue
		}
		r := *e.refusal
		r.Column, r.cell = columnName(c.col), c
		j.refused = append(j.refused, r)
		n++
	}
	if n == 0 {
		j.refused = append(j.refused, *e.refusal)
	}
}

// plantRecords gives the records of plants and lines.
func (j *judge) plantRecords() {
	for _, p := range j.plantOrder {
		if p.firstRow == nil {
			continue
		}
		action := "unchanged"
		if p.id == 0 {
			action = "created"
		}
		j.record(&Record{Kind: KindPlant, Action: action, Plant: p.name, Fields: Fields{}}, p.firstRow)
		keys := make([]string, 0, len(p.lineRows))
		for k := range p.lineRows {
			keys = append(keys, k)
		}
		sort.Slice(keys, func(a, b int) bool { return p.lineRows[keys[a]].at < p.lineRows[keys[b]].at })
		for _, k := range keys {
			action := "unchanged"
			name, known := p.lines[k]
			if !known {
				action = "created"
				name = cleanName(p.lineRows[k].line)
				p.newLines = append(p.newLines, name)
			}
			j.record(&Record{Kind: KindLine, Action: action, Plant: p.name, Line: name, Fields: Fields{{"line", name}}}, p.lineRows[k])
		}
	}
}

// record adds a record of a row.
func (j *judge) record(r *Record, e *entry) {
	r.Sheet, r.Row = e.t.sheet.Name, e.row.Number
	j.records = append(j.records, r)
}

// changes gathers what is to be written.
func (j *judge) changes() *Changes {
	c := &Changes{File: j.book.Name, SHA256: j.book.SHA256, Now: j.opt.Now, Customer: j.opt.Customer, Zone: j.opt.Zone, Refused: j.out.Refused, Counts: j.out.Counts, Mapping: j.out.Mapping}
	for _, p := range j.plantOrder {
		if p.firstRow == nil || (p.id != 0 && len(p.changed) == 0 && len(p.newLines) == 0) {
			continue
		}
		c.Plants = append(c.Plants, &PlantChange{ID: p.id, Name: p.name, Lines: p.newLines, Conveyors: p.changed})
	}
	return c
}
