package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"runtime"
	"strings"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/accounts"
	"carryside/cmd/carryside/machine"
	"carryside/migrations"
)

// This file is what the doctor looks at, a function for each point. A point that cannot be looked at is bad and says
// why; the others are looked at all the same.

// Limits the doctor goes by, our own choice.
const (
	lateEvaluation = 5 * time.Minute    // the rules are evaluated every minute
	lateBackup     = 7 * 24 * time.Hour // a week's work can be entered again, more cannot
	tokenEndsSoon  = 14 * 24 * time.Hour
	leastFree      = 1 << 30   // bytes; an upgrade needs room for a copy beside the database
	noneFree       = 100 << 20 // bytes; below this writing ends soon
	newestEntries  = 500       // of each chain, looked at in passing
	lastBackup     = "last_backup"
)

// look goes through the points of an open database.
func (e *examination) look(ctx context.Context, db *plantdb.DB, now time.Time) {
	for _, one := range []struct {
		name string
		do   func(context.Context, *plantdb.DB, time.Time) error
	}{
		{"database", e.database}, {"disk", e.disk}, {"file", e.file}, {"writes", e.writes}, {"journal", e.journal}, {"clock", e.clock},
		{"evaluation", e.evaluation}, {"held readings", e.held}, {"administrator", e.administrator}, {"tokens", e.tokens}, {"backup", e.backup},
	} {
		if err := one.do(ctx, db, now); err != nil {
			e.add(one.name, stateBad, "could not be looked at: %s", strings.Join(strings.Fields(err.Error()), " "))
		}
	}
}

// program tells which program looks, and by which time zone data it reckons.
func (e *examination) program() {
	e.add("program", stateOK, "carryside %s, %s for %s/%s", version(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
	e.add("time zones", stateOK, "%s", zoneData())
}

// zoneData says where the time zone data come from: those of the system where it has some, else those built in.
func zoneData() string {
	if dir := os.Getenv("ZONEINFO"); dir != "" {
		return "read from ZONEINFO, " + dir
	}
	for _, dir := range []string{"/usr/share/zoneinfo", "/usr/share/lib/zoneinfo", "/usr/lib/locale/TZ", "/etc/zoneinfo"} {
		if info, err := os.Stat(dir); err != nil || !info.IsDir() {
			continue
		}
		for _, name := range []string{"tzdata.zi", "+VERSION"} {
			if text, err := os.ReadFile(dir + "/" + name); err == nil {
				first, _, _ := strings.Cut(string(text), "\n")
				return "the system's, version " + strings.TrimPrefix(strings.TrimSpace(first), "# version ")
			}
		}
		return "the system's, in " + dir + "; it does not tell its version"
	}
	return "those built into the program with " + runtime.Version()
}

// database compares the schema with the program's.
func (e *examination) database(ctx context.Context, db *plantdb.DB, _ time.Time) error {
	has, wants, err := db.Version(ctx)
	if err != nil {
		return err
	}
	size, err := db.SizeBytes(ctx)
	if err != nil {
		return err
	}
	where := string(db.Engine())
	if db.Path() != "" {
		where = db.Path()
	}
	if has != wants {
		e.add("database", stateBad, "%s has the number %d and this program %d", where, has, wants)
		return nil
	}
	e.add("database", stateOK, "%s, number %d as the program's, %s", where, has, megabytes(size))
	return nil
}

func megabytes(n int64) string {
	if n >= 10e9 {
		return fmt.Sprintf("%.0f GB", float64(n)/1e9)
	}
	return fmt.Sprintf("%.1f MB", float64(n)/1e6)
}

// disk looks at the room that is left. PostgreSQL's disk is its own server's to watch.
func (e *examination) disk(ctx context.Context, db *plantdb.DB, _ time.Time) error {
	free, known := db.FreeBytes()
	if !known {
		if db.Engine() == migrations.SQLite {
			e.add("disk", stateLook, "how much room is left is not to be had here; look by yourself")
		}
		return nil
	}
	size, err := db.SizeBytes(ctx)
	if err != nil {
		return err
	}
	room := megabytes(int64(min(free, math.MaxInt64)))
	switch {
	case free < noneFree:
		e.add("disk", stateBad, "%s are left; make room, or nothing can be entered soon", room)
	case free < leastFree || free < 2*uint64(size):
		e.add("disk", stateLook, "%s are left; an upgrade needs room for a copy of the database and itself", room)
	default:
		e.add("disk", stateOK, "%s are left", room)
	}
	return nil
}

// file looks at where a SQLite file lies and who may read it.
func (e *examination) file(_ context.Context, db *plantdb.DB, _ time.Time) error {
	if db.Path() == "" {
		return nil
	}
	if kind := db.NetworkFileSystem(); kind != "" {
		e.add("file", stateBad, "it lies on a network file system (%s), where SQLite loses data; move it to a local disk", kind)
		return nil
	}
	info, err := os.Stat(db.Path())
	if err != nil {
		return err
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		e.add("file", stateLook, "other accounts of this machine may read or write it (%s); chmod 600 keeps them out", info.Mode().Perm())
		return nil
	}
	e.add("file", stateOK, "on a local disk, open to its own account only")
	return nil
}

// writes looks at what SQLite's writes rest on.
func (e *examination) writes(ctx context.Context, db *plantdb.DB, _ time.Time) error {
	if db.Engine() != migrations.SQLite {
		return nil
	}
	s, err := db.Safety(ctx)
	if err != nil {
		return err
	}
	if s.JournalMode != "wal" || s.Synchronous < 2 || !s.ForeignKeys {
		e.add("writes", stateBad, "journal mode %s, synchronous %d, foreign keys %t: a power cut can lose what was entered; this must be wal, 2 or more, true", s.JournalMode, s.Synchronous, s.ForeignKeys)
		return nil
	}
	e.add("writes", stateOK, "write-ahead log, synced before each answer, foreign keys on")
	return nil
}

// journal looks at the newest entries in passing.
func (e *examination) journal(ctx context.Context, db *plantdb.DB, _ time.Time) error {
	looked, says, err := db.NewestEntries(ctx, newestEntries)
	if err != nil {
		return err
	}
	all, err := db.EntryCount(ctx)
	if err != nil {
		return err
	}
	if says != "" {
		e.add("journal", stateBad, "%s; run carryside verify and keep the database as it is", says)
		return nil
	}
	e.add("journal", stateOK, "the newest %d of %d entries fit their hashes", looked, all)
	return nil
}

// clock compares this machine's with the newest entry.
func (e *examination) clock(ctx context.Context, db *plantdb.DB, now time.Time) error {
	newest, err := db.NewestEntryAt(ctx)
	if err != nil {
		return err
	}
	if ahead := newest.Time().Sub(now); newest != 0 && ahead > time.Second {
		e.add("clock", stateBad, "this machine's clock is %s behind the newest entry of the journal: set it right, then look at what was entered since", span(ahead))
		return nil
	}
	e.add("clock", stateOK, "not behind the newest entry of the journal")
	return nil
}

// evaluation looks at when the rules were evaluated last.
func (e *examination) evaluation(ctx context.Context, db *plantdb.DB, now time.Time) error {
	last, err := machine.LastEvaluation(ctx, db)
	switch {
	case errors.Is(err, assets.ErrNotFound):
		e.add("evaluation", stateLook, "the rules were never evaluated: no server has run on this database yet")
		return nil
	case err != nil:
		return err
	}
	age := now.Sub(last.EndedAt.Time())
	switch {
	case last.Error != "":
		e.add("evaluation", stateBad, "the last one, %s ago, ended with: %s", span(age), last.Error)
	case age > lateEvaluation:
		e.add("evaluation", stateLook, "the last one was %s ago: no server runs, or it hangs; no order is raised until one does", span(age))
	default:
		e.add("evaluation", stateOK, "the last one was %s ago", span(age))
	}
	return nil
}

// held counts the readings that wait for a person.
func (e *examination) held(ctx context.Context, db *plantdb.DB, _ time.Time) error {
	n, err := machine.HeldReadings(ctx, db)
	if err != nil {
		return err
	}
	switch n {
	case 0:
		e.add("held readings", stateOK, "none waits for a person")
	case 1:
		e.add("held readings", stateLook, "one waits for a person; it is not used until then")
	default:
		e.add("held readings", stateLook, "%d wait for a person; they are not used until then", n)
	}
	return nil
}

// administrator looks whether anybody can give grants.
func (e *examination) administrator(ctx context.Context, db *plantdb.DB, now time.Time) error {
	demo, err := db.IsDemo(ctx)
	if err != nil {
		return err
	}
	if demo {
		e.add("administrator", stateOK, "none: this is a demonstration, where people sign in with one click")
		return nil
	}
	door := accounts.Door{DB: db, Now: func() time.Time { return now }}
	there, err := door.HasAdministrator(ctx)
	if err != nil {
		return err
	}
	if !there {
		e.add("administrator", stateLook, "there is none yet: carryside serve prints a one-time sign-up address at its start")
		return nil
	}
	e.add("administrator", stateOK, "there is one who can sign in")
	return nil
}

// tokens looks for programs that will soon be refused.
func (e *examination) tokens(ctx context.Context, db *plantdb.DB, now time.Time) error {
	var n struct{ InForce, Ending int64 }
	err := db.SQL(ctx).Raw(`SELECT count(*) AS in_force, coalesce(sum(CASE WHEN expires_at <= ? THEN 1 ELSE 0 END), 0) AS ending
		FROM api_tokens WHERE known_to IS NULL AND expires_at > ?`, assets.InstantOf(now.Add(tokenEndsSoon)), assets.InstantOf(now)).Scan(&n).Error
	switch {
	case err != nil:
		return err
	case n.Ending > 0:
		e.add("tokens", stateLook, "%d of %d of the machine interface end within two weeks: programs that show them are refused then", n.Ending, n.InForce)
	default:
		e.add("tokens", stateOK, "%d in force, none ends within two weeks", n.InForce)
	}
	return nil
}

// backup looks at the last one that carryside backup made.
func (e *examination) backup(ctx context.Context, db *plantdb.DB, now time.Time) error {
	text, err := db.Meta(ctx, lastBackup)
	if err != nil {
		return err
	}
	at, bad := time.Parse(time.RFC3339, text)
	switch age := now.Sub(at); {
	case text == "" || bad != nil:
		e.add("backup", stateLook, "none was made by carryside backup; copies made in other ways are not known here")
	case age > lateBackup:
		e.add("backup", stateLook, "the last one known was made %s ago, on %s", span(age), at.UTC().Format(time.DateOnly))
	default:
		e.add("backup", stateOK, "the last one was made %s ago", span(age))
	}
	return nil
}

// span says a length of time as people do.
func span(d time.Duration) string {
	of := func(n float64, unit string) string {
		if n = math.Round(n); n == 1 {
			return "1 " + unit
		}
		return fmt.Sprintf("%.0f %ss", n, unit)
	}
	switch d = max(d, 0); {
	case d < 2*time.Minute:
		return of(d.Seconds(), "second")
	case d < 2*time.Hour:
		return of(d.Minutes(), "minute")
	case d < 48*time.Hour:
		return of(d.Hours(), "hour")
	}
	return of(d.Hours()/24, "day")
}
