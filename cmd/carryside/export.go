package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/cmd/carryside/reporting"
	"carryside/reports"
	"carryside/schedule/people"
)

// exportCommand writes a report to a file: for whoever wants the register without a screen.
type exportCommand struct {
	Report string `arg:"" optional:"" name:"report" help:"Which report; splice-age is the splice age register, audit the audit extract."`
	AsOf   string `name:"as-of" placeholder:"DATE" help:"The day it looks at, YYYY-MM-DD: its end in each plant's time zone; or an instant of RFC 3339. Without it, now."`
	Known  string `name:"known-at" placeholder:"DATE" help:"As it was known then: what was entered later is left out. YYYY-MM-DD is the end of that day in the company's time zone; an instant like 2026-06-30T12:00:00Z is accepted. Without it, as known now."`
	From   string `placeholder:"DATE" help:"First day of the period, of a report that covers one (audit), YYYY-MM-DD in each plant's time zone. Without it, since the first entry."`
	To     string `placeholder:"DATE" help:"Last day of the period. Without it, to what --as-of looks at."`
	Scope  string `placeholder:"PARTS" help:"What it covers: customer=NAME,plant=NAME,line=NAME,conveyor=TAG, and stop=2026-12-12T06:00 of window packages, each part optional. Without it, everything."`
	DB     string `name:"db" default:"carryside.db" placeholder:"FILE|URL" help:"The installation's database."`
	Out    string `required:"" placeholder:"FILE" help:"File to write; its ending says how: .xlsx, .csv, .json or .html."`
	As     string `name:"as" placeholder:"NAME" help:"Who has it made, as its cover and the journal say. Without it, operator at this host. A person named for the audit extract must be one who may read the journal there: a lead or an auditor of the installation."`
	Basis  string `placeholder:"PROOF" help:"Build an issued report again from the basis its proof file names, instead of a new one. What differs is listed by column."`
	Draft  bool   `help:"Do not keep the report, journal it or write a proof: for a look, or where the database may only be read."`
}

// Help lists the reports.
func (c *exportCommand) Help() string {
	var b strings.Builder
	for _, e := range reports.Catalogue {
		fmt.Fprintf(&b, "%s: %s. %s\n", e.Slug, e.Title, e.Question)
	}
	b.WriteString("\nA report is issued: its bytes are kept, their digest is journalled, and a proof file is written\nbeside it, FILE.proof.json. 'carryside verify FILE' proves the file by it.\n")
	return b.String()
}

// Run writes the whole file or none.
func (c *exportCommand) Run(ctx context.Context, p *Program) error {
	defer exportRoom.use()()
	write, err := writerFor(c.Out)
	if err != nil {
		return err
	}
	if c.Basis != "" {
		return c.again(ctx, p, write)
	}
	asked, err := c.asked(p.Now())
	if err != nil {
		return err
	}
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: c.DB, AsItIs: true})
	if err != nil {
		return err
	}
	defer db.Close()
	if asked.in.Zone, err = reporting.CompanyZone(ctx, db); err != nil {
		return err
	}
	if asked.in.Known, err = reports.NewKnownAt(c.Known, asked.in.Zone); err != nil {
		return err
	}
	f, err := newFile(c.Out)
	if err != nil {
		return err
	}
	defer f.discard()
	var report *reports.Report
	err = db.InSnapshot(ctx, func(tx *plantdb.DB) (err error) {
		if err := c.permitted(ctx, tx, asked.entry, asked.in, p.Now()); err != nil {
			return err
		}
		source := reporting.NewSource(tx, assets.JobScope())
		if c.Known != "" {
			source = source.KnownAt(asked.in.Known.At)
			asked.in.Corrections = reports.Explained
		}
		asked.in.Source = source
		if report, err = asked.entry.Build(ctx, asked.in, assets.Day(c.AsOf)); err != nil {
			return err
		}
		return f.write(ctx, report, write)
	})
	if err != nil {
		return byFlag(err)
	}
	if err := c.issue(ctx, db, report, f, p.Now()); err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.Stdout, "%s: %s, digest of the rows %s\n", c.Out, countRows(f.proof.Rows), f.proof.Digest)
	return err
}

func countRows(n int) string {
	if n == 1 {
		return "1 row"
	}
	return fmt.Sprintf("%d rows", n)
}

// askedFor is what a call asks for, once it makes sense.
type askedFor struct {
	entry reports.Entry
	in    reports.Inputs
}

func (c *exportCommand) asked(now time.Time) (a askedFor, err error) {
	if c.Report == "" {
		return a, &UsageError{"say which report: carryside export splice-age --out FILE"}
	}
	if a.entry, err = reports.Find(c.Report); err != nil {
		return a, &UsageError{strings.TrimSuffix(err.Error(), ": "+assets.ErrNotFound.Error())}
	}
	filter, err := reports.ParseFilter(c.Scope)
	if err != nil {
		return a, &UsageError{"--scope: " + err.Error()}
	}
	if _, err := reports.NewAsOf(assets.Day(c.AsOf), now); err != nil {
		return a, &UsageError{"--as-of: " + err.Error()}
	}
	if _, err := reports.NewKnownAt(c.Known, nil); err != nil {
		return a, &UsageError{"--known-at: " + err.Error()}
	}
	a.in = reports.Inputs{Filter: filter, Period: reports.Period{From: assets.Day(c.From), To: assets.Day(c.To)}, Built: now, By: cmp.Or(strings.TrimSpace(c.As), operator()), Version: programVersion()}
	if a.entry.Deed() != people.Read && c.byOperator() {
		a.in.Right = byHolding
	}
	return a, nil
}

// byFlag calls what is wrong with a report by the flag that said it.
func byFlag(err error) error {
	var bad assets.Invalid
	if !errors.As(err, &bad) {
		return err
	}
	for _, flag := range []string{"as-of", "known-at", "from", "to"} {
		if says := bad[flag]; says != "" {
			return &UsageError{"--" + flag + ": " + says}
		}
	}
	return err
}

// byHolding is by what right an operator has a report that not every reader may have: their basis, printed with the report.
const byHolding = "the operator of the installation, who holds its database and with it all that it says; no grant was asked"

// byOperator tells that the report is not made for a person of the installation. A database can be read whole by whoever can
// open it, so a refusal would keep nothing from them; the report says instead by what right it was read.
func (c *exportCommand) byOperator() bool {
	name := strings.TrimSpace(c.As)
	return name == "" || name == operator()
}

// permitted holds a report that not every reader may have to the people of the installation: a person it is made for must be
// allowed it at every plant it covers.
func (c *exportCommand) permitted(ctx context.Context, db *plantdb.DB, entry reports.Entry, in reports.Inputs, now time.Time) error {
	deed := entry.Deed()
	if deed == people.Read || c.byOperator() {
		return nil
	}
	name := strings.TrimSpace(c.As)
	grants, err := reporting.GrantsOf(ctx, db, name, now)
	if err != nil {
		return err
	}
	in.Source = reporting.NewSource(db, assets.JobScope())
	plants, err := in.Covered(ctx)
	if err != nil {
		return err
	}
	for _, p := range plants {
		if !people.MayAt(grants, p.CustomerID, p.ID, deed) {
			return fmt.Errorf("%s may not %s at every plant asked for; narrow --scope to plants where they are lead or auditor: %w", name, deed, assets.ErrForbidden)
		}
	}
	return nil
}

// programVersion names the program and the Go it was built with, whose libraries write the files.
func programVersion() string { return version() + ", " + runtime.Version() }

// issue keeps the report, writes its proof and puts both files in their places.
func (c *exportCommand) issue(ctx context.Context, db *plantdb.DB, r *reports.Report, f *newReportFile, now time.Time) error {
	if c.Draft {
		return f.keep()
	}
	debug.FreeOSMemory() // what a fleet's workbook took is not held while its bytes are kept
	form := strings.TrimPrefix(strings.ToLower(filepath.Ext(c.Out)), ".")
	content, err := os.Open(f.temporary)
	if err != nil {
		return err
	}
	defer content.Close()
	i := reporting.Issuing{Report: r, Proof: f.proof, File: f.proved, Form: form, Origin: plantdb.Command, Now: now}
	proof, err := reporting.Issue(ctx, db, i, content)
	if err != nil {
		return err
	}
	if err := f.keep(); err != nil {
		return err
	}
	return writeProof(c.Out+proofEnding, proof)
}

// writeReport writes a report in one form.
type writeReport func(*reports.Report, context.Context, io.Writer) (reports.Proof, error)

// writerFor chooses the form by the ending of the file's name.
func writerFor(name string) (writeReport, error) {
	switch strings.ToLower(filepath.Ext(name)) {
	case ".xlsx":
		return (*reports.Report).WriteXLSX, nil
	case ".csv":
		return (*reports.Report).WriteCSV, nil
	case ".json":
		return (*reports.Report).WriteJSON, nil
	case ".html":
		return (*reports.Report).WritePage, nil
	}
	return nil, &UsageError{fmt.Sprintf("--out %s: the ending says the form; write .xlsx, .csv, .json or .html", name)}
}

// operator is who works at the command line of this host.
func operator() string {
	host, err := os.Hostname()
	if err != nil || host == "" {
		return "operator"
	}
	return "operator at " + host
}
