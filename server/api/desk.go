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

// Desk is what the machine interface tells and takes. All but the last four are what the screens ask, too.
type Desk interface {
	PlantFrame(ctx context.Context, scope assets.Scope, plantID int64) (web.PlantFrame, error)
	PlantList(ctx context.Context, scope assets.Scope) ([]web.PlantSummary, error)
	Fleet(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) (*web.Fleet, error)
	Past(ctx context.Context, scope assets.Scope, plantID, conveyorID int64) (*web.Past, error)
	Conveyor(ctx context.Context, scope assets.Scope, id int64) (assets.Conveyor, error)
	Retired(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.Conveyor, error)
	Belt(ctx context.Context, scope assets.Scope, id int64) (assets.Belt, error)
	Splice(ctx context.Context, scope assets.Scope, id int64) (assets.Splice, error)
	Finding(ctx context.Context, scope assets.Scope, id int64) (assets.Finding, error)
	PlantMeters(ctx context.Context, scope assets.Scope, plantID int64) (last map[int64]assets.Reading, meters map[int64][]assets.Meter, err error)
	MetersOf(ctx context.Context, scope assets.Scope, conveyorID int64) ([]assets.Meter, error)
	ReadingsBetween(ctx context.Context, scope assets.Scope, conveyorID int64, from, to assets.Instant) ([]assets.Reading, error)
	WaitingReadings(ctx context.Context, scope assets.Scope, plantID int64) ([]assets.HeldReading, error)
	OrderList(ctx context.Context, scope assets.Scope, plantID int64, filter web.OrderFilter) ([]workorder.Order, int, error)
	OpenOrders(ctx context.Context, scope assets.Scope, plantID int64) ([]workorder.Order, error)
	Order(ctx context.Context, scope assets.Scope, plantID, number int64) (*web.OrderFile, error)
	Reminders(ctx context.Context, scope assets.Scope, plantID int64, today assets.Day) ([]rules.Occurrence, error)
	ReportZone(ctx context.Context) (*time.Location, error)
	ReportVersion() string

	// ReportsKnownAt returns what reports of a scope are built from, as known at an instant; the zero time is now.
	ReportsKnownAt(scope assets.Scope, known time.Time) reports.Source
	// FindingsSince returns what was found at a plant since an instant, newest first, with the finders' names.
	FindingsSince(ctx context.Context, scope assets.Scope, plantID int64, since assets.Instant) ([]assets.Finding, error)
	// RunningHours makes running hours of what a meter showed.
	RunningHours(meters []assets.Meter, at assets.Instant, shownH float64) float64
	// EnterOnce takes readings in one change, once for each key of a token. ErrOtherRequest when the key stands for
	// another request.
	EnterOnce(ctx context.Context, scope assets.Scope, e Entry, answer func([]Outcome) (string, error)) (kept string, again bool, err error)
}

// Entry is readings to be taken, with who shows them under which key.
type Entry struct {
	PersonID    int64
	TokenID     int64
	TokenName   string
	Key         string
	RequestHash string
	Now         time.Time
	PlantID     int64
	Readings    []web.ReadingEntered
}

// Outcome is what became of a reading.
type Outcome struct {
	Class  clock.Class
	HeldID int64
}
