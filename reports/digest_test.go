package reports_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"testing"

	"carryside/reports"
)

// digestByHand takes the digest from the decoded JSON with the standard library alone: its encoder sorts
// keys and, without the escaping of HTML, writes these rows as RFC 8785 does.
func digestByHand(t *testing.T, keys []string, rows []map[string]any) string {
	t.Helper()
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(keys); err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if err := e.Encode(r); err != nil {
			t.Fatal(err)
		}
	}
	sum := sha256.Sum256(b.Bytes())
	return hex.EncodeToString(sum[:])
}

func TestEveryFormGivesOneDigest(t *testing.T) {
	ctx, r := context.Background(), smallReport("2025-06-30", "")
	var b bytes.Buffer
	want := must(r.WriteJSON(ctx, &b))
	for name, write := range map[string]func() (reports.Proof, error){
		"csv": func() (reports.Proof, error) { return r.WriteCSV(ctx, &b) }, "page": func() (reports.Proof, error) { return r.WritePage(ctx, &b) },
		"workbook": func() (reports.Proof, error) { return r.WriteXLSX(ctx, &b) },
	} {
		if got := must(write()); got != want {
			t.Errorf("%s: %+v, want %+v", name, got, want)
		}
	}
	if other := must(smallReport("2025-06-29", "").WriteJSON(ctx, &b)); other.Digest == want.Digest {
		t.Error("another day has the same digest")
	}
}

// The numbers are those of RFC 8785, appendix B, that are not denormal; the string is made of its 3.2.2.2.
func TestCanonicalForm(t *testing.T) {
	for v, want := range map[float64]string{
		0: "0", 1e21: "1e+21", 1e-7: "1e-7", 9.999999999999997e22: "9.999999999999997e+22", 1e23: "1e+23",
		295147905179352830000: "295147905179352830000", 0.000001: "0.000001", 333333333.3333332: "333333333.3333332", -0.0000033333333333333333: "-0.0000033333333333333333",
	} {
		if got := reports.CanonicalNumber(v); got != want {
			t.Errorf("%v is written %s, want %s", v, got, want)
		}
	}
	if got, want := reports.CanonicalString("\u20ac$\u000f\nA'\u0042\"\\\b\t\f\r<&>\u2028"), `"€$\u000f\nA'B\"\\\b\t\f\r<&>`+"\u2028\""; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}
