package main

import (
	"context"
	"fmt"

	"carryside/assets/plantdb"
)

// upgradeCommand brings a database to this program's schema without serving it.
type upgradeCommand struct {
	DB      string `name:"db" default:"carryside.db" placeholder:"FILE|URL" help:"The installation's database, with an account that may change its tables."`
	ServeAs string `name:"serve-as" placeholder:"ROLE" help:"Let this role of the PostgreSQL server serve: it reads and writes rows, makes and drops no table, and alters nothing in the journal."`
}

// Help says when it is needed.
func (c *upgradeCommand) Help() string {
	return `serve does this at its start where its account may. On PostgreSQL it need not: give the
installation to one role that owns the tables, run this command as that role at each new version, and
let serve run as the one named by --serve-as.`
}

// Run upgrades and hands the rights over.
func (c *upgradeCommand) Run(ctx context.Context, p *Program) error {
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: c.DB})
	if err != nil {
		return err
	}
	defer db.Close()
	if c.ServeAs != "" {
		if err := db.LetServe(ctx, c.ServeAs); err != nil {
			return err
		}
		_, err = fmt.Fprintf(p.Stdout, "%s is at this program's schema; %s may serve it\n", withoutPassword(c.DB), c.ServeAs)
		return err
	}
	_, err = fmt.Fprintf(p.Stdout, "%s is at this program's schema\n", withoutPassword(c.DB))
	return err
}
