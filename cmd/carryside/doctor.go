package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"time"

	"carryside/assets/plantdb"
)

// doctorCommand looks an installation over: for whoever looks after it.
type doctorCommand struct {
	DB   string `name:"db" default:"carryside.db" placeholder:"FILE|URL" help:"The installation's database."`
	JSON bool   `name:"json" help:"Print one JSON object instead of lines."`
}

// Help says what the words mean.
func (c *doctorCommand) Help() string {
	return `Looks at program, database, disk, journal, clock, evaluation of the rules, held readings and backups
and prints a line for each: ok, look (somebody should look at it) or bad (something does not work).
It changes nothing and can be run while the installation is served. Exit status 1 when anything is
not ok. It is a look in passing: carryside verify proves the journal.`
}

// State of a point.
const (
	stateOK   = "ok"
	stateLook = "look" // a person should look at it
	stateBad  = "bad"  // something does not work
)

// point is one thing looked at.
type point struct {
	Point string `json:"point"`
	State string `json:"state"`
	Says  string `json:"says"`
}

// examination is everything looked at.
type examination struct {
	Program string  `json:"program"`
	At      string  `json:"looked_at"`
	Points  []point `json:"points"`
}

func (e *examination) add(name, state, says string, args ...any) {
	e.Points = append(e.Points, point{name, state, fmt.Sprintf(says, args...)})
}

// wrong counts the points that need a person.
func (e *examination) wrong() (n int) {
	for _, p := range e.Points {
		if p.State != stateOK {
			n++
		}
	}
	return n
}

// Run prints the points; it fails when one needs a person.
func (c *doctorCommand) Run(ctx context.Context, p *Program) error {
	now := p.Now()
	e := &examination{Program: "carryside " + version(), At: now.UTC().Format(time.RFC3339)}
	e.program()
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: c.DB, AsItIs: true})
	if err != nil {
		e.add("database", stateBad, "%s", err)
	} else {
		defer db.Close()
		e.look(ctx, db, now)
	}
	if err := e.print(p.Stdout, c.JSON); err != nil {
		return err
	}
	switch n := e.wrong(); n {
	case 0:
		return nil
	case 1:
		return fmt.Errorf("one of %d points needs a person", len(e.Points))
	default:
		return fmt.Errorf("%d of %d points need a person", n, len(e.Points))
	}
}

func (e *examination) print(w io.Writer, asJSON bool) error {
	if asJSON {
		encoder := json.NewEncoder(w)
		encoder.SetIndent("", "  ")
		return encoder.Encode(e)
	}
	for _, p := range e.Points {
		if _, err := fmt.Fprintf(w, "%-4s  %-13s %s\n", p.State, p.Point, p.Says); err != nil {
			return err
		}
	}
	return nil
}
