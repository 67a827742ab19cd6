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
