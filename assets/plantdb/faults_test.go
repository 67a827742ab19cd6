//go:build soak

package plantdb_test

import (
	"strings"
	"testing"
)

// TestDisksThatFail lets calls of the system fail while readings are written: the program says one sentence that tells
// what to do, what it said to be kept is there, and the next program goes on.
func TestDisksThatFail(t *testing.T) {
	for name, tt := range map[string]struct {
		file   string // what is added to the database's name
		inject string
		says   string
	}{
		"the disk is full":                                 {"-wal", "pwrite64:error=ENOSPC:when=40+", "is full; make room"},
		"the quota is used up":                             {"-wal", "pwrite64:error=EDQUOT:when=40+", "cannot be read from its disk or written to it"},
		"a write fails":                                    {"-wal", "pwrite64:error=EIO:when=40+", "cannot be read from its disk or written to it"},
		"the disk does not say that it has written":        {"-wal", "fsync,fdatasync:error=EIO:when=8+", "cannot be read from its disk or written to it"},
		"the disk does not say so once":                    {"-wal", "fsync,fdatasync:error=EIO:when=8", "cannot be read from its disk or written to it"},
		"the disk is full when the log goes into the file": {"", "pwrite64:error=ENOSPC", ""},
		"the file itself is not written":                   {"", "fsync,fdatasync:error=EIO", ""},
	} {
		t.Run(name, func(t *testing.T) {
			path := quarry(t)
			out, errs, err := traced(t, path, 400, "-P", path+tt.file, "-e", "trace=pwrite64,fsync,fdatasync", "-e", "inject="+tt.inject)
			if tt.says != "" && (err == nil || !strings.Contains(errs, tt.says) || strings.Count(strings.TrimSpace(errs), "\n") > 0) {
				t.Errorf("it says %q, %v; want one sentence with %q", errs, err, tt.says)
			}
			n, err := keptIn(path)
			if err != nil {
				t.Fatalf("afterwards: %v", err)
			}
			if n < said(out) || n > said(out)+1 {
				t.Errorf("%d readings are there; %d were said to be kept", n, said(out))
			}
			if said(out) == 0 {
				t.Error("nothing was written before the disk failed: nothing was tried")
			}
			if _, errs, err := traced(t, path, 400); err != nil {
				t.Errorf("the next program does not go on: %v: %s", err, errs)
			}
			if n, err := keptIn(path); err != nil || n != 400 {
				t.Errorf("after the next program %d readings, %v", n, err)
			}
		})
	}
}

// TestDisksThatWereFullTakeWritesAgain lets the disk be full for a while: each write of that while is refused and is kept in
// mind until one is kept, and the program goes on without being started again.
func TestDisksThatWereFullTakeWritesAgain(t *testing.T) {
	path := quarry(t)
	t.Setenv(goesOnVariable, "yes")
	out, errs, err := traced(t, path, 100, "-P", path+"-wal", "-e", "trace=pwrite64", "-e", "inject=pwrite64:error=ENOSPC:when=200..240")
	if err != nil {
		t.Fatalf("it ends: %v: %s", err, errs)
	}
	refused := strings.Count(out, "refused ")
	if refused == 0 || said(out) == 0 || said(out)+refused != 100 || strings.Index(out, "refused ") > strings.LastIndex(out, "kept ") {
		t.Fatalf("%d were kept, %d refused: %s", said(out), refused, out)
	}
	for line := range strings.Lines(out) {
		if strings.HasPrefix(line, "refused") != strings.Contains(line, "in mind true") {
			t.Errorf("it says %q", line)
		}
	}
	if n, err := keptIn(path); err != nil || n != said(out) {
		t.Errorf("%d readings are there, %d were said to be kept; %v", n, said(out), err)
	}
}
