package web

import (
	"context"

	"carryside/assets"
)

// Sources is where the screens get what they show, one field per interface; the command that serves joins
// them to the database. A field that is missing fails at start.
type Sources struct {
	Plants Plants
}

// Plants is what the frame and the list of plants need.
type Plants interface {
	// PlantFrame returns a plant with its counts. assets.ErrNotFound outside the scope.
	PlantFrame(ctx context.Context, scope assets.Scope, plantID int64) (PlantFrame, error)
	// PlantList returns the plants of a scope by customer and name.
	PlantList(ctx context.Context, scope assets.Scope) ([]PlantSummary, error)
}

// PlantSummary is one line of the list of plants.
type PlantSummary struct {
	Plant     assets.Plant
	Customer  string
	Conveyors int // in use
	Splices   int // live
	Open      int // orders raised to started
	Overdue   int // of them past their latest date
	ReadTo    assets.Instant
	Held      int // readings waiting for a person
}
