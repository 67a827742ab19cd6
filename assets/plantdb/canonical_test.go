package plantdb

import (
	"encoding/hex"
	"math"
	"testing"
)

// TestNumbersOfRFC8785 holds the canonical numbers to the table in appendix B of RFC 8785.
func TestNumbersOfRFC8785(t *testing.T) {
	for bits, want := range map[uint64]string{
		0x0000000000000000: "0", 0x8000000000000000: "0",
		0x0000000000000001: "5e-324", 0x8000000000000001: "-5e-324",
		0x7fefffffffffffff: "1.7976931348623157e+308", 0xffefffffffffffff: "-1.7976931348623157e+308",
		0x4340000000000000: "9007199254740992", 0xc340000000000000: "-9007199254740992",
		0x4430000000000000: "295147905179352830000",
		0x44b52d02c7e14af5: "9.999999999999997e+22", 0x44b52d02c7e14af6: "1e+23", 0x44b52d02c7e14af7: "1.0000000000000001e+23",
		0x444b1ae4d6e2ef4e: "999999999999999700000", 0x444b1ae4d6e2ef4f: "999999999999999900000", 0x444b1ae4d6e2ef50: "1e+21",
		0x3eb0c6f7a0b5ed8c: "9.999999999999997e-7", 0x3eb0c6f7a0b5ed8d: "0.000001",
		0x41b3de4355555553: "333333333.3333332", 0x41b3de4355555554: "333333333.33333325", 0x41b3de4355555555: "333333333.3333333",
		0x41b3de4355555556: "333333333.3333334", 0x41b3de4355555557: "333333333.33333343",
		0xbecbf647612f3696: "-0.0000033333333333333333", 0x43143ff3c1cb0959: "1424953923781206.2",
	} {
		if got := string(appendNumber(nil, math.Float64frombits(bits))); got != want {
			t.Errorf("%016x is written %s, want %s", bits, got, want)
		}
	}
}

// TestTextOfRFC8785 holds the canonical strings to the example of section 3.2.2 of RFC 8785.
func TestTextOfRFC8785(t *testing.T) {
	for text, want := range map[string]string{
		"\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"/": `"` + "\u20ac" + `$\u000f\nA'B\"\\\\\"/"`,
		"":          `""`,
		"\b\f\r\t":  `"\b\f\r\t"`,
		"\u2028<>&": `"` + "\u2028" + `<>&"`,
		"\xff":      "\"\xff\"",
	} {
		if got := string(appendText(nil, text)); got != want {
			t.Errorf("%q is written %s, want %s", text, got, want)
		}
	}
}

// TestRootsOfCertificateTransparency computes the tree over the eight leaves that the reference implementation of
// RFC 6962 and RFC 9162 (Certificate Transparency) tests itself with; leaves and roots are from memory.
func TestRootsOfCertificateTransparency(t *testing.T) {
	leaves := []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	roots := []string{
		"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
	var grown tree
	for n, want := range roots {
		if got := hexOf(grown.root()); got != want {
			t.Errorf("root over %d leaves is %s, want %s", n, got, want)
		}
		if n < len(leaves) {
			data, err := hex.DecodeString(leaves[n])
			if err != nil {
				t.Fatal(err)
			}
			grown.add(leafOf(data))
		}
	}
}
