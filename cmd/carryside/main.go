// Command carryside keeps a plant's conveyor belts and their splices, and plans the work on them.
//
// One file holds one command; this one holds only their list, what they are run with and the exit codes:
// 0 done, 1 refused or failed with one line saying why, 2 wrong use, 3 a case to be planned whose locks contradict each other.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"
	"time"

	"github.com/alecthomas/kong"

	"carryside/cmd/carryside/calc"
)

// commands is every command of the program. A new one is a file with its struct and one line here.
type commands struct {
	Version kong.VersionFlag `env:"-" help:"Print the version and leave."`

	Serve   serveCommand       `cmd:"" help:"Serve the screens of an installation."`
	Demo    demoCommand        `cmd:"" help:"Serve three invented plants to look around in."`
	Calc    calcCommand        `cmd:"" help:"Answer a file of check cases with the functions the screens use."`
	Fit     fitCommand         `cmd:"" help:"Fit the lives in a file: how long splices and belts last, with limits."`
	Plan    planCommand        `cmd:"" help:"Plan a case: place its jobs into its stop windows at the least cost."`
	Import  importCommand      `cmd:"" help:"Bring a plant's own list in: a workbook or a CSV."`
	Export  exportCommand      `cmd:"" help:"Write a report to a file: workbook, CSV, JSON or page."`
	Verify  verifyCommand      `cmd:"" help:"Prove the journal: rebuild every hash from the rows it protects."`
	Backup  backupCommand      `cmd:"" help:"Copy an installation into one file while it is served."`
	Restore restoreCommand     `cmd:"" help:"Put a copy in the place of an installation."`
	Move    moveCommand        `cmd:"" help:"Carry an installation to another engine."`
	Upgrade upgradeCommand     `cmd:"" help:"Bring a database to this program's schema, and let a role with fewer rights serve it."`
	Doctor  doctorCommand      `cmd:"" help:"Look an installation over: what is ok and what needs a person."`
	Erase   erasePersonCommand `cmd:"" name:"erase-person" help:"Take a person's name, phone, mail address and sign-in out, on their request."`
	Token   tokenCommand       `cmd:"" help:"Make a token for a program: to read, to enter readings, or for the metrics."`
}

// Program is what a command is run with: where it writes, and the clock, which only this package reads.
type Program struct {
	Stdout io.Writer
	Stderr io.Writer
	Now    func() time.Time
}

// UsageError is a wrong call of the program; it exits with 2 instead of 1.
type UsageError struct{ Text string }

// Error returns the sentence.
func (u *UsageError) Error() string { return u.Text }

// Exit codes.
const (
	exitDone    = 0
	exitRefused = 1
	exitUsage   = 2
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], &Program{Stdout: os.Stdout, Stderr: os.Stderr, Now: time.Now}))
}

// leave is how kong ends the program after --help and --version; run turns it into an exit code.
type leave int

// run reads the arguments, runs the command and returns the exit code.
func run(ctx context.Context, args []string, p *Program) (code int) {
	defer func() {
		switch r := recover().(type) {
		case nil:
		case leave:
			code = int(r)
		default:
			panic(r)
		}
	}()
	parser, err := kong.New(&commands{},
		kong.Name("carryside"),
		kong.Description("Keeps a plant's conveyor belts and their splices, and plans the work on them."),
		kong.Vars{"version": "carryside " + version(), "kinds": strings.Join(calc.Names(), ", ")},
		kong.Writers(p.Stdout, p.Stderr),
		kong.DefaultEnvars("CARRYSIDE"),
		kong.Exit(func(code int) { panic(leave(code)) }),
		kong.BindTo(ctx, (*context.Context)(nil)),
		kong.Bind(p),
	)
	if err != nil {
		return say(p, exitRefused, err)
	}
	parsed, err := parser.Parse(args)
	if err != nil {
		return say(p, exitUsage, fmt.Errorf("%w; see carryside --help", err))
	}
	if err := parsed.Run(); err != nil {
		if errors.Is(err, errInfeasible) {
			return exitInfeasible
		}
		if wrong := new(UsageError); errors.As(err, &wrong) {
			return say(p, exitUsage, err)
		}
		return say(p, exitRefused, err)
	}
	return exitDone
}

// say prints one line, whatever line breaks the error carries, and hands the code back.
func say(p *Program, code int, err error) int {
	fmt.Fprintln(p.Stderr, "carryside: "+strings.Join(strings.Fields(err.Error()), " "))
	return code
}

// version is the module version, or the revision it was built from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	if v != "" && v != "(devel)" {
		return v
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			return "development build of " + s.Value[:12]
		}
	}
	return "development build"
}
