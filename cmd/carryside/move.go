package main

import (
	"context"
	"fmt"
	"net/url"
	"strings"

	"carryside/assets/plantdb/moving"
)

// moveCommand carries an installation from one engine to the other.
type moveCommand struct {
	From string `required:"" placeholder:"FILE|URL" help:"The installation to move; no server may have it open."`
	To   string `required:"" placeholder:"FILE|URL" help:"Where to: an empty PostgreSQL database, or the name of a new file."`
}

// Help says what is carried.
func (c *moveCommand) Help() string {
	return `Carries everything, journal, chains and counters included, in one step: all of it arrives or
nothing. What arrived is read back and compared; a line for each table gives its rows and the digest that
is the same on both sides. The old installation stays as it was; serve the new one from then on.`
}

// Run moves and prints the digests.
func (c *moveCommand) Run(ctx context.Context, p *Program) error {
	return carry(ctx, p, c.From, c.To)
}

// carry moves with progress on standard error, where it does not mix with the digests.
func carry(ctx context.Context, p *Program, from, to string) error {
	digests, err := moving.Move(ctx, from, to, func(table string, rows int64, done bool) {
		if rows > 0 && !done {
			fmt.Fprintf(p.Stderr, "%s: %d rows so far\n", table, rows)
		}
	})
	if err != nil {
		return err
	}
	rows := int64(0)
	for _, d := range digests {
		fmt.Fprintln(p.Stdout, d)
		rows += d.Rows
	}
	_, err = fmt.Fprintf(p.Stdout, "%d tables, %d rows: equal on both sides; serve %s from now on\n", len(digests), rows, withoutPassword(to))
	return err
}

// withoutPassword is an address of a database as it may be printed: what is printed ends in the system's log. The
// password may stand before the host or, as PostgreSQL takes it too, among the parameters.
func withoutPassword(dsn string) string {
	if !strings.Contains(dsn, "://") {
		return dsn
	}
	address, err := url.Parse(dsn)
	if err != nil {
		return "the database"
	}
	if q := address.Query(); q.Has("password") || q.Has("sslpassword") {
		q.Del("password")
		q.Del("sslpassword")
		address.RawQuery = q.Encode()
	}
	return address.Redacted()
}
