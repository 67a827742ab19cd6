package reports_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"carryside/reports"
)

// written writes a report as JSON and returns its bytes with their proof.
func written(t *testing.T, r *reports.Report) ([]byte, reports.ProofFile) {
	t.Helper()
	var b bytes.Buffer
	d := reports.NewFileDigest(&b)
	p := must(r.WriteJSON(context.Background(), d))
	return b.Bytes(), r.Prove(p, d.Of("ages.json"), "json")
}

func TestProofFileSaysWhatTheFileIs(t *testing.T) {
	file, proof := written(t, smallReport("2025-06-30", "line=Ship intake"))
	sum := sha256.Sum256(file)
	if !proof.Fits(int64(len(file)), hex.EncodeToString(sum[:])) {
		t.Errorf("the proof %+v is not of the file", proof.File)
	}
	if len(proof.Basis.Chains) != 1 || proof.Report.AsOf != "2025-06-30" || proof.Report.Asked.Line != "Ship intake" || proof.Report.Rows != 3 {
		t.Errorf("basis %+v of %+v", proof.Basis, proof.Report)
	}
	var text strings.Builder
	if err := proof.Write(&text); err != nil {
		t.Fatal(err)
	}
	back, err := reports.ReadProof(strings.NewReader(text.String()))
	if err != nil || !cmp.Equal(proof, back) {
		t.Errorf("read back (%v): %s", err, cmp.Diff(proof, back))
	}
	for _, wrong := range []string{"", "{}", strings.Replace(text.String(), "version 1", "version 9", 1), strings.Replace(text.String(), "sha256", "sha1", 1)} {
		if _, err := reports.ParseProof(wrong); err == nil {
			t.Errorf("%.60q was taken for a proof file", wrong)
		}
	}
}

// The digest of a column is computed anew from the rows of the JSON form with the standard library's encoder.
func TestColumnDigestsAgainstTheRows(t *testing.T) {
	file, proof := written(t, smallReport("", ""))
	var doc struct {
		Rows []map[string]json.RawMessage
	}
	if err := json.Unmarshal(file, &doc); err != nil {
		t.Fatal(err)
	}
	for _, c := range proof.Columns {
		sum := sha256.New()
		for _, row := range doc.Rows {
			fmt.Fprintf(sum, "%s\n", row[c.Key])
		}
		if got := hex.EncodeToString(sum.Sum(nil)); got != c.SHA256 {
			t.Errorf("column %s: %s by hand, %s in the proof", c.Key, got, c.SHA256)
		}
	}
}

func TestDifferencesAreSaidByColumn(t *testing.T) {
	_, then := written(t, smallReport("", ""))
	_, now := written(t, smallReport("2025-06-30", ""))
	if d := then.Differences(then); d != nil {
		t.Errorf("a report differs from itself: %v", d)
	}
	d := strings.Join(then.Differences(now), "; ")
	for _, want := range []string{"5 rows then, 4 now", "column Age, days says something else"} {
		if !strings.Contains(d, want) {
			t.Errorf("%s does not say %q", d, want)
		}
	}
	now.Columns = append(now.Columns[1:], reports.ColumnProof{Key: "new", Title: "Belt"})
	d = strings.Join(then.Differences(now), "; ")
	for _, want := range []string{"column Customer is no longer there", "column Belt is new"} {
		if !strings.Contains(d, want) {
			t.Errorf("%s does not say %q", d, want)
		}
	}
}

// Zones that say the same have the same digest, whatever they are called by; a zone with another rule has another.
func TestZoneDataAreNamedByWhatTheySay(t *testing.T) {
	line := func(r *reports.Report) string {
		for _, b := range r.Basis {
			if b.Name == "Time zone data" {
				return b.Value
			}
		}
		return ""
	}
	entry := must(reports.Find("splice-age"))
	of := func(zone *time.Location) string {
		s := newSmallPlant()
		s.name.Zone = zone
		return line(must(entry.Build(context.Background(), reports.Inputs{Source: s, Built: built}, "")))
	}
	if a, b := of(berlin), of(mustZone("Europe/Berlin")); a != b || !strings.HasPrefix(a, "Europe/Berlin: ") {
		t.Errorf("%q and %q", a, b)
	}
	moved := time.FixedZone("Europe/Berlin", 3600)
	if a, b := of(berlin), of(moved); a == b {
		t.Errorf("a zone without summer time has the digest of one with: %q", a)
	}
}
