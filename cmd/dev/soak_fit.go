package main

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
)

// soakFit holds the fit of lives against a slow direct search on random cohorts: the test of the package schedule/life, at full
// size. It shows what was met and ends in an error when any cohort is beaten.
func soakFit(ctx context.Context, env environment, args []string) error {
	flags := flag.NewFlagSet("soak fit", flag.ContinueOnError)
	cohorts := flags.Int("cohorts", 10_000, "random cohorts")
	first := flags.Int("first", 0, "number of the first; each is drawn from its number")
	if err := parseFlags(flags, env, args); err != nil {
		return err
	}
	if *cohorts < 1 || *first < 0 || flags.NArg() > 0 {
		return fmt.Errorf("%w: soak fit takes --cohorts of 1 or more and --first", errUsage)
	}
	dir, err := os.MkdirTemp("", "soak-fit")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	binary := filepath.Join(dir, "life.test")
	build := exec.CommandContext(ctx, "go", "test", "-c", "-o", binary, "./schedule/life")
	build.Dir = env.root
	if out, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("build the test of the fit: %w: %s", err, out)
	}
	search := exec.CommandContext(ctx, binary, "-test.run", "^TestNeverBeatenByDirectSearch$", "-test.v", "-test.timeout", "0", "-cohorts", fmt.Sprint(*cohorts), "-first", fmt.Sprint(*first))
	search.Dir = filepath.Join(env.root, "schedule", "life")
	said, err := search.StdoutPipe()
	if err != nil {
		return err
	}
	if err := search.Start(); err != nil {
		return err
	}
	searched := tellSearch(said, env.stdout)
	if err := search.Wait(); err != nil {
		return fmt.Errorf("a cohort fails: %w", err)
	}
	if !searched {
		return errors.New("the test of the fit did not say what it searched")
	}
	return nil
}

// placeInTest is where a line of a test's output comes from.
var placeInTest = regexp.MustCompile(`^\s+\S+_test\.go:\d+: `)

// tellSearch passes on what the search says, without the marks of the test that it is.
func tellSearch(said io.Reader, out io.Writer) (searched bool) {
	lines := bufio.NewScanner(said)
	for lines.Scan() {
		if line := lines.Text(); placeInTest.MatchString(line) {
			line = placeInTest.ReplaceAllString(line, "")
			searched = searched || strings.Contains(line, "a search gains")
			fmt.Fprintln(out, line)
		}
	}
	return searched
}
