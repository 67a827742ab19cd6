package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"go/format"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// taggedPackages hold files that plain builds leave out (they need chromium, LibreOffice or
// PostgreSQL, take minutes, or lose data on purpose); vet and staticcheck look at them as well, so that they cannot rot unseen.
var taggedPackages = []string{"./cmd/dev", "./server/browsertest/...", "./reports/...", "./assets/plantdb/..."}

// step is one part of the check; run reports what is wrong on out and in its error.
type step struct {
	name string
	run  func(ctx context.Context, env environment) error
}

// runCheck answers the question before every merge: is this working copy sound?
func runCheck(ctx context.Context, env environment, args []string) error {
	flags := flag.NewFlagSet("check", flag.ContinueOnError)
	race := flags.String("race", raceAuto, "race detector: auto uses it where a C compiler works, require fails without it, off never uses it")
	if err := parseFlags(flags, env, args); err != nil {
		return err
	}
	if flags.NArg() > 0 {
		return fmt.Errorf("%w: check takes no arguments, got %q", errUsage, flags.Args())
	}
	if !slices.Contains([]string{raceAuto, raceRequire, raceOff}, *race) {
		return fmt.Errorf("%w: --race is auto, require or off, not %q", errUsage, *race)
	}
	tools, err := chooseToolchain(ctx, env, *race)
	if err != nil {
		return err
	}
	return runSteps(ctx, env, checkSteps(tools))
}

// checkSteps lists the parts from the quickest to the slowest.
func checkSteps(tools toolchain) []step {
	testArgs := []string{"test", "-timeout=18m"} // for hangs only
	if tools.race {
		testArgs = append(testArgs, "-race", "-short") // the long searches draw less: they look for something else than races
	}
	tagged := "-tags=browser,office,postgres,soak,control"
	return []step{
		{"gofmt", checkFormat},
		{"go vet", tools.goStep("vet", "./...")},
		{"go vet, tagged tests", tools.goStep(append([]string{"vet", tagged}, taggedPackages...)...)},
		{"staticcheck", tools.goStep("tool", "staticcheck", "./...")},
		{"staticcheck, tagged tests", tools.goStep(append([]string{"tool", "staticcheck", tagged}, taggedPackages...)...)},
		{"import directions", tools.goStep("test", "-run", "^TestImportDirections$", "./cmd/dev")},
		{"tests", tools.goStep(append(testArgs, "./...")...)},
	}
}

// runSteps runs every step, also after a failure, so that one call shows all that is wrong.
func runSteps(ctx context.Context, env environment, steps []step) error {
	began := time.Now()
	var failed []string
	for _, s := range steps {
		fmt.Fprintf(env.stdout, "== %s\n", s.name)
		start := time.Now()
		err := s.run(ctx, env)
		took := time.Since(start).Round(100 * time.Millisecond)
		if err != nil {
			fmt.Fprintf(env.stdout, "   %s FAILED after %v: %v\n", s.name, took, err)
			failed = append(failed, s.name)
		} else {
			fmt.Fprintf(env.stdout, "   %s ok, %v\n", s.name, took)
		}
		if ctx.Err() != nil {
			return fmt.Errorf("check interrupted during %s", s.name)
		}
	}
	took := time.Since(began).Round(time.Second)
	if len(failed) > 0 {
		return fmt.Errorf("check FAILED after %v: %s", took, strings.Join(failed, ", "))
	}
	fmt.Fprintf(env.stdout, "check passed: %d steps in %v\n", len(steps), took)
	return nil
}

// goStep runs the go command in the module root with the chosen toolchain.
func (t toolchain) goStep(args ...string) func(context.Context, environment) error {
	return func(ctx context.Context, env environment) error {
		fmt.Fprintf(env.stdout, "   go %s\n", strings.Join(args, " "))
		cmd := exec.CommandContext(ctx, "go", args...)
		cmd.Dir = env.root
		cmd.Env = append(os.Environ(), t.env...)
		cmd.Stdout, cmd.Stderr = env.stdout, env.stderr
		return cmd.Run()
	}
}

// checkFormat compares each Go file with what the formatter would write. It uses the library, not
// the gofmt program, which some systems install apart from the go command.
func checkFormat(_ context.Context, env environment) error {
	var wrong []string
	err := eachGoFile(env.root, func(path string) error {
		source, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		want, err := format.Source(source)
		if err != nil || !bytes.Equal(source, want) {
			name, _ := filepath.Rel(env.root, path)
			wrong = append(wrong, name)
		}
		return nil
	})
	if err != nil {
		return err
	}
	if len(wrong) > 0 {
		return errors.New("run gofmt -w on " + strings.Join(wrong, " "))
	}
	return nil
}

// eachGoFile visits the repository's Go files, whatever their build tags; dotfolders and test data are left out.
func eachGoFile(root string, visit func(path string) error) error {
	return filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := entry.Name()
		if entry.IsDir() && path != root && (strings.HasPrefix(name, ".") || name == "testdata") {
			return filepath.SkipDir
		}
		if !entry.IsDir() && strings.HasSuffix(name, ".go") {
			return visit(path)
		}
		return nil
	})
}
