// Command dev is our own tool: it checks a working copy the way a merge is checked, starts a
// migration in both dialects, and takes the pictures and figures that developers need.
//
//	go run ./cmd/dev check
//	go run ./cmd/dev new-migration belt_width
//
// It must not know anything of the product's rules: whatever the plant relies on belongs in the
// packages it checks. Each subcommand has a file of its own and one line in the table below.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"text/tabwriter"
)

// command is one subcommand: its name, what it takes, what it is for, and the work.
type command struct {
	name    string
	args    string
	summary string
	run     func(ctx context.Context, env environment, args []string) error
}

// environment is what a subcommand may know of its surroundings, passed in so that tests can give another.
type environment struct {
	root   string // folder that holds go.mod
	stdout io.Writer
	stderr io.Writer
}

// commands lists every subcommand; a new one is a file and a line here.
func commands() []command {
	return []command{
		{"check", "[--race=auto|require|off]", "format, vet, static analysis, import directions, tests", runCheck},
		{"new-migration", "NAME", "the same-numbered pair of migration files, SQLite and PostgreSQL", runNewMigration},
		{"fleet", "--out FILE [--plants N]", "the benchmark fleet of 400 plants as an SQLite file", runFleet},
		{"bench", "FILE", "a table of what pages, evaluation, reports and imports cost on a fleet", runBench},
		{"soak", "raise|crash|load|fit [--kills N] [--lasts TIME] [--seed N] [--cohorts N]", "what works on a database killed at random: each occurrence raised once, nothing lost that was answered; all of it at once: nobody locked out; or random cohorts: no search beats the fit", runSoak},
		{"study", "life [--draws N] [--seed N]", "simulated cohorts: bias, and what limits and due bands hold of what they promise", runStudy},
		{"vulnerable", "[--database DIR]", "whether a known vulnerability touches a package that is compiled in", runVulnerable},
		{"shots", "--out DIR", "pictures of every screen (build with -tags browser)", runShots},
	}
}

// errUsage marks a wrong call, which exits 2 where a failed check exits 1.
var errUsage = errors.New("wrong usage")

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	status := mainStatus(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(status)
}

// mainStatus runs one call and returns its exit status: 0 done, 1 failed, 2 wrong usage.
func mainStatus(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	err := dispatch(ctx, args, stdout, stderr)
	switch {
	case err == nil, errors.Is(err, flag.ErrHelp):
		return 0
	case errors.Is(err, errUsage):
		fmt.Fprintln(stderr, "dev:", err)
		return 2
	default:
		fmt.Fprintln(stderr, "dev:", err)
		return 1
	}
}

func dispatch(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	if len(args) == 0 || args[0] == "help" || args[0] == "-h" || args[0] == "--help" {
		printUsage(stdout)
		return nil
	}
	root, err := moduleRoot()
	if err != nil {
		return err
	}
	for _, c := range commands() {
		if c.name == args[0] {
			return c.run(ctx, environment{root: root, stdout: stdout, stderr: stderr}, args[1:])
		}
	}
	return fmt.Errorf("%w: there is no subcommand %q; 'go run ./cmd/dev help' lists them", errUsage, args[0])
}

func printUsage(w io.Writer) {
	fmt.Fprintln(w, "usage: go run ./cmd/dev SUBCOMMAND")
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, c := range commands() {
		fmt.Fprintf(table, "  %s %s\t%s\n", c.name, c.args, c.summary)
	}
	table.Flush()
}

// parseFlags parses and turns a bad flag into errUsage; asking for help stays flag.ErrHelp.
func parseFlags(flags *flag.FlagSet, env environment, args []string) error {
	flags.SetOutput(env.stderr)
	err := flags.Parse(args)
	if err == nil || errors.Is(err, flag.ErrHelp) {
		return err
	}
	return fmt.Errorf("%w: %w", errUsage, err)
}

// moduleRoot walks up from the working folder to the one that holds go.mod, so that the tool
// works from any folder of the repository.
func moduleRoot() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", fmt.Errorf("find the repository: %w", err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir, nil
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			return "", errors.New("no go.mod here or above: run this inside the repository")
		}
		dir = parent
	}
}
