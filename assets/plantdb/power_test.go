//go:build soak

package plantdb_test

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// A power cut keeps what was on the disk. The tests write down, by strace, every write and every sync of a program that
// writes readings, in order with what it says, and then build the files as a disk would hold them had the power failed at
// that moment: only what was synced before, or that and a random part of the rest, cut anywhere at sectors of 512 bytes.

// disk is a folder as the system holds it and as the disk holds it.
type disk struct {
	files map[string]*fileOnDisk
}

type fileOnDisk struct {
	now    []byte  // as programs see it
	synced []byte  // as it surely is on the disk
	loose  []write // since the last sync
	named  bool    // whether its name is on the disk
}

type write struct {
	at   int
	data []byte // nil: cut off at this length
}

func (w write) apply(to []byte) []byte {
	if w.data == nil {
		if w.at <= len(to) {
			return to[:w.at]
		}
		return append(to, make([]byte, w.at-len(to))...)
	}
	if end := w.at + len(w.data); end > len(to) {
		to = append(to, make([]byte, end-len(to))...)
	}
	copy(to[w.at:], w.data)
	return to
}

func (d *disk) file(name string) *fileOnDisk {
	if d.files[name] == nil {
		d.files[name] = &fileOnDisk{}
	}
	return d.files[name]
}

func (f *fileOnDisk) write(w write) {
	f.now = w.apply(f.now)
	f.loose = append(f.loose, w)
}

func (f *fileOnDisk) sync() {
	f.synced, f.loose = bytes.Clone(f.now), nil
}

// after is what the disk may hold when the power fails: what was synced and, with luck, a part of the rest.
func (f *fileOnDisk) after(luck *rand.Rand) []byte {
	content := bytes.Clone(f.synced)
	if luck == nil {
		return content
	}
	for _, w := range f.loose {
		if w.data == nil {
			if luck.IntN(2) == 0 {
				content = w.apply(content)
			}
			continue
		}
		for at := 0; at < len(w.data); at += 512 {
			if luck.IntN(2) == 0 {
				content = write{w.at + at, w.data[at:min(at+512, len(w.data))]}.apply(content)
			}
		}
	}
	return content
}

// leave writes the files into a folder as they may be after the power failed.
func (d *disk) leave(t *testing.T, dir string, luck *rand.Rand) {
	t.Helper()
	for _, name := range slices.Sorted(maps.Keys(d.files)) {
		f := d.files[name]
		if !f.named && (luck == nil || luck.IntN(2) == 0) {
			continue
		}
		if err := os.WriteFile(filepath.Join(dir, name), f.after(luck), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// A line of strace with -f, -y and -xx: the thread, a call whose first argument is a number with its path, the rest.
var (
	callLine    = regexp.MustCompile(`^(\d+)\s+(\w+)\((.*)$`)
	resumedLine = regexp.MustCompile(`^(\d+)\s+<\.\.\. (\w+) resumed>(.*)$`)
	onFile      = regexp.MustCompile(`^(-?\d+)<([^>]*)>`)
	quotedData  = regexp.MustCompile(`"((?:\\x[0-9a-f]{2})*)"`)
)

// replay goes through a record and calls kept each time the program has said that a reading is kept.
type replay struct {
	t     *testing.T
	dir   string // whose files are followed
	disk  disk
	begun map[string]string // arguments of calls under way, by thread
	kept  func(n int)
	said  int
	syncs map[string]int // by file
}

func (r *replay) run(record string) {
	lines := bufio.NewScanner(strings.NewReader(record))
	lines.Buffer(nil, 64<<20)
	for lines.Scan() {
		line := lines.Text()
		if m := resumedLine.FindStringSubmatch(line); m != nil {
			r.ended(m[2], r.begun[m[1]], m[3])
			continue
		}
		m := callLine.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		args, unfinished := strings.CutSuffix(m[3], " <unfinished ...>")
		r.entered(m[2], args)
		if unfinished {
			r.begun[m[1]] = args
			continue
		}
		r.ended(m[2], args, args)
	}
	if err := lines.Err(); err != nil {
		r.t.Fatal(err)
	}
}

// name is the file of a call in the folder, "" for others.
func (r *replay) name(args string) string {
	m := onFile.FindStringSubmatch(args)
	if m == nil {
		return ""
	}
	path := plainPath(m[2])
	if path == r.dir {
		return "."
	}
	if filepath.Dir(path) != r.dir {
		return ""
	}
	return filepath.Base(path)
}

func plainPath(p string) string {
	if strings.HasPrefix(p, `\x`) {
		if raw, err := hex.DecodeString(strings.ReplaceAll(p, `\x`, "")); err == nil {
			return string(raw)
		}
	}
	return p
}

// entered takes what a program says when it begins to say it: nothing that is on the disk later counts.
func (r *replay) entered(call, args string) {
	if call != "write" || !strings.HasPrefix(args, "1<") && !strings.HasPrefix(args, "1,") {
		return
	}
	var n int
	if _, err := fmt.Sscanf(string(data(args)), "kept %d.", &n); err == nil {
		r.said = n
		r.kept(n)
	}
}

// ended takes writes and syncs when they have ended.
func (r *replay) ended(call, args, rest string) {
	name := r.name(args)
	result := strings.TrimSpace(rest[strings.LastIndex(rest, "=")+1:])
	if name == "" || strings.HasPrefix(result, "-1") || strings.HasSuffix(name, "-shm") {
		return
	}
	switch call {
	case "pwrite64":
		wrote, at := number(result), number(args[strings.LastIndex(args[:strings.LastIndex(args+")", ")")], ",")+1:])
		r.disk.file(name).write(write{at, data(args)[:wrote]})
	case "write":
		r.t.Fatalf("a write without a place to %s: the replay does not follow it", name)
	case "ftruncate":
		r.disk.file(name).write(write{number(args[strings.Index(args, ",")+1:]), nil})
	case "fsync", "fdatasync":
		r.syncs[name]++
		if name == "." {
			for _, f := range r.disk.files {
				f.named = true
			}
			return
		}
		r.disk.file(name).sync()
	}
}

// number is the number at the beginning of a text.
func number(text string) int {
	n, _ := strconv.Atoi(regexp.MustCompile(`^\s*(\d+)`).FindString(strings.TrimSpace(text)))
	return n
}

func data(args string) []byte {
	m := quotedData.FindStringSubmatch(args)
	if m == nil {
		return nil
	}
	raw, err := hex.DecodeString(strings.ReplaceAll(m[1], `\x`, ""))
	if err != nil {
		return nil
	}
	return raw
}

// cutPower records a program that writes readings and cuts the power after each that it said was kept. It returns how often
// a reading was gone, or the database could not be read or was not whole, and what was the first. Of a program that syncs it
// also wants that the log was brought into the file in between.
func cutPower(t *testing.T, readings int, synced bool) (cuts, bad int, first string) {
	t.Helper()
	path := quarry(t)
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	record := filepath.Join(t.TempDir(), "record")
	out, errs, err := traced(t, path, readings, "-y", "-xx", "-s", "10000000", "-e", "trace=write,pwrite64,ftruncate,fsync,fdatasync", "-o", record)
	if err != nil || said(out) != readings {
		t.Fatalf("the program said %d of %d: %v: %s", said(out), readings, err, errs)
	}
	text, err := os.ReadFile(record)
	if err != nil {
		t.Fatal(err)
	}
	folder, err := filepath.EvalSymlinks(filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	db := filepath.Base(path)
	r := replay{t: t, dir: folder, begun: map[string]string{}, syncs: map[string]int{}, disk: disk{map[string]*fileOnDisk{db: {now: bytes.Clone(before), synced: before, named: true}}}}
	luck := rand.New(rand.NewPCG(27, 1))
	r.kept = func(n int) {
		for _, with := range []*rand.Rand{nil, luck} {
			dir := t.TempDir()
			r.disk.leave(t, dir, with)
			cuts++
			there, err := keptIn(filepath.Join(dir, db))
			if err == nil && there >= n {
				continue
			}
			if bad++; bad == 1 {
				first = fmt.Sprintf("after reading %d was kept: %d are there, %v", n, there, err)
			}
		}
	}
	r.run(string(text))
	if r.said != readings {
		t.Fatalf("the record shows %d of %d readings", r.said, readings)
	}
	if synced && r.syncs[db] < 2 { // one when it is closed
		t.Fatalf("the log was never brought into the file: %v", r.syncs)
	}
	t.Logf("%d readings, syncs %v, power cut %d times: %d bad", readings, r.syncs, cuts, bad)
	return cuts, bad, first
}

// TestPowerCutKeepsWhatWasSaid holds that whatever was said to be kept outlives a power cut at that moment. 250 readings
// make the log long enough to be brought into the file in between; that is checked too.
func TestPowerCutKeepsWhatWasSaid(t *testing.T) {
	if _, bad, first := cutPower(t, 250, true); bad > 0 {
		t.Errorf("%d times bad; %s", bad, first)
	}
}

// TestRecordsAreRead holds the reading of a record to one written by hand.
func TestRecordsAreRead(t *testing.T) {
	record := strings.Join([]string{
		`11 pwrite64(5</d/a.db-wal>, "\x61\x62\x63", 3, 2) = 3`,
		`12 fdatasync(5</d/a.db-wal> <unfinished ...>`,
		`11 pwrite64(5</d/a.db-wal>, "\x7a", 1, 0) = 1`,
		`12 <... fdatasync resumed>)             = 0`,
		`11 pwrite64(6</d/a.db>, "\x64", 1, 0) = -1 EIO (Input/output error)`,
		`11 write(1<pipe:[9]>, "\x6b\x65\x70\x74\x20\x33\x2e\x0a", 8) = 8`,
		`11 fsync(7</d>) = 0`,
		`11 ftruncate(5</d/a.db-wal>, 2) = 0`,
	}, "\n")
	var at []string
	r := replay{t: t, dir: "/d", begun: map[string]string{}, syncs: map[string]int{}, disk: disk{map[string]*fileOnDisk{}}}
	r.kept = func(n int) {
		at = append(at, fmt.Sprintf("%d %q %v", n, r.disk.files["a.db-wal"].synced, r.disk.files["a.db-wal"].named))
	}
	r.run(record)
	wal := r.disk.files["a.db-wal"]
	if want := []string{`3 "z\x00abc" false`}; !slices.Equal(at, want) || string(wal.now) != "z\x00" || string(wal.synced) != "z\x00abc" || !wal.named || len(r.disk.files) != 1 {
		t.Errorf("read %v, now %q, synced %q, named %v, %d files", at, wal.now, wal.synced, wal.named, len(r.disk.files))
	}
}

// TestStraceIsThere says at once what is missing where the others could not begin.
func TestStraceIsThere(t *testing.T) {
	out, err := exec.Command("strace", "--version").Output()
	if err != nil {
		t.Fatalf("strace is not there: install it, or leave the tag soak away: %v", err)
	}
	if !bytes.Contains(out, []byte("strace")) {
		t.Errorf("this is no strace: %s", out)
	}
}
