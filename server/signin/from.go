package signin

import (
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// FromLoopback tells whether a request comes from this machine and names it: the address it came from and
// the host it asked for. The host is looked at because a page elsewhere can point a name of its own at
// 127.0.0.1.
func FromLoopback(r *http.Request) bool {
	from, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil || !loopback(from) {
		return false
	}
	host, _, err := net.SplitHostPort(r.Host)
	if err != nil {
		host = r.Host
	}
	return loopback(host)
}

func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	if len(host) > 2 && host[0] == '[' && host[len(host)-1] == ']' {
		host = host[1 : len(host)-1]
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// From returns the address a request comes from. What a proxy says of it is believed only of the proxies that were
// named: of the addresses they pass on, the last one that is no proxy itself.
func (o Options) From(r *http.Request) string {
	peer := addressOf(r.RemoteAddr)
	if !o.ThroughProxy(r) {
		return peer.String()
	}
	passed := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for i := len(passed) - 1; i >= 0; i-- {
		a := addressOf(strings.TrimSpace(passed[i]))
		if !a.IsValid() {
			break // what stands further left was passed on by nobody we know
		}
		if peer = a; !o.isProxy(a) {
			break
		}
	}
	return peer.String()
}

// ThroughProxy tells whether a request was passed on by a proxy that was named.
func (o Options) ThroughProxy(r *http.Request) bool { return o.isProxy(addressOf(r.RemoteAddr)) }

func (o Options) isProxy(a netip.Addr) bool {
	for _, p := range o.Proxies {
		if a.IsValid() && p.Contains(a) {
			return true
		}
	}
	return false
}

// addressOf reads an address with or without its port.
func addressOf(text string) netip.Addr {
	if ap, err := netip.ParseAddrPort(text); err == nil {
		return ap.Addr().Unmap().WithZone("")
	}
	a, err := netip.ParseAddr(strings.Trim(text, "[]"))
	if err != nil {
		return netip.Addr{}
	}
	return a.Unmap().WithZone("")
}

// Base is the address this program is opened by, without a slash at its end.
func (d *Desk) Base(r *http.Request) string {
	if d.Public != nil {
		return strings.TrimSuffix(d.Public.String(), "/")
	}
	if d.Secure {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}
