package outlook

import (
	"context"
	"fmt"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/registry"
	"carryside/schedule/calendar"
	"carryside/schedule/cohort"
)

// Lives returns every splice a plant ever had as a life of its cohort, as of an instant (at 0: now) and as it is known at
// asOf's position: what the life figures rest on.
func Lives(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, now assets.Instant) ([]cohort.Life, error) {
	var found []cohort.Life
	err := db.InSnapshot(ctx, func(tx *plantdb.DB) (err error) {
		found, err = lives(ctx, tx, scope, plantID, asOf, now)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read the lives of the splices of plant %d: %w", plantID, err)
	}
	return found, nil
}

func lives(ctx context.Context, tx *plantdb.DB, scope assets.Scope, plantID int64, asOf plantdb.AsOf, now assets.Instant) ([]cohort.Life, error) {
	at, known := now, asOf
	if asOf.Valid != 0 {
		at = asOf.Valid
	}
	known.Valid = 0
	reg, err := registry.LivesAsOf(ctx, tx, scope, plantID, asOf)
	if err != nil {
		return nil, err
	}
	zone := calendar.ZoneOf(reg.Plant.Location())
	entered, err := registry.PlantEntered(ctx, tx, plantID, known)
	if err != nil {
		return nil, err
	}
	splices := splicesOf(reg, zone, cohort.RecordOf(reg.Plant, reg.Splices, entered.Time(), zone))
	if err := findFailed(ctx, tx, scope, plantID, asOf, splices); err != nil {
		return nil, err
	}
	h := &history{db: tx, scope: scope, known: known, splicesOnly: true}
	if err := h.read(ctx, reg, endsOf(splices, at), 0); err != nil {
		return nil, err
	}
	out := make([]cohort.Life, len(splices))
	for i, s := range splices {
		out[i] = cohort.Observe(s, h.clocks.Ran, at.Time())
	}
	return out, nil
}

// splicesOf returns the register's splices with their cohorts.
func splicesOf(reg *assets.Register, zone calendar.Zone, record *cohort.Record) []cohort.Splice {
	out := make([]cohort.Splice, len(reg.Splices))
	for i, s := range reg.Splices {
		c, _ := reg.Conveyor(s.ConveyorID)
		b, _ := reg.Belt(s.BeltID)
		out[i] = cohort.Splice{Splice: s, Tag: c.Tag, Key: cohort.KeyOf(s, reg.Family(b), cohort.DutyOf(c)), Zone: zone, Record: record}
	}
	return out
}

// endsOf asks for the hours at both ends of every life and where watching began.
func endsOf(splices []cohort.Splice, at assets.Instant) []clocks.Asked {
	out := make([]clocks.Asked, 0, 4*len(splices))
	for _, s := range splices {
		for _, t := range s.Instants(at.Time()) {
			out = append(out, clocks.Asked{ConveyorID: s.ConveyorID, At: assets.InstantOf(t)})
		}
	}
	return out
}
