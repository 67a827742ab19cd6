package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
)

// logAway sends each line of the log to another machine too, so that whoever breaks into this one cannot take back what
// it told: syslog messages (RFC 5424) over TLS (RFC 5425) with the collector's certificate checked. Lines wait in memory
// while the collector is away; when there are too many the newest are left out, and how many is said. The screens never
// wait for it.
type logAway struct {
	address string
	config  *tls.Config
	host    string
	now     func() time.Time
	lines   chan string
	lost    atomic.Int64
	ended   chan struct{}
}

const (
	linesWaiting = 10_000
	syslogPort   = "6514"           // RFC 5425, section 4.1
	facility     = 10               // security and authorization messages (RFC 5424, table 1)
	notice       = 5                // severity; which it is stands in the line itself
	sendWithin   = 10 * time.Second // one line
	tryAgain     = 2 * time.Second  // after the collector was away
	lastLines    = 3 * time.Second  // for what waits when the program stops
	timeOfSyslog = "2006-01-02T15:04:05.000000Z07:00"
)

// newLogAway returns a writer for an address such as collector.example or collector.example:6514. ca is a file with the
// certificates the collector's is checked against; "": those the machine trusts.
func newLogAway(address, ca string, now func() time.Time) (*logAway, error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		host, port, address = address, syslogPort, net.JoinHostPort(address, syslogPort)
	}
	if n, bad := strconv.Atoi(port); bad != nil || n <= 0 || n > 65535 || host == "" || strings.ContainsAny(host, "/@ ") {
		return nil, &UsageError{"--log-to: write the collector's name, with its port where it is not " + syslogPort + ", such as logs.example:" + syslogPort}
	}
	a := &logAway{address: address, config: &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12}, now: now, lines: make(chan string, linesWaiting), ended: make(chan struct{})}
	if a.host, err = os.Hostname(); err != nil || a.host == "" {
		a.host = "-"
	}
	if ca == "" {
		return a, nil
	}
	text, err := os.ReadFile(ca)
	if err != nil {
		return nil, fmt.Errorf("--log-ca cannot be read: %w", err)
	}
	a.config.RootCAs = x509.NewCertPool()
	if !a.config.RootCAs.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("--log-ca %s holds no certificate; give a PEM file", ca)
	}
	return a, nil
}

// Write takes one line of the log; it never waits and never fails.
func (a *logAway) Write(line []byte) (int, error) {
	a.take(strings.TrimRight(string(line), "\n"))
	return len(line), nil
}

func (a *logAway) take(line string) {
	select {
	case a.lines <- a.message(line):
	default:
		a.lost.Add(1)
	}
}

// message is a line as RFC 5424 has it, behind its length (RFC 5425, section 4.3.1).
func (a *logAway) message(line string) string {
	m := fmt.Sprintf("<%d>1 %s %s carryside %d - - %s", facility*8+notice, a.now().UTC().Format(timeOfSyslog), a.host, os.Getpid(), line)
	return strconv.Itoa(len(m)) + " " + m
}

// run sends what is written until the context ends, and then what still waits, for a moment.
func (a *logAway) run(ctx context.Context, aside io.Writer) {
	defer close(a.ended)
	var conn net.Conn
	away := false
	for {
		select {
		case <-ctx.Done():
			a.rest(conn, "")
			return
		case m := <-a.lines:
			for ctx.Err() == nil {
				var err error
				if conn, err = a.send(ctx, conn, m); err == nil {
					m = ""
					break
				}
				if !away {
					fmt.Fprintf(aside, "the log's collector %s does not answer (%v); lines wait for it\n", a.address, err)
				}
				away = true
				sleep(ctx, tryAgain)
			}
			if ctx.Err() != nil {
				a.rest(conn, m) // the program stops before this one was sent
				return
			}
			if away {
				away = false
				if n := a.lost.Swap(0); n > 0 {
					a.take(fmt.Sprintf("level=WARN msg=\"%d lines of the log were left out while the collector was away\"", n))
				}
			}
		}
	}
}

// send writes one message over the connection that is there, or a new one. nil comes back for one that broke.
func (a *logAway) send(ctx context.Context, conn net.Conn, m string) (net.Conn, error) {
	if conn == nil {
		dial := tls.Dialer{NetDialer: &net.Dialer{Timeout: sendWithin}, Config: a.config}
		var err error
		if conn, err = dial.DialContext(ctx, "tcp", a.address); err != nil {
			return nil, err
		}
	}
	err := conn.SetWriteDeadline(time.Now().Add(sendWithin))
	if err == nil {
		_, err = io.WriteString(conn, m)
	}
	if err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return conn, nil
}

// rest sends what waits when the program stops, a message already taken before it, for as long as it may take.
func (a *logAway) rest(conn net.Conn, first string) {
	ctx, cancel := context.WithTimeout(context.Background(), lastLines)
	defer cancel()
	if first != "" {
		var err error
		if conn, err = a.send(ctx, conn, first); err != nil {
			return
		}
	}
	for {
		select {
		case m := <-a.lines:
			var err error
			if conn, err = a.send(ctx, conn, m); err != nil {
				return
			}
		default:
			if conn != nil {
				_ = conn.Close() // everything was sent
			}
			return
		}
	}
}

func sleep(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}
