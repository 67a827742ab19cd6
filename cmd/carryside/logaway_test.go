package main

import (
	"bufio"
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// collector listens as a collector of logs does, with a certificate of its own, and hands over messages cut by their
// lengths (RFC 5425, section 4.3).
func collector(t *testing.T, cert, key string) (address string, messages chan string) {
	t.Helper()
	pair, err := tls.LoadX509KeyPair(cert, key)
	must(t, err)
	l, err := tls.Listen("tcp", "127.0.0.1:0", &tls.Config{Certificates: []tls.Certificate{pair}})
	must(t, err)
	t.Cleanup(func() { l.Close() })
	messages = make(chan string, 100)
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer conn.Close()
				r := bufio.NewReader(conn)
				for {
					length, err := r.ReadString(' ')
					if err != nil {
						return
					}
					n, err := strconv.Atoi(strings.TrimSpace(length))
					if err != nil {
						messages <- "no length: " + length
						return
					}
					text := make([]byte, n)
					if _, err := io.ReadFull(r, text); err != nil {
						return
					}
					messages <- string(text)
				}
			}()
		}
	}()
	return l.Addr().String(), messages
}

// syslogLine is the form of a message (RFC 5424, section 6): priority, version, time, host, program, process, nothing of
// its own, and the line.
var syslogLine = regexp.MustCompile(`^<85>1 \d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z \S+ carryside \d+ - - (.+)$`)

func next(t *testing.T, messages chan string) string {
	t.Helper()
	select {
	case m := <-messages:
		found := syslogLine.FindStringSubmatch(m)
		if found == nil {
			t.Fatalf("no message of syslog: %q", m)
		}
		return found[1]
	case <-time.After(15 * time.Second):
		t.Fatal("nothing arrives")
	}
	return ""
}

// TestTheLogIsSentAwayByTLS: line by line, in order, and what waits when the program stops arrives too.
func TestTheLogIsSentAwayByTLS(t *testing.T) {
	cert, key := certificate(t)
	address, messages := collector(t, cert, key)
	away, err := newLogAway(address, cert, time.Now)
	must(t, err)
	ctx, stop := context.WithCancel(t.Context())
	go away.run(ctx, io.Discard)
	log := newLog(away, "text")
	for i := range 20 {
		log.Info("request", "conveyor", i, "said", "two\nlines")
	}
	for i := range 20 {
		if got := next(t, messages); !strings.Contains(got, fmt.Sprintf(`conveyor=%d said="two\nlines"`, i)) {
			t.Fatalf("message %d is %q", i, got)
		}
	}
	stop()
	<-away.ended

	later, err := newLogAway(address, cert, time.Now)
	must(t, err)
	newLog(later, "json").Warn("stopping", "conveyor", 99)
	over, cancel := context.WithCancel(t.Context())
	cancel()
	later.run(over, io.Discard)
	if got := next(t, messages); !strings.Contains(got, `"conveyor":99`) {
		t.Errorf("the last line is %q", got)
	}
}

// TestTheLogIsNotSentToAnybodyElse: a collector with a certificate nobody vouches for, or who speaks no TLS, gets
// nothing, and the program goes on.
func TestTheLogIsNotSentToAnybodyElse(t *testing.T) {
	cert, key := certificate(t)
	address, messages := collector(t, cert, key)
	plain, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	defer plain.Close()
	got := make(chan string, 1)
	go func() {
		conn, err := plain.Accept()
		if err != nil {
			return
		}
		text := make([]byte, 512)
		n, _ := conn.Read(text) // the greeting of TLS, or a line
		conn.Close()
		got <- string(text[:n])
	}()
	for _, to := range []string{address, plain.Addr().String()} {
		away, err := newLogAway(to, "", time.Now) // what the machine trusts: not this certificate
		must(t, err)
		var aside lines
		ctx, stop := context.WithCancel(t.Context())
		go away.run(ctx, &aside)
		newLog(away, "text").Error("secret of the house", "conveyor", 12)
		for range 100 {
			if strings.Contains(aside.String(), "does not answer") {
				break
			}
			time.Sleep(50 * time.Millisecond)
		}
		stop()
		<-away.ended
		if !strings.Contains(aside.String(), "does not answer") {
			t.Errorf("%s: nobody is told that it does not arrive: %q", to, aside.String())
		}
	}
	select {
	case m := <-messages:
		t.Errorf("it was sent to whom nobody vouches for: %q", m)
	case text := <-got:
		if strings.Contains(text, "secret of the house") {
			t.Errorf("it was sent in the clear: %q", text)
		}
	}
}

func TestACollectorIsNamed(t *testing.T) {
	empty := t.TempDir() + "/ca.pem"
	must(t, os.WriteFile(empty, []byte("none"), 0o600))
	for _, c := range []struct{ to, ca, want, wrong string }{
		{"logs.example", "", "logs.example:6514", ""}, {"logs.example:7000", "", "logs.example:7000", ""},
		{"https://logs.example", "", "", "collector's name"}, {":6514", "", "", "collector's name"}, {"logs.example", "nowhere.pem", "", "cannot be read"}, {"logs.example", empty, "", "no certificate"},
	} {
		a, err := newLogAway(c.to, c.ca, time.Now)
		if c.wrong != "" {
			if err == nil || !strings.Contains(err.Error(), c.wrong) {
				t.Errorf("%s: %v, want %q", c.to, err, c.wrong)
			}
		} else if err != nil || a.address != c.want {
			t.Errorf("%s: %+v, %v", c.to, a, err)
		}
	}
}
