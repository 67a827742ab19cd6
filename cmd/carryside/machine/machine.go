// Package machine joins the machine interface to the database: tokens to people and their grants, reads to the
// desk the screens ask, readings to one change with the key they were sent under.
//
//	api.Mount(engine, api.Config{Desk: machine.New(db, desk), Keys: machine.NewKeys(db, log)})
package machine

import (
	"context"
	"errors"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/tokens"
	"carryside/cmd/carryside/desk"
	"carryside/cmd/carryside/reporting"
	"carryside/reports"
	"carryside/server/api"
)

// origin is the way in that the journal names.
const origin plantdb.Origin = "api"

// Machine is what the machine interface asks: the desk of the screens, and a few things no screen asks so.
type Machine struct {
	*desk.Desk
	db *plantdb.DB
}

var _ api.Desk = (*Machine)(nil)

// New returns the machine's desk beside the screens'.
func New(db *plantdb.DB, d *desk.Desk) *Machine { return &Machine{d, db} }

// ReportsKnownAt returns what reports of a scope are built from, as known at an instant.
func (m *Machine) ReportsKnownAt(scope assets.Scope, known time.Time) reports.Source {
	s := reporting.NewSource(m.db, scope)
	if known.IsZero() {
		return s
	}
	return s.KnownAt(known)
}

// RunningHours makes running hours of what a meter showed.
func (m *Machine) RunningHours(meters []assets.Meter, at assets.Instant, shownH float64) float64 {
	return clocks.Meter(meters).Running(at.Time(), shownH)
}

// EnterOnce takes readings in one change with the key they were sent under and the answer they got.
func (m *Machine) EnterOnce(ctx context.Context, scope assets.Scope, e api.Entry, answer func([]api.Outcome) (string, error)) (string, bool, error) {
	if err := m.db.Reach(ctx, scope, e.PlantID); err != nil {
		return "", false, err
	}
	act := plantdb.Act{PersonID: e.PersonID, Origin: origin, Action: "enter readings", Reason: fmt.Sprintf("by token %d, %s", e.TokenID, e.TokenName),
		Now: e.Now, Plants: []int64{e.PlantID}}
	var kept tokens.Answer
	var again bool
	err := m.db.Change(ctx, act, func(c *plantdb.Change) (err error) {
		kept, again, err = tokens.Once(c, e.TokenID, e.Key, e.RequestHash, func() (int, string, error) {
			outcomes, err := enter(c, e)
			if err != nil {
				return 0, "", err
			}
			text, err := answer(outcomes)
			return 201, text, err
		})
		return err
	})
	if errors.Is(err, tokens.ErrOtherRequest) {
		err = api.ErrOtherRequest
	}
	return kept.Answer, again, err
}

// enter takes each reading as the screens do.
func enter(c *plantdb.Change, e api.Entry) ([]api.Outcome, error) {
	out := make([]api.Outcome, len(e.Readings))
	for i, r := range e.Readings {
		o, err := clocks.AddReading(c, clocks.Entered{ConveyorID: r.ConveyorID, At: r.At, ShownH: r.ShownH, Remark: r.Remark, Origin: "token " + e.TokenName})
		if err != nil {
			return nil, err
		}
		out[i] = api.Outcome{Class: o.Class, HeldID: o.HeldID}
	}
	return out, nil
}
