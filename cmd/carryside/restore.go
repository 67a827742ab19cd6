package main

import (
	"context"
	"fmt"
	"strings"

	"carryside/assets/plantdb/moving"
)

// restoreCommand puts a copy in the place of an installation.
type restoreCommand struct {
	File    string `arg:"" placeholder:"FILE" help:"A copy that backup made."`
	DB      string `name:"db" default:"carryside.db" placeholder:"FILE|URL" help:"The database to put it in place of, or a new name; a PostgreSQL database must be empty."`
	Replace bool   `help:"Set the database that is there aside under another name and put the copy in its place."`
}

// Help says what becomes of the old.
func (c *restoreCommand) Help() string {
	return `Stop the server first. The copy is brought to this program's schema and its journal verified
before it takes the place. What was there is never overwritten: with --replace it gets another name, which
is printed, and stays beside it until you remove it. In PostgreSQL make a new database, restore into that
and serve it; the old one stays as it is.`
}

// Run restores and says where the old database is.
func (c *restoreCommand) Run(ctx context.Context, p *Program) error {
	if strings.Contains(c.DB, "://") {
		return c.intoPostgres(ctx, p)
	}
	r, err := moving.Restore(ctx, c.File, c.DB, c.Replace, p.Now())
	if err != nil {
		return err
	}
	printChains(p.Stdout, r.Verdict)
	if r.Aside != "" {
		fmt.Fprintf(p.Stdout, "%s is the database that was there\n", r.Aside)
	}
	_, err = fmt.Fprintf(p.Stdout, "%s is restored from %s, verified: %d entries, %d rows\n", c.DB, c.File, r.Verdict.Entries, r.Verdict.Rows)
	return err
}

// intoPostgres restores as a move does: into an empty database only.
func (c *restoreCommand) intoPostgres(ctx context.Context, p *Program) error {
	if c.Replace {
		return &UsageError{"--replace is for files; make a new PostgreSQL database, restore into that and serve it"}
	}
	return carry(ctx, p, c.File, c.DB)
}
