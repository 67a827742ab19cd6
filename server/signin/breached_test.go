package signin_test

import (
	"crypto/sha1"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"carryside/assets"
	"carryside/server/signin"

	"github.com/trustelem/zxcvbn/frequency"
)

// TestTheMostUsedPasswordsAreRefused holds every password that is long enough of the list that comes with the zxcvbn
// library, found in collections of breached ones and sorted by how often. ASVS 5.0, 6.2.4, asks for 3,000.
func TestTheMostUsedPasswordsAreRefused(t *testing.T) {
	asked := 0
	for _, p := range frequency.FrequencyLists["passwords"] {
		if len(p) < 8 {
			continue
		}
		asked++
		if !signin.Common(p) || !signin.Common(strings.ToUpper(p)) {
			t.Errorf("%q is taken", p)
		}
	}
	if asked < 10_000 {
		t.Errorf("only %d were asked for", asked)
	}
}

// listOf writes a list of breached passwords as they are handed round: sorted SHA-1, a colon, a count.
func listOf(t *testing.T, end string, passwords []string) string {
	t.Helper()
	lines := make([]string, len(passwords))
	for i, p := range passwords {
		lines[i] = fmt.Sprintf("%X:%d", sha1.Sum([]byte(p)), i*i+1)
	}
	slices.Sort(lines)
	name := filepath.Join(t.TempDir(), "breached.txt")
	if err := os.WriteFile(name, []byte(strings.Join(lines, end)+end), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// TestABreachedPasswordIsFoundInItsFile looks for each of the list, the first and the last included, and for as many
// that are not there, in lists of one line to thousands with both kinds of line ends.
func TestABreachedPasswordIsFoundInItsFile(t *testing.T) {
	draw := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{1, 2, 3, 64, 65, 5000} {
		for _, end := range []string{"\n", "\r\n"} {
			var in []string
			for i := range n {
				in = append(in, fmt.Sprintf("stolen %d %d", i, draw.Uint64()))
			}
			list, err := signin.OpenBreached(listOf(t, end, in))
			if err != nil {
				t.Fatal(err)
			}
			for _, p := range in {
				if found, err := list.Holds(p); err != nil || !found {
					t.Fatalf("%d lines: %q is not found: %v", n, p, err)
				}
				if found, err := list.Holds(p + " not"); err != nil || found {
					t.Fatalf("%d lines: %q is found: %v", n, p+" not", err)
				}
			}
		}
	}
}

func TestWhatIsNoListOfBreachedPasswordsIsRefused(t *testing.T) {
	sum := func(n int) string { return fmt.Sprintf("%040X", n) }
	for what, text := range map[string]string{"nothing": "", "passwords themselves": "password\nletmein\n", "not sorted": strings.Repeat(sum(9)+":1\n", 200) + strings.Repeat(sum(3)+":1\n", 200),
		"one line without an end": strings.Repeat("A", 4000)} {
		name := filepath.Join(t.TempDir(), "list")
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := signin.OpenBreached(name); err == nil {
			t.Errorf("%s is taken for a list", what)
		}
	}
	if _, err := signin.OpenBreached(filepath.Join(t.TempDir(), "none")); err == nil {
		t.Error("a file that is not there is taken for a list")
	}
}

// TestABreachedPasswordIsNotTaken at sign-up and at a change.
func TestABreachedPasswordIsNotTaken(t *testing.T) {
	list, err := signin.OpenBreached(listOf(t, "\n", []string{"zither mallow forty-two", "another one of them"}))
	if err != nil {
		t.Fatal(err)
	}
	h := newHall(t, signin.Options{Breached: list})
	code, err := signin.FirstCode(t.Context(), h.door, h.now, false)
	h.must(err)
	b := newBrowser()
	var bad assets.Invalid
	join := func(password string) error {
		return b.join(h.desk, code, signin.Joining{Name: "I. Vanterel", SignInName: "i.vanterel", Password: password, Again: password})
	}
	if err := join("zither mallow forty-two"); !errors.As(err, &bad) || !strings.Contains(bad["password"], "stolen") {
		t.Errorf("at sign-up: %v", err)
	}
	h.must(join(secret))
	if err := h.desk.ChangePassword(b.request("/account"), secret, "another one of them"); !errors.As(err, &bad) || !strings.Contains(bad["new_password"], "stolen") {
		t.Errorf("at a change: %v", err)
	}
	h.must(h.desk.ChangePassword(b.request("/account"), secret, "none of those in it"))
}
