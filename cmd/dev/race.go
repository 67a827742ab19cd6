package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// The three answers to "must the race detector run?".
const (
	raceAuto    = "auto"
	raceRequire = "require"
	raceOff     = "off"
)

// toolchain says how the go command is called: with the race detector or not, and with which
// additions to the environment.
type toolchain struct {
	race bool
	env  []string
}

// cgoProbe is the smallest program that needs C, so that building it proves compiler, linker and C library.
const cgoProbe = `package main

/*
#include <stdlib.h>
static int answer(void) { return abs(-3); }
*/
import "C"

func main() {
	if C.answer() != 3 {
		panic("C answers wrongly")
	}
}
`

// chooseToolchain finds out whether C compiles here. The race detector needs it; without it the
// whole check runs on the pure Go database driver and says so in one line.
func chooseToolchain(ctx context.Context, env environment, race string) (toolchain, error) {
	why := probeC(ctx, race != raceOff)
	if why == "" {
		return toolchain{race: race != raceOff}, nil
	}
	if race == raceRequire {
		return toolchain{}, fmt.Errorf("the race detector is required but cannot run: %s; install a C compiler or call check without --race=require", why)
	}
	fmt.Fprintf(env.stdout, "no race detector and the pure Go SQLite driver: %s\n", why)
	return toolchain{env: []string{"CGO_ENABLED=0"}}, nil
}

// probeC builds and runs cgoProbe and returns why that does not work, or "" when it does.
func probeC(ctx context.Context, withRace bool) string {
	out, err := exec.CommandContext(ctx, "go", "env", "CGO_ENABLED", "CC").Output()
	if err != nil {
		return "go env does not run: " + err.Error()
	}
	enabled, compiler, _ := strings.Cut(strings.TrimSpace(string(out)), "\n")
	if enabled != "1" {
		return "CGO_ENABLED is " + enabled
	}
	dir, err := os.MkdirTemp("", "carryside-probe-")
	if err != nil {
		return err.Error()
	}
	defer os.RemoveAll(dir)
	file := filepath.Join(dir, "probe.go")
	if err := os.WriteFile(file, []byte(cgoProbe), 0o600); err != nil {
		return err.Error()
	}
	args := []string{"run"}
	if withRace {
		args = append(args, "-race")
	}
	if out, err := exec.CommandContext(ctx, "go", append(args, file)...).CombinedOutput(); err != nil {
		return fmt.Sprintf("the C compiler %q does not build a small program (%s)", compiler, lastLine(out, err))
	}
	return ""
}

// lastLine is the end of a tool's complaint, which names the cause more often than its beginning.
func lastLine(out []byte, err error) string {
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if last := strings.TrimSpace(lines[len(lines)-1]); last != "" {
		return last
	}
	return err.Error()
}
