package api

import (
	"context"
	"time"

	"carryside/assets"
	"carryside/reports"
	"carryside/schedule/clock"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"
	"carryside/server/web"
)

// Desk is what the machine interface tells and takes.
type Desk interface {
	PlantFrame(ctx context.Context, scope assets.Scope, plantID int64) (web.PlantFrame, error)
	PlantList(ctx context.Context, scope assets.Scope) ([]web.PlantSummary, error)
	ReportZone(ctx context.Context) (*time.Location, error)
	ReportVersion() string

	// PlantThen returns a plant as it was at an instant as known at another; zero instants are now.
	PlantThen(ctx context.Context, scope assets.Scope, plantID int64, at, known, now time.Time) (PlantThen, error)
	// PlantsThen is PlantList as of the moment that is asked for at each plant; those not known then are left out.
	PlantsThen(ctx context.Context, scope assets.Scope, moment func(assets.Plant) (at, known time.Time, err error), now time.Time) ([]web.PlantSummary, error)
	// ReportsKnownAt returns what reports of a scope are built from, as known at an instant; the zero time is now.
	ReportsKnownAt(scope assets.Scope, known time.Time) reports.Source
	// RunningHours makes running hours of what a meter showed.
	RunningHours(meters []assets.Meter, at assets.Instant, shownH float64) float64
	// EnterOnce takes readings in one change, once for each key of a token. ErrOtherRequest when the key stands for
	// another request.
	EnterOnce(ctx context.Context, scope assets.Scope, e Entry, answer func([]Outcome) (string, error)) (kept string, again bool, err error)
	// StandstillOnce adds a standstill (ID 0), or ends one that stands, in one change, once for each key of a token. assets.ErrNotFound when
	// the plant has no such standstill, ErrOtherRequest as above.
	StandstillOnce(ctx context.Context, scope assets.Scope, w Writing, st assets.Standstill, answer func(assets.Standstill) (string, error)) (kept string, again bool, err error)
}

// PlantThen is a plant at one moment. What another plant has, or what had not begun yet, is not found.
type PlantThen interface {
	// Fleet returns the plant's register and where its running splices stand.
	Fleet(ctx context.Context) (*web.Fleet, error)
	// Past returns the belts, splices and findings there have been at a conveyor.
	Past(ctx context.Context, conveyorID int64) (*web.Past, error)
	Conveyor(ctx context.Context, id int64) (assets.Conveyor, error)
	Retired(ctx context.Context) ([]assets.Conveyor, error)
	Belt(ctx context.Context, id int64) (assets.Belt, error)
	Splice(ctx context.Context, id int64) (assets.Splice, error)
	Finding(ctx context.Context, id int64) (assets.Finding, error)
	// FindingsSince returns what was found since an instant, newest first, with the finders' names.
	FindingsSince(ctx context.Context, since assets.Instant) ([]assets.Finding, error)
	// FindingKinds returns the kinds of finding with what each grade means.
	FindingKinds(ctx context.Context) (assets.FindingKinds, error)
	// Meters returns the newest accepted reading and the stretches of the hour meters of conveyors.
	Meters(ctx context.Context, conveyors []assets.Conveyor) (last map[int64]assets.Reading, meters map[int64][]assets.Meter, err error)
	MetersOf(ctx context.Context, conveyorID int64) ([]assets.Meter, error)
	ReadingsBetween(ctx context.Context, conveyorID int64, from, to assets.Instant) ([]assets.Reading, error)
	WaitingReadings(ctx context.Context) ([]assets.HeldReading, error)
	Orders(ctx context.Context, filter web.OrderFilter) ([]workorder.Order, error)
	Order(ctx context.Context, number int64) (*web.OrderFile, error)
	Reminders(ctx context.Context, today assets.Day) ([]rules.Occurrence, error)
	// Stores returns the storeroom of the plant and the kit at home there.
	Stores(ctx context.Context) (reports.Stores, error)
	// Movements returns the lines of the storeroom's ledger of an item (0: of all) since an instant, newest first, with the items.
	Movements(ctx context.Context, itemID int64, since assets.Instant) ([]assets.StockMovement, []assets.StockItem, error)
	// Standstills returns how conveyors stood by failures: what had not ended at an instant, newest first.
	Standstills(ctx context.Context, since assets.Instant) ([]assets.Standstill, error)
}

// Entry is readings to be taken.
type Entry struct {
	Writing
	Readings []web.ReadingEntered
}

// Writing is who writes at which plant, and under which key.
type Writing struct {
	PersonID    int64
	TokenID     int64
	TokenName   string
	Key         string
	RequestHash string
	Now         time.Time
	PlantID     int64
}

// Outcome is what became of a reading.
type Outcome struct {
	Class  clock.Class
	HeldID int64
}
