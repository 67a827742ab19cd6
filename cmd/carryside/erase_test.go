package main

import (
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/registry"
)

// withContact adds a contact of the plant of a small installation, changed once, and returns the person's number.
func withContact(t *testing.T, dsn string) (person int64) {
	t.Helper()
	db, err := plantdb.Open(t.Context(), plantdb.Config{DSN: dsn})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	act := plantdb.Act{Origin: plantdb.Command, Action: "note a contact", Now: exportNow, Plants: []int64{1}}
	err = db.Change(t.Context(), act, func(c *plantdb.Change) (err error) {
		if person, err = registry.PersonNamed(c, 1, "M. Okkerdal"); err != nil {
			return err
		}
		contact := assets.Contact{PlantID: 1, PersonID: person, Duty: "shift lead", Phone: "0100 / 555 01"}
		if err := registry.SaveContact(c, &contact, 0); err != nil {
			return err
		}
		contact.Phone = "0100 / 555 02"
		return registry.SaveContact(c, &contact, c.Now())
	})
	if err != nil {
		t.Fatal(err)
	}
	return person
}

func TestErasePersonFromTheCommandLine(t *testing.T) {
	dsn := smallInstallation(t)
	withContact(t, dsn)
	erase := func(args ...string) (string, string, int) {
		var out, errs strings.Builder
		args = append([]string{"erase-person", "--db", dsn}, args...)
		code := run(t.Context(), args, &Program{Stdout: &out, Stderr: &errs, Now: func() time.Time { return exportNow.Add(time.Hour) }})
		return out.String(), errs.String(), code
	}
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"M. Okkerdal"}, exitUsage, "--reason"},
		{[]string{"M. Okkerdal", "--reason", "asked in writing on 2 Mar 2026"}, exitRefused, "nothing was erased yet: person 1, M. Okkerdal, with 3 rows"},
		{[]string{"M. Okkerdal", "--reason", "M. Okkerdal asked for it", "--yes"}, exitRefused, "repeats the name"},
		{[]string{"N. Corvane", "--reason", "asked", "--yes"}, exitRefused, "nobody is called"},
		{[]string{"99", "--reason", "asked", "--yes"}, exitRefused, "nobody has this number"},
		{[]string{"m. okkerdal", "--reason", "asked in writing on 2 Mar 2026", "--yes"}, exitDone, ""},
		{[]string{"1", "--reason", "asked", "--yes"}, exitRefused, "was erased before"},
	} {
		if out, errs, code := erase(c.args...); code != c.code || !strings.Contains(errs, c.says) {
			t.Errorf("%q: exit %d, %q, %q; want %d, %q", c.args, code, out, errs, c.code, c.says)
		}
	}
	if out, errs, code := verified(t, "--db", dsn); code != exitDone {
		t.Errorf("the journal afterwards: %q, %q", out, errs)
	}
	if strings.Contains(dsn, "://") {
		return // its files are PostgreSQL's own
	}
	for _, name := range []string{dsn, dsn + "-wal"} {
		data, err := os.ReadFile(name)
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			t.Fatal(err)
		}
		for _, word := range []string{"Okkerdal", "okkerdal", "0100 / 555"} {
			if strings.Contains(string(data), word) {
				t.Errorf("%s still holds %q", name, word)
			}
		}
	}
}
