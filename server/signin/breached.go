package signin

import (
	"bytes"
	"crypto/sha1" // the form in which such lists are kept; it protects nothing here
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"

	"github.com/trustelem/zxcvbn/frequency"
)

// listed are the passwords found most often in collections of breached ones: some 30,000, of which 11,000 are as long
// as ours must be (the list that comes with the zxcvbn library).
var listed = sync.OnceValue(func() map[string]bool {
	set := map[string]bool{}
	for _, p := range frequency.FrequencyLists["passwords"] {
		if len(p) >= shortest {
			set[p] = true
		}
	}
	return set
})

// Breached is a file of breached passwords that the operator keeps beside the program, so that none of them is taken
// and nobody outside is asked: lines of the SHA-1 of a password in hexadecimal, whatever follows behind it (mostly a
// colon and a count), sorted by it. It is read in place; a file of a billion lines takes some thirty reads.
type Breached struct {
	file io.ReaderAt
	size int64
}

const (
	sumLetters   = 2 * sha1.Size
	mostLine     = 128
	linesSampled = 64
)

// OpenBreached opens such a file and looks whether it is one: lines at its ends and some between, in order.
func OpenBreached(name string) (*Breached, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("the list of breached passwords cannot be read: %w", err)
	}
	info, err := f.Stat()
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	b := &Breached{file: f, size: info.Size()}
	if err := b.check(); err != nil {
		return nil, errors.Join(fmt.Errorf("%s is no list of breached passwords: %w; it needs lines that begin with a SHA-1 of 40 hexadecimal digits, sorted", name, err), f.Close())
	}
	return b, nil
}

func (b *Breached) check() error {
	if b.size == 0 {
		return errors.New("it is empty")
	}
	before := ""
	for i := range int64(linesSampled) {
		sum, _, err := b.lineFrom(b.size / linesSampled * i)
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		if sum < before {
			return fmt.Errorf("%s stands behind %s", sum, before)
		}
		before = sum
	}
	return nil
}

// Holds tells whether a password is in the file. nil holds none.
func (b *Breached) Holds(password string) (bool, error) {
	if b == nil {
		return false, nil
	}
	want := fmt.Sprintf("%X", sha1.Sum([]byte(password)))
	low, high := int64(0), b.size // the line wanted begins in [low, high)
	for low < high {
		middle := (low + high) / 2
		sum, at, err := b.lineFrom(middle)
		switch {
		case err == io.EOF || err == nil && at >= high:
			high = middle
		case err != nil:
			return false, fmt.Errorf("look into the list of breached passwords: %w", err)
		case sum == want:
			return true, nil
		case sum < want:
			low = at + 1
		default:
			high = middle
		}
	}
	return false, nil
}

// lineFrom returns the first line that begins at an offset or behind it, and where it begins. io.EOF: none does.
func (b *Breached) lineFrom(offset int64) (sum string, at int64, err error) {
	from := max(offset-1, 0) // a line begins behind the end of another
	buffer := make([]byte, 2*mostLine)
	n, err := b.file.ReadAt(buffer, from)
	if err != nil && err != io.EOF {
		return "", 0, err
	}
	buffer = buffer[:n]
	at = from
	if offset > 0 {
		end := bytes.IndexByte(buffer, '\n')
		if end < 0 {
			if n == cap(buffer) {
				return "", 0, fmt.Errorf("the line at byte %d is longer than %d", from, mostLine)
			}
			return "", 0, io.EOF
		}
		buffer, at = buffer[end+1:], from+int64(end)+1
	}
	if len(bytes.TrimSpace(buffer)) == 0 {
		return "", 0, io.EOF
	}
	if len(buffer) < sumLetters || strings.Trim(string(buffer[:sumLetters]), "0123456789abcdefABCDEF") != "" {
		return "", 0, fmt.Errorf("no SHA-1 stands at byte %d", at)
	}
	return strings.ToUpper(string(buffer[:sumLetters])), at, nil
}
