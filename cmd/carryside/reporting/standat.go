package reporting

import (
	"context"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/outlook"
	"carryside/schedule/due"
)

// StandAt reads a plant's whole register with where each splice stands at an instant, as far as the source knows: what a report of
// then tells of them, with flexes. It also returns the moment for further reads of the same plant.
func (s Source) StandAt(ctx context.Context, plantID int64, at time.Time) (state *outlook.Standings, asOf plantdb.AsOf, err error) {
	err = s.db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		s.db = tx
		if asOf, err = s.AsOf(ctx, plantID, at); err != nil {
			return err
		}
		if state, err = outlook.Stand(ctx, tx, s.scope, plantID, asOf, assets.InstantOf(at)); err != nil {
			return err
		}
		forecasts, err := s.forecasts(ctx, state, asOf, assets.InstantOf(at))
		if err != nil {
			return err
		}
		foreseen, err := forecasts()
		if err != nil {
			return err
		}
		state.Standings = due.Together(at, state.Register.Plant, state.Standings, foreseen)
		return nil
	})
	return state, asOf, err
}

// AsOf is the moment of a plant at an instant as far as the source knows; the zero instant is now.
func (s Source) AsOf(ctx context.Context, plantID int64, at time.Time) (plantdb.AsOf, error) {
	customer, err := s.db.CustomerOf(ctx, plantID)
	if err != nil {
		return plantdb.AsOf{}, err
	}
	valid := assets.Instant(0)
	if !at.IsZero() {
		valid = assets.InstantOf(at)
	}
	return s.asOf(ctx, customer, valid)
}
