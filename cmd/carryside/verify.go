package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"regexp"
	"strconv"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
)

// verifyCommand proves the journal: for an auditor, and for whoever restored a backup.
type verifyCommand struct {
	File       string `arg:"" optional:"" name:"file" help:"A report's file to prove; without it, the journal is proved."`
	Proof      string `placeholder:"FILE" help:"The proof file of FILE; without it, FILE.proof.json where there is one."`
	DB         string `name:"db" default:"carryside.db" placeholder:"FILE|URL" help:"The installation's database."`
	Checkpoint string `placeholder:"FILE" help:"Lines of an earlier run, kept outside: the journal must still contain those entries."`
	Customer   string `placeholder:"NAME" help:"Only the chain of this customer, and the rows it protects: for the customer's own auditor."`
}

// Help says what is proved.
func (c *verifyCommand) Help() string {
	return `Rebuilds every hash of the journal from the rows it protects and names the first broken link.
Of a FILE it says whether it is, byte for byte, a report that was issued: by the proof file given
beside it, by the journal of the database, or by both, and which.

Each chain gives one line: its number, its newest entry and that entry's hash. Keep the lines
outside the installation and give them to --checkpoint later: without them the journal can only be
shown to be consistent in itself, not to be the one there was.`
}

// Run prints a line for each chain, or fails with the first broken link.
func (c *verifyCommand) Run(ctx context.Context, p *Program) error {
	kept, err := readCheckpoints(c.Checkpoint)
	if err != nil {
		return err
	}
	if c.File != "" {
		check, err := newFileCheck(c.File, c.Proof)
		if err != nil {
			return err
		}
		return check.run(ctx, p, c.DB, kept)
	}
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: c.DB, AsItIs: true})
	if err != nil {
		return err
	}
	defer db.Close()
	asked := plantdb.Asked{Kept: kept}
	if c.Customer != "" {
		customer, err := customerNamed(ctx, db, c.Customer)
		if err != nil {
			return err
		}
		asked.OneChain, asked.CustomerID = true, customer.ID
	}
	verdict, err := db.Prove(ctx, asked)
	if err != nil {
		return err
	}
	if err := firstBreak(verdict); err != nil {
		return err
	}
	return c.print(ctx, p.Stdout, db, verdict)
}

// firstBreak is the first broken link of a verdict; nil: the journal is whole.
func firstBreak(verdict plantdb.Verdict) error {
	n := len(verdict.Breaks)
	if n == 0 {
		return nil
	}
	more := ""
	if n > 1 {
		more = fmt.Sprintf(" %d more breaks follow from it or stand beside it.", n-1)
	}
	return errors.New(verdict.Breaks[0].Says + more)
}

// customerNamed finds a customer by its name.
func customerNamed(ctx context.Context, db *plantdb.DB, name string) (assets.Customer, error) {
	customers, err := registry.Customers(ctx, db, assets.JobScope())
	if err != nil {
		return assets.Customer{}, err
	}
	for _, c := range customers {
		if assets.NameKey(c.Name) == assets.NameKey(name) {
			return c, nil
		}
	}
	return assets.Customer{}, fmt.Errorf("no customer is called %q; write the name as the register has it", name)
}

func (c *verifyCommand) print(ctx context.Context, w io.Writer, db *plantdb.DB, verdict plantdb.Verdict) error {
	customers, err := registry.Customers(ctx, db, assets.JobScope())
	if err != nil {
		return err
	}
	names := map[int64]string{0: "the company"}
	for _, customer := range customers {
		names[customer.ID] = customer.Name
	}
	for _, ch := range verdict.Chains {
		fmt.Fprintf(w, "chain %d entry %d %s %s\n", ch.ChainID, ch.Position, ch.Hash, names[ch.CustomerID])
	}
	says := "consistent in itself"
	if c.Checkpoint != "" {
		says = "whole since the checkpoint"
	}
	_, err = fmt.Fprintf(w, "%s: %d entries, %d rows\n", says, verdict.Entries, verdict.Rows)
	return err
}

// checkpointLine is a line of an earlier run; what stands behind the hash is for people.
var checkpointLine = regexp.MustCompile(`^chain (\d+) entry (\d+) ([0-9a-f]{64})( |$)`)

// readCheckpoints reads the lines of an earlier run; others in the file are left alone.
func readCheckpoints(name string) ([]plantdb.Checkpoint, error) {
	if name == "" {
		return nil, nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("--checkpoint %s cannot be read; give a file with the lines of an earlier verify: %w", name, err)
	}
	defer f.Close()
	var kept []plantdb.Checkpoint
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		m := checkpointLine.FindStringSubmatch(strings.TrimSpace(lines.Text()))
		if m == nil {
			continue
		}
		chain, chainErr := strconv.ParseInt(m[1], 10, 64)
		position, positionErr := strconv.ParseInt(m[2], 10, 64)
		if err := errors.Join(chainErr, positionErr); err != nil {
			return nil, fmt.Errorf("--checkpoint %s: %w", name, err)
		}
		kept = append(kept, plantdb.Checkpoint{ChainID: chain, Position: position, Hash: m[3]})
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("--checkpoint %s: %w", name, err)
	}
	if len(kept) == 0 {
		return nil, fmt.Errorf("--checkpoint %s has no line of a chain; give the lines that verify printed", name)
	}
	return kept, nil
}
