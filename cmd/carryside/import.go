package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/intakedb"
	"carryside/reports/workbook"
)

// importCommand brings a plant's own list in: a workbook or a CSV of its conveyors, belts, splices, hours and findings.
type importCommand struct {
	File            string `arg:"" name:"file" help:"The list: a workbook (.xlsx) or a CSV."`
	DB              string `name:"db" default:"carryside.db" placeholder:"FILE|URL" help:"The installation's database; made where there is none."`
	Mapping         string `placeholder:"MAP.json" help:"Which column is which field. Without it the headings are guessed and the guess is printed."`
	Plant           string `placeholder:"NAME" help:"Plant of the rows whose file names none; created when new."`
	DateOrder       string `name:"date-order" placeholder:"dmy|mdy|ymd" help:"Order of dates such as 03/04/2025."`
	Customer        string `placeholder:"NAME" help:"Customer that a created plant belongs to."`
	Zone            string `placeholder:"ZONE" help:"Time zone of a created plant, such as Europe/Berlin."`
	SameRecord      string `name:"same-record" placeholder:"correct|new" help:"Answer to every row that can be a corrected date or a new splice or belt."`
	As              string `placeholder:"NAME" help:"Who brings the list in, for the journal."`
	LeaveOutRefused bool   `name:"leave-out-refused" help:"Write the good rows although others are refused."`
	Refused         string `placeholder:"OUT.xlsx" help:"Write the refused and held rows to a workbook, to be corrected and brought in."`
	DryRun          bool   `name:"dry-run" help:"Work everything out, write nothing."`
	JSON            bool   `name:"json" help:"Print one JSON object."`
}

// importMemory is what the garbage collector aims at while a list is worked out: 100,000 readings live in half of it.
const importMemory = 200 << 20

// Run reads, judges and writes. Nothing touches the database before the file is read whole, and the writing is one
// transaction.
func (c *importCommand) Run(ctx context.Context, p *Program) error {
	debug.SetMemoryLimit(importMemory)
	debug.SetGCPercent(50)
	opt, err := c.options(p)
	if err != nil {
		return err
	}
	book, err := c.read(ctx, opt.Mapping)
	if err != nil {
		return err
	}
	register, done, err := c.register(ctx)
	if err != nil {
		return err
	}
	defer done()
	out, changes, err := intake.Judge(ctx, book, register, opt)
	if wrong := new(intake.MappingError); errors.As(err, &wrong) {
		return &UsageError{c.Mapping + ": " + wrong.Text}
	}
	if errors.Is(err, intake.ErrNoPlant) && c.JSON {
		return errors.Join(c.print(p, out), c.named(err))
	}
	if err != nil {
		return c.named(err)
	}
	return c.finish(ctx, p, register, out, changes)
}

// progress shows on a terminal how far the judging is; elsewhere nothing, so that standard error holds the one line only.
func progress(w io.Writer) func(done, total int) {
	f, ok := w.(*os.File)
	if !ok {
		return nil
	}
	if info, err := f.Stat(); err != nil || info.Mode()&os.ModeCharDevice == 0 {
		return nil
	}
	return func(done, total int) {
		if done == total {
			fmt.Fprint(f, "\r\x1b[K")
			return
		}
		fmt.Fprintf(f, "\r%d of %d rows", done, total)
	}
}

// options reads what the person tells.
func (c *importCommand) options(p *Program) (intake.Options, error) {
	opt := intake.Options{Plant: c.Plant, DateOrder: c.DateOrder, Customer: c.Customer, Zone: c.Zone, SameRecord: c.SameRecord, DryRun: c.DryRun, Now: p.Now(), Zoned: time.Local, Progress: progress(p.Stderr)}
	if c.DateOrder != "" && !intake.ValidDateOrder(c.DateOrder) {
		return opt, &UsageError{fmt.Sprintf("--date-order %s does not exist; write dmy, mdy or ymd", c.DateOrder)}
	}
	if c.SameRecord != "" && c.SameRecord != "correct" && c.SameRecord != "new" {
		return opt, &UsageError{fmt.Sprintf("--same-record %s does not exist; write correct or new", c.SameRecord)}
	}
	if c.Zone != "" {
		zone, err := time.LoadLocation(c.Zone)
		if err != nil || c.Zone == "Local" {
			return opt, &UsageError{fmt.Sprintf("--zone %s is no time zone; write one such as Europe/Berlin", c.Zone)}
		}
		opt.Zoned = zone
	}
	if c.Refused != "" && !strings.EqualFold(filepath.Ext(c.Refused), ".xlsx") {
		return opt, &UsageError{fmt.Sprintf("--refused %s: the refused rows are written as a workbook; give a name that ends in .xlsx", c.Refused)}
	}
	if c.Mapping != "" {
		data, err := os.ReadFile(c.Mapping)
		if err != nil {
			return opt, &UsageError{fmt.Sprintf("--mapping %s cannot be read: %s", c.Mapping, plainFault(err))}
		}
		if opt.Mapping, err = intake.ParseMapping(filepath.Base(c.Mapping), data); err != nil {
			return opt, &UsageError{"--mapping " + err.Error()}
		}
	}
	return opt, nil
}

// read reads the file whole, as what it is by its name; what it is by its content is told by the readers.
func (c *importCommand) read(ctx context.Context, m *intake.Mapping) (*intake.Book, error) {
	name := filepath.Base(c.File)
	info, err := os.Stat(c.File)
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s cannot be read: %s", c.File, plainFault(err))
	case info.IsDir():
		return nil, fmt.Errorf("%s is a folder; give the file with the list", c.File)
	case info.Size() > intake.MaxFileBytes:
		return nil, fmt.Errorf("%s is larger than %d MB, the limit for one file; split it", name, intake.MaxFileBytes>>20)
	}
	data, err := os.ReadFile(c.File)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %s", c.File, plainFault(err))
	}
	if workbook.IsWorkbook(name) {
		return workbook.Read(ctx, name, data)
	}
	if kind := workbook.KnownByContent(data); kind != "" {
		return nil, fmt.Errorf("%s is %s and not a CSV; name it by what it is, or save it as .xlsx", name, kind)
	}
	var told intake.CSVOptions
	if m != nil {
		told = intake.CSVOptions{Separator: m.Separator, Encoding: m.Encoding}
	}
	return intake.ReadCSV(name, data, told)
}

// plainFault is why a file cannot be read, without the system's wording around it.
func plainFault(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "there is no such file; check the name"
	case errors.Is(err, fs.ErrPermission):
		return "it may not be read by this user; change its permissions"
	}
	if fault := new(fs.PathError); errors.As(err, &fault) {
		return fault.Err.Error()
	}
	return err.Error()
}

// register opens the installation's register. A dry run beside a database that is not there yet meets an empty one, and
// makes none.
func (c *importCommand) register(ctx context.Context) (reg intake.Registry, done func(), err error) {
	if c.DryRun && !strings.Contains(c.DB, "://") {
		if _, err := os.Stat(c.DB); errors.Is(err, fs.ErrNotExist) {
			return emptyRegister{}, func() {}, nil
		}
	}
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: c.DB, Create: true})
	if err != nil {
		return nil, nil, err
	}
	by := c.As
	if by == "" {
		by = operator()
	}
	return &intakedb.Registry{DB: db, Scope: assets.JobScope(), By: by, HostZone: hostZone()}, func() { db.Close() }, nil
}

// named puts the file's name before what went wrong with it.
func (c *importCommand) named(err error) error {
	return fmt.Errorf("%s: %w", filepath.Base(c.File), err)
}

// finish writes what is to be written and prints what became of the rows.
func (c *importCommand) finish(ctx context.Context, p *Program, register intake.Registry, out *intake.Outcome, changes *intake.Changes) error {
	if c.Refused != "" {
		if err := writeRefused(c.Refused, out); err != nil {
			return err // before anything is written to the register
		}
	}
	stop := c.stop(out)
	if stop == nil && !c.DryRun {
		if !changes.Empty() {
			if err := register.Apply(ctx, changes); err != nil {
				stop = c.named(err)
			}
		}
		out.Applied = stop == nil
	}
	if c.JSON || !nothingIn(out) {
		if err := c.print(p, out); err != nil {
			return err
		}
	}
	return stop
}

// nothingIn tells whether the file gave no row at all.
func nothingIn(out *intake.Outcome) bool {
	return len(out.Records)+len(out.Refused)+len(out.Held) == 0
}

// stop is why nothing is written, nil for nothing in the way.
func (c *importCommand) stop(out *intake.Outcome) error {
	switch {
	case c.DryRun:
		return nil
	case nothingIn(out):
		return c.named(errors.New("nothing to bring in: no heading row with rows below it was found that tells conveyors, belts, splices, hours or findings; give --mapping"))
	case len(out.Refused) > 0 && !c.LeaveOutRefused:
		line := fmt.Sprintf("%s: %d of %d rows refused, nothing written; --leave-out-refused brings in the others. First: %s",
			filepath.Base(c.File), len(out.Refused), out.Rows.Accepted+out.Rows.Refused+out.Rows.Held, out.Refused[0].Text)
		if r := []rune(line); len(r) > 380 {
			line = string(r[:379]) + "…"
		}
		return errors.New(line)
	}
	return nil
}

// writeRefused writes the workbook of refused rows beside its place and moves it there when it is whole.
func writeRefused(name string, out *intake.Outcome) error {
	f, err := os.CreateTemp(filepath.Dir(name), ".carryside-*.xlsx")
	if err != nil {
		return fmt.Errorf("%s cannot be written; choose a folder that exists and may be written to", name)
	}
	defer os.Remove(f.Name()) // gone already when all went well
	err = workbook.WriteRefused(f, out.RefusedSheets())
	if err = errors.Join(err, f.Chmod(0o644), f.Close()); err != nil {
		return fmt.Errorf("%s cannot be written: %w", name, err)
	}
	if err := os.Rename(f.Name(), name); err != nil {
		return fmt.Errorf("%s cannot be written; choose another place", name)
	}
	return nil
}

// print tells what became of the rows: for programs as JSON, for people in a few lines.
func (c *importCommand) print(p *Program, out *intake.Outcome) error {
	if c.JSON {
		return out.WriteJSON(p.Stdout)
	}
	return printImport(p.Stdout, out)
}

// shownRows is how many refused or held rows a person is shown.
const shownRows = 20

// printImport writes the outcome for a person.
func printImport(w io.Writer, out *intake.Outcome) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %d rows accepted, %d refused, %d held, %d passed over\n", out.File, out.Rows.Accepted, out.Rows.Refused, out.Rows.Held, out.Rows.Skipped)
	for _, k := range intake.Kinds {
		if n := out.Counts[k]; n.Created+n.Changed+n.Unchanged > 0 {
			fmt.Fprintf(&b, "  %-9s %d created, %d changed, %d unchanged\n", k, n.Created, n.Changed, n.Unchanged)
		}
	}
	for _, t := range out.Mapping.Tables {
		fmt.Fprintf(&b, "read as: %s\n", t.Words())
	}
	for i, r := range out.Refused {
		if i == shownRows {
			fmt.Fprintf(&b, "… and %d more refused\n", len(out.Refused)-i)
			break
		}
		fmt.Fprintf(&b, "refused: %s\n", r.Text)
	}
	for i, h := range out.Held {
		if i == shownRows {
			fmt.Fprintf(&b, "… and %d more held\n", len(out.Held)-i)
			break
		}
		fmt.Fprintf(&b, "held: %s\n", h.Text)
	}
	switch {
	case out.Applied:
		b.WriteString("written\n")
	case out.DryRun:
		b.WriteString("a dry run: nothing written\n")
	default:
		b.WriteString("nothing written\n")
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// emptyRegister is the register of an installation that is not there yet.
type emptyRegister struct{}

func (emptyRegister) NewPlant(context.Context) (intake.PlantSettings, error) {
	return intake.PlantSettings{Zone: hostZone()}, nil
}

func (emptyRegister) FindPlants(context.Context, string) ([]intake.PlantRef, error) { return nil, nil }

func (emptyRegister) Load(context.Context, int64, intake.Want) (*intake.Snapshot, error) {
	return &intake.Snapshot{}, nil
}

func (emptyRegister) Apply(context.Context, *intake.Changes) error {
	return errors.New("a dry run writes nothing")
}

// hostZone is the zone that this host's clock shows, by name; UTC where it has none.
func hostZone() string {
	if name := time.Local.String(); name != "Local" {
		return name
	}
	if target, err := os.Readlink("/etc/localtime"); err == nil {
		if _, name, ok := strings.Cut(target, "zoneinfo/"); ok {
			if _, err := time.LoadLocation(name); err == nil {
				return name
			}
		}
	}
	return "UTC"
}
