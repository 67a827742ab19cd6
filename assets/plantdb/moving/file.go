package moving

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"carryside/assets/plantdb"
	"carryside/migrations"
)

// workshop is a folder beside the file to be made, in which it is put together: only what is finished gets its name.
type workshop struct {
	dir  string
	file string // the one being made
}

// newWorkshop makes the folder; what a run that was killed has left in it goes.
func newWorkshop(target string) (workshop, error) {
	w := workshop{dir: target + ".unfinished"}
	w.file = filepath.Join(w.dir, "carryside.db")
	if err := os.RemoveAll(w.dir); err != nil {
		return w, err
	}
	if err := os.Mkdir(w.dir, 0o700); err != nil {
		return w, fmt.Errorf("%s cannot be made there; name a folder that exists and that this account may write: %w", target, err)
	}
	return w, nil
}

func (w workshop) close() error { return os.RemoveAll(w.dir) }

// finish makes one plain file of what was put together and waits until it is on the disk.
func (w workshop) finish(ctx context.Context) error {
	if err := plantdb.Alone(ctx, w.file); err != nil {
		return err
	}
	if err := os.Chmod(w.file, 0o600); err != nil { // as the database itself: its owner's alone
		return err
	}
	return syncName(w.file)
}

// syncName waits until a file, or the names in a folder, are on the disk.
func syncName(name string) error {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// Backup copies an installation into a new file while others read and write it; the copy is what stood there at one
// moment. It is proved before it gets its name. A copy of PostgreSQL is a SQLite file too.
//
// ErrBroken (of plantdb) when the copy does not verify; unproved leaves that out.
func Backup(ctx context.Context, db *plantdb.DB, file string, unproved bool, said Progress) (v plantdb.Verdict, err error) {
	if _, err := os.Lstat(file); err == nil {
		return v, fmt.Errorf("%s is there already; give a name that is free", file)
	}
	w, err := newWorkshop(file)
	if err != nil {
		return v, err
	}
	defer func() { err = errors.Join(err, w.close()) }()
	if db.Engine() == migrations.SQLite {
		err = db.CopyTo(ctx, w.file)
	} else {
		_, err = carryInto(ctx, db, w.file, said)
	}
	if err != nil {
		return v, err
	}
	if !unproved {
		if v, err = proved(ctx, w.file); err != nil {
			return v, fmt.Errorf("the copy does not verify and was not kept: %w", err)
		}
	}
	if err := w.finish(ctx); err != nil {
		return v, err
	}
	return v, w.name(file)
}

// name gives the finished file its name, unless that is taken meanwhile.
func (w workshop) name(file string) error {
	err := os.Link(w.file, file)
	if err != nil && !errors.Is(err, os.ErrExist) { // a file system that knows no second names
		err = os.Rename(w.file, file)
	}
	if err != nil {
		return fmt.Errorf("name the copy: %w", err)
	}
	return syncName(filepath.Dir(file))
}

func carryInto(ctx context.Context, from *plantdb.DB, file string, said Progress) ([]Digest, error) {
	to, err := plantdb.Open(ctx, plantdb.Config{DSN: file, Create: true})
	if err != nil {
		return nil, err
	}
	all, err := Carry(ctx, from, to, said)
	return all, errors.Join(err, to.Close())
}

// proved opens a file of this program's schema and verifies its journal.
func proved(ctx context.Context, file string) (v plantdb.Verdict, err error) {
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: file, AsItIs: true})
	if err != nil {
		return v, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	return whole(ctx, db)
}

func whole(ctx context.Context, db *plantdb.DB) (plantdb.Verdict, error) {
	v, err := db.Verify(ctx, nil)
	if err == nil && len(v.Breaks) > 0 {
		err = fmt.Errorf("%w: %s", plantdb.ErrBroken, v.Breaks[0].Says)
	}
	return v, err
}

// Restored is what Restore did.
type Restored struct {
	Aside   string // where the database that was there is now; "" when there was none
	Verdict plantdb.Verdict
}

// Restore puts a copy in the place of a SQLite file. The copy is brought to this program's schema and proved before it
// takes the place; with replace, what was there gets another name and stays. At every moment one of the two is there.
func Restore(ctx context.Context, file, target string, replace bool, now time.Time) (r Restored, err error) {
	if err := quiet(file); err != nil {
		return r, err
	}
	if target, err = filepath.Abs(target); err != nil {
		return r, err
	}
	there, err := occupied(file, target, replace)
	if err != nil {
		return r, err
	}
	release, err := migrations.Hold(target)
	if err != nil {
		return r, err
	}
	defer release()
	defer func() {
		if err != nil && !there {
			err = errors.Join(err, migrations.Unneeded(target))
		}
	}()
	if there {
		if err := letGo(ctx, target); err != nil {
			return r, err
		}
	}
	w, err := newWorkshop(target)
	if err != nil {
		return r, err
	}
	defer func() { err = errors.Join(err, w.close()) }()
	if r.Verdict, err = w.receive(ctx, file); err != nil {
		return r, err
	}
	if there {
		r.Aside = fmt.Sprintf("%s.before-restore-%s", target, now.UTC().Format("20060102T150405Z"))
		if err := setAside(target, r.Aside); err != nil {
			return r, err
		}
	}
	if err := os.Rename(w.file, target); err != nil {
		return r, fmt.Errorf("put the copy in place: %w", err)
	}
	return r, syncName(filepath.Dir(target))
}

// occupied tells whether a database stands where the copy is to go, and refuses when it may not be replaced.
func occupied(file, target string, replace bool) (bool, error) {
	old, err := os.Stat(target)
	if err != nil {
		return false, nil // the workshop beside it says what else is wrong
	}
	copied, err := os.Stat(file)
	switch {
	case err == nil && os.SameFile(old, copied):
		return true, fmt.Errorf("%s is the database itself; give a copy of it", file)
	case !replace:
		return true, fmt.Errorf("%s is there already; give --replace to set it aside and put the copy in its place", target)
	}
	return true, nil
}

// quiet refuses a file that some program has open or was killed over: part of it then lies in another file.
func quiet(file string) error {
	if info, err := os.Stat(file); err != nil || !info.Mode().IsRegular() {
		return fmt.Errorf("there is no copy %s; give a file that carryside backup made", file)
	}
	if info, err := os.Stat(file + "-wal"); err == nil && info.Size() > 0 {
		return fmt.Errorf("%s has a -wal file beside it: a program has it open or was killed over it; copy it with carryside backup first", file)
	}
	return nil
}

// letGo makes sure that nobody has the old database open. One that is damaged cannot be asked and may go.
func letGo(ctx context.Context, target string) error {
	err := plantdb.Alone(ctx, target)
	if errors.Is(err, plantdb.ErrInUse) {
		return err
	}
	return ctx.Err()
}

// receive copies the file in, upgrades and proves it.
func (w workshop) receive(ctx context.Context, file string) (v plantdb.Verdict, err error) {
	if err := copyFile(file, w.file); err != nil {
		return v, err
	}
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: w.file})
	if err != nil {
		return v, fmt.Errorf("%s cannot be restored: %w", file, err)
	}
	v, err = whole(ctx, db)
	if err = errors.Join(err, db.Close()); err != nil {
		return v, fmt.Errorf("%s cannot be restored: %w", file, err)
	}
	return v, w.finish(ctx)
}

func copyFile(from, to string) (err error) {
	src, err := os.Open(from)
	if err != nil {
		return fmt.Errorf("%s cannot be read by this account: %w", from, err)
	}
	defer src.Close()
	dst, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, dst.Close()) }()
	if _, err := io.Copy(dst, src); err != nil {
		return fmt.Errorf("copy %s: %w", from, err)
	}
	return dst.Sync()
}

// setAside gives the old database a second name; its first is taken by the copy in one step. What a damaged one has
// beside it goes along: it must not be taken for the copy's.
func setAside(target, aside string) error {
	for _, part := range []string{"-wal", "-shm", "-journal"} {
		if err := os.Rename(target+part, aside+part); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	err := os.Link(target, aside)
	switch {
	case err == nil:
		return nil
	case !errors.Is(err, os.ErrExist):
		return os.Rename(target, aside) // a file system that knows no second names
	case sameFile(target, aside): // a restore killed within this second had come this far
		return nil
	}
	return fmt.Errorf("%s is there already; wait a second and try again", aside)
}

func sameFile(a, b string) bool {
	infoA, errA := os.Stat(a)
	infoB, errB := os.Stat(b)
	return errA == nil && errB == nil && os.SameFile(infoA, infoB)
}
