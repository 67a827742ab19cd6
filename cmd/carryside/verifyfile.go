package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/issued"
	"carryside/cmd/carryside/reporting"
	"carryside/reports"
)

// fileCheck proves one file of a report: by the proof file beside it, by the journal, or by both.
type fileCheck struct {
	name  string
	size  int64
	sha   string
	proof *reports.ProofFile // nil: there is none
	by    string             // its name
}

// newFileCheck reads the file and its proof: the one named, else the one beside it.
func newFileCheck(name, proofName string) (*fileCheck, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %s", name, plainFault(err))
	}
	defer f.Close()
	sum := sha256.New()
	c := &fileCheck{name: name}
	if c.size, err = io.Copy(sum, f); err != nil {
		return nil, fmt.Errorf("%s cannot be read: %s", name, plainFault(err))
	}
	c.sha, c.by = hex.EncodeToString(sum.Sum(nil)), proofName
	if c.by == "" {
		if _, err := os.Stat(name + proofEnding); errors.Is(err, os.ErrNotExist) {
			return c, nil
		}
		c.by = name + proofEnding
	}
	proof, err := readProof(c.by)
	if err != nil {
		return nil, err
	}
	if len(proof.File.SHA256) != hex.EncodedLen(sha256.Size) || proof.File.SizeBytes <= 0 {
		return nil, fmt.Errorf("%s names no file: its size and SHA-256 are missing; give the .proof.json as it was written beside the report", c.by)
	}
	c.proof = &proof
	return c, nil
}

// byProof compares the file with its proof.
func (c *fileCheck) byProof() error {
	if c.proof == nil || c.proof.Fits(c.size, c.sha) {
		return nil
	}
	return fmt.Errorf("%s is not the file its proof %s was made of: it has %d bytes with SHA-256 %s, the proof says %d bytes with %s", c.name, c.by, c.size, c.sha, c.proof.File.SizeBytes, c.proof.File.SHA256)
}

// byJournal finds the report that was issued with these bytes and proves its chain. With no such report and a proof that
// names one, it says from which byte on the file is another.
func (c *fileCheck) byJournal(ctx context.Context, db *plantdb.DB, kept []plantdb.Checkpoint) (string, error) {
	found, err := issued.OfFile(ctx, db, assets.JobScope(), c.sha)
	if err != nil {
		return "", err
	}
	if len(found) == 0 {
		return "", c.notIssued(ctx, db)
	}
	report, proof, err := c.which(ctx, db, found)
	if err != nil {
		return "", err
	}
	if c.proof != nil {
		kept = append(kept, plantdb.Checkpoint{ChainID: c.proof.Issued.Chain, Position: c.proof.Issued.Entry, Hash: c.proof.Issued.Hash})
	}
	verdict, err := db.Prove(ctx, plantdb.Asked{OneChain: true, CustomerID: report.CustomerID, Kept: kept})
	if err != nil {
		return "", err
	}
	if err := firstBreak(verdict); err != nil {
		return "", err
	}
	return fmt.Sprintf("report %d, %s, %s, issued at %s in %s", report.ID, report.Title, countRows(int(report.RowCount)),
		report.BuiltAt.Time().Format("2006-01-02 15:04:05 UTC"), proof.Issued.Words()), nil
}

// which chooses among reports of the same bytes the one the proof names, and holds the proof against what is kept.
func (c *fileCheck) which(ctx context.Context, db *plantdb.DB, found []issued.Report) (issued.Report, reports.ProofFile, error) {
	for _, r := range found {
		proof, err := reporting.ProofOf(ctx, db, r)
		if err != nil {
			return r, proof, err
		}
		if c.proof == nil || reporting.SameProof(*c.proof, proof, r.MadeByID != 0) {
			return r, proof, nil
		}
	}
	return issued.Report{}, reports.ProofFile{}, fmt.Errorf("the bytes of %s are those of report %d, but its proof %s does not say what was kept when it was issued: the proof was changed", c.name, found[0].ID, c.by)
}

// notIssued says what is known of a file that no issued report has the bytes of.
func (c *fileCheck) notIssued(ctx context.Context, db *plantdb.DB) error {
	err := fmt.Errorf("%s: this installation issued no report with its bytes, SHA-256 %s", c.name, c.sha)
	if c.proof == nil || c.proof.Issued == nil {
		return err
	}
	r, findErr := issued.Find(ctx, db, assets.JobScope(), c.proof.Issued.Number)
	if errors.Is(findErr, assets.ErrNotFound) {
		return err
	} else if findErr != nil {
		return findErr
	}
	at, same, compareErr := c.firstOther(ctx, db, r)
	if compareErr != nil {
		return compareErr
	}
	if same {
		return err
	}
	return fmt.Errorf("%w; it differs from report %d as kept from byte %d on", err, r.ID, at)
}

// firstOther compares the file with the bytes kept of a report.
func (c *fileCheck) firstOther(ctx context.Context, db *plantdb.DB, r issued.Report) (at int, same bool, err error) {
	given, err := os.ReadFile(c.name)
	if err != nil {
		return 0, false, err
	}
	var kept bytes.Buffer
	if err := issued.Bytes(ctx, db, r, &kept); err != nil {
		return 0, false, err
	}
	was := kept.Bytes()
	for at < len(given) && at < len(was) && given[at] == was[at] {
		at++
	}
	return at, at == len(given) && at == len(was), nil
}

// run proves the file and says by what.
func (c *fileCheck) run(ctx context.Context, p *Program, dsn string, kept []plantdb.Checkpoint) error {
	byProof := c.byProof()
	open := strings.Contains(dsn, "://")
	if _, err := os.Stat(dsn); err == nil {
		open = true
	}
	switch {
	case !open && c.proof == nil:
		return fmt.Errorf("there is nothing to prove %s by: no proof file %s and no database %s; give --proof or --db", c.name, c.name+proofEnding, dsn)
	case !open && byProof != nil:
		return byProof
	case !open:
		_, err := fmt.Fprintf(p.Stdout, "%s: is the file its proof file was made of: %d bytes with SHA-256 %s, which says it was issued as %s. Both could have been made anew together: the journal was not asked; give --db for that.\n", c.name, c.size, c.sha, issuedWords(c.proof))
		return err
	}
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: dsn, AsItIs: true})
	if err != nil {
		return err
	}
	defer db.Close()
	says, err := c.byJournal(ctx, db, kept)
	if err = errors.Join(byProof, err); err != nil {
		return err
	}
	by := "by the journal"
	if c.proof != nil {
		by = "by its proof file and by the journal"
	}
	_, err = fmt.Fprintf(p.Stdout, "%s: proved %s: %s\n", c.name, by, says)
	return err
}

func issuedWords(proof *reports.ProofFile) string {
	if proof.Issued == nil {
		return "no report that was kept"
	}
	return fmt.Sprintf("report %d in %s", proof.Issued.Number, proof.Issued.Words())
}
