package main

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"carryside/assets/plantdb/plantdbtest"

	"github.com/alecthomas/kong"
)

// flagsOf reads the flags of serve as the program does.
func flagsOf(t *testing.T, args ...string) (*door, error) {
	t.Helper()
	var c commands
	parser, err := kong.New(&c, kong.Vars{"version": "", "kinds": ""}, kong.Exit(func(int) {}))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := parser.Parse(append([]string{"serve"}, args...)); err != nil {
		t.Fatal(err)
	}
	return c.Serve.door()
}

func TestPasswordsDoNotTravelInTheClearUnasked(t *testing.T) {
	cert, key := certificate(t)
	tests := []struct {
		name  string
		args  []string
		wrong string // what the refusal says; "" for none
		want  door
	}{
		{"this machine", nil, "", door{loopbackOnly: true}},
		{"this machine by a name", []string{"--listen", "localhost:8080", "--public-url", "http://localhost:8080"}, "", door{loopbackOnly: true}},
		{"every address", []string{"--listen", ":8080"}, "in the clear", door{}},
		{"an address of the network", []string{"--listen", "192.0.2.7:8080"}, "--insecure-http", door{}},
		{"a name of the network", []string{"--listen", "belts.example:8080"}, "in the clear", door{}},
		{"this machine, opened by a name of the network", []string{"--public-url", "http://belts.example"}, "in the clear", door{}},
		{"every address all the same", []string{"--listen", ":8080", "--insecure-http"}, "", door{Options: bare}},
		{"every address with a certificate", []string{"--listen", ":8443", "--tls-cert", cert, "--tls-key", key}, "", door{Options: secure}},
		{"a certificate without its key", []string{"--listen", ":8443", "--tls-cert", "c.pem"}, "together", door{}},
		{"https without anybody who speaks it", []string{"--public-url", "https://belts.example"}, "--trusted-proxy", door{}},
		{"a proxy on this machine", []string{"--public-url", "https://belts.example", "--trusted-proxy", "127.0.0.1"}, "", door{Options: secure, proxyOnly: true}},
		{"a proxy elsewhere", []string{"--listen", ":8080", "--public-url", "https://belts.example", "--trusted-proxy", "10.0.0.4/32"}, "", door{Options: secure, proxyOnly: true}},
		{"a proxy and plain HTTP", []string{"--listen", ":8080", "--trusted-proxy", "10.0.0.4/32"}, "in the clear", door{}},
		{"anybody as proxy", []string{"--trusted-proxy", "0.0.0.0/0"}, "would believe anybody", door{}},
		{"a proxy by name", []string{"--trusted-proxy", "proxy.example"}, "10.0.0.4/32", door{}},
		{"an address with a path", []string{"--public-url", "https://example.org/belts"}, "scheme and host", door{}},
		{"another scheme", []string{"--public-url", "ftp://belts.example"}, "scheme and host", door{}},
		{"no port", []string{"--listen", "127.0.0.1"}, "127.0.0.1:8080", door{}},
		{"single sign-on without an address to come back to", []string{"--sso-issuer", "https://id.example", "--sso-client-id", "belts"}, "--public-url", door{}},
		{"single sign-on in the clear", []string{"--public-url", "http://localhost:8080", "--sso-issuer", "http://id.example", "--sso-client-id", "belts"}, "https://", door{}},
		{"single sign-on without its secret", []string{"--public-url", "http://localhost:8080", "--sso-issuer", "https://id.example", "--sso-client-id", "belts"}, "CARRYSIDE_SSO_SECRET", door{}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := flagsOf(t, tt.args...)
			if tt.wrong != "" {
				if err == nil || !strings.Contains(err.Error(), tt.wrong) {
					t.Errorf("%v, want it refused with %q", err, tt.wrong)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if got.loopbackOnly != tt.want.loopbackOnly || got.proxyOnly != tt.want.proxyOnly || got.Secure != tt.want.Secure || got.Bare != tt.want.Bare {
				t.Errorf("comes to %+v, want %+v", got, tt.want)
			}
		})
	}
}

var (
	bare   = func() (o door) { o.Bare = true; return }().Options
	secure = func() (o door) { o.Secure = true; return }().Options
)

func TestTheSecretOfSingleSignOnComesFromAFileOrTheEnvironment(t *testing.T) {
	file := filepath.Join(t.TempDir(), "secret")
	must(t, os.WriteFile(file, []byte("from the file\n"), 0o600))
	args := []string{"--public-url", "http://localhost:8080", "--sso-issuer", "https://id.example", "--sso-client-id", "belts"}
	d, err := flagsOf(t, append(args, "--sso-secret-file", file)...)
	if err != nil || d.Provider.Secret != "from the file" || d.Provider.Name != "id.example" {
		t.Errorf("%+v %v", d, err)
	}
	t.Setenv("CARRYSIDE_SSO_SECRET", "from the environment")
	if d, err = flagsOf(t, append(args, "--sso-name", "Works")...); err != nil || d.Provider.Secret != "from the environment" || d.Provider.Name != "Works" {
		t.Errorf("%+v %v", d, err)
	}
	if code, _, said := called(t, "serve", "--sso-secret", "on the command line"); code != exitUsage || !strings.Contains(said, "--sso-secret") {
		t.Errorf("a secret on the command line: %d %s", code, said)
	}
}

// served is the program serving an installation, as from a shell.
type served struct {
	t      *testing.T
	out    *lines
	errs   *lines // the log
	stop   context.CancelFunc
	left   chan int
	base   string
	signUp string // address printed for the first administrator; "" when none was
	client *http.Client
}

var (
	printedOpen   = regexp.MustCompile(`Open (\S+)\n`)
	printedSignUp = regexp.MustCompile(`Sign up as administrator, once and within 24 hours: (\S+)\n`)
)

func serveAs(t *testing.T, args ...string) *served {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	s := &served{t: t, out: &lines{}, errs: &lines{}, stop: stop, left: make(chan int, 1)}
	errs := s.errs
	go func() {
		s.left <- run(ctx, append([]string{"serve"}, args...), &Program{Stdout: s.out, Stderr: errs, Now: time.Now})
	}()
	t.Cleanup(s.end)
	jar, err := cookiejar.New(nil)
	must(t, err)
	s.client = &http.Client{Jar: jar, Timeout: 20 * time.Second, Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}} // its own certificate
	for range 400 {
		if found := printedOpen.FindStringSubmatch(s.out.String()); found != nil {
			s.base = found[1]
			if _, err := s.client.Get(s.base + "/healthz"); err == nil {
				break
			}
		}
		time.Sleep(25 * time.Millisecond)
	}
	if s.base == "" {
		t.Fatalf("it does not serve: %s%s", s.out, errs)
	}
	if found := printedSignUp.FindStringSubmatch(s.out.String()); found != nil {
		s.signUp = found[1]
	}
	return s
}

// end stops the program and waits for it; a second call does nothing.
func (s *served) end() {
	s.stop()
	if s.left == nil {
		return
	}
	select {
	case code := <-s.left:
		if code != 0 {
			s.t.Errorf("left with %d", code)
		}
	case <-time.After(20 * time.Second):
		s.t.Error("it does not stop")
	}
	s.left = nil
}

func (s *served) post(path string, values url.Values) (status int, at string) {
	s.t.Helper()
	r, err := s.client.PostForm(s.base+path, values)
	must(s.t, err)
	defer r.Body.Close()
	return r.StatusCode, r.Request.URL.Path
}

func (s *served) get(path string) (status int, at string) {
	s.t.Helper()
	r, err := s.client.Get(s.base + path)
	must(s.t, err)
	defer r.Body.Close()
	return r.StatusCode, r.Request.URL.Path
}

const doorSecret = "heron gravel  Lantern 7"

// join takes the printed address up.
func (s *served) join() (status int, at string) {
	s.t.Helper()
	u, err := url.Parse(s.signUp)
	must(s.t, err)
	if status, _ := s.get(u.RequestURI()); status != http.StatusOK {
		return status, u.Path
	}
	return s.post("/join", url.Values{"code": {u.Query().Get("code")}, "name": {"I. Vanterel"}, "sign_in_name": {"i.vanterel"}, "password": {doorSecret}, "again": {doorSecret}})
}

func TestANewInstallationIsTakenUpByTheAddressItPrints(t *testing.T) {
	db := plantdbtest.Address(t)
	first := serveAs(t, "--db", db, "--listen", "127.0.0.1:0")
	if first.signUp == "" || !strings.HasPrefix(first.signUp, first.base+"/join?code=") {
		t.Fatalf("the first start prints %s", first.out)
	}
	if status, at := first.get("/plants"); status != http.StatusOK || at != "/signin" {
		t.Errorf("before, /plants leads to %s with %d", at, status)
	}
	if status, at := first.post("/signin", url.Values{"person": {"1"}}); status != http.StatusUnprocessableEntity || at != "/signin" {
		t.Errorf("an installation signs in with one click: %d %s", status, at)
	}
	if status, at := first.join(); status != http.StatusOK || at != "/plants" {
		t.Fatalf("signing up: %d at %s", status, at)
	}
	if status, at := first.get("/people"); status != http.StatusOK || at != "/people" {
		t.Errorf("the administrator's page: %d at %s", status, at)
	}
	beside := serveAs(t, "--db", db, "--listen", "127.0.0.1:0")
	if beside.signUp != "" {
		t.Errorf("with an administrator there, a start prints %s", beside.signUp)
	}
	here, err := url.Parse(first.base)
	must(t, err)
	there, err := url.Parse(beside.base)
	must(t, err)
	beside.client.Jar.SetCookies(there, first.client.Jar.Cookies(here))
	if status, at := beside.get("/plants"); status != http.StatusOK || at != "/plants" {
		t.Errorf("another server on the same database does not know the session: %d at %s", status, at)
	}
	first.end()
	beside.end()
	again := serveAs(t, "--db", db, "--listen", "127.0.0.1:0", "--sign-up")
	if again.signUp == "" {
		t.Error("asked for, a start prints no address")
	}
	there, err = url.Parse(again.base)
	must(t, err)
	again.client.Jar.SetCookies(there, first.client.Jar.Cookies(here))
	if _, at := again.get("/plants"); at != "/plants" {
		t.Errorf("after a restart the session leads to %s", at)
	}
}

func TestServedByHTTPSTheCookieIsTheHosts(t *testing.T) {
	cert, key := certificate(t)
	s := serveAs(t, "--db", plantdbtest.Address(t), "--listen", "127.0.0.1:0", "--tls-cert", cert, "--tls-key", key)
	if !strings.HasPrefix(s.base, "https://") {
		t.Fatalf("opened by %s", s.base)
	}
	u, err := url.Parse(s.signUp)
	must(t, err)
	s.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	r, err := s.client.PostForm(s.base+"/join", url.Values{"code": {u.Query().Get("code")}, "name": {"I. Vanterel"}, "sign_in_name": {"i.vanterel"}, "password": {doorSecret}, "again": {doorSecret}})
	must(t, err)
	defer r.Body.Close()
	i := 0
	for _, c := range r.Cookies() {
		if c.Name == "__Host-carryside_session" && c.Secure && c.HttpOnly && c.Path == "/" {
			i++
		}
	}
	if i != 1 || r.Header.Get("Strict-Transport-Security") == "" || r.StatusCode != http.StatusSeeOther {
		t.Errorf("status %d, cookies %v, headers %v", r.StatusCode, r.Cookies(), r.Header)
	}
	if r, err := s.client.Get(strings.Replace(s.base, "https:", "http:", 1) + "/signin"); err == nil {
		defer r.Body.Close()
		if r.StatusCode == http.StatusOK {
			t.Errorf("the same port answers plain HTTP with %d", r.StatusCode)
		}
	}
}

func TestPlainHTTPBeyondThisMachineSaysWhatIsMissing(t *testing.T) {
	s := serveAs(t, "--db", plantdbtest.Address(t), "--listen", "0.0.0.0:0", "--insecure-http")
	r, err := s.client.Get(s.base + "/signin")
	must(t, err)
	defer r.Body.Close()
	v := &visitor{house: &house{t: t}}
	d, _ := v.read(r, nil)
	if says := d.Find("[role=note]").Text(); !strings.Contains(says, "without encryption") || !strings.Contains(says, "Passkeys") {
		t.Errorf("the page says %q", says)
	}
}

// certificate makes a certificate for 127.0.0.1 and its key.
func certificate(t *testing.T) (certFile, keyFile string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	must(t, err)
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "belts.example"}, NotBefore: time.Now().Add(-time.Hour),
		NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	must(t, err)
	private, err := x509.MarshalPKCS8PrivateKey(key)
	must(t, err)
	dir := t.TempDir()
	certFile, keyFile = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	must(t, os.WriteFile(certFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	must(t, os.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), 0o600))
	return certFile, keyFile
}
