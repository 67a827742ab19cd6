package main

import (
	"crypto/tls"
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"os"
	"strconv"
	"strings"

	"carryside/server/signin"
)

// doorFlags are the flags of serve that say how people reach it and prove who they are.
type doorFlags struct {
	Listen       string   `default:"127.0.0.1:8080" placeholder:"ADDR" help:"Address to listen on. Beyond this machine it needs a certificate, or a proxy that has one."`
	PublicURL    string   `name:"public-url" placeholder:"URL" help:"Address people open, e.g. https://belts.example. Passkeys and single sign-on need it."`
	TLSCert      string   `name:"tls-cert" placeholder:"FILE" help:"Certificate to serve https with (PEM, the server's own first)."`
	TLSKey       string   `name:"tls-key" placeholder:"FILE" help:"Key of the certificate (PEM)."`
	TrustedProxy []string `name:"trusted-proxy" placeholder:"CIDR" help:"Addresses of the proxy in front, e.g. 10.0.0.4/32: where a request comes from is read from its X-Forwarded-For."`
	InsecureHTTP bool     `name:"insecure-http" help:"Serve plain HTTP beyond this machine all the same. Passwords and pages can then be read on the way."`

	SecondFactor      string `name:"second-factor" enum:"auto,choice,keepers,everybody" default:"auto" help:"Of whom more than a password is asked: choice (whoever set it up), keepers (administrators, leads, auditors) or everybody. auto: everybody where others than this machine can come, else choice."`
	BreachedPasswords string `name:"breached-passwords" placeholder:"FILE" help:"Sorted list of the SHA-1 of breached passwords, one a line: none of them is taken. Without it, the most used ones that the program knows."`

	SSOIssuer     string `name:"sso-issuer" placeholder:"URL" help:"Issuer of the company's single sign-on (OpenID Connect)."`
	SSOClientID   string `name:"sso-client-id" placeholder:"ID" help:"What this program is called there."`
	SSOSecretFile string `name:"sso-secret-file" placeholder:"FILE" help:"File with the secret agreed there; or the secret itself in the environment as CARRYSIDE_SSO_SECRET."`
	SSOName       string `name:"sso-name" placeholder:"NAME" help:"What people call it, for the button \"Sign in with NAME\". Without it, the issuer's host."`
}

// door is what the flags come to.
type door struct {
	signin.Options
	loopbackOnly bool
	proxyOnly    bool
	cert, key    string // "": plain HTTP
}

// door reads the flags and refuses what would let passwords travel in the clear unasked.
func (f *doorFlags) door() (*door, error) {
	d := &door{cert: f.TLSCert, key: f.TLSKey}
	if (f.TLSCert == "") != (f.TLSKey == "") {
		return nil, &UsageError{"give --tls-cert and --tls-key together: a certificate is of no use without its key"}
	}
	if f.TLSCert != "" {
		if _, err := tls.LoadX509KeyPair(f.TLSCert, f.TLSKey); err != nil {
			return nil, fmt.Errorf("--tls-cert %s and --tls-key %s cannot be used: %w", f.TLSCert, f.TLSKey, err)
		}
	}
	near, err := listensNear(f.Listen)
	if err != nil {
		return nil, err
	}
	if err := f.proxies(d); err != nil {
		return nil, err
	}
	if err := f.public(d); err != nil {
		return nil, err
	}
	if err := f.provider(d); err != nil {
		return nil, err
	}
	if err := f.settle(d, near); err != nil {
		return nil, err
	}
	return d, f.proofs(d, near)
}

// proofs settles of whom more than a password is asked, and which passwords are not taken.
func (f *doorFlags) proofs(d *door, near bool) (err error) {
	d.Second = map[string]signin.Need{"keepers": signin.NeedOfKeepers, "everybody": signin.NeedOfAll}[f.SecondFactor]
	alone := near && len(d.Proxies) == 0 && (d.Public == nil || nearHost(d.Public.Hostname()))
	if f.SecondFactor == "auto" && !alone {
		d.Second = signin.NeedOfAll
	}
	if f.BreachedPasswords != "" {
		d.Breached, err = signin.OpenBreached(f.BreachedPasswords)
	}
	return err
}

// settle decides who is answered, and refuses plain HTTP beyond this machine.
func (f *doorFlags) settle(d *door, near bool) error {
	encrypted := d.cert != ""
	publicly := d.Public != nil && d.Public.Scheme == "https"
	named := d.Public != nil && !nearHost(d.Public.Hostname())
	d.Secure = encrypted || publicly
	d.proxyOnly = publicly && !encrypted
	d.loopbackOnly = near && !encrypted && !named && len(d.Proxies) == 0
	if d.proxyOnly && len(d.Proxies) == 0 {
		return fmt.Errorf("--public-url %s is https, but this program has no certificate: give --tls-cert and --tls-key, or name the proxy that has one with --trusted-proxy", f.PublicURL)
	}
	if d.Secure || near && !named {
		return nil
	}
	if !f.InsecureHTTP {
		return fmt.Errorf("--listen %s would serve passwords in the clear beyond this machine: give --tls-cert and --tls-key, or a proxy with --public-url https://... and --trusted-proxy; --insecure-http does it all the same", f.Listen)
	}
	d.Bare = true
	return nil
}

// listensNear tells whether an address to listen on is this machine's own.
func listensNear(address string) (bool, error) {
	host, port, err := net.SplitHostPort(address)
	if n, bad := strconv.Atoi(port); err != nil || bad != nil || n < 0 || n > 65535 {
		return false, &UsageError{fmt.Sprintf("--listen %s: write an address and a port from 0 to 65535, such as 127.0.0.1:8080", address)}
	}
	return nearHost(host), nil
}

func nearHost(host string) bool {
	if host == "localhost" {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.IsLoopback()
}

// loopback refuses an address that another machine could reach: the demonstration signs anybody in.
func loopback(address string) error {
	near, err := listensNear(address)
	if err == nil && !near {
		err = fmt.Errorf("--listen %s is refused: the demonstration signs anybody in, so only this machine may be served; use 127.0.0.1 or localhost", address)
	}
	return err
}

func (f *doorFlags) proxies(d *door) error {
	for _, text := range f.TrustedProxy {
		p, err := netip.ParsePrefix(text)
		if a, bad := netip.ParseAddr(text); err != nil && bad == nil {
			p, err = a.Prefix(a.BitLen())
		}
		if err != nil {
			return &UsageError{fmt.Sprintf("--trusted-proxy %s: write an address or a range of them, such as 10.0.0.4/32", text)}
		}
		if p.Bits() == 0 {
			return &UsageError{fmt.Sprintf("--trusted-proxy %s would believe anybody; name the proxy's own address", text)}
		}
		d.Proxies = append(d.Proxies, p.Masked())
	}
	return nil
}

func (f *doorFlags) public(d *door) error {
	if f.PublicURL == "" {
		return nil
	}
	u, err := url.Parse(strings.TrimSuffix(f.PublicURL, "/"))
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || u.Path != "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil {
		return &UsageError{fmt.Sprintf("--public-url %s: write scheme and host, such as https://belts.example", f.PublicURL)}
	}
	u.Host = strings.ToLower(u.Host)
	d.Public = u
	return nil
}

// provider reads the flags of single sign-on. Its secret comes from a file or the environment, never from the command
// line, which every user of the machine can read.
func (f *doorFlags) provider(d *door) error {
	if f.SSOIssuer == "" && f.SSOClientID == "" && f.SSOSecretFile == "" {
		return nil
	}
	issuer, err := url.Parse(f.SSOIssuer)
	if err != nil || issuer.Hostname() == "" || issuer.Scheme != "https" && !(issuer.Scheme == "http" && nearHost(issuer.Hostname())) {
		return &UsageError{"--sso-issuer: write the issuer's address, beginning with https://"}
	}
	if f.SSOClientID == "" || d.Public == nil {
		return &UsageError{"single sign-on needs --sso-issuer, --sso-client-id and --public-url: the provider leads back to that address"}
	}
	secret := os.Getenv("CARRYSIDE_SSO_SECRET")
	if f.SSOSecretFile != "" {
		text, err := os.ReadFile(f.SSOSecretFile)
		if err != nil {
			return fmt.Errorf("--sso-secret-file cannot be read: %w", err)
		}
		secret = strings.TrimSpace(string(text))
	}
	if secret == "" {
		return &UsageError{"single sign-on needs its secret: in a file named by --sso-secret-file, or in the environment as CARRYSIDE_SSO_SECRET"}
	}
	name := f.SSOName
	if name == "" {
		name = issuer.Hostname()
	}
	d.Provider = &signin.Provider{Issuer: f.SSOIssuer, ClientID: f.SSOClientID, Secret: secret, Name: name}
	return nil
}

// openedBy is the address to open, as printed at the start.
func (d *door) openedBy(listening net.Addr) string {
	if d.Public != nil {
		return d.Public.String()
	}
	host, port, err := net.SplitHostPort(listening.String())
	if ip, bad := netip.ParseAddr(host); err == nil && bad == nil && ip.IsUnspecified() {
		host = "localhost"
	}
	scheme := "http://"
	if d.cert != "" {
		scheme = "https://"
	}
	return scheme + net.JoinHostPort(host, port)
}
