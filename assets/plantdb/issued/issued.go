// Package issued keeps reports as they were given out: what they rest on, their digest, and their very bytes in
// pieces. A file that comes back is found by its digest; its entry in the journal proves that it was issued.
//
//	err := issued.Keep(change, &report, file)
package issued

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"

	"carryside/assets"
	"carryside/assets/plantdb"

	"gorm.io/gorm"
)

// Report is a report as it was given out.
type Report struct {
	ID         int64 `gorm:"primaryKey;autoIncrement:false"`
	KnownFrom  int64 // position of the entry that issued it
	CustomerID int64 // whose chain journals it; 0: the company's
	PlantID    int64 // 0: of several plants
	Slug       string
	Title      string
	Form       string // xlsx, csv, json, html
	FileName   string
	AsOf       string // as asked for: a day, an instant, "" for the moment of building
	KnownAt    string // the same
	Scope      string // in words
	BuiltAt    assets.Instant
	MadeByID   int64  // the person; 0: MadeBy says who
	MadeBy     string // "operator at HOST"; "" where it was a person
	Program    string // its version
	RowCount   int64
	RowDigest  string // of the rows
	SizeBytes  int64
	FileDigest string // of the bytes
	Proof      string // the proof file as canonical JSON, without the name of a person
}

// TableName is "issued_reports".
func (Report) TableName() string { return "issued_reports" }

// pieceBytes is how long a piece is.
const pieceBytes = 1 << 20

// Keep writes a report and its bytes into the chain of its customer and journals its digest. The act must declare that chain.
// Bytes that are not those of FileDigest and SizeBytes are refused.
func Keep(c *plantdb.Change, r *Report, content io.Reader) error {
	ch, err := c.Chain(r.CustomerID)
	if err != nil {
		return err
	}
	if r.ID, err = c.NewIDs(ch, "issued_reports", 1); err != nil {
		return err
	}
	r.KnownFrom = ch.Position
	if err := c.Tx().Create(r).Error; err != nil {
		return fmt.Errorf("keep the report: %w", err)
	}
	c.Wrote(ch, "issued_reports", r.ID)
	c.Note(ch, plantdb.Written{Table: "issued_reports", ID: r.ID, After: map[string]any{"slug": r.Slug, "form": r.Form, "as_of": r.AsOf, "known_at": r.KnownAt,
		"scope": r.Scope, "row_count": r.RowCount, "row_digest": r.RowDigest, "size_bytes": r.SizeBytes, "file_digest": r.FileDigest}})
	return keepPieces(c, ch, r, content)
}

func keepPieces(c *plantdb.Change, ch *plantdb.Chain, r *Report, content io.Reader) error {
	sum, size := sha256.New(), int64(0)
	buffer := make([]byte, pieceBytes)
	for piece := int64(0); ; piece++ {
		n, err := io.ReadFull(content, buffer)
		if n > 0 {
			sum.Write(buffer[:n])
			size += int64(n)
			if err := c.Tx().Exec("INSERT INTO issued_pieces (report_id, piece, bytes) VALUES (?, ?, ?)", r.ID, piece, buffer[:n]).Error; err != nil {
				return fmt.Errorf("keep the report: %w", err)
			}
			c.Wrote(ch, "issued_pieces", r.ID, piece)
		}
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			break
		}
		if err != nil {
			return fmt.Errorf("keep the report: %w", err)
		}
	}
	if size != r.SizeBytes || hex.EncodeToString(sum.Sum(nil)) != r.FileDigest {
		return errors.New("keep the report: its bytes are not those of its digest")
	}
	return nil
}

// inScope keeps a query to reports that whoever asks may see: those of their plants, and those of several plants where
// every plant of the customer, or every one, is theirs.
func inScope(scope assets.Scope) func(*gorm.DB) *gorm.DB {
	return func(tx *gorm.DB) *gorm.DB {
		all, customers, _ := scope.Reaches()
		if all {
			return tx
		}
		where, args := plantdb.ScopeSQL(scope, "plant_id")
		if len(customers) == 0 {
			return tx.Where("plant_id <> 0 AND "+where, args...)
		}
		return tx.Where("(plant_id <> 0 AND "+where+" OR plant_id = 0 AND customer_id IN ?)", append(args, customers)...)
	}
}

// Find returns a report by its number.
func Find(ctx context.Context, db *plantdb.DB, scope assets.Scope, id int64) (Report, error) {
	return one(db.SQL(ctx).Scopes(inScope(scope)).Where("id = ?", id))
}

// OfFile returns the reports whose bytes have a digest, the first issued first; the same bytes may have been given out
// twice.
func OfFile(ctx context.Context, db *plantdb.DB, scope assets.Scope, digest string) ([]Report, error) {
	return plantdb.Rows[Report](db.SQL(ctx).Scopes(inScope(scope)).Where("file_digest = ?", digest).Order("id"))
}

// OfPlant lists the newest reports of a plant.
func OfPlant(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, limit int) ([]Report, error) {
	return plantdb.Rows[Report](db.SQL(ctx).Scopes(inScope(scope)).Where("plant_id = ?", plantID).Order("id DESC").Limit(limit))
}

// Bytes writes the bytes of a report that Find returned.
func Bytes(ctx context.Context, db *plantdb.DB, r Report, out io.Writer) error {
	for piece := int64(0); ; piece++ {
		var some []struct{ Bytes []byte }
		err := db.SQL(ctx).Raw("SELECT bytes FROM issued_pieces WHERE report_id = ? AND piece = ?", r.ID, piece).Scan(&some).Error
		if err != nil {
			return fmt.Errorf("read report %d: %w", r.ID, err)
		}
		if len(some) == 0 {
			return nil
		}
		if _, err := out.Write(some[0].Bytes); err != nil {
			return err
		}
	}
}

func one(tx *gorm.DB) (Report, error) {
	rows, err := plantdb.Rows[Report](tx.Limit(1))
	if err == nil && len(rows) == 0 {
		err = assets.ErrNotFound
	}
	if err != nil {
		return Report{}, err
	}
	return rows[0], nil
}
