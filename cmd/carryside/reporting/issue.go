package reporting

import (
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/issued"
	"carryside/assets/plantdb/registry"
	"carryside/reports"
)

// Issuing is a report that was written and is about to be given out.
type Issuing struct {
	Report   *reports.Report
	Proof    reports.Proof
	File     reports.FileProved
	Form     string // xlsx, csv, json, html
	PersonID int64  // who asked for it; 0: no person, and the report's By says who
	Origin   plantdb.Origin
	Now      time.Time
}

// Issue keeps the report's bytes, journals their digest and returns the proof that goes with the file.
func Issue(ctx context.Context, db *plantdb.DB, i Issuing, content io.Reader) (reports.ProofFile, error) {
	proof := i.Report.Prove(i.Proof, i.File, i.Form)
	customer, err := ownerOf(ctx, db, slices.Concat(i.Report.Chains, proof.Basis.Since))
	if err != nil {
		return proof, err
	}
	kept, err := i.kept(proof, customer)
	if err != nil {
		return proof, err
	}
	err = db.Change(ctx, i.act(&kept), func(c *plantdb.Change) error { return issued.Keep(c, &kept, content) })
	if err != nil {
		return proof, fmt.Errorf("issue the report: %w", err)
	}
	return ProofOf(ctx, db, kept)
}

// ownerOf is the customer whose chain a report of some chains is journalled in: the only one's, else the company's.
func ownerOf(ctx context.Context, db *plantdb.DB, chains []reports.ChainRead) (int64, error) {
	owner := int64(0)
	for _, c := range chains {
		if c.Entry == 0 {
			continue
		}
		customer, err := db.CustomerOfChain(ctx, c.Chain)
		if err != nil {
			return 0, err
		}
		switch {
		case customer == 0 || customer == owner:
		case owner != 0:
			return 0, nil
		default:
			owner = customer
		}
	}
	return owner, nil
}

// kept is the row of the report. The name of a person stands with the person only.
func (i Issuing) kept(proof reports.ProofFile, customerID int64) (issued.Report, error) {
	r := i.Report
	asOf, knownAt := r.Asked()
	k := issued.Report{CustomerID: customerID, Slug: r.Slug, Title: r.Title, Form: i.Form, FileName: i.File.Name, AsOf: asOf, KnownAt: knownAt, Scope: r.Scope,
		BuiltAt: assets.InstantOf(r.AsOf.Built), MadeByID: i.PersonID, Program: r.Version(), RowCount: int64(i.Proof.Rows), RowDigest: i.Proof.Digest,
		SizeBytes: i.File.SizeBytes, FileDigest: i.File.SHA256}
	if len(r.Plants) == 1 && customerID != 0 {
		k.PlantID = r.Plants[0].ID
	}
	if i.PersonID != 0 {
		proof.Report.By = ""
	} else {
		k.MadeBy = proof.Report.By
	}
	var err error
	k.Proof, err = plantdb.Canonical(proof)
	return k, err
}

func (i Issuing) act(k *issued.Report) plantdb.Act {
	a := plantdb.Act{PersonID: i.PersonID, Origin: i.Origin, Action: "issue a report", Now: i.Now}
	if i.PersonID == 0 {
		a.Reason = "by " + k.MadeBy
	}
	switch {
	case k.PlantID != 0:
		a.Plants = []int64{k.PlantID}
	case k.CustomerID != 0:
		a.Customers = []int64{k.CustomerID}
	default:
		a.Company = true
	}
	return a
}

// ProofOf is the proof file of an issued report.
func ProofOf(ctx context.Context, db *plantdb.DB, k issued.Report) (reports.ProofFile, error) {
	proof, err := reports.ParseProof(k.Proof)
	if err != nil {
		return proof, fmt.Errorf("report %d: %w", k.ID, err)
	}
	if k.MadeByID != 0 {
		names, err := registry.Names(ctx, db, []int64{k.MadeByID})
		if err != nil {
			return proof, err
		}
		proof.Report.By = names[k.MadeByID]
	}
	at, err := db.Checkpoint(ctx, k.CustomerID, k.KnownFrom)
	proof.Issued = &reports.IssuedAt{Number: k.ID, Chain: at.ChainID, Entry: at.Position, Hash: at.Hash}
	return proof, err
}

// Again builds a report from the basis its proof names. A chain whose entry at the place of the basis is another is
// refused: the journal is not the one the report was built from.
func Again(ctx context.Context, db *plantdb.DB, scope assets.Scope, proof reports.ProofFile, program string) (*reports.Report, error) {
	for _, c := range slices.Concat(proof.Basis.Chains, proof.Basis.Since) {
		if c.Entry == 0 {
			continue
		}
		customer, err := db.CustomerOfChain(ctx, c.Chain)
		if err != nil {
			return nil, fmt.Errorf("this database has no chain %d, from which the report was built; give the installation it came from", c.Chain)
		}
		at, err := db.Checkpoint(ctx, customer, c.Entry)
		if err != nil {
			return nil, err
		}
		if at.Hash != c.Hash {
			return nil, fmt.Errorf("entry %d of chain %d is not the one the report was built from; give the installation it came from, or a backup of it", c.Entry, c.Chain)
		}
	}
	if proof.Report.PlantID != 0 {
		scope = assets.PlantScope(proof.Report.PlantID)
	}
	entry, err := reports.Find(proof.Report.Slug)
	if err != nil {
		return nil, err
	}
	in, day, err := proof.Inputs(NewSource(db, scope).At(proof.Basis.Chains).upTo(proof.Basis.Since), program)
	if err != nil {
		return nil, err
	}
	return entry.Build(ctx, in, day)
}

// SameProof tells whether a proof file says what the installation keeps of the report. The name of a person may have
// been corrected since.
func SameProof(given, kept reports.ProofFile, byPerson bool) bool {
	if byPerson {
		given.Report.By = kept.Report.By
	}
	a, errA := plantdb.Canonical(given)
	b, errB := plantdb.Canonical(kept)
	return errA == nil && errB == nil && a == b && slices.Equal(given.Basis.Chains, kept.Basis.Chains) && slices.Equal(given.Basis.Since, kept.Basis.Since)
}
