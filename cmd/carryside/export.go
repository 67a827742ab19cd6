package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/cmd/carryside/reporting"
	"carryside/reports"
)

// exportCommand writes a report to a file: for whoever wants the register without a screen.
type exportCommand struct {
	Report string `arg:"" name:"report" help:"Which report; splice-age is the splice age register."`
	AsOf   string `name:"as-of" placeholder:"DATE" help:"The day it looks at, YYYY-MM-DD: its end in each plant's time zone; or an instant of RFC 3339. Without it, now."`
	Known  string `name:"known-at" placeholder:"DATE" help:"As it was known then: what was entered later is left out. YYYY-MM-DD is the end of that day in the company's time zone; an instant like 2026-06-30T12:00:00Z is accepted. Without it, as known now."`
	Scope  string `placeholder:"PARTS" help:"What it covers: customer=NAME,plant=NAME,line=NAME,conveyor=TAG, each part optional. Without it, everything."`
	DB     string `name:"db" default:"carryside.db" placeholder:"FILE|URL" help:"The installation's database."`
	Out    string `required:"" placeholder:"FILE" help:"File to write; its ending says how: .xlsx, .csv, .json or .html."`
}

// Help lists the reports.
func (c *exportCommand) Help() string {
	var b strings.Builder
	for _, e := range reports.Catalogue {
		fmt.Fprintf(&b, "%s: %s. %s\n", e.Slug, e.Title, e.Question)
	}
	return b.String()
}

// Run writes the whole file or none.
func (c *exportCommand) Run(ctx context.Context, p *Program) error {
	entry, err := reports.Find(c.Report)
	if err != nil {
		return &UsageError{strings.TrimSuffix(err.Error(), ": "+assets.ErrNotFound.Error())}
	}
	write, err := writerFor(c.Out)
	if err != nil {
		return err
	}
	filter, err := reports.ParseFilter(c.Scope)
	if err != nil {
		return &UsageError{"--scope: " + err.Error()}
	}
	now := p.Now()
	if _, err := reports.NewAsOf(assets.Day(c.AsOf), now); err != nil {
		return &UsageError{"--as-of: " + err.Error()}
	}
	if _, err := reports.NewKnownAt(c.Known, nil); err != nil {
		return &UsageError{"--known-at: " + err.Error()}
	}
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: c.DB, AsItIs: true})
	if err != nil {
		return err
	}
	defer db.Close()
	source := reporting.NewSource(db, assets.JobScope())
	in := reports.Inputs{Filter: filter, Built: now, By: operator(), Version: version() + ", " + runtime.Version()}
	if in.Zone, err = reporting.CompanyZone(ctx, db); err != nil {
		return err
	}
	if in.Known, err = reports.NewKnownAt(c.Known, in.Zone); err != nil {
		return err
	}
	if c.Known != "" {
		source = source.KnownAt(in.Known.At)
	}
	in.Source = source
	report, err := entry.Build(ctx, in, assets.Day(c.AsOf))
	if err != nil {
		return err
	}
	proof, err := c.writeFile(ctx, report, write)
	if err != nil {
		return err
	}
	rows := "rows"
	if proof.Rows == 1 {
		rows = "row"
	}
	_, err = fmt.Fprintf(p.Stdout, "%s: %d %s, digest of the rows %s\n", c.Out, proof.Rows, rows, proof.Digest)
	return err
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

// writeFile writes beside the file and puts it in its place when it is whole.
func (c *exportCommand) writeFile(ctx context.Context, r *reports.Report, write writeReport) (reports.Proof, error) {
	f, err := os.CreateTemp(filepath.Dir(c.Out), ".carryside-*"+filepath.Ext(c.Out))
	if err != nil {
		return reports.Proof{}, fmt.Errorf("%s cannot be written: %s; choose a folder that exists and may be written to", c.Out, plainFault(err))
	}
	defer os.Remove(f.Name()) // gone already when all went well
	proof, err := write(r, ctx, f)
	err = errors.Join(err, f.Chmod(0o644), f.Close())
	if err != nil {
		return reports.Proof{}, err
	}
	if err := os.Rename(f.Name(), c.Out); err != nil {
		return reports.Proof{}, fmt.Errorf("%s cannot be written: %s", c.Out, plainFault(err))
	}
	return proof, nil
}

// operator is who works at the command line of this host.
func operator() string {
	host, err := os.Hostname()
	if err != nil || host == "" {
		return "operator"
	}
	return "operator at " + host
}
