package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/cmd/carryside/reporting"
	"carryside/reports"
	"carryside/schedule/people"
)

// proofEnding is what a proof file is called behind the name of its report's file.
const proofEnding = ".proof.json"

// newReportFile is a report's file that is written beside its place and put there when it is whole.
type newReportFile struct {
	name, temporary string
	file            *os.File
	proof           reports.Proof
	proved          reports.FileProved
}

func newFile(name string) (*newReportFile, error) {
	f, err := os.CreateTemp(filepath.Dir(name), ".carryside-*"+filepath.Ext(name))
	if err != nil {
		return nil, fmt.Errorf("%s cannot be written: %s; choose a folder that exists and may be written to", name, plainFault(err))
	}
	return &newReportFile{name: name, temporary: f.Name(), file: f}, nil
}

// write writes the report and digests its bytes on the way.
func (f *newReportFile) write(ctx context.Context, r *reports.Report, write writeReport) error {
	out := reports.NewFileDigest(f.file)
	var err error
	f.proof, err = write(r, ctx, out)
	f.proved = out.Of(filepath.Base(f.name))
	return errors.Join(err, f.file.Chmod(0o644), f.file.Close())
}

// keep puts the file in its place.
func (f *newReportFile) keep() error {
	if err := os.Rename(f.temporary, f.name); err != nil {
		return fmt.Errorf("%s cannot be written: %s", f.name, plainFault(err))
	}
	return nil
}

// discard removes what was not put in its place.
func (f *newReportFile) discard() {
	_ = f.file.Close()         // closed already when all went well
	_ = os.Remove(f.temporary) // and gone
}

func writeProof(name string, proof reports.ProofFile) error {
	var text strings.Builder
	if err := proof.Write(&text); err != nil {
		return err
	}
	if err := os.WriteFile(name, []byte(text.String()), 0o644); err != nil {
		return fmt.Errorf("%s cannot be written: %s", name, plainFault(err))
	}
	return nil
}

func readProof(name string) (reports.ProofFile, error) {
	f, err := os.Open(name)
	if err != nil {
		return reports.ProofFile{}, fmt.Errorf("%s cannot be read: %s", name, plainFault(err))
	}
	defer f.Close()
	proof, err := reports.ReadProof(f)
	if err != nil {
		return proof, fmt.Errorf("%s: %w", name, err)
	}
	return proof, nil
}

// again builds an issued report from its basis and says whether it is the same.
func (c *exportCommand) again(ctx context.Context, p *Program, write writeReport) error {
	if c.Report+c.AsOf+c.Known+c.From+c.To+c.Scope != "" {
		return &UsageError{"--basis: the proof says what to build; leave report, --as-of, --known-at, --from, --to and --scope out"}
	}
	proof, err := readProof(c.Basis)
	if err != nil {
		return err
	}
	entry, err := reports.Find(proof.Report.Slug)
	if err != nil {
		return err
	}
	if c.As != "" && entry.Deed() == people.Read {
		return &UsageError{"--basis: the proof says who had it made; leave --as out"}
	}
	if form := strings.TrimPrefix(strings.ToLower(filepath.Ext(c.Out)), "."); form != proof.Report.Form {
		return &UsageError{fmt.Sprintf("--out %s: the report was issued as .%s; give the file that ending", c.Out, proof.Report.Form)}
	}
	db, err := plantdb.Open(ctx, plantdb.Config{DSN: c.DB, AsItIs: true})
	if err != nil {
		return err
	}
	defer db.Close()
	f, err := newFile(c.Out)
	if err != nil {
		return err
	}
	defer f.discard()
	var report *reports.Report
	err = db.InSnapshot(ctx, func(tx *plantdb.DB) error {
		if err := c.permitted(ctx, tx, entry, reports.Inputs{Filter: proof.Report.Asked}, p.Now()); err != nil {
			return err
		}
		if report, err = reporting.Again(ctx, tx, assets.JobScope(), proof, programVersion()); err != nil {
			return err
		}
		return f.write(ctx, report, write)
	})
	if err != nil {
		return err
	}
	if err := f.keep(); err != nil {
		return err
	}
	return sayAgain(p, c.Out, proof, report.Prove(f.proof, f.proved, proof.Report.Form))
}

// sayAgain says whether a report that was built again is the one that was issued, and what differs.
func sayAgain(p *Program, name string, then, now reports.ProofFile) error {
	if then.Fits(now.File.SizeBytes, now.File.SHA256) {
		_, err := fmt.Fprintf(p.Stdout, "%s: built again, byte for byte the same: SHA-256 %s\n", name, now.File.SHA256)
		return err
	}
	differ := then.Differences(now)
	if then.Report.Digest == now.Report.Digest {
		differ = []string{"all rows are the same; the file around them is written otherwise"}
	}
	if then.Basis.ZoneData != now.Basis.ZoneData {
		differ = append(differ, fmt.Sprintf("the time zone data are others: then %s; now %s", then.Basis.ZoneData, now.Basis.ZoneData))
	}
	says := fmt.Sprintf("%s: built again, and it differs from the one issued: %s", name, strings.Join(differ, "; "))
	if then.Basis.Program == now.Basis.Program && then.Basis.ZoneData == now.Basis.ZoneData {
		return fmt.Errorf("%s; the version is the same, so the proof or the database was changed: run carryside verify", says)
	}
	_, err := fmt.Fprintf(p.Stdout, "%s. It was issued by Carryside %s and built again by Carryside %s.\n", says, then.Basis.Program, now.Basis.Program)
	return err
}
