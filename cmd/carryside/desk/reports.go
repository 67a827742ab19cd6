package desk

import (
	"bytes"
	"context"
	"fmt"
	"time"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/issued"
	"carryside/assets/plantdb/registry"
	"carryside/cmd/carryside/reporting"
	"carryside/reports"
	"carryside/server/web"
)

// ReadReport hands over what a report of a scope is built from, all of one moment, as known at an instant (zero: now).
func (d *Desk) ReadReport(ctx context.Context, scope assets.Scope, knownAt time.Time, fn func(reports.Source) error) error {
	return d.db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		source := reporting.NewSource(tx, scope)
		if !knownAt.IsZero() {
			source = source.KnownAt(knownAt)
		}
		return fn(source)
	})
}

// IssueReport keeps a report that was written and journals its digest.
func (d *Desk) IssueReport(ctx context.Context, a web.Act, r *reports.Report, proof reports.Proof, form string, file reports.FileProved, content []byte) error {
	i := reporting.Issuing{Report: r, Proof: proof, File: file, Form: form, PersonID: a.PersonID, Origin: plantdb.Screen, Now: a.Now}
	_, err := reporting.Issue(ctx, d.db, i, bytes.NewReader(content))
	return err
}

// IssuedReports lists the reports of a plant given out last.
func (d *Desk) IssuedReports(ctx context.Context, scope assets.Scope, plantID int64, limit int) ([]web.IssuedReport, error) {
	kept, err := issued.OfPlant(ctx, d.db, scope, plantID, limit)
	if err != nil {
		return nil, err
	}
	ids := make([]int64, len(kept))
	for i, k := range kept {
		ids[i] = k.MadeByID
	}
	names, err := registry.Names(ctx, d.db, ids)
	out := make([]web.IssuedReport, len(kept))
	for i, k := range kept {
		by := k.MadeBy
		if k.MadeByID != 0 {
			by = names[k.MadeByID]
		}
		out[i] = web.IssuedReport{ID: k.ID, Slug: k.Slug, Title: k.Title, Form: k.Form, File: k.FileName, AsOf: k.AsOf, KnownAt: k.KnownAt, Scope: k.Scope, At: k.BuiltAt, By: by, Rows: k.RowCount, Digest: k.FileDigest}
	}
	return out, err
}

// IssuedFile returns the bytes of a report of a plant as they were given out, and its proof.
func (d *Desk) IssuedFile(ctx context.Context, scope assets.Scope, plantID, id int64) (reports.ProofFile, []byte, error) {
	k, err := issued.Find(ctx, d.db, scope, id)
	if err == nil && k.PlantID != plantID {
		err = assets.ErrNotFound
	}
	if err != nil {
		return reports.ProofFile{}, nil, fmt.Errorf("report %d: %w", id, err)
	}
	proof, err := reporting.ProofOf(ctx, d.db, k)
	if err != nil {
		return proof, nil, err
	}
	var b bytes.Buffer
	err = issued.Bytes(ctx, d.db, k, &b)
	return proof, b.Bytes(), err
}
