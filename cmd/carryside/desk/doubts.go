package desk

import (
	"context"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb/outlook"
	"carryside/schedule/rules"
)

// keptDoubts is what is doubted at a plant, until something of it changes or the day ends.
type keptDoubts struct {
	head, company int64
	day           assets.Day
	doubts        []rules.Doubt
}

// Doubts returns the open orders of a plant that its rules would not raise on what the register says now.
func (d *Desk) Doubts(ctx context.Context, scope assets.Scope, plantID int64, now time.Time) ([]rules.Doubt, error) {
	if err := d.db.Reach(ctx, scope, plantID); err != nil {
		return nil, err
	}
	k := keptDoubts{day: assets.DayOf(now.UTC())}
	var err error
	if k.head, err = d.db.HeadPosition(ctx, plantID); err != nil {
		return nil, err
	}
	if k.company, err = d.db.CompanyPosition(ctx); err != nil {
		return nil, err
	}
	d.mu.Lock()
	held, ok := d.doubts[plantID]
	d.mu.Unlock()
	if ok && held.head == k.head && held.company == k.company && held.day == k.day {
		return held.doubts, nil
	}
	p, err := outlook.Load(ctx, d.db, assets.PlantScope(plantID), plantID, now)
	if err != nil {
		return nil, err
	}
	if err := p.ForeseeAsked(ctx, d.db, d.laws, now); err != nil {
		return nil, err
	}
	k.doubts = rules.NewOutlook(p.Inputs).Doubts(p.Inputs.Rules)
	d.mu.Lock()
	d.doubts[plantID] = k
	d.mu.Unlock()
	return k.doubts, nil
}
