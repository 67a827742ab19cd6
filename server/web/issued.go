package web

import (
	"bytes"
	"fmt"

	"carryside/assets"
	"carryside/reports"
)

// issuedRow is a report given out, as the catalogue lists it: the file again, and its proof.
type issuedRow struct {
	Title, Made, By, AsOf, KnownAt, Form, Digest string
	Rows, Scope                                  string
	FileTo, ProofTo                              string
}

// mostIssued is how many of the reports given out the catalogue lists.
const mostIssued = 20

// issuedRows lists what was given out last.
func (s *Site) issuedRows(r *Request) ([]issuedRow, error) {
	last, err := s.Reporting.IssuedReports(r.Context(), r.Scope, r.PlantID(), mostIssued)
	var rows []issuedRow
	for _, k := range last {
		if !r.mayHave(k.Slug) {
			continue
		}
		rows = append(rows, issuedRow{Title: k.Title, Made: r.F.Stamp(k.At), By: k.By, Form: k.Form, Digest: shortDigest(k.Digest), Rows: Int(k.Rows), Scope: k.Scope,
			AsOf: askedDay(r.F, k.AsOf), KnownAt: askedDay(r.F, k.KnownAt), FileTo: r.At("reports", "issued", k.ID), ProofTo: r.At("reports", "issued", k.ID, "proof")})
	}
	return rows, err
}

// askedDay says a day as it was asked for; none is the moment of building.
func askedDay(f Format, asked string) string {
	if asked == "" {
		return "when it was made"
	}
	return f.PlainDay(assets.Day(asked))
}

// shortDigest is the beginning of a digest, in groups: enough to tell files apart by eye.
func shortDigest(sha string) string {
	if len(sha) < 12 {
		return sha
	}
	return sha[:4] + nb + sha[4:8] + nb + sha[8:12]
}

// mayHave tells whether whoever asks may have a report of a name. One that this program makes no more is open to readers.
func (r *Request) mayHave(slug string) bool {
	e, err := reports.Find(slug)
	return err != nil || r.May(e.Deed())
}

// issued returns a report given out. One that whoever asks may not have is not there.
func (s *Site) issued(r *Request) (proof reports.ProofFile, content []byte, err error) {
	id, err := r.ID("issued")
	if err != nil {
		return proof, nil, err
	}
	proof, content, err = s.Reporting.IssuedFile(r.Context(), r.Scope, r.PlantID(), id)
	if err == nil && !r.mayHave(proof.Report.Slug) {
		err = fmt.Errorf("report %d: %w", id, assets.ErrNotFound)
	}
	return proof, content, err
}

// issuedFile sends a report again, byte for byte as it was given out.
func (s *Site) issuedFile(r *Request) error {
	proof, content, err := s.issued(r)
	if err != nil {
		return err
	}
	mime := "application/octet-stream"
	for _, form := range reportForms {
		if form.format == proof.Report.Form {
			mime = form.mime
		}
	}
	return r.Send(proof.File.Name, mime, content)
}

// issuedProof sends the proof file of a report given out.
func (s *Site) issuedProof(r *Request) error {
	proof, _, err := s.issued(r)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := proof.Write(&b); err != nil {
		return fmt.Errorf("proof of %s: %w", proof.File.Name, err)
	}
	return r.Send(proof.File.Name+".proof.json", "application/json", b.Bytes())
}
