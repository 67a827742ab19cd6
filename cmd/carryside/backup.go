package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"carryside/assets/plantdb"
	"carryside/assets/plantdb/moving"
)

// backupCommand copies an installation while it is served.
type backupCommand struct {
	File       string `arg:"" placeholder:"FILE" help:"The copy to make; a name that is free."`
	DB         string `name:"db" default:"carryside.db" placeholder:"FILE|URL" help:"The installation's database."`
	Unverified bool   `help:"Keep the copy without verifying its journal: for an installation whose journal is known to be broken."`
}

// Help says what the copy is.
func (c *backupCommand) Help() string {
	return `Copies the whole installation into one file while people work on it: what stood there at one
moment. The copy's journal is verified before the file gets its name, and the lines of its chains are
printed: keep them with the copy, and give them to verify --checkpoint. A backup of a PostgreSQL
database is such a file too. Put it back with carryside restore.`
}

// Run makes the copy and prints its chains.
func (c *backupCommand) Run(ctx context.Context, p *Program) error {
	giveWay()
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: c.DB, AsItIs: true})
	if err != nil {
		return err
	}
	verdict, err := moving.Backup(ctx, db, c.File, c.Unverified, nil)
	if err == nil && !c.Unverified {
		err = db.SetMeta(ctx, lastBackup, p.Now().UTC().Format(time.RFC3339)) // the doctor tells how old it is
	}
	if err = errors.Join(err, db.Close()); err != nil {
		return err
	}
	printChains(p.Stdout, verdict)
	says := fmt.Sprintf("verified: %d entries, %d rows", verdict.Entries, verdict.Rows)
	if c.Unverified {
		says = "not verified"
	}
	_, err = fmt.Fprintf(p.Stdout, "%s is a copy of the installation; %s\n", c.File, says)
	return err
}

// printChains prints what a later verify --checkpoint takes.
func printChains(w io.Writer, verdict plantdb.Verdict) {
	for _, ch := range verdict.Chains {
		fmt.Fprintf(w, "chain %d entry %d %s\n", ch.ChainID, ch.Position, ch.Hash)
	}
}
