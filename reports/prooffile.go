package reports

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"carryside/assets"
)

// ProofFile is the small file given beside a report's file: its digest, what it rests on, and where the journal
// says that it was issued. With it the file is proved without the database, and built again with it.
type ProofFile struct {
	Kind    string        `json:"kind"` // proofKind
	File    FileProved    `json:"file"`
	Report  ReportProved  `json:"report"`
	Basis   BasisProved   `json:"basis"`
	Columns []ColumnProof `json:"columns"`
	Issued  *IssuedAt     `json:"issued,omitempty"` // nil: not kept
}

const proofKind = "proof of a report of Carryside, version 1"

// FileProved names the file and its bytes.
type FileProved struct {
	Name      string `json:"name"`
	SizeBytes int64  `json:"size_bytes"`
	SHA256    string `json:"sha256"`
}

// ReportProved is what was asked for and what came of it.
type ReportProved struct {
	Slug    string    `json:"report"`
	Title   string    `json:"title"`
	Form    string    `json:"form"`
	AsOf    string    `json:"as_of"`          // as asked for; "": the moment of building
	KnownAt string    `json:"known_at"`       // the same
	From    string    `json:"from,omitempty"` // first day of the period, of a report that covers one
	To      string    `json:"to,omitempty"`   // its last day
	Scope   string    `json:"scope"`          // in words
	Asked   Filter    `json:"asked"`          // the scope by its names
	PlantID int64     `json:"plant_id"`       // the only plant whoever asked was shown; 0: not narrowed so
	Built   time.Time `json:"built_at"`
	Zone    string    `json:"zone"` // the company's
	By      string    `json:"generated_by"`
	Rows    int       `json:"rows"`
	Digest  string    `json:"digest"` // of the rows
}

// BasisProved is what it rests on.
type BasisProved struct {
	Program  string      `json:"program"`
	ZoneData string      `json:"zone_data"`
	Right    string      `json:"right,omitempty"` // Inputs.Right
	Chains   []ChainRead `json:"chains"`
	// Corrections is what it tells of those made since known-at, and Since how far the chains reached that they were read from.
	Corrections Corrections `json:"corrections,omitempty"`
	Since       []ChainRead `json:"since,omitempty"`
}

// ColumnProof is the digest of one column: SHA-256 over its canonical values in the order of the rows, a line feed
// behind each. Where a report built again differs, it says in which columns.
type ColumnProof struct {
	Key    string `json:"column"`
	Title  string `json:"title"`
	SHA256 string `json:"sha256"`
}

// IssuedAt is the entry of the journal that says the report was issued.
type IssuedAt struct {
	Number int64  `json:"number"` // of the report
	Chain  int64  `json:"chain"`
	Entry  int64  `json:"entry"`
	Hash   string `json:"hash"`
}

// Words is the place as verify takes it for a checkpoint.
func (i IssuedAt) Words() string {
	return fmt.Sprintf("chain %d entry %d %s", i.Chain, i.Entry, i.Hash)
}

// Prove returns the proof of a report that was just written.
func (r *Report) Prove(p Proof, file FileProved, form string) ProofFile {
	f := ProofFile{Kind: proofKind, File: file, Basis: BasisProved{Program: r.asked.Version, Right: r.asked.Right, ZoneData: r.basisOf("Time zone data"), Chains: r.Chains}, Columns: r.columns}
	if r.Learned != nil {
		f.Basis.Corrections, f.Basis.Since = r.asked.Corrections, r.Learned.Chains
	}
	f.Report = ReportProved{Slug: r.Slug, Title: r.Title, Form: form, AsOf: r.askedDay, KnownAt: r.asked.Known.text, From: string(r.asked.Period.From), To: string(r.asked.Period.To), Scope: r.Scope, Asked: r.asked.Filter,
		PlantID: r.asked.PlantID, Built: r.AsOf.Built, Zone: cmp.Or(r.asked.Zone, time.UTC).String(), By: r.madeBy(), Rows: p.Rows, Digest: p.Digest}
	return f
}

func (r *Report) basisOf(name string) string {
	for _, b := range r.Basis {
		if b.Name == name {
			return b.Value
		}
	}
	return ""
}

// Asked returns as-of and known-at as they were asked for; "" is the moment of building.
func (r *Report) Asked() (asOf, knownAt string) { return r.askedDay, r.asked.Known.text }

// Version is the program's that built it.
func (r *Report) Version() string { return r.asked.Version }

// Write writes the file, in lines for people.
func (f ProofFile) Write(out io.Writer) error {
	text, err := json.MarshalIndent(f, "", "  ")
	if err != nil {
		return fmt.Errorf("write the proof: %w", err)
	}
	_, err = out.Write(append(text, '\n'))
	return err
}

// mostProofBytes is the longest proof file that is read.
const mostProofBytes = 4 << 20

// ReadProof reads a proof file.
func ReadProof(in io.Reader) (ProofFile, error) {
	text, err := io.ReadAll(io.LimitReader(in, mostProofBytes))
	if err != nil {
		return ProofFile{}, err
	}
	return ParseProof(string(text))
}

// ParseProof reads a proof from its text.
func ParseProof(text string) (ProofFile, error) {
	var f ProofFile
	d := json.NewDecoder(strings.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil || f.Kind != proofKind {
		return ProofFile{}, fmt.Errorf("this is no proof file, or it was changed; give the .proof.json that was written beside the report")
	}
	return f, nil
}

// Fits tells whether a file is the one that was proved.
func (f ProofFile) Fits(size int64, sha string) bool {
	return f.File.SizeBytes == size && f.File.SHA256 == sha
}

// Inputs are those the report was built from; the source must read as of the chains' places in the basis.
func (f ProofFile) Inputs(source Source, program string) (Inputs, assets.Day, error) {
	bad := func(what string) (Inputs, assets.Day, error) {
		return Inputs{}, "", fmt.Errorf("the proof file was changed: its %s cannot be", what)
	}
	zone, err := time.LoadLocation(f.Report.Zone)
	if err != nil {
		return bad("zone")
	}
	known, err := NewKnownAt(f.Report.KnownAt, zone)
	if err != nil {
		return bad("known-at")
	}
	return Inputs{Source: source, Filter: f.Report.Asked, Period: Period{assets.Day(f.Report.From), assets.Day(f.Report.To)}, Built: f.Report.Built, Zone: zone, Known: known, Corrections: f.Basis.Corrections, By: f.Report.By, Right: f.Basis.Right, Version: program, PlantID: f.Report.PlantID}, assets.Day(f.Report.AsOf), nil
}

// Differences says in which columns a report that was built again differs from the one that was proved; none when their
// rows are the same.
func (f ProofFile) Differences(again ProofFile) []string {
	var out []string
	if f.Report.Rows != again.Report.Rows {
		out = append(out, fmt.Sprintf("%d rows then, %d now", f.Report.Rows, again.Report.Rows))
	}
	of := func(list []ColumnProof, key string) int {
		return slices.IndexFunc(list, func(c ColumnProof) bool { return c.Key == key })
	}
	for _, then := range f.Columns {
		switch at := of(again.Columns, then.Key); {
		case at < 0:
			out = append(out, "column "+then.Title+" is no longer there")
		case again.Columns[at].SHA256 != then.SHA256:
			out = append(out, "column "+then.Title+" says something else")
		}
	}
	for _, now := range again.Columns {
		if of(f.Columns, now.Key) < 0 {
			out = append(out, "column "+now.Title+" is new")
		}
	}
	return out
}

// FileDigest counts and digests what is written through it.
type FileDigest struct {
	out io.Writer
	sum interface {
		io.Writer
		Sum([]byte) []byte
	}
	size int64
}

// NewFileDigest writes on to out.
func NewFileDigest(out io.Writer) *FileDigest { return &FileDigest{out: out, sum: sha256.New()} }

// Write passes bytes on.
func (d *FileDigest) Write(b []byte) (int, error) {
	n, err := d.out.Write(b)
	d.sum.Write(b[:n])
	d.size += int64(n)
	return n, err
}

// Of names what was written.
func (d *FileDigest) Of(name string) FileProved {
	return FileProved{Name: name, SizeBytes: d.size, SHA256: hex.EncodeToString(d.sum.Sum(nil))}
}
