package signin_test

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"carryside/assets"
	"carryside/server/signin"
)

func TestAPasswordIsComparedAsItWasTyped(t *testing.T) {
	h := newHall(t, signin.Options{})
	_, admin := h.first()
	for _, wrong := range []string{strings.ToLower(secret), strings.Join(strings.Fields(secret), " "), secret + " ", secret[:len(secret)-1], ""} {
		var no *signin.WrongPair
		if err := newBrowser().signIn(h.desk, "i.vanterel", wrong); !errors.As(err, &no) && !errors.As(err, new(*signin.Wait)) {
			t.Errorf("%q signs in: %v", wrong, err)
		}
		h.now = h.now.Add(11 * time.Minute)
	}
	b := newBrowser()
	h.must(b.signIn(h.desk, "i.vanterel", secret))
	if h.known(h.desk, b) != admin {
		t.Error("the right one does not")
	}
}

func TestAnUnknownNameLooksLikeAWrongPassword(t *testing.T) {
	h := newHall(t, signin.Options{})
	h.first()
	ask := func(name string) (string, time.Duration) {
		began := time.Now()
		err := newBrowser().signIn(h.desk, name, "not the password")
		took := time.Since(began)
		if err == nil {
			t.Fatalf("%s signs in", name)
		}
		return err.Error(), took
	}
	var known, unknown time.Duration
	for range 3 {
		saidKnown, tookKnown := ask("i.vanterel")
		saidUnknown, tookUnknown := ask("nobody")
		if saidKnown != saidUnknown {
			t.Fatalf("answers differ: %q and %q", saidKnown, saidUnknown)
		}
		known, unknown = known+tookKnown, unknown+tookUnknown
	}
	if unknown < known/4 || known < unknown/4 { // without the comparison it would be a hundredth

		t.Errorf("three tries take %v for a name that is known and %v for one that is not", known, unknown)
	}
}

func TestGuessingIsSlowedDown(t *testing.T) {
	h := newHall(t, signin.Options{})
	h.first()
	var wait *signin.Wait
	var wrong *signin.WrongPair
	for try := 1; try <= 5; try++ {
		if err := newBrowser().signIn(h.desk, "i.vanterel", "guess"); !errors.As(err, &wrong) || wrong.Try != try || wrong.Of != 5 {
			t.Fatalf("try %d: %v", try, err)
		}
	}
	if err := newBrowser().signIn(h.desk, "i.vanterel", secret); !errors.As(err, &wait) {
		t.Errorf("the right password at once after five wrong ones: %v", err)
	}
	elsewhere := newBrowser()
	elsewhere.from = "198.51.100.9"
	if err := elsewhere.signIn(h.desk, "i.vanterel", secret); err != nil {
		t.Errorf("its owner is locked out by somebody else's guesses: %v", err)
	}
	h.now = h.now.Add(10*time.Minute + time.Second)
	if err := newBrowser().signIn(h.desk, "i.vanterel", secret); err != nil {
		t.Errorf("after ten minutes: %v", err)
	}
	for range 4 {
		h.must(newBrowser().signIn(h.desk, "i.vanterel", secret))
	}
	if err := newBrowser().signIn(h.desk, "i.vanterel", "guess"); !errors.As(err, &wrong) || wrong.Try != 1 {
		t.Errorf("right ones are counted as tries: %v", err)
	}
}

func TestGuessingManyNamesFromOneAddressIsSlowedDown(t *testing.T) {
	h := newHall(t, signin.Options{})
	h.first()
	var wait *signin.Wait
	refused := -1
	for i := range 31 {
		b := newBrowser()
		b.from = fmt.Sprintf("2001:db8:1:2::%x", i+1) // one site's network
		if err := b.signIn(h.desk, fmt.Sprintf("name%d", i), "guess"); errors.As(err, &wait) {
			refused = i
			break
		}
	}
	if refused != 30 {
		t.Errorf("refused from try %d on, want the one after 30", refused)
	}
}

func TestTriesAtTheSameMomentAreCounted(t *testing.T) {
	h := newHall(t, signin.Options{})
	h.first()
	var mu sync.Mutex
	counted := map[string]int{}
	var wg sync.WaitGroup
	for range 12 {
		wg.Go(func() {
			err := newBrowser().signIn(h.desk, "i.vanterel", "guess")
			kind := fmt.Sprintf("%T", err)
			mu.Lock()
			counted[kind]++
			mu.Unlock()
		})
	}
	wg.Wait()
	if counted["*signin.WrongPair"] > 5 || counted["*signin.Wait"] < 7 {
		t.Errorf("twelve at once: %v, want five compared and the rest refused", counted)
	}
}

func TestChangingThePasswordAsksTheOldOneAndEndsTheOthers(t *testing.T) {
	h := newHall(t, signin.Options{})
	here, admin := h.first()
	there := newBrowser()
	h.must(there.signIn(h.desk, "i.vanterel", secret))
	change := func(old, next string) error {
		return here.do("/account/password", func(_ http.ResponseWriter, r *http.Request) error { return h.desk.ChangePassword(r, old, next) })
	}
	var bad assets.Invalid
	if err := change("not it", "pebble otter  Quill"); !errors.As(err, &bad) || bad["password"] == "" {
		t.Errorf("with a wrong old one: %v", err)
	}
	if err := change(secret, "password1"); !errors.As(err, &bad) || bad["new_password"] == "" {
		t.Errorf("to a common one: %v", err)
	}
	h.must(change(secret, "pebble otter  Quill"))
	if h.known(h.desk, here) != admin || h.known(h.desk, there) != 0 {
		t.Error("here goes on, everywhere else ends")
	}
	if err := newBrowser().signIn(h.desk, "i.vanterel", secret); err == nil {
		t.Error("the old password still signs in")
	}
	h.must(newBrowser().signIn(h.desk, "i.vanterel", "pebble otter  Quill"))
}

// The kinds of passwords that lists of stolen ones hold most of, by common knowledge; none is copied from a list.
func TestCommonPasswordsAreRefused(t *testing.T) {
	common := []string{"password", "Password1", "P@ssw0rd!", "passw0rd2026", "12345678", "1234567890", "87654321", "qwertyuiop", "qwerty123", "1q2w3e4r5t",
		"asdfghjkl", "zxcvbnm123", "aaaaaaaa", "abcabcabc", "abcd1234", "iloveyou", "sunshine1", "dragon2024!", "football99", "letmein123", "welcome2026",
		"Welcome1!", "administrator", "adminadmin", "changeme1", "summer2026", "Winter2025!", "25.11.2026", "2026-11-25", "monkey123", "princess1", "master123",
		"carryside", "Carryside2026", "conveyor1", "conveyorbelt", "beltsplice!", "planner2026", "technician1", "11111111", "00000000", "123123123", "qwer1234",
		"trustno1", "michelle7", "!@#$%^&*", "abcdefgh", "lkjhgfdsa", "q1w2e3r4t5", "passwordpassword", "hallo123", "passwort1"}
	for _, p := range common {
		if !signin.Common(p) {
			t.Errorf("%q is taken", p)
		}
	}
	for _, p := range []string{"vanterel26", "Vanterel!", "vanterelvanterel"} {
		if !signin.Common(p, "I. Vanterel", "i.vanterel") {
			t.Errorf("%q is taken though it is the own name", p)
		}
	}
	fine := []string{"heron gravel  Lantern 7", "correct horse battery staple", "tr0ub4dor&3xample", "xkq7-pfm2-vtw9", "Übermut kommt vor dem Fall", "パスワードではない文", "conveyor belt gravel heron",
		"9f8c2a7be1", "zither-mallow-42", strings.Repeat("long and longer ", 5)[:79] + "!"}
	for _, p := range fine {
		if signin.Common(p) {
			t.Errorf("%q is refused", p)
		}
	}
}

// Whatever is typed is judged, and the same whenever it is asked.
func FuzzCommon(f *testing.F) {
	for _, seed := range []string{"", "password1", "\xff\xfe", "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa", "日本語日本語"} {
		f.Add(seed, "I. Vanterel")
	}
	f.Fuzz(func(t *testing.T, password, name string) {
		first := signin.Common(password, name)
		if first != signin.Common(password, name) || signin.Common(password) && !first {
			t.Errorf("%q is common with the name %q: %v", password, name, first)
		}
	})
}
