package intake_test

import (
	"context"
	"sort"

	"carryside/assets"
	"carryside/assets/intake"
)

// memory is a register kept in memory: it applies what an import writes to plain structs, so that a second import meets
// what the first one wrote.
type memory struct {
	plants []*memoryPlant
	nextID int64
}

type memoryPlant struct {
	ref  intake.PlantRef
	snap intake.Snapshot
}

func (m *memory) id() int64 { m.nextID++; return m.nextID }

func (m *memory) NewPlant(context.Context) (intake.PlantSettings, error) {
	return intake.PlantSettings{Zone: "Europe/Berlin"}, nil
}

func (m *memory) FindPlants(_ context.Context, key string) ([]intake.PlantRef, error) {
	var out []intake.PlantRef
	for _, p := range m.plants {
		if assets.NameKey(p.ref.Name) == key {
			out = append(out, p.ref)
		}
	}
	return out, nil
}

func (m *memory) Load(_ context.Context, id int64, want intake.Want) (*intake.Snapshot, error) {
	p := m.plant(id)
	s := p.snap
	s.Conveyors = append([]intake.ConveyorState(nil), s.Conveyors...)
	for i := range s.Conveyors {
		if !want.Readings {
			s.Conveyors[i].Readings, s.Conveyors[i].Held, s.Conveyors[i].Meters = nil, nil, nil
		}
	}
	return &s, nil
}

func (m *memory) plant(id int64) *memoryPlant {
	for _, p := range m.plants {
		if p.ref.ID == id {
			return p
		}
	}
	return nil
}

func (m *memory) Apply(_ context.Context, c *intake.Changes) error {
	for _, pc := range c.Plants {
		p := m.plant(pc.ID)
		if p == nil {
			customer := c.Customer
			if customer == "" {
				customer = pc.Name
			}
			p = &memoryPlant{ref: intake.PlantRef{ID: m.id(), Name: pc.Name, Customer: customer, Zone: "Europe/Berlin"}}
			m.plants = append(m.plants, p)
		}
		p.snap.Lines = append(p.snap.Lines, pc.Lines...)
		for _, cc := range pc.Conveyors {
			m.applyConveyor(p, cc)
		}
	}
	return nil
}

func (m *memory) applyConveyor(p *memoryPlant, cc *intake.ConveyorChange) {
	var s *intake.ConveyorState
	for i := range p.snap.Conveyors {
		if p.snap.Conveyors[i].Conveyor.TagKey == cc.Record.TagKey {
			s = &p.snap.Conveyors[i]
		}
	}
	if s == nil {
		cc.Record.ID = m.id()
		p.snap.Conveyors = append(p.snap.Conveyors, intake.ConveyorState{})
		s = &p.snap.Conveyors[len(p.snap.Conveyors)-1]
	}
	s.Conveyor, s.Line = cc.Record, cc.Line
	for _, bc := range cc.Belts {
		m.applyBelt(s, bc)
	}
	s.Meters = append(s.Meters, cc.Meters...)
	sort.SliceStable(s.Meters, func(i, j int) bool { return s.Meters[i].FromAt < s.Meters[j].FromAt })
	if len(s.Meters) > 0 && s.Meters[0].Why != assets.MeterFirst {
		s.Meters = append([]assets.Meter{{Why: assets.MeterFirst}}, s.Meters...)
	}
	s.Readings = append(s.Readings, cc.Readings...)
	sort.SliceStable(s.Readings, func(i, j int) bool { return s.Readings[i].At < s.Readings[j].At })
	s.Held = append(s.Held, cc.Held...)
	for _, next := range cc.Corrected {
		for i := range s.Findings {
			if f := &s.Findings[i]; f.FoundDay == next.FoundDay && f.Category == next.Category && f.Target == next.Target && f.Text == next.Text {
				*f = next
			}
		}
	}
	s.Findings = append(s.Findings, cc.Findings...)
}

func (m *memory) applyBelt(s *intake.ConveyorState, bc *intake.BeltChange) {
	if bc.Created {
		bc.Record.ID = m.id()
		s.Belts = append(s.Belts, bc.Record)
	}
	for i := range s.Belts {
		if s.Belts[i].ID == bc.Record.ID {
			s.Belts[i] = bc.Record
		}
	}
	for _, sc := range bc.Splices {
		sc.Record.BeltID = bc.Record.ID
		if sc.Created {
			sc.Record.ID = m.id()
			s.Splices = append(s.Splices, sc.Record)
		}
		for i := range s.Splices {
			if s.Splices[i].ID == sc.Record.ID {
				s.Splices[i] = sc.Record
			}
		}
	}
}
