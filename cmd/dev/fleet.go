package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"time"

	"carryside/assets/plantdb"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/samplefleet"
)

// fleetDay is the day the benchmark fleet stands at unless --today says another: the same day gives the same file.
const fleetDay = "2026-11-25"

// runFleet draws the benchmark fleet into a new SQLite file.
func runFleet(ctx context.Context, env environment, args []string) error {
	flags := flag.NewFlagSet("fleet", flag.ContinueOnError)
	out := flags.String("out", "", "file to write; must not be there yet")
	plants := flags.Int("plants", samplefleet.WholeFleet.Plants, "how many plants; the whole fleet has 400")
	today := flags.String("today", fleetDay, "the day the fleet stands at")
	if err := parseFlags(flags, env, args); err != nil {
		return err
	}
	day, err := time.Parse(time.DateOnly, *today)
	switch {
	case *out == "":
		return fmt.Errorf("%w: say where with --out FILE", errUsage)
	case err != nil:
		return fmt.Errorf("%w: --today %s: write a date such as %s", errUsage, *today, fleetDay)
	}
	if _, err := os.Stat(*out); err == nil {
		return fmt.Errorf("%s is there already; remove it or choose another name", *out)
	}
	began := time.Now()
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: *out, Create: true})
	if err != nil {
		return err
	}
	defer db.Close()
	done := 0
	sizes := samplefleet.Sizes{Plants: *plants, Conveyors: samplefleet.WholeFleet.Conveyors}
	err = samplefleet.Benchmark(day.Add(6*time.Hour), sizes,
		func(f *samplefleet.Fleet) error { return fleetdb.WriteHead(ctx, db, f) },
		func(f *samplefleet.Fleet) error {
			if done++; done%20 == 0 {
				fmt.Fprintf(env.stdout, "%d of %d plants, %s\n", done, *plants, time.Since(began).Round(time.Second))
			}
			return fleetdb.WritePlants(ctx, db, f)
		})
	if err != nil {
		return err
	}
	if err := db.Optimize(ctx); err != nil {
		return err
	}
	if info, err := os.Stat(*out); err == nil {
		fmt.Fprintf(env.stdout, "%s: %d plants, %d MiB, in %s\n", *out, *plants, info.Size()>>20, time.Since(began).Round(time.Second))
	}
	return nil
}
