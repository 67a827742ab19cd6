//go:build soak

package plantdb_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/plantdbtest"
)

// The tests with the tag soak run a program of ours under strace, which writes down what it asks of the system and lets
// calls fail. They need strace (Debian: apt-get install strace) and the right to trace.

// Variables that make this test binary a program that writes readings and says each.
const (
	writesDSNVariable = "CARRYSIDE_TEST_WRITES_DSN"
	writesVariable    = "CARRYSIDE_TEST_WRITES"
	goesOnVariable    = "CARRYSIDE_TEST_GOES_ON" // anything: a refused write does not end the program
)

func init() {
	playedPrograms[writesDSNVariable] = func(dsn string) error {
		n, err := strconv.Atoi(os.Getenv(writesVariable))
		if err != nil {
			return err
		}
		return writeReadings(dsn, n)
	}
}

// writeReadings enters readings of the one conveyor, each in a change of its own, and says each once it is written.
func writeReadings(dsn string, n int) error {
	ctx := context.Background()
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: dsn, LockWait: 2 * time.Second})
	if err != nil {
		return err
	}
	for i := 1; i <= n; i++ {
		at := plantdbtest.Noon.Add(time.Duration(i) * time.Minute)
		act := plantdb.Act{PersonID: 7, Origin: plantdb.Screen, Action: "enter a reading", Now: at, Plants: []int64{1}}
		err := db.Change(ctx, act, func(c *plantdb.Change) error {
			_, err := clocks.AddReading(c, clocks.Entered{ConveyorID: 1, At: assets.InstantOf(at), ShownH: float64(i) / 60})
			return err
		})
		if err != nil && os.Getenv(goesOnVariable) != "" {
			fmt.Printf("refused %d, in mind %t\n", i, db.Refused() != nil)
			continue
		}
		if err != nil {
			return errors.Join(err, db.Close())
		}
		fmt.Printf("kept %d. in mind %t\n", i, db.Refused() != nil)
	}
	return db.Close()
}

// traced runs the writing program under strace and returns what it said.
func traced(t *testing.T, dsn string, n int, flags ...string) (stdout, stderr string, err error) {
	t.Helper()
	tracer, err := exec.LookPath("strace")
	if err != nil {
		t.Fatal("strace is not there: install it, or leave the tag soak away")
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	trace := filepath.Join(t.TempDir(), "trace")
	cmd := exec.Command(tracer, append(append([]string{"-f", "-o", trace}, flags...), self)...)
	cmd.Env = append(os.Environ(), writesDSNVariable+"="+dsn, writesVariable+"="+strconv.Itoa(n))
	var out, errs strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &errs
	err = cmd.Run()
	if strings.Contains(errs.String(), "ptrace(") {
		t.Fatalf("strace may not trace here: %s", errs.String())
	}
	return out.String(), errs.String(), err
}

// said is how many writes a program said it has kept.
func said(stdout string) int { return strings.Count(stdout, "kept ") }

// quarry is a closed SQLite file with the one small plant, whose conveyor has number 1.
func quarry(t *testing.T) string {
	t.Helper()
	path := plantdbtest.SQLiteFile(t)
	db, err := plantdb.Open(bg, plantdb.Config{DSN: path})
	if err != nil {
		t.Fatal(err)
	}
	plantdbtest.PlantIn(t, db, "Hollin Quarry")
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// keptIn is how many of the readings are in a database whose journal is whole.
func keptIn(path string) (int, error) {
	db, err := plantdb.Open(bg, plantdb.Config{DSN: path})
	if err != nil {
		return 0, err
	}
	defer db.Close()
	v, err := db.Verify(bg, nil)
	if err != nil {
		return 0, err
	}
	if len(v.Breaks) > 0 {
		return 0, errors.New(v.Breaks[0].Says)
	}
	var n int
	err = db.SQL(bg).Raw("SELECT count(*) FROM readings").Scan(&n).Error
	return n, err
}
