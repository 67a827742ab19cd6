package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/accounts"
	"carryside/assets/plantdb/registry"
)

// erasePersonCommand takes a person's name, phone, mail address and sign-in out of the installation, on their request.
// What they did stays, under their number, and the journal stays whole.
type erasePersonCommand struct {
	Person string `arg:"" placeholder:"NAME|NUMBER" help:"Who: the name as the register has it, or the number where several have the name."`
	Reason string `required:"" placeholder:"WORDS" help:"Why, for the journal: do not repeat the name in it."`
	Yes    bool   `help:"Erase it for good. Without it, what would be erased is said and nothing is done."`
	As     string `name:"as" placeholder:"NAME" help:"Who erases, for the journal. Without it, operator at this host."`
	DB     string `name:"db" default:"carryside.db" placeholder:"FILE|URL" help:"The installation's database."`
}

// Help says what an erasure reaches and what it does not.
func (c *erasePersonCommand) Help() string {
	return `The name gives way to "erased person N"; phone, mail address and sign-in are emptied and the account is
ended. A SQLite file is then written anew, so that no page keeps the old bytes; that takes as long as
copying it. It cannot be taken back. Not reached: free text in which somebody wrote the name (remarks,
reasons, notes), names of files brought in, reports already given out, and backups, which keep
what they hold until they are thrown away.`
}

// Run erases, or says what it would erase.
func (c *erasePersonCommand) Run(ctx context.Context, p *Program) error {
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: c.DB, AsItIs: true})
	if err != nil {
		return err
	}
	defer db.Close()
	e, err := c.who(ctx, db)
	if err != nil {
		return err
	}
	if strings.Contains(assets.NameKey(c.Reason), e.Person.NameKey) {
		return errors.New("--reason repeats the name, and the journal would keep it; say why without it")
	}
	if !c.Yes {
		return fmt.Errorf("nothing was erased yet: person %d, %s, with %d rows of phone and mail address would be erased for good; give --yes to do it", e.Person.ID, e.Person.Name, e.Contacts)
	}
	act := plantdb.Act{Origin: plantdb.Command, Action: "erase a person", Reason: c.Reason + ", by " + cmp.Or(strings.TrimSpace(c.As), operator()), Now: p.Now(), Company: true, Plants: e.Plants}
	if e.Person.CustomerID != 0 {
		act.Customers = []int64{e.Person.CustomerID}
	}
	err = db.Change(ctx, act, func(ch *plantdb.Change) error { return accounts.Erase(ch, e.Person.ID) })
	if err != nil {
		return err
	}
	if err := db.Scrub(ctx); err != nil {
		return fmt.Errorf("person %d is erased in every row, but the file may still hold old bytes: %w", e.Person.ID, err)
	}
	_, err = fmt.Fprintf(p.Stdout, "Person %d is erased: name, sign-in and %d rows of phone and mail address. What they did stays under their number; the journal stays whole.\n", e.Person.ID, e.Contacts)
	return err
}

// who finds the person by number or by name.
func (c *erasePersonCommand) who(ctx context.Context, db *plantdb.DB) (registry.Erasure, error) {
	if id, err := strconv.ParseInt(c.Person, 10, 64); err == nil {
		return found(registry.ErasureOf(ctx, db, id))
	}
	some, err := registry.PeopleCalled(ctx, db, c.Person)
	switch {
	case err != nil:
		return registry.Erasure{}, err
	case len(some) == 0:
		return registry.Erasure{}, fmt.Errorf("nobody is called %q; write the name as the register has it, or give the number", c.Person)
	case len(some) > 1:
		numbers := make([]string, len(some))
		for i, p := range some {
			numbers[i] = strconv.FormatInt(p.ID, 10)
		}
		return registry.Erasure{}, fmt.Errorf("%d people are called %q: numbers %s; give the number of the one", len(some), c.Person, strings.Join(numbers, ", "))
	}
	return found(registry.ErasureOf(ctx, db, some[0].ID))
}

// found puts a number that is nobody's into a sentence, and refuses who was erased before.
func found(e registry.Erasure, err error) (registry.Erasure, error) {
	switch {
	case errors.Is(err, assets.ErrNotFound):
		return e, errors.New("nobody has this number; the names of people and their numbers are in the journal and on the page of people")
	case err == nil && e.Person.Name == plantdb.ErasedName(e.Person.ID):
		return e, fmt.Errorf("person %d was erased before", e.Person.ID)
	}
	return e, err
}
