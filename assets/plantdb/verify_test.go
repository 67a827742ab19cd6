package plantdb_test

import (
	"bytes"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/clocks"
	"carryside/assets/plantdb/fleetdb"
	"carryside/assets/plantdb/issued"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/assets/samplefleet"
	"carryside/migrations"

	"github.com/google/go-cmp/cmp"
)

// verdict is what Verify finds.
func verdict(t testing.TB, db *plantdb.DB, kept ...plantdb.Checkpoint) plantdb.Verdict {
	t.Helper()
	v, err := db.Verify(bg, kept)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// busy writes a plant with every kind of row and every kind of change: amended, corrected, ended, decided.
func busy(t testing.TB) *plantdbtest.Site {
	t.Helper()
	s := plantdbtest.Plant(t)
	s.Change(t, noon.Add(time.Hour), func(c *plantdb.Change) error {
		s.Conveyor.SpeedMPS = 2.5
		return registry.AlterConveyor(c, &s.Conveyor, assets.InstantOf(noon.AddDate(0, -2, 0)))
	})
	s.Change(t, noon.Add(2*time.Hour), func(c *plantdb.Change) error {
		meter := assets.Meter{ConveyorID: s.Conveyor.ID, Why: "first meter", FromAt: assets.InstantOf(noon.AddDate(0, -6, 0))}
		if err := clocks.SetMeter(c, &meter); err != nil {
			return err
		}
		for day := range 30 {
			at := noon.AddDate(0, 0, day-40)
			if _, err := clocks.AddReading(c, clocks.Entered{ConveyorID: s.Conveyor.ID, At: assets.InstantOf(at), ShownH: 1000 + 7.3*float64(day)}); err != nil {
				return err
			}
		}
		return nil
	})
	s.Change(t, noon.Add(3*time.Hour), func(c *plantdb.Change) error {
		shown := 1008.1
		if err := clocks.CorrectReading(c, s.Conveyor.ID, assets.InstantOf(noon.AddDate(0, 0, -39)), &shown); err != nil {
			return err
		}
		person, err := registry.PersonNamed(c, s.Customer.ID, "M. Okkerdal")
		if err != nil {
			return err
		}
		contact := assets.Contact{PlantID: s.Plant.ID, PersonID: person, Duty: "shift lead", Phone: "0100 / 555 01"}
		if err := registry.SaveContact(c, &contact, 0); err != nil {
			return err
		}
		contact.Phone = "0100 / 555 02"
		return registry.SaveContact(c, &contact, c.Now())
	})
	s.Change(t, noon.Add(4*time.Hour), func(c *plantdb.Change) error { return giveOut(c, s) })
	return s
}

// giveOut gives a report out that fills two pieces.
func giveOut(c *plantdb.Change, s *plantdbtest.Site) error {
	file := bytes.Repeat([]byte("Q1;S1;655\n"), 110_000)
	sum := sha256.Sum256(file)
	r := issued.Report{CustomerID: s.Customer.ID, PlantID: s.Plant.ID, Slug: "splice-age", Title: "Splice age register", Form: "csv", FileName: "ages.csv", Scope: s.Plant.Name,
		BuiltAt: c.Now(), MadeBy: "operator", Program: "1.0", RowCount: 110_000, RowDigest: strings.Repeat("5e", 32), SizeBytes: int64(len(file)), FileDigest: hex.EncodeToString(sum[:]), Proof: "{}"}
	return issued.Keep(c, &r, bytes.NewReader(file))
}

func TestWholeJournal(t *testing.T) {
	s := busy(t)
	v := verdict(t, s.DB)
	if len(v.Breaks) != 0 || len(v.Chains) != 2 || v.Chains[1].Position != 6 || v.Entries != 7 || v.Rows < 45 {
		t.Errorf("verdict %+v, want a whole one over all rows", v)
	}
	for _, ch := range v.Chains {
		kept := plantdb.Checkpoint{ChainID: ch.ChainID, Position: ch.Position, Hash: ch.Hash}
		if v := verdict(t, s.DB, kept); len(v.Breaks) != 0 {
			t.Errorf("against its own checkpoint: %v", v.Breaks)
		}
		kept.Hash = strings.Repeat("ab", 32)
		if v := verdict(t, s.DB, kept); len(v.Breaks) != 1 {
			t.Errorf("against another chain's checkpoint: %v, want one break", v.Breaks)
		}
		kept.Position += 5
		if v := verdict(t, s.DB, kept); len(v.Breaks) != 1 {
			t.Errorf("against a checkpoint behind the end: %v, want one break", v.Breaks)
		}
	}
}

// errUndo takes a tampering back.
var errUndo = errors.New("take it back")

// tampered tells what Verify finds after statements that passed the journal by, and takes them back.
func tampered(t testing.TB, db *plantdb.DB, statements ...string) plantdb.Verdict {
	t.Helper()
	var v plantdb.Verdict
	err := db.InTx(bg, func(tx *plantdb.DB) error {
		for _, s := range statements {
			if err := tx.SQL(bg).Exec(s).Error; err != nil {
				t.Fatalf("%s: %v", s, err)
			}
		}
		v = verdict(t, tx)
		return errUndo
	})
	if !errors.Is(err, errUndo) {
		t.Fatal(err)
	}
	return v
}

func TestFirstBrokenLinkIsNamed(t *testing.T) {
	s := busy(t)
	for _, c := range []struct{ statement, says string }{
		{"UPDATE belts SET width_m = 1.2 WHERE row_id = 1", "Row 1 of belts was changed after entry 2 of chain 2 wrote it."},
		{"UPDATE belts SET take_up_used_m = 0.1 WHERE row_id = 1", "Row 1 of belts was changed after entry 2 of chain 2 wrote it."},
		{"DELETE FROM splices WHERE row_id = 1", "Row 1 of splices is missing; entry 2 of chain 2 wrote it."},
		{"INSERT INTO readings (conveyor_id, at, known_from, shown_h, approximate) VALUES (1, 5, 2, 7, false)", "The row of readings with conveyor_id 1, at 5, known_from 2 stands in no entry of the journal: it was added past it, or its key was changed."},
		{"UPDATE conveyors SET known_to = 4 WHERE row_id = 1", "Row 1 of conveyors says it was ended by entry 4; the journal says 3 (0: none)."},
		{"UPDATE people SET name = 'R. Asquenne' WHERE id = 1", "Row 1 of people was changed after entry 5 of chain 2 wrote it."},
		{"UPDATE journal_entries SET reason = 'x' WHERE chain_id = 2 AND position = 3", "Entry 3 of chain 2 (test) was changed: its hash does not fit what it says."},
		{"DELETE FROM journal_entries WHERE chain_id = 2 AND position = 2", "Entry 2 of chain 2 is missing, though leaves of its rows are kept."},
		{"DELETE FROM journal_rows WHERE chain_id = 2 AND position = 3", "Entry 3 of chain 2 (test) does not fit what is kept of its rows."},
		{"UPDATE chains SET head_position = 3 WHERE id = 2", "Chain 2 ends at entry 6, but entry 3 was its newest: entries are missing or the chain's row was changed."},
	} {
		v := tampered(t, s.DB, c.statement)
		if len(v.Breaks) == 0 || v.Breaks[0].Says != c.says {
			t.Errorf("%s\nfound %v\nwant  %s", c.statement, v.Breaks, c.says)
		}
	}
}

// TestEveryChangedValueIsFound changes one value at a time, at random places of journal, registry and the bytes of a report
// given out, by one byte or bit where the database takes it, and expects that
// each is found.
func TestEveryChangedValueIsFound(t *testing.T) {
	changes := 1000
	if testing.Short() {
		changes = 150
	}
	s := busy(t)
	tables := storedTables(t, s.DB)
	rng := rand.New(rand.NewPCG(7, 11))
	for made := 0; made < changes; {
		table := tables[rng.IntN(len(tables))]
		err := s.DB.InTx(bg, func(tx *plantdb.DB) error {
			what, err := changeOne(tx, rng, table)
			if err != nil {
				return err // the database itself refused it
			}
			made++
			if v := verdict(t, tx); len(v.Breaks) == 0 {
				t.Errorf("%s was not found", what)
			}
			return errUndo
		})
		if err == nil {
			t.Fatal("a change was kept")
		}
	}
}

// TestOneCustomersChainAlone changes rows of two customers and looks at one chain at a time: each customer's auditor
// finds what is theirs and nothing of the other's.
func TestOneCustomersChainAlone(t *testing.T) {
	s := busy(t)
	other := plantdbtest.PlantIn(t, s.DB, "Skarrow")
	for _, c := range []struct {
		statement        string
		company, our, by int // breaks found in the company's chain, in ours, in the other's
	}{
		{"UPDATE companies SET name = 'x'", 1, 0, 0},
		{"UPDATE belts SET width_m = 3 WHERE row_id = 1", 0, 1, 0},
		{fmt.Sprintf("UPDATE belts SET width_m = 3 WHERE plant_id = %d", other.Plant.ID), 0, 0, 1},
		{"DELETE FROM readings WHERE conveyor_id = 1 AND at = (SELECT min(at) FROM readings)", 0, 1, 0},
		{fmt.Sprintf("INSERT INTO readings (conveyor_id, at, known_from, shown_h, approximate) VALUES (%d, 5, 2, 7, false)", other.Conveyor.ID), 0, 0, 1},
		{fmt.Sprintf("UPDATE splices SET plant_id = %d WHERE row_id = 1", other.Plant.ID), 0, 1, 1},
		{"UPDATE journal_entries SET reason = 'x' WHERE chain_id = 2 AND position = 5", 0, 1, 0},
	} {
		err := s.DB.InTx(bg, func(tx *plantdb.DB) error {
			if err := tx.SQL(bg).Exec(c.statement).Error; err != nil {
				t.Fatalf("%s: %v", c.statement, err)
			}
			for customer, want := range map[int64]int{0: c.company, s.Customer.ID: c.our, other.Customer.ID: c.by} {
				v, err := tx.Prove(bg, plantdb.Asked{OneChain: true, CustomerID: customer})
				if err != nil || len(v.Breaks) != want || len(v.Chains) != 1 {
					t.Errorf("%s\nin the chain of customer %d: %v, %v; want %d breaks", c.statement, customer, v.Breaks, err, want)
				}
			}
			return errUndo
		})
		if !errors.Is(err, errUndo) {
			t.Fatal(err)
		}
	}
	// A person of a customer who was entered in the company's chain is no row of nobody.
	act := plantdb.Act{Origin: plantdb.Command, Action: "add a person", Now: noon.Add(8 * time.Hour), Company: true}
	err := s.DB.Change(bg, act, func(c *plantdb.Change) error {
		ch, err := c.Chain(0)
		if err != nil {
			return err
		}
		p := assets.Person{ID: 70, CustomerID: s.Customer.ID, Name: "T. Brannoch", NameKey: "t. brannoch"}
		return plantdb.Insert(c, ch, p.ID, &p)
	})
	if err != nil {
		t.Fatal(err)
	}
	if v, err := s.DB.Prove(bg, plantdb.Asked{OneChain: true, CustomerID: s.Customer.ID}); err != nil || len(v.Breaks) > 0 {
		t.Errorf("a person entered by the company: %v, %v", v.Breaks, err)
	}
	if _, err := s.DB.Prove(bg, plantdb.Asked{OneChain: true, CustomerID: 99}); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a customer who is not there: %v", err)
	}
}

// TestProofThroughFiles sets nearly everything aside in files and expects the verdict of memory; and what is told on
// the way ends at all there is.
func TestProofThroughFiles(t *testing.T) {
	s := busy(t)
	var told atomic.Int64
	v, err := s.DB.Prove(bg, plantdb.Asked{Memory: 500, Progress: func(done, _ int64) {
		for old := told.Load(); old < done && !told.CompareAndSwap(old, done); old = told.Load() {
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	if want := verdict(t, s.DB); !cmp.Equal(v, want) {
		t.Errorf("through files: %s", cmp.Diff(want, v))
	}
	if told.Load() != v.Entries+v.Rows {
		t.Errorf("%d entries and rows were told, %d and %d looked at", told.Load(), v.Entries, v.Rows)
	}
	err = s.DB.InTx(bg, func(tx *plantdb.DB) error {
		if err := tx.SQL(bg).Exec("UPDATE readings SET shown_h = shown_h + 1e-9 WHERE at = (SELECT max(at) FROM readings)").Error; err != nil {
			t.Fatal(err)
		}
		if v, err := tx.Prove(bg, plantdb.Asked{Memory: 500}); err != nil || len(v.Breaks) != 1 {
			t.Errorf("a changed reading through files: %v, %v", v.Breaks, err)
		}
		return errUndo
	})
	if !errors.Is(err, errUndo) {
		t.Fatal(err)
	}
}

// storedTables are the tables with rows that the journal covers, and the journal's own.
func storedTables(t *testing.T, db *plantdb.DB) []string {
	t.Helper()
	var names []string
	for name := range tablesOf(t, db) {
		var n int
		if err := db.SQL(bg).Raw("SELECT count(*) FROM " + name).Scan(&n).Error; err != nil {
			t.Fatal(err)
		}
		if n > 0 && !slices.Contains([]string{"goose_db_version", "id_counters", "job_runs", "meta", "number_blocks", "rule_progress"}, name) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// changeOne changes one value of one row.
func changeOne(tx *plantdb.DB, rng *rand.Rand, table string) (what string, err error) {
	var n int
	if err := tx.SQL(bg).Raw("SELECT count(*) FROM " + table).Scan(&n).Error; err != nil {
		return "", err
	}
	place, at := "ctid", rng.IntN(n)
	if tx.Engine() == migrations.SQLite {
		place = "rowid"
		if table == "readings" || table == "journal_rows" {
			place = map[string]string{"readings": "at", "journal_rows": "position * 1000 + part"}[table]
		}
	}
	rows, err := tx.SQL(bg).Raw(fmt.Sprintf("SELECT %s AS place, t.* FROM %s t ORDER BY 1 LIMIT 1 OFFSET %d", place, table, at)).Rows()
	if err != nil {
		return "", err
	}
	names, values, err := oneRow(rows)
	if err != nil {
		return "", err
	}
	k := 1 + rng.IntN(len(names)-1)
	changed, err := otherValue(rng, values[k], tx.Engine() == migrations.SQLite)
	if err != nil {
		return "", err
	}
	where := place + " = ?"
	if place == "ctid" {
		where = "ctid = ?::tid"
	}
	set := "?"
	if _, raw := changed.([]byte); raw && names[k] != "leaves" && names[k] != "bytes" {
		set = "CAST(? AS TEXT)"
	}
	err = tx.SQL(bg).Exec(fmt.Sprintf(`UPDATE %s SET "%s" = %s WHERE %s`, table, names[k], set, where), changed, values[0]).Error
	return fmt.Sprintf("%s.%s of %v: %v instead of %v", table, names[k], values[0], changed, values[k]), err
}

func oneRow(rows *sql.Rows) (names []string, values []any, err error) {
	defer rows.Close()
	if names, err = rows.Columns(); err != nil {
		return nil, nil, err
	}
	values = make([]any, len(names))
	places := make([]any, len(names))
	for i := range values {
		places[i] = &values[i]
	}
	rows.Next()
	return names, values, errors.Join(rows.Scan(places...), rows.Err())
}

// otherValue changes a value as little as can be: one bit of a number, one byte of a text.
func otherValue(rng *rand.Rand, v any, anyByte bool) (any, error) {
	switch v := v.(type) {
	case nil:
		return int64(1 + rng.IntN(9)), nil
	case bool:
		return !v, nil
	case int64:
		return v ^ 1<<rng.IntN(40), nil
	case float64:
		return v + (v+1)*float64(1+rng.IntN(9))*1e-12, nil
	case []byte:
		return flipped(rng, v, 255), nil
	case string:
		switch {
		case v == "":
			return "x", nil
		case anyByte:
			return flipped(rng, []byte(v), 255), nil
		}
		return string(flipped(rng, []byte(v), 3)), nil
	}
	return nil, fmt.Errorf("a %T", v)
}

func flipped(rng *rand.Rand, b []byte, mask byte) []byte {
	out := slices.Clone(b)
	at := rng.IntN(len(out))
	for out[at] == b[at] {
		out[at] ^= byte(rng.IntN(256)) & mask
	}
	return out
}

// TestOldJournalIsSealedOnce takes a database back behind the upgrade that brought the hashes and opens it again.
func TestOldJournalIsSealedOnce(t *testing.T) {
	path := plantdbtest.SQLiteFile(t)
	db := plantdbtest.Again(t, path)
	if err := fleetdb.Write(bg, db, samplefleet.Demo(fleetdb.Day)); err != nil {
		t.Fatal(err)
	}
	s := plantdbtest.PlantIn(t, db, "Hollin Quarry")
	s.Change(t, noon.Add(time.Hour), func(c *plantdb.Change) error {
		s.Conveyor.SpeedMPS = 2.5
		return registry.AlterConveyor(c, &s.Conveyor, assets.InstantOf(noon.AddDate(0, -2, 0)))
	})
	before := verdict(t, db)
	var named []string
	if err := db.SQL(bg).Raw("SELECT DISTINCT table_name FROM journal_rows").Scan(&named).Error; err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	gone := plantdbtest.TakenBack(t, path, 6)
	sealed := plantdbtest.Again(t, path)
	after := verdict(t, sealed)
	want := before.Rows
	for _, table := range named {
		want -= gone[table] // the earlier database could not hold them
	}
	if len(after.Breaks) != 0 || after.Rows != want || after.Entries != before.Entries {
		t.Errorf("sealed: %d rows in %d entries, breaks %v; want %d in %d, none", after.Rows, after.Entries, after.Breaks, want, before.Entries)
	}
	if err := sealed.Close(); err != nil {
		t.Fatal(err)
	}
	raw(t, path, "UPDATE belts SET width_m = 3 WHERE row_id = 1")
	again, err := plantdb.Open(bg, plantdb.Config{DSN: path})
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if v := verdict(t, again); len(v.Breaks) == 0 {
		t.Error("a journal was sealed again over a changed row")
	}
}

// TestErasedPersonLeavesTheChainWhole looks for the name and the phone number in every text of the database
// afterwards.
func TestErasedPersonLeavesTheChainWhole(t *testing.T) {
	s := busy(t)
	people, err := registry.People(bg, s.DB, s.Scope, false)
	if err != nil || len(people) != 1 {
		t.Fatalf("people %v, %v", people, err)
	}
	words := []string{"okkerdal", "0100 / 555"}
	if found := textsWith(t, s.DB, words); len(found) != 5 {
		t.Errorf("before: found in %v, want name, its key and three rows with a phone number", found)
	}
	before := verdict(t, s.DB)
	s.Change(t, noon.Add(5*time.Hour), func(c *plantdb.Change) error { return registry.ErasePerson(c, people[0].ID) })
	if found := textsWith(t, s.DB, words); len(found) > 0 {
		t.Errorf("erased, and still in %v", found)
	}
	kept := before.Chains[1]
	after := verdict(t, s.DB, plantdb.Checkpoint{ChainID: kept.ChainID, Position: kept.Position, Hash: kept.Hash})
	if len(after.Breaks) != 0 || after.Chains[1].Position != kept.Position+1 {
		t.Errorf("after: %+v, want the chain of before with one entry more", after)
	}
	v := tampered(t, s.DB, "UPDATE people SET name = 'M. Okkerdal'")
	if len(v.Breaks) != 1 {
		t.Errorf("a name put back: %v, want one break", v.Breaks)
	}
}

// textsWith lists the columns of rows that hold one of some words.
func textsWith(t *testing.T, db *plantdb.DB, words []string) (found []string) {
	t.Helper()
	for table := range tablesOf(t, db) {
		rows, err := db.SQL(bg).Raw("SELECT * FROM " + table).Rows()
		if err != nil {
			t.Fatal(err)
		}
		names, err := rows.Columns()
		if err != nil {
			t.Fatal(err)
		}
		values, places := make([]any, len(names)), make([]any, len(names))
		for i := range values {
			places[i] = &values[i]
		}
		for rows.Next() {
			if err := rows.Scan(places...); err != nil {
				t.Fatal(err)
			}
			for i, v := range values {
				for _, w := range words {
					if strings.Contains(strings.ToLower(fmt.Sprint(v)), w) {
						found = append(found, table+"."+names[i])
					}
				}
			}
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			t.Fatal(err)
		}
	}
	return found
}
