// Package scan asks a malware scanner of the operator's about a file before it is taken in. It speaks the INSTREAM
// command of clamd's protocol (its manual, section "COMMANDS"), which other scanners' gateways speak too: the file is
// sent in pieces, each behind its length as four bytes, big-endian; a length of nought ends it; the answer is one line.
// It knows nothing of what the file is for.
//
//	err := scan.At("127.0.0.1:3310").Clean(ctx, content) // assets.Invalid: the scanner knows it
package scan

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"time"

	"carryside/assets"
)

const (
	piece     = 64 << 10
	takes     = time.Minute // at most, for one file
	mostReply = 4 << 10
)

// Scanner is where a scanner listens.
type Scanner struct{ network, address string }

// At returns the scanner at an address: host and port, or the path of a socket.
func At(address string) *Scanner {
	if strings.HasPrefix(address, "/") {
		return &Scanner{"unix", address}
	}
	return &Scanner{"tcp", address}
}

// ErrSilent: the scanner does not answer, or does not understand. A file that nobody looked at is not taken.
var ErrSilent = errors.New("the malware scanner does not answer")

// Clean returns nil when the scanner finds nothing in a file. assets.Invalid, under "file", says that it does;
// ErrSilent that it could not be asked.
func (s *Scanner) Clean(ctx context.Context, content []byte) error {
	ctx, cancel := context.WithTimeout(ctx, takes)
	defer cancel()
	answer, err := s.ask(ctx, content)
	switch {
	case err != nil:
		return fmt.Errorf("%w: %w", ErrSilent, err)
	case strings.HasSuffix(answer, " OK"):
		return nil
	case strings.HasSuffix(answer, " FOUND"):
		return assets.Invalid{"file": "the malware scanner here refuses this file; have the machine it comes from looked at"}
	}
	return fmt.Errorf("%w: it says %q", ErrSilent, answer)
}

func (s *Scanner) ask(ctx context.Context, content []byte) (string, error) {
	conn, err := new(net.Dialer).DialContext(ctx, s.network, s.address)
	if err != nil {
		return "", err
	}
	defer conn.Close()
	if until, ok := ctx.Deadline(); ok {
		if err := conn.SetDeadline(until); err != nil {
			return "", err
		}
	}
	sent := s.send(conn, content) // it may answer, and hang up, before it has read everything
	answer, err := io.ReadAll(io.LimitReader(conn, mostReply))
	if line := string(bytes.Trim(answer, "\x00\r\n ")); line != "" {
		return line, nil
	}
	return "", errors.Join(sent, err, io.ErrUnexpectedEOF)
}

func (s *Scanner) send(w io.Writer, content []byte) error {
	if _, err := io.WriteString(w, "zINSTREAM\x00"); err != nil {
		return err
	}
	for len(content) > 0 {
		n := min(piece, len(content))
		if err := binary.Write(w, binary.BigEndian, uint32(n)); err != nil {
			return err
		}
		if _, err := w.Write(content[:n]); err != nil {
			return err
		}
		content = content[n:]
	}
	return binary.Write(w, binary.BigEndian, uint32(0))
}
