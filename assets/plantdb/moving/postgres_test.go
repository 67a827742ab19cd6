//go:build postgres

package moving_test

import (
	"errors"
	"path/filepath"
	"testing"

	"carryside/assets/plantdb"
	"carryside/assets/plantdb/moving"
	"carryside/assets/plantdb/plantdbtest"
)

// TestMoveToPostgresAndBack carries the three plants over and back; all three databases have the same digests, and both
// new ones can be worked on.
func TestMoveToPostgresAndBack(t *testing.T) {
	from, address, back := sample(t), plantdbtest.EmptyAddress(t), filepath.Join(t.TempDir(), "back.db")
	want := digests(t, from)
	all, err := moving.Move(bg, from, address, nil)
	if err != nil {
		t.Fatal(err)
	}
	compare(t, "what move says", all, want)
	compare(t, "PostgreSQL", digests(t, address), want)
	if _, err := moving.Move(bg, from, address, nil); !errors.Is(err, moving.ErrNotEmpty) {
		t.Errorf("moved over what was moved: %v", err)
	}
	if _, err := moving.Move(bg, address, back, nil); err != nil {
		t.Fatal(err)
	}
	compare(t, "back in a file", digests(t, back), want)

	db := plantdbtest.Again(t, address)
	if _, err := moving.Move(bg, address, filepath.Join(t.TempDir(), "again.db"), nil); !errors.Is(err, plantdb.ErrInUse) {
		t.Errorf("moved away from under a server: %v", err)
	}
	goOn(t, db)
	goOn(t, plantdbtest.Again(t, back))
}

// TestTextThatPostgresRefuses holds that nothing is half carried: PostgreSQL keeps no text with a zero byte.
func TestTextThatPostgresRefuses(t *testing.T) {
	from := sample(t)
	db := open(t, from)
	note(t, db, "a zero \x00 byte")
	closed(t, db)
	address := plantdbtest.EmptyAddress(t)
	if _, err := moving.Move(bg, from, address, nil); err == nil {
		t.Error("it was carried")
	}
	if n := count(t, plantdbtest.Again(t, address), "plants"); n != 0 {
		t.Errorf("%d plants arrived", n)
	}
}
