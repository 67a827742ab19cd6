package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/registry"
	"carryside/cmd/carryside/jobs"
	"carryside/schedule"
	"carryside/schedule/workorder"
)

// clerkAtWork is the process that is killed: it says each write once it is written, a full stop at the end of the line.
type clerkAtWork struct {
	env    environment
	db     *plantdb.DB
	random *rand.Rand
	run    string
	n      int
	by     workorder.Actor
	plants []*assets.Register
	rules  *schedule.Evaluator
	at     time.Time
}

// clerkUntilKilled works until killed.
func clerkUntilKilled(ctx context.Context, env environment, dsn string, at time.Time, seed uint64, run string) error {
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: dsn})
	if err != nil {
		return err
	}
	defer db.Close()
	c := &clerkAtWork{env: env, db: db, random: rand.New(rand.NewPCG(seed, 7)), run: run, at: at, rules: jobs.Evaluator(db, slog.New(slog.DiscardHandler))}
	if err := c.arrive(ctx); err != nil {
		return err
	}
	c.say("at %s", at.Format(time.RFC3339))
	for {
		if err := c.work(ctx); err != nil && !errors.Is(err, assets.ErrConflict) {
			return err
		}
	}
}

func (c *clerkAtWork) say(format string, args ...any) {
	fmt.Fprintf(c.env.stdout, format+".\n", args...)
}

// arrive looks who the planner is and what there is.
func (c *clerkAtWork) arrive(ctx context.Context) error {
	people, err := registry.People(ctx, c.db, assets.JobScope(), true)
	if err != nil {
		return err
	}
	for _, p := range people {
		if p.Role == assets.RolePlanner && p.CustomerID == 0 {
			c.by = workorder.Actor{PersonID: p.ID, Roles: []assets.Role{assets.RolePlanner}}
		}
	}
	plants, err := registry.Plants(ctx, c.db, assets.JobScope())
	for _, p := range plants {
		reg, err := registry.PlantAsOf(ctx, c.db, assets.JobScope(), p.ID, plantdb.AsOf{})
		if err != nil {
			return err
		}
		c.plants = append(c.plants, reg)
	}
	return err
}

// work does one thing and says it.
func (c *clerkAtWork) work(ctx context.Context) error {
	c.n++
	reg := c.plants[c.random.IntN(len(c.plants))]
	conveyor := reg.Conveyors[c.random.IntN(len(reg.Conveyors))]
	switch c.random.IntN(8) {
	case 0:
		c.at = c.at.Add(time.Hour)
		c.say("at %s", c.at.Format(time.RFC3339))
		_, err := c.rules.Evaluate(ctx, c.at)
		return err
	case 1, 2, 3:
		return c.find(ctx, conveyor)
	case 4, 5:
		return c.raise(ctx, conveyor)
	}
	return c.step(ctx, reg.Plant.ID)
}

func (c *clerkAtWork) act(what string, plant int64, now time.Time) plantdb.Act {
	return plantdb.Act{PersonID: c.by.PersonID, Origin: plantdb.Screen, Action: what, Now: now, Plants: []int64{plant}}
}

func (c *clerkAtWork) find(ctx context.Context, conveyor assets.Conveyor) error {
	now := time.Now()
	f := assets.Finding{ConveyorID: conveyor.ID, FoundAt: assets.InstantOf(now), Category: "splice", Text: "edge frayed", ClientID: fmt.Sprintf("%s-%d", c.run, c.n)}
	err := c.db.Change(ctx, c.act("record a finding", conveyor.PlantID, now), func(ch *plantdb.Change) error {
		_, err := registry.AddFinding(ch, &f)
		return err
	})
	if err == nil {
		c.say("finding %s", f.ClientID)
	}
	return err
}

func (c *clerkAtWork) raise(ctx context.Context, conveyor assets.Conveyor) error {
	now := time.Now()
	o := workorder.Order{PlantID: conveyor.PlantID, ConveyorID: conveyor.ID, Kind: workorder.KindInspection, Title: "look at the splice", Reason: "heard at the round"}
	err := c.db.Change(ctx, c.act("raise an order", conveyor.PlantID, now), func(ch *plantdb.Change) error { return orders.RaiseByHand(ch, &o) })
	if err == nil {
		c.say("order %d 1", o.ID)
	}
	return err
}

// step takes one of the plant's open orders on: raised ones are accepted, others put off or withdrawn.
func (c *clerkAtWork) step(ctx context.Context, plant int64) error {
	open, _, err := orders.List(ctx, c.db, assets.PlantScope(plant), orders.Filter{PlantID: plant, Open: true})
	if err != nil || len(open) == 0 {
		return err
	}
	before := open[c.random.IntN(len(open))]
	now := time.Now()
	if before.RaisedAt > assets.InstantOf(now) { // raised by the played clock
		now = before.RaisedAt.Time()
	}
	after, event, err := workorder.Withdraw(before, c.by, now, now, assets.DayOf(now), workorder.Withdrawal{Why: "seen to already", HoldsUntil: assets.DayOf(now.AddDate(0, 1, 0))})
	if before.State == workorder.Raised {
		after, event, err = workorder.Accept(before, c.by, now, now)
	}
	if err != nil {
		return nil // a step this order does not allow: a person would be told so
	}
	err = c.db.Change(ctx, c.act("take an order on", plant, now), func(ch *plantdb.Change) error { return orders.Step(ch, &after, event) })
	if err == nil {
		c.say("order %d %d", after.ID, after.EditVersion)
	}
	return err
}
