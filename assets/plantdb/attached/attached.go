package attached

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"slices"

	"carryside/assets"
	"carryside/assets/enclosure"
	"carryside/assets/plantdb"
)

const (
	// PieceBytes is the size of a piece; the last one is smaller.
	PieceBytes = 1 << 20
	// MostPerThing bounds how many files one thing has: beyond it nobody finds anything. Our own choice.
	MostPerThing = 200
)

// isCurrent picks the row of a thing that is so and known now.
const isCurrent = " known_to IS NULL AND valid_to IS NULL"

// tables are where the things stand that a file can be kept with.
var tables = map[assets.AttachedTo]string{assets.AttachedToConveyor: "conveyors", assets.AttachedToSplice: "splices",
	assets.AttachedToFinding: "findings", assets.AttachedToOrder: "orders", assets.AttachedToTicket: "person_qualifications"}

// Of lists the attachments of one thing, oldest first.
func Of(ctx context.Context, db *plantdb.DB, scope assets.Scope, kind assets.AttachedTo, id int64) ([]assets.Attachment, error) {
	return plantdb.Rows[assets.Attachment](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).
		Where("of_kind = ? AND of_id = ?", kind, id).Order("added_at, id"))
}

// Attachment returns one that was not withdrawn; assets.ErrNotFound outside the scope.
func Attachment(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (assets.Attachment, error) {
	rows, err := plantdb.Rows[assets.Attachment](db.SQL(ctx).Scopes(plantdb.AsOf{}.Rows, plantdb.InScope(scope, "plant_id")).Where("id = ?", id))
	if err == nil && len(rows) == 0 {
		err = fmt.Errorf("attachment %d: %w", id, assets.ErrNotFound)
	}
	if err != nil {
		return assets.Attachment{}, err
	}
	return rows[0], nil
}

// Content returns what is kept of an attachment, put together from its pieces and held against its hash.
func Content(ctx context.Context, db *plantdb.DB, a assets.Attachment) ([]byte, error) {
	out := make([]byte, 0, min(a.SizeBytes, enclosure.MaxBytes))
	for piece := int64(1); int64(len(out)) < a.SizeBytes; piece++ {
		var found [][]byte
		err := db.SQL(ctx).Raw("SELECT content FROM attachment_pieces WHERE attachment_id = ? AND piece = ?", a.ID, piece).Scan(&found).Error
		if err != nil {
			return nil, fmt.Errorf("piece %d of attachment %d: %w", piece, a.ID, err)
		}
		if len(found) != 1 || len(found[0]) == 0 {
			return nil, fmt.Errorf("attachment %d has no piece %d; run carryside verify", a.ID, piece)
		}
		out = append(out, found[0]...)
	}
	if sum(out) != a.SHA256 {
		return nil, fmt.Errorf("attachment %d is not what was kept: its hash differs; run carryside verify", a.ID)
	}
	return out, nil
}

func sum(content []byte) string { return fmt.Sprintf("%x", sha256.Sum256(content)) }

// Add keeps a file with a thing of a plant. a says plant, thing and name as sent; type, size, hashes, time and person
// are filled in. A file that the thing has already is not kept twice: a becomes the one that is there. assets.Invalid
// names what is wrong with it; assets.ErrNotFound when the plant has no such thing.
func Add(c *plantdb.Change, a *assets.Attachment, sent []byte) (again bool, err error) {
	kind, kept, err := enclosure.Fit(sent)
	if err != nil {
		return false, err
	}
	if err := belongs(c, *a); err != nil {
		return false, err
	}
	if a.Name, err = enclosure.Named(a.Name, kind); err != nil {
		return false, err
	}
	a.MediaType, a.SizeBytes = kind, int64(len(kept))
	a.SHA256, a.SentSHA256, a.AddedAt, a.AddedByID, a.ValidFrom = sum(kept), sum(sent), c.Now(), c.Act.PersonID, 0
	there, err := Of(c.Context(), c.DB, assets.PlantScope(a.PlantID), a.OfKind, a.OfID)
	if err != nil {
		return false, err
	}
	if i := slices.IndexFunc(there, func(o assets.Attachment) bool { return o.SHA256 == a.SHA256 }); i >= 0 {
		*a = there[i]
		return true, nil
	}
	if len(there) >= MostPerThing {
		return false, assets.Invalid{"file": fmt.Sprintf("%d files are kept here already, the most there may be; withdraw one that is of no use first", MostPerThing)}
	}
	ch, err := c.PlantChain(a.PlantID)
	if err != nil {
		return false, err
	}
	if err := plantdb.Create(c, ch, a); err != nil {
		return false, err
	}
	return false, pieces(c, ch, a.ID, kept)
}

// pieces writes the contents. The journal shows how many there are and protects each by its hash.
func pieces(c *plantdb.Change, ch *plantdb.Chain, id int64, content []byte) error {
	n := int64(0)
	for part := range slices.Chunk(content, PieceBytes) {
		n++
		if err := c.Tx().Exec("INSERT INTO attachment_pieces (attachment_id, piece, content) VALUES (?, ?, ?)", id, n, bytes.Clone(part)).Error; err != nil {
			return fmt.Errorf("write piece %d of attachment %d: %w", n, id, err)
		}
		c.Wrote(ch, "attachment_pieces", id, n)
	}
	c.Note(ch, plantdb.Written{Table: "attachment_pieces", ID: id, After: map[string]any{"pieces": n}})
	return nil
}

// belongs refuses a thing that is not the plant's.
func belongs(c *plantdb.Change, a assets.Attachment) error {
	table := tables[a.OfKind]
	if table == "" {
		return fmt.Errorf("attach to %q: %w", a.OfKind, assets.ErrNotFound)
	}
	ofPlant := "plant_id = ?"
	if a.OfKind == assets.AttachedToTicket { // of the service company's people, or of the plant's customer's
		ofPlant = "customer_id IN (0, (SELECT p.customer_id FROM plants p WHERE p.id = ? AND p.known_to IS NULL AND p.valid_to IS NULL))"
	}
	var n int64
	err := c.Tx().Raw("SELECT count(*) FROM "+table+" WHERE id = ? AND "+ofPlant+" AND"+isCurrent, a.OfID, a.PlantID).Scan(&n).Error
	if err == nil && n == 0 {
		err = fmt.Errorf("%s %d of plant %d: %w", a.OfKind, a.OfID, a.PlantID, assets.ErrNotFound)
	}
	return err
}

// Withdraw ends an attachment: it is shown no more. Its row and its pieces stay, so that the journal keeps fitting.
// assets.ErrConflict when somebody else withdrew it meanwhile.
func Withdraw(c *plantdb.Change, plantID, id int64) error {
	a, err := plantdb.ReadRow[assets.Attachment](c, id)
	if err == nil && a.PlantID != plantID {
		err = assets.ErrNotFound
	}
	if err != nil {
		return fmt.Errorf("attachment %d: %w", id, err)
	}
	ch, err := c.PlantChain(plantID)
	if err != nil {
		return err
	}
	return plantdb.End(c, ch, &a, c.Now())
}
