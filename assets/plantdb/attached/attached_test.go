package attached_test

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand"
	"path/filepath"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/attached"
	"carryside/assets/plantdb/crew"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/registry"
	"carryside/migrations"
	"carryside/schedule/workorder"
)

// trace is a press's record of a size.
func trace(size int) []byte {
	r := rand.New(rand.NewSource(7))
	b := []byte("time,top,bottom\n")
	for len(b) < size {
		b = append(b, "0123456789,\n"[r.Intn(12)])
	}
	return b[:size]
}

func add(t *testing.T, s *plantdbtest.Site, a assets.Attachment, content []byte) assets.Attachment {
	t.Helper()
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { _, err := attached.Add(c, &a, content); return err })
	return a
}

func (s situation) of(kind assets.AttachedTo, id int64) assets.Attachment {
	return assets.Attachment{PlantID: s.Plant.ID, OfKind: kind, OfID: id, Name: "trace.csv"}
}

type situation struct{ *plantdbtest.Site }

func TestAFileComesBackAsItWasKept(t *testing.T) {
	s := situation{plantdbtest.Plant(t)}
	for _, size := range []int{30, attached.PieceBytes, attached.PieceBytes + 1, 3*attached.PieceBytes + 17} {
		content := trace(size)
		a := add(t, s.Site, s.of(assets.AttachedToSplice, s.Splice.ID), content)
		if a.SizeBytes != int64(size) || a.AddedByID != 7 || a.AddedAt == 0 || len(a.SHA256) != 64 || a.SHA256 != a.SentSHA256 {
			t.Errorf("%d bytes are kept as %+v", size, a)
		}
		found, err := attached.Attachment(t.Context(), s.DB, s.Scope, a.ID)
		if err != nil {
			t.Fatal(err)
		}
		got, err := attached.Content(t.Context(), s.DB, found)
		if err != nil || !bytes.Equal(got, content) {
			t.Errorf("%d bytes come back as %d (%v)", size, len(got), err)
		}
	}
	all, err := attached.Of(t.Context(), s.DB, s.Scope, assets.AttachedToSplice, s.Splice.ID)
	if err != nil || len(all) != 4 {
		t.Errorf("%d files are listed (%v)", len(all), err)
	}
}

func TestTheSameFileTwiceIsOne(t *testing.T) {
	s := situation{plantdbtest.Plant(t)}
	first := add(t, s.Site, s.of(assets.AttachedToConveyor, s.Conveyor.ID), trace(50))
	second := add(t, s.Site, s.of(assets.AttachedToConveyor, s.Conveyor.ID), trace(50))
	if first.ID != second.ID {
		t.Errorf("kept as %d and as %d", first.ID, second.ID)
	}
}

func TestFilesStayWithinTheirPlant(t *testing.T) {
	s := situation{plantdbtest.Plant(t)}
	other := plantdbtest.PlantIn(t, s.DB, "Sorvik Cement")
	a := add(t, s.Site, s.of(assets.AttachedToConveyor, s.Conveyor.ID), trace(50))
	if _, err := attached.Attachment(t.Context(), s.DB, other.Scope, a.ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("another plant's scope: %v", err)
	}
	if all, err := attached.Of(t.Context(), s.DB, other.Scope, assets.AttachedToConveyor, s.Conveyor.ID); err != nil || len(all) != 0 {
		t.Errorf("another plant's scope lists %d (%v)", len(all), err)
	}
	err := s.Try(plantdbtest.Noon, func(c *plantdb.Change) error {
		foreign := s.of(assets.AttachedToConveyor, other.Conveyor.ID)
		_, err := attached.Add(c, &foreign, trace(60))
		return err
	})
	if !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a file for another plant's conveyor: %v", err)
	}
	err = other.Try(plantdbtest.Noon, func(c *plantdb.Change) error { return attached.Withdraw(c, other.Plant.ID, a.ID) })
	if !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("withdrawn from another plant: %v", err)
	}
}

func TestAWithdrawnFileIsShownNoMoreAndTheJournalFits(t *testing.T) {
	s := situation{plantdbtest.Plant(t)}
	a := add(t, s.Site, s.of(assets.AttachedToSplice, s.Splice.ID), trace(50))
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return attached.Withdraw(c, s.Plant.ID, a.ID) })
	if _, err := attached.Attachment(t.Context(), s.DB, s.Scope, a.ID); !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a withdrawn file: %v", err)
	}
	plantdbtest.Whole(t, s.DB)
	again := add(t, s.Site, s.of(assets.AttachedToSplice, s.Splice.ID), trace(50))
	if again.ID == a.ID {
		t.Error("sent once more it is the withdrawn one")
	}
}

func TestWhatIsNotKeptLeavesNothing(t *testing.T) {
	s := situation{plantdbtest.Plant(t)}
	for name, content := range map[string][]byte{"empty": nil, "a page": []byte("<html><script>x</script>"), "too large": make([]byte, 20<<20+1)} {
		a := s.of(assets.AttachedToSplice, s.Splice.ID)
		err := s.Try(plantdbtest.Noon, func(c *plantdb.Change) error { _, err := attached.Add(c, &a, content); return err })
		var bad assets.Invalid
		if !errors.As(err, &bad) || bad["file"] == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
	if all, err := attached.Of(t.Context(), s.DB, s.Scope, assets.AttachedToSplice, s.Splice.ID); err != nil || len(all) != 0 {
		t.Errorf("%d files are there (%v)", len(all), err)
	}
}

// errUndo takes a damage back.
var errUndo = errors.New("take it back")

// TestVerifyFindsAChangedPiece changes, removes and adds pieces behind the program's back.
func TestVerifyFindsAChangedPiece(t *testing.T) {
	for name, damage := range map[string]string{
		"a changed piece": "UPDATE attachment_pieces SET content = 'x' WHERE piece = 2",
		"a missing piece": "DELETE FROM attachment_pieces WHERE piece = 2",
		"an added piece":  "INSERT INTO attachment_pieces (attachment_id, piece, content) VALUES (1, 9, 'x')",
	} {
		t.Run(name, func(t *testing.T) {
			s := situation{plantdbtest.Plant(t)}
			a := add(t, s.Site, s.of(assets.AttachedToSplice, s.Splice.ID), trace(attached.PieceBytes+9))
			err := s.DB.InTx(t.Context(), func(tx *plantdb.DB) error {
				if err := tx.SQL(t.Context()).Exec(damage).Error; err != nil {
					return err
				}
				verdict, err := tx.Verify(t.Context(), nil)
				if err != nil {
					return err
				}
				if len(verdict.Breaks) != 1 || !strings.Contains(verdict.Breaks[0].Says, "attachment_pieces") {
					t.Errorf("found %+v", verdict.Breaks)
				}
				if _, err := attached.Content(t.Context(), tx, a); err == nil && name != "an added piece" {
					t.Error("the damaged file is handed out")
				}
				return errUndo
			})
			if !errors.Is(err, errUndo) {
				t.Fatal(err)
			}
		})
	}
}

// TestACopyOfTheDatabaseCarriesFiles copies the database as a backup does, while it is open, and reads the file from there.
func TestACopyOfTheDatabaseCarriesFiles(t *testing.T) {
	s := situation{plantdbtest.Plant(t)}
	if s.DB.Engine() != migrations.SQLite {
		t.Log("on this engine a backup is the engine's own")
		return
	}
	content := trace(2*attached.PieceBytes + 5)
	a := add(t, s.Site, s.of(assets.AttachedToOrder, s.order(t)), content)
	file := filepath.Join(t.TempDir(), "copy.db")
	if err := s.DB.CopyTo(t.Context(), file); err != nil {
		t.Fatal(err)
	}
	copied := plantdbtest.Again(t, file)
	plantdbtest.Whole(t, copied)
	got, err := attached.Content(t.Context(), copied, a)
	if err != nil || !bytes.Equal(got, content) {
		t.Errorf("the copy gives %d bytes of %d (%v)", len(got), len(content), err)
	}
}

// order raises an order and returns its ID.
func (s situation) order(t *testing.T) int64 {
	t.Helper()
	o := workorder.Order{PlantID: s.Plant.ID, Kind: workorder.KindOther, ConveyorID: s.Conveyor.ID, Title: "look at it"}
	s.Change(t, plantdbtest.Noon, func(c *plantdb.Change) error { return orders.RaiseByHand(c, &o) })
	return o.ID
}

func TestACertificateIsKeptWithATicketOfThePlantsPeople(t *testing.T) {
	s := situation{plantdbtest.Plant(t)}
	var tickets []int64
	for _, customer := range []int64{0, s.Plant.CustomerID} {
		p, q := assets.Person{Name: fmt.Sprintf("S. Ilveth %d", customer), CustomerID: customer}, assets.Qualification{Name: fmt.Sprintf("hot vulcanising %d", customer), OrderKinds: []string{"re-splice"}}
		k := assets.PersonQualification{FromDay: "2022-02-13"}
		act := s.Act(plantdbtest.Noon)
		act.Company = true
		err := s.DB.Change(t.Context(), act, func(c *plantdb.Change) error {
			if err := errors.Join(registry.AddPerson(c, &p), crew.SaveQualification(c, &q)); err != nil {
				return err
			}
			k.PersonID, k.QualificationID = p.ID, q.ID
			return crew.SaveTicket(c, &k)
		})
		if err != nil {
			t.Fatal(err)
		}
		tickets = append(tickets, k.ID)
	}
	for _, id := range tickets {
		a := add(t, s.Site, s.of(assets.AttachedToTicket, id), trace(100))
		if list, err := attached.Of(t.Context(), s.DB, s.Scope, assets.AttachedToTicket, id); err != nil || len(list) != 1 || list[0].ID != a.ID {
			t.Errorf("kept with ticket %d: %+v, %v", id, list, err)
		}
	}
	other := plantdbtest.PlantIn(t, s.DB, "Tarn Mill")
	theirs := assets.Attachment{PlantID: other.Plant.ID, OfKind: assets.AttachedToTicket, OfID: tickets[1], Name: "trace.csv"}
	if other.Plant.CustomerID == s.Plant.CustomerID {
		t.Fatal("both plants are one customer's")
	}
	err := s.DB.Change(t.Context(), other.Act(plantdbtest.Noon), func(c *plantdb.Change) error { _, err := attached.Add(c, &theirs, trace(90)); return err })
	if !errors.Is(err, assets.ErrNotFound) {
		t.Errorf("a ticket of another customer's person takes a file: %v", err)
	}
}
