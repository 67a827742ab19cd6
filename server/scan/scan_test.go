package scan

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"path/filepath"
	"strings"
	"testing"

	"carryside/assets"
)

// eicar is the test file that every scanner reports and that does nothing (EICAR, "Intended use"), in two parts so that
// no scanner reports this file.
var eicar = []byte(`X5O!P%@AP[4\PZX54(P^)7CC)7}$` + `EICAR-STANDARD-ANTIVIRUS-TEST-FILE!$H+H*`)

// scanner answers as clamd does; says, where it is not "", is answered whatever comes.
func scanner(t *testing.T, network, address, says string) string {
	t.Helper()
	l, err := net.Listen(network, address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			answer(conn, says)
		}
	}()
	return l.Addr().String()
}

func answer(conn net.Conn, says string) {
	defer conn.Close()
	r := bufio.NewReader(conn)
	command, err := r.ReadString(0)
	if err != nil || command != "zINSTREAM\x00" {
		io.WriteString(conn, "UNKNOWN COMMAND\x00")
		return
	}
	var got bytes.Buffer
	for {
		var n uint32
		if binary.Read(r, binary.BigEndian, &n) != nil {
			return
		}
		if n == 0 {
			break
		}
		if _, err := io.CopyN(&got, r, int64(n)); err != nil {
			return
		}
	}
	switch {
	case says != "":
		io.WriteString(conn, says)
	case bytes.Contains(got.Bytes(), eicar):
		io.WriteString(conn, "stream: Eicar-Test-Signature FOUND\x00")
	default:
		io.WriteString(conn, "stream: OK\x00")
	}
}

func TestAScannerIsAskedAboutEachFile(t *testing.T) {
	for name, address := range map[string]string{"by its port": scanner(t, "tcp", "127.0.0.1:0", ""), "by its socket": scanner(t, "unix", filepath.Join(t.TempDir(), "s"), "")} {
		s := At(address)
		large := bytes.Repeat([]byte("gauge 11.2 mm\n"), 40_000)
		if err := s.Clean(t.Context(), large); err != nil {
			t.Errorf("%s: a clean file: %v", name, err)
		}
		if err := s.Clean(t.Context(), nil); err != nil {
			t.Errorf("%s: an empty file: %v", name, err)
		}
		if err := s.Clean(t.Context(), append(large, eicar...)); !errors.As(err, new(assets.Invalid)) {
			t.Errorf("%s: the test file of scanners: %v", name, err)
		}
	}
}

func TestWithoutAnAnswerNoFileIsClean(t *testing.T) {
	for what, address := range map[string]string{"nobody": "127.0.0.1:1", "an error": scanner(t, "tcp", "127.0.0.1:0", "INSTREAM size limit exceeded. ERROR\x00"),
		"silence": scanner(t, "tcp", "127.0.0.1:0", "\x00"), "something else": scanner(t, "tcp", "127.0.0.1:0", "HTTP/1.1 400 Bad Request\r\n")} {
		if err := At(address).Clean(t.Context(), []byte("x")); !errors.Is(err, ErrSilent) || strings.Contains(err.Error(), "refuses") {
			t.Errorf("%s answers: %v", what, err)
		}
	}
}
