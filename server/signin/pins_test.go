package signin_test

import (
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"strings"
	"testing"
	"time"

	"carryside/assets"
	"carryside/server/signin"

	"github.com/alexedwards/argon2id"
)

// sealed is a PIN as a device sends it: by RSA-OAEP with SHA-256 (RFC 8017, section 7.1) to the key the server hands out.
func (h *hall) sealed(about, pin string) string {
	h.t.Helper()
	words, err := h.desk.SealTo(h.t.Context())
	h.must(err)
	der, err := base64.StdEncoding.DecodeString(words)
	h.must(err)
	key, err := x509.ParsePKIXPublicKey(der)
	h.must(err)
	out, err := rsa.EncryptOAEP(sha256.New(), rand.Reader, key.(*rsa.PublicKey), []byte(about+"\n"+pin), nil)
	h.must(err)
	return base64.StdEncoding.EncodeToString(out)
}

// givePIN sets a person's PIN past the screens, cheaply: the cost is not what is tested.
func (h *hall) givePIN(person int64, pin string) {
	h.t.Helper()
	hash, err := argon2id.CreateHash(pin, &argon2id.Params{Memory: 64, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 32})
	h.must(err)
	h.must(h.door.SetPIN(h.t.Context(), person, hash))
}

func (h *hall) checks(person int64, about, sealed string) signin.PINSays {
	h.t.Helper()
	says, err := h.desk.CheckPIN(h.t.Context(), person, about, sealed)
	h.must(err)
	return says
}

func TestASealedPINIsGoodForItsOwnSignatureOnly(t *testing.T) {
	h := newHall(t, signin.Options{})
	if says := h.checks(7, "sig-1", h.sealed("sig-1", "402917")); says.Right || !strings.Contains(says.Why, "no PIN is set") {
		t.Errorf("without a PIN: %+v", says)
	}
	h.givePIN(7, "402917")
	box := h.sealed("sig-1", "402917")
	if strings.Contains(box, "402917") {
		t.Error("what stays on the device shows the PIN")
	}
	if says := h.checks(7, "sig-1", box); !says.Right {
		t.Errorf("the right PIN: %+v", says)
	}
	if says := h.checks(7, "sig-2", box); says.Right {
		t.Error("taken from the device and sent under another signature, it counts")
	}
	for _, broken := range []string{"", "%%", base64.StdEncoding.EncodeToString([]byte("402917"))} {
		if says := h.checks(7, "sig-1", broken); says.Right || says.Why == "" {
			t.Errorf("%q: %+v", broken, says)
		}
	}
	h.desk = h.server(signin.Options{}) // a restart keeps the key
	if says := h.checks(7, "sig-1", box); !says.Right {
		t.Errorf("after a restart: %+v", says)
	}
	h.givePIN(7, "118405")
	if says := h.checks(7, "sig-3", h.sealed("sig-3", "402917")); says.Right {
		t.Error("the PIN before still counts")
	}
}

func TestPINsAreNotGuessed(t *testing.T) {
	h := newHall(t, signin.Options{})
	h.givePIN(7, "402917")
	for i := range 5 {
		if says := h.checks(7, "sig", h.sealed("sig", "111116")); says.Right || strings.Contains(says.Why, "too many") {
			t.Fatalf("try %d: %+v", i+1, says)
		}
	}
	if says := h.checks(7, "sig", h.sealed("sig", "402917")); says.Right || !strings.Contains(says.Why, "not compared") {
		t.Errorf("after five wrong ones: %+v", says)
	}
	h.now = h.now.Add(11 * time.Minute)
	if says := h.checks(7, "sig", h.sealed("sig", "402917")); !says.Right {
		t.Errorf("eleven minutes later: %+v", says)
	}
	var bad assets.Invalid
	for _, weak := range []string{"", "12345", "123456", "777777", "987654", "12345a", "1234567890123"} {
		if err := h.desk.SetPIN(newBrowser().request("/account"), "", weak); !errors.As(err, &bad) || bad["pin"] == "" {
			t.Errorf("%q: %v, want it refused", weak, err)
		}
	}
}
