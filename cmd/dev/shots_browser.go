//go:build browser

package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"strings"

	"carryside/server/browsertest"
)

// runShots takes a picture of every screen of the demo in every view, for the README and for the
// eye: whoever changes a style sheet sees at a glance what else it moved.
func runShots(ctx context.Context, env environment, args []string) (err error) {
	flags := flag.NewFlagSet("shots", flag.ContinueOnError)
	out := flags.String("out", "", "folder for the pictures")
	role := flags.String("role", "planner", "role to look at the screens with")
	today := flags.String("today", "", "day of the demo, YYYY-MM-DD; the real one when absent")
	start := flags.String("start", "/", "path of the first screen, such as /plants/1")
	only := flags.String("only", "", "only screens whose name contains this")
	if err := parseFlags(flags, env, args); err != nil {
		return err
	}
	if *out == "" || flags.NArg() > 0 {
		return fmt.Errorf("%w: give the folder for the pictures: shots --out DIR", errUsage)
	}
	if err := os.MkdirAll(*out, 0o755); err != nil {
		return err
	}
	program, err := browsertest.StartDemo(ctx, env.root, *today)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, program.Stop()) }()
	browser, err := browsertest.Start(ctx)
	if err != nil {
		return err
	}
	defer browser.Close()
	if err := browser.SignIn(program.URL, *role); err != nil {
		return err
	}
	found, err := browsertest.Discover(browser, program.URL, *start)
	if err != nil {
		return err
	}
	for _, screen := range found.Screens {
		if !strings.Contains(screen.Name, *only) {
			continue
		}
		if err := takeShots(env, browser, program.URL, *out, screen); err != nil {
			return err
		}
	}
	return nil
}

// takeShots saves one screen in every view and says where.
func takeShots(env environment, browser *browsertest.Browser, base, out string, screen browsertest.Screen) error {
	for _, view := range browsertest.Views() {
		page, err := browser.Open(base+screen.Path, view)
		if err != nil {
			return err
		}
		err = page.SavePicture(out, screen.Name)
		page.Close()
		if err != nil {
			return err
		}
	}
	fmt.Fprintf(env.stdout, "%s  %s\n", screen.Name, screen.Path)
	return nil
}
