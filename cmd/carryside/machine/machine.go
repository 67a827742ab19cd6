// Package machine joins the machine interface to the database: tokens to people and their grants, reads to the
// desk the screens ask, readings to one change with the key they were sent under.
//
//	api.Mount(engine, api.Config{Desk: machine.New(db, desk), Keys: machine.NewKeys(db, log)})
package machine

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/stops"
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
	return m.once(ctx, scope, e.Writing, "enter readings", func(c *plantdb.Change) (string, error) {
		outcomes, err := enter(c, e)
		if err != nil {
			return "", err
		}
		return answer(outcomes)
	})
}

// StandstillOnce adds a standstill, or ends one, in one change with the key it was sent under and the answer it got.
func (m *Machine) StandstillOnce(ctx context.Context, scope assets.Scope, w api.Writing, st assets.Standstill, answer func(assets.Standstill) (string, error)) (string, bool, error) {
	action := "record a standstill"
	if st.ID != 0 {
		action = "end a standstill"
	}
	return m.once(ctx, scope, w, action, func(c *plantdb.Change) (string, error) {
		next := st // a change may run twice
		if next.ID == 0 {
			next.ClientID = clientOf(w)
		} else if err := ending(c, &next); err != nil {
			return "", err
		}
		if _, err := stops.SaveStandstill(c, &next); err != nil {
			return "", err
		}
		return answer(next)
	})
}

// ending makes of the end of a standstill the standstill as it is held, with that end.
func ending(c *plantdb.Change, st *assets.Standstill) error {
	held, err := plantdb.ReadRow[assets.Standstill](c, st.ID)
	switch {
	case err != nil:
		return err
	case held.PlantID != st.PlantID || held.LeftOut:
		return fmt.Errorf("standstill %d: %w", st.ID, assets.ErrNotFound)
	case held.UntilAt != nil:
		return assets.Invalid{"until_at": "this standstill has ended already; a person corrects it on its page, with a reason"}
	}
	held.UntilAt = st.UntilAt
	*st = held
	return nil
}

// clientOf is the client's number of what is written under a key: also when the key is long forgotten, the same one writes nothing twice.
func clientOf(w api.Writing) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "token %d\x00%s", w.TokenID, w.Key))
	return hex.EncodeToString(sum[:12])
}

// once writes in one change with the key it was sent under and the answer it got.
func (m *Machine) once(ctx context.Context, scope assets.Scope, w api.Writing, action string, do func(*plantdb.Change) (answer string, err error)) (string, bool, error) {
	if err := m.db.Reach(ctx, scope, w.PlantID); err != nil {
		return "", false, err
	}
	act := plantdb.Act{PersonID: w.PersonID, Origin: origin, Action: action, Reason: fmt.Sprintf("by token %d, %s", w.TokenID, w.TokenName), Now: w.Now, Plants: []int64{w.PlantID}}
	var kept tokens.Answer
	var again bool
	err := m.db.Change(ctx, act, func(c *plantdb.Change) (err error) {
		kept, again, err = tokens.Once(c, w.TokenID, w.Key, w.RequestHash, func() (int, string, error) {
			text, err := do(c)
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
