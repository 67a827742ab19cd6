package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
	"carryside/assets/plantdb/tokens"
)

// tokenCommand makes a token of the machine interface from the command line: for metrics, which no screen makes, and
// where programs are set up before people sign in.
type tokenCommand struct {
	Person string `arg:"" placeholder:"NAME" help:"Whose token it is: it reaches what they reach."`
	For    string `name:"for" required:"" placeholder:"WORDS" help:"What it is for, such as the program that will show it."`
	May    string `enum:"read,readings,metrics" default:"read" help:"What it may: read; readings, which reads too; or metrics, which reads /metrics and nothing else."`
	Days   int    `default:"90" help:"How many days it is good for, a year at most."`
	As     string `name:"as" placeholder:"NAME" help:"Who makes it, for the journal. Without it, operator at this host."`
	DB     string `name:"db" default:"carryside.db" placeholder:"FILE|URL" help:"The installation's database."`
}

// Run makes the token and prints it, alone on its line: it is kept nowhere.
func (c *tokenCommand) Run(ctx context.Context, p *Program) error {
	if c.Days < 1 || c.Days > 366 {
		return &UsageError{"--days: give 1 to 366 days"}
	}
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: c.DB, AsItIs: true})
	if err != nil {
		return err
	}
	defer db.Close()
	person, err := personCalled(ctx, db, c.Person, assets.InstantOf(p.Now()))
	if err != nil {
		return err
	}
	by := c.As
	if by == "" {
		by = operator()
	}
	may := map[string]string{"read": tokens.MayRead, "readings": tokens.MayReadAndEnter, "metrics": tokens.MayReadMetrics}[c.May]
	t := tokens.Token{PersonID: person.ID, Name: c.For, May: may, ExpiresAt: assets.InstantOf(p.Now().Add(time.Duration(c.Days) * 24 * time.Hour))}
	act := plantdb.Act{Origin: plantdb.Command, Action: "make a token", Reason: "by " + by, Now: p.Now(), Company: true}
	var secret string
	err = db.Change(ctx, act, func(ch *plantdb.Change) (err error) {
		secret, err = tokens.Make(ch, &t)
		return err
	})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(p.Stdout, secret)
	return err
}

// personCalled returns the one person of a name who holds a role.
func personCalled(ctx context.Context, db *plantdb.DB, name string, at assets.Instant) (assets.Person, error) {
	people, err := registry.People(ctx, db, assets.JobScope(), false)
	if err != nil {
		return assets.Person{}, err
	}
	for _, one := range people {
		if one.NameKey != assets.NameKey(name) {
			continue
		}
		grants, err := registry.GrantsOf(ctx, db, one.ID, at)
		if err != nil {
			return assets.Person{}, err
		}
		if len(grants) > 0 {
			return one, nil
		}
	}
	return assets.Person{}, errors.New("nobody who holds a role is called " + name + "; write the name as it stands on the page of people")
}
