package main

import (
	"context"
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"time"
)

// soaks are the soaks by name.
var soaks = map[string]func(context.Context, environment, []string) error{
	"raise": soakRaise, "crash": soakCrash, "load": soakLoad, "fit": soakFit,
}

// runSoak repeats, for as long as asked, what a test does for seconds.
func runSoak(ctx context.Context, env environment, args []string) error {
	if len(args) > 0 && soaks[args[0]] != nil {
		return soaks[args[0]](ctx, env, args[1:])
	}
	return fmt.Errorf("%w: say which: soak %s", errUsage, strings.Join(slices.Sorted(maps.Keys(soaks)), ", soak "))
}

func soakRaise(ctx context.Context, env environment, args []string) error {
	var s raiseSoak
	var child, from string
	flags := flag.NewFlagSet("soak raise", flag.ContinueOnError)
	flags.IntVar(&s.kills, "kills", 5000, "how often an evaluation is killed")
	flags.Uint64Var(&s.seed, "seed", 1, "of the moments at which it is killed")
	flags.StringVar(&child, "child", "", "internal: evaluate this database until killed")
	flags.StringVar(&from, "from", "", "internal: from this time on")
	if err := parseFlags(flags, env, args); err != nil {
		return err
	}
	if child != "" {
		at, err := time.Parse(time.RFC3339, from)
		if err != nil {
			return fmt.Errorf("%w: --from %q is no time", errUsage, from)
		}
		return evaluateUntilKilled(ctx, env, child, at)
	}
	dir, err := os.MkdirTemp("", "soak-raise")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if s.program, err = os.Executable(); err != nil {
		return err
	}
	s.dir, s.out = dir, env.stdout
	return s.run(ctx)
}

func soakCrash(ctx context.Context, env environment, args []string) error {
	s := &crashSoak{servers: 1}
	var child, from, run string
	flags := flag.NewFlagSet("soak crash", flag.ContinueOnError)
	flags.IntVar(&s.kills, "kills", 500, "how often a process is killed")
	flags.Uint64Var(&s.seed, "seed", 1, "of the moments at which it is killed")
	flags.StringVar(&s.dsn, "db", "", "an empty PostgreSQL database to work on; without it a SQLite file")
	flags.IntVar(&s.servers, "servers", 1, "servers at a time")
	flags.StringVar(&child, "child", "", "internal: work on this database until killed")
	flags.StringVar(&from, "from", "", "internal: from this time on")
	flags.StringVar(&run, "run", "", "internal: what the names of this life begin with")
	if err := parseFlags(flags, env, args); err != nil {
		return err
	}
	if child == "" {
		return runCrash(ctx, env, s)
	}
	at, err := time.Parse(time.RFC3339, from)
	if err != nil {
		return fmt.Errorf("%w: --from %q is no time", errUsage, from)
	}
	return clerkUntilKilled(ctx, env, child, at, s.seed, run)
}

func soakLoad(ctx context.Context, env environment, args []string) error {
	s := &loadSoak{}
	flags := flag.NewFlagSet("soak load", flag.ContinueOnError)
	flags.DurationVar(&s.lasts, "lasts", time.Hour, "how long everything works at once")
	flags.Uint64Var(&s.seed, "seed", 1, "of what the clerk does")
	flags.StringVar(&s.dsn, "db", "", "an empty PostgreSQL database to work on; without it a SQLite file")
	if err := parseFlags(flags, env, args); err != nil {
		return err
	}
	return runLoad(ctx, env, s)
}
