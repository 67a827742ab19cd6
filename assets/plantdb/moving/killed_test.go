//go:build !race

package moving_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"carryside/assets/plantdb"
	"carryside/assets/plantdb/moving"
)

// lives is how often a program is started to be killed or left alone. Under the race detector a start takes seconds, and what a
// killed program leaves shows no race: that build leaves this file out.
const lives = 12

// playVariable makes this test binary a program that copies, restores or moves, until it is done or killed.
const playVariable = "CARRYSIDE_TEST_MOVING"

func TestMain(m *testing.M) {
	what := os.Getenv(playVariable)
	if what == "" {
		os.Exit(m.Run())
	}
	if err := play(what, os.Args[1], os.Args[2]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func play(what, from, to string) error {
	switch what {
	case "restore":
		_, err := moving.Restore(bg, from, to, true, time.Now())
		return err
	case "move":
		_, err := moving.Move(bg, from, to, nil)
		return err
	}
	db, err := plantdb.Open(bg, plantdb.Config{DSN: from, AsItIs: true})
	if err != nil {
		return err
	}
	defer db.Close()
	_, err = moving.Backup(bg, db, to, false, nil)
	return err
}

// killedOften starts a program again and again and kills it at a moment of its life, and looks each time; every fifth is
// left alone, which tells how long a life is. It returns how often it killed.
func killedOften(t *testing.T, what, from, to string, look func()) (kills int) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(28, 1))
	longest := 50 * time.Millisecond
	for n := range lives {
		cmd := exec.Command(self, from, to)
		var said bytes.Buffer
		cmd.Stderr = &said
		cmd.Env = append(os.Environ(), playVariable+"="+what)
		began := time.Now()
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		life := time.Duration(random.Int64N(int64(longest)))
		if n%5 == 0 {
			life = time.Hour
		}
		killer := time.AfterFunc(life, func() { _ = cmd.Process.Kill() })
		err := cmd.Wait()
		killer.Stop()
		if err == nil {
			longest = time.Since(began) // how long it takes when it is left alone
			look()
			continue
		}
		if cmd.ProcessState.Exited() {
			t.Fatalf("%s failed although it was not killed: %s", what, said.String())
		}
		kills++
		look()
	}
	return kills
}

// TestRestoreKilledAnywhere holds that at every moment a whole database stands in the place: the old or the restored.
func TestRestoreKilledAnywhere(t *testing.T) {
	copied, dir := sample(t), t.TempDir()
	target := filepath.Join(dir, "plant.db")
	content, err := os.ReadFile(copied)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(target, content, 0o600); err != nil {
		t.Fatal(err)
	}
	db := open(t, target)
	note(t, db, "the old one")
	closed(t, db)
	restored, old := digests(t, copied), digests(t, target)
	put := 0
	kills := killedOften(t, "restore", copied, target, func() {
		got := digests(t, target)
		switch {
		case slices.Equal(got, restored):
			put++
			for _, aside := range asides(t, target) {
				if err := os.Remove(aside); err != nil { // the next may have the same second in its name
					t.Fatal(err)
				}
			}
			if err := os.WriteFile(target, content, 0o600); err != nil {
				t.Fatal(err)
			}
			db := open(t, target)
			note(t, db, "the old one")
			closed(t, db)
		case !slices.Equal(got, old):
			t.Error("neither the old database nor the restored one is there")
		}
	})
	if kills < lives/3 || put == 0 {
		t.Errorf("killed %d times, restored %d times: not both were tried", kills, put)
	}
	t.Logf("killed %d times, restored %d times", kills, put)
}

func asides(t *testing.T, target string) []string {
	t.Helper()
	found, err := filepath.Glob(target + ".before-restore-*")
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// TestBackupAndMoveKilledAnywhere holds that a file of the name asked for is whole or not there.
func TestBackupAndMoveKilledAnywhere(t *testing.T) {
	for _, what := range []string{"backup", "move"} {
		t.Run(what, func(t *testing.T) {
			from, to := sample(t), filepath.Join(t.TempDir(), "there.db")
			want := digests(t, from)
			made := 0
			kills := killedOften(t, what, from, to, func() {
				if _, err := os.Stat(to); err != nil {
					return
				}
				made++
				compare(t, "made", digests(t, to), want)
				for _, part := range []string{"", "-wal", "-shm"} {
					if err := os.RemoveAll(to + part); err != nil {
						t.Fatal(err)
					}
				}
			})
			compare(t, "the source", digests(t, from), want)
			if kills < lives/3 || made == 0 {
				t.Errorf("killed %d times, made %d times: not both were tried", kills, made)
			}
			t.Logf("killed %d times, made %d times", kills, made)
		})
	}
}
