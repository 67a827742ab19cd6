package intake

import (
	"context"
	"time"

	"carryside/assets"
)

// Registry is what an import needs of the register. Each method sees only what the person who imports may see.
type Registry interface {
	// NewPlant gives the settings that a plant created by this import gets where the options tell none.
	NewPlant(ctx context.Context) (PlantSettings, error)
	// FindPlants returns the plants of that name (assets.NameKey), over all customers: none, one or several.
	FindPlants(ctx context.Context, nameKey string) ([]PlantRef, error)
	// Load returns a plant's register as it is known now. Readings and findings are wanted only when the file gives some.
	Load(ctx context.Context, plantID int64, want Want) (*Snapshot, error)
	// Apply writes everything in one transaction, or nothing.
	Apply(ctx context.Context, c *Changes) error
}

// PlantSettings are what a new plant needs beside its name.
type PlantSettings struct {
	Zone string // IANA name
}

// PlantRef is a plant as found by its name.
type PlantRef struct {
	ID       int64
	Name     string
	Customer string
	Zone     string
}

// Want says which bulky parts of a snapshot are needed.
type Want struct{ Readings, Findings bool }

// Snapshot is a plant's register now: its conveyors, retired ones too, with their histories.
type Snapshot struct {
	Lines     []string // names
	Conveyors []ConveyorState
}

// ConveyorState is one conveyor with what hangs on it.
type ConveyorState struct {
	Conveyor assets.Conveyor
	Line     string
	Belts    []assets.Belt // with those removed
	Splices  []assets.Splice
	Meters   []assets.Meter       // stretches, in order of time
	Readings []assets.Reading     // accepted, in order of time
	Held     []assets.HeldReading // waiting or decided
	Findings []assets.Finding
}

// Changes are what an import writes, all or nothing. A thing is nested in the one it belongs to, so that new things need
// no numbers yet.
type Changes struct {
	File     string
	SHA256   string
	Now      time.Time
	Customer string // for created plants; "" the only customer, else one under the plant's own name
	Zone     string // for created plants; "" the company's
	Plants   []*PlantChange
	Refused  []Refusal // kept with the import
	Counts   map[Kind]*Count
	Mapping  *Mapping
}

// PlantChange is one plant and what changes there. ID 0 is created.
type PlantChange struct {
	ID        int64
	Name      string
	Lines     []string // names of new lines, in the order of the file
	Conveyors []*ConveyorChange
}

// ConveyorChange is one conveyor and what changes on it. Where neither Created nor Changes is set only the things below it
// change.
type ConveyorChange struct {
	Record   assets.Conveyor // as it is to stand; ID 0 is created
	Created  bool
	Changes  []FieldChange
	Line     string // its line by name; "" none
	Belts    []*BeltChange
	Meters   []assets.Meter // new stretches, in order of time; ID 0
	Readings []assets.Reading
	Held     []assets.HeldReading
	Findings []assets.Finding // new ones

	Corrected []assets.Finding // those the register has, as they are to stand
	Place     string           // where in the file it stands
}

// BeltChange is one belt and its splices. Implied is a belt of which the file says nothing but that a splice is in it.
type BeltChange struct {
	Record  assets.Belt
	Created bool
	Implied bool
	Changes []FieldChange
	Splices []*SpliceChange
	Place   string
}

// SpliceChange is one splice.
type SpliceChange struct {
	Record  assets.Splice
	Created bool
	Changes []FieldChange
	Place   string
}

// Empty tells whether nothing would be written.
func (c *Changes) Empty() bool { return len(c.Plants) == 0 }
