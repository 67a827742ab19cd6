package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"time"
)

// runSoak repeats, for as long as asked, what a test does for seconds.
func runSoak(ctx context.Context, env environment, args []string) error {
	if len(args) == 0 || args[0] != "raise" {
		return fmt.Errorf("%w: say which: soak raise", errUsage)
	}
	var s raiseSoak
	var child, from string
	flags := flag.NewFlagSet("soak raise", flag.ContinueOnError)
	flags.IntVar(&s.kills, "kills", 5000, "how often an evaluation is killed")
	flags.Uint64Var(&s.seed, "seed", 1, "of the moments at which it is killed")
	flags.StringVar(&child, "child", "", "internal: evaluate this database until killed")
	flags.StringVar(&from, "from", "", "internal: from this time on")
	if err := parseFlags(flags, env, args[1:]); err != nil {
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
