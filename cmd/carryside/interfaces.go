package main

import (
	"context"

	"carryside/assets/plantdb"
	"carryside/cmd/carryside/desk"
	"carryside/cmd/carryside/machine"
	"carryside/server"
	"carryside/server/api"
	"carryside/server/health"
)

// withMachines adds to a server what machines ask it: the machine interface with its tokens, and how it stands.
func withMachines(c server.Config, db *plantdb.DB, front *desk.Desk) server.Config {
	keys := machine.NewKeys(db, c.Log)
	c.Health = health.New(health.Config{Facts: machine.Condition{DB: db, Now: c.Now}, Now: c.Now, Log: c.Log, Token: func(ctx context.Context, token string) bool {
		b, err := keys.Shown(ctx, token, c.Now())
		return err == nil && b.May == api.MayMetrics
	}})
	c.Sources.Meters = machine.Counted(c.Sources.Meters, c.Health.CountReadings)
	c.Tokens = keys
	c.Machine = &api.Config{Desk: machine.CountedDesk(machine.New(db, front), c.Health.CountReadings), Keys: keys, Now: c.Now, Log: c.Log, Version: version()}
	return c
}
