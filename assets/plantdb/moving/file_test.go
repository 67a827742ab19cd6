package moving_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/moving"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/samplefleet"
)

var bg = context.Background()

// drawn is a SQLite file with the three invented plants, written once.
var drawn = sync.OnceValues(func() ([]byte, error) {
	dir, err := os.MkdirTemp("", "moving")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "drawn.db")
	db, err := plantdb.Open(bg, plantdb.Config{DSN: path, Create: true})
	if err != nil {
		return nil, err
	}
	if err := errors.Join(fleetdb.Write(bg, db, samplefleet.Demo(fleetdb.Day)), db.Close()); err != nil {
		return nil, err
	}
	return os.ReadFile(path)
})

// sample is a file of the test's own with the three plants, closed.
func sample(t *testing.T) string {
	t.Helper()
	content, err := drawn()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "carryside.db")
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func open(t *testing.T, dsn string) *plantdb.DB {
	t.Helper()
	db, err := plantdb.Open(bg, plantdb.Config{DSN: dsn, Create: true})
	if err != nil {
		t.Fatal(err)
	}
	return db
}

func closed(t *testing.T, db *plantdb.DB) {
	t.Helper()
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// digests are those of a closed database.
func digests(t *testing.T, dsn string) []moving.Digest {
	t.Helper()
	db := open(t, dsn)
	defer closed(t, db)
	all, err := moving.Digests(bg, db)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// left fails the test when a folder holds anything but the names given.
func left(t *testing.T, dir string, want ...string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	if slices.Sort(want); !slices.Equal(names, want) {
		t.Errorf("the folder holds %v, want %v", names, want)
	}
}

// note writes something small: a word about the file.
func note(t *testing.T, db *plantdb.DB, word string) {
	t.Helper()
	if err := db.SetMeta(bg, "note", word); err != nil {
		t.Fatal(err)
	}
}

func TestBackupWhilePeopleWrite(t *testing.T) {
	s := plantdbtest.Plant(t)
	stop, ended := make(chan struct{}), make(chan int)
	first := make(chan struct{})
	go func() {
		n := 0
		for ; ; n++ {
			select {
			case <-stop:
				ended <- n
				return
			default:
			}
			at := plantdbtest.Noon.Add(time.Duration(n) * time.Minute)
			err := s.Try(at, func(c *plantdb.Change) error {
				_, err := clocks.AddReading(c, clocks.Entered{ConveyorID: s.Conveyor.ID, At: assets.InstantOf(at), ShownH: float64(n) / 60})
				return err
			})
			if err != nil {
				t.Error(err)
			}
			if n == 5 {
				close(first)
			}
		}
	}()
	<-first
	dir := t.TempDir()
	file := filepath.Join(dir, "copy.db")
	verdict, err := moving.Backup(bg, s.DB, file, false, nil)
	close(stop)
	written := <-ended
	if err != nil {
		t.Fatal(err)
	}
	left(t, dir, "copy.db")
	if len(verdict.Chains) != 2 || verdict.Chains[1].Position < 5 || verdict.Chains[1].Position > int64(written)+10 {
		t.Errorf("the copy's chains: %+v while %d readings were written", verdict.Chains, written)
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the copy can be read by others: %v, %v", info.Mode(), err)
	}
	copied := plantdbtest.Again(t, file) // verified again when the test ends
	if n := count(t, copied, "readings"); n < 5 {
		t.Errorf("%d readings in the copy", n)
	}
}

func count(t *testing.T, db *plantdb.DB, table string) (n int64) {
	t.Helper()
	if err := db.SQL(bg).Raw("SELECT count(*) FROM " + table).Scan(&n).Error; err != nil {
		t.Fatal(err)
	}
	return n
}

func TestBackupRefusesNamesThatAreTaken(t *testing.T) {
	path := sample(t)
	db := open(t, path)
	defer closed(t, db)
	if _, err := moving.Backup(bg, db, path, false, nil); err == nil || !strings.Contains(err.Error(), "is there already") {
		t.Errorf("a backup over the database itself: %v", err)
	}
	if _, err := moving.Backup(bg, db, filepath.Join(t.TempDir(), "no", "copy.db"), false, nil); err == nil || !strings.Contains(err.Error(), "name a folder that exists") {
		t.Errorf("a backup into a folder that is not there: %v", err)
	}
}

// TestBackupOfABrokenJournal holds that a copy that does not verify gets no name, unless one asks for it so.
func TestBackupOfABrokenJournal(t *testing.T) {
	path := sample(t)
	db := open(t, path)
	defer closed(t, db)
	err := db.InTx(bg, func(tx *plantdb.DB) error {
		return tx.SQL(bg).Exec("UPDATE plants SET remark = 'changed past the journal' WHERE id = 1").Error
	})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "copy.db")
	if _, err := moving.Backup(bg, db, file, false, nil); !errors.Is(err, plantdb.ErrBroken) {
		t.Errorf("a broken journal is backed up: %v", err)
	}
	left(t, dir)
	if _, err := moving.Backup(bg, db, file, true, nil); err != nil {
		t.Errorf("unverified: %v", err)
	}
	left(t, dir, "copy.db")
}

func TestRestore(t *testing.T) {
	path, dir := sample(t), t.TempDir()
	file, target := filepath.Join(dir, "copy.db"), filepath.Join(dir, "plant.db")
	db := open(t, path)
	if _, err := moving.Backup(bg, db, file, false, nil); err != nil {
		t.Fatal(err)
	}
	closed(t, db)
	want := digests(t, path)
	now := time.Date(2026, 11, 25, 18, 0, 0, 0, time.UTC)

	if _, err := moving.Restore(bg, file, target, false, now); err != nil {
		t.Fatal(err)
	}
	if got := digests(t, target); !slices.Equal(got, want) {
		t.Errorf("restored %v, want %v", got, want)
	}
	old := open(t, target)
	note(t, old, "written after the backup")

	if _, err := moving.Restore(bg, file, target, false, now); err == nil || !strings.Contains(err.Error(), "--replace") {
		t.Errorf("restored over a database without being told to: %v", err)
	}
	if _, err := moving.Restore(bg, file, target, true, now); !errors.Is(err, plantdb.ErrInUse) {
		t.Errorf("restored under a running server: %v", err)
	}
	closed(t, old)
	r, err := moving.Restore(bg, file, target, true, now)
	if err != nil {
		t.Fatal(err)
	}
	if got := digests(t, target); !slices.Equal(got, want) {
		t.Errorf("restored over another: %v, want %v", got, want)
	}
	aside := open(t, r.Aside)
	defer closed(t, aside)
	if word, err := aside.Meta(bg, "note"); err != nil || word != "written after the backup" {
		t.Errorf("the database set aside says %q, %v", word, err)
	}
	if _, err := os.Stat(target + ".unfinished"); !os.IsNotExist(err) {
		t.Errorf("the folder it was put together in is left: %v", err)
	}
}

// A restore that was killed when the old database had its second name and not yet lost its first is asked for again at once.
func TestRestoreAskedForAgainWithinTheSecondItWasKilledIn(t *testing.T) {
	copied, target := sample(t), filepath.Join(t.TempDir(), "plant.db")
	now := time.Date(2026, 11, 26, 12, 0, 0, 0, time.UTC)
	old := open(t, target)
	note(t, old, "the old one")
	closed(t, old)
	aside := target + ".before-restore-20261126T120000Z"
	if err := os.Link(target, aside); err != nil {
		t.Fatal(err)
	}
	if r, err := moving.Restore(bg, copied, target, true, now); err != nil || r.Aside != aside {
		t.Fatalf("set aside as %q: %v", r.Aside, err)
	}
	compare(t, "restored", digests(t, target), digests(t, copied))
	kept := open(t, aside)
	defer closed(t, kept)
	if word, err := kept.Meta(bg, "note"); err != nil || word != "the old one" {
		t.Errorf("the database set aside says %q, %v", word, err)
	}
	if _, err := moving.Restore(bg, copied, target, true, now); err == nil || !strings.Contains(err.Error(), "wait a second") {
		t.Errorf("another database had the name already: %v", err)
	}
}

// TestRestoreRefusals: whatever is wrong with the copy, the database that is there stays.
func TestRestoreRefusals(t *testing.T) {
	dir, target := t.TempDir(), sample(t)
	want := digests(t, target)
	write := func(name string, content []byte) string {
		file := filepath.Join(dir, name)
		if err := os.WriteFile(file, content, 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	whole, err := os.ReadFile(sample(t))
	if err != nil {
		t.Fatal(err)
	}
	broken := slices.Clone(whole)
	at := strings.Index(string(broken), "Hollin")
	if at < 0 {
		at = strings.Index(string(broken), "raise")
	}
	broken[max(at, 0)] ^= 1
	newer := write("newer.db", whole)
	db := open(t, newer)
	err = db.InTx(bg, func(tx *plantdb.DB) error {
		return tx.SQL(bg).Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)").Error
	})
	if err != nil {
		t.Fatal(err)
	}
	closed(t, db)
	inUse := write("in-use.db", whole)
	write("in-use.db-wal", []byte("something"))

	for name, tt := range map[string]struct{ file, says string }{
		"a file that is not there":      {filepath.Join(dir, "no.db"), "there is no copy"},
		"a folder":                      {dir, "there is no copy"},
		"a text":                        {write("list.csv", []byte("tag;width\n")), "is no database"},
		"cut short":                     {write("cut.db", whole[:len(whole)/2]), "damaged"},
		"a changed byte":                {write("changed.db", broken), "the journal is broken"},
		"of a newer program":            {newer, "newer Carryside"},
		"a program has it open":         {inUse, "-wal file beside it"},
		"the database in its own place": {target, "itself"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := moving.Restore(bg, tt.file, target, true, time.Now())
			if err == nil || !strings.Contains(err.Error(), tt.says) || strings.Contains(err.Error(), "\n") {
				t.Errorf("refused with %v, want one sentence with %q", err, tt.says)
			}
		})
	}
	if got := digests(t, target); !slices.Equal(got, want) {
		t.Error("the database that was there is not as it was")
	}
	left(t, filepath.Dir(target), "carryside.db", "carryside.db.lock")

	empty := t.TempDir()
	for _, file := range []string{filepath.Join(dir, "cut.db"), filepath.Join(dir, "list.csv")} {
		if _, err := moving.Restore(bg, file, filepath.Join(empty, "new.db"), false, time.Now()); err == nil {
			t.Errorf("%s is restored", file)
		}
	}
	left(t, empty) // where nothing was, nothing stays
}

// TestRestoreOfAnEarlierSchema holds that a copy from before an upgrade is brought forward on its way in, with every row the
// earlier program could hold; since migration 19, after which none changes a fact, with every row as it was.
func TestRestoreOfAnEarlierSchema(t *testing.T) {
	for _, upTo := range []int64{6, 19} {
		early := sample(t)
		want := digests(t, early)
		gone := plantdbtest.TakenBack(t, early, upTo)
		target := filepath.Join(t.TempDir(), "plant.db")
		r, err := moving.Restore(bg, early, target, false, time.Now())
		if err != nil {
			t.Fatalf("from migration %d: %v", upTo, err)
		}
		if r.Verdict.Rows < 10_000 || r.Verdict.Entries == 0 {
			t.Errorf("from migration %d: %d rows of %d entries were verified", upTo, r.Verdict.Rows, r.Verdict.Entries)
		}
		left(t, filepath.Dir(target), "plant.db", "plant.db.lock")
		got := digests(t, target)
		if upTo == 19 {
			drawn := func(d moving.Digest) bool { return d.Table == "number_blocks" } // by chance, once, on the way
			compare(t, "brought forward", slices.DeleteFunc(slices.Clone(got), drawn), slices.DeleteFunc(slices.Clone(want), drawn))
		}
		for _, d := range got {
			at := slices.IndexFunc(want, func(w moving.Digest) bool { return w.Table == d.Table })
			if _, later := gone[d.Table]; !later && d.Table != "journal_rows" && d.Rows != want[at].Rows {
				t.Errorf("from migration %d: %d rows of %s, want %d", upTo, d.Rows, d.Table, want[at].Rows)
			}
		}
	}
}
