package migrations

import "syscall"

// freeBytes returns what an ordinary account may still write on a folder's disk.
func freeBytes(dir string) (free uint64, known bool) {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return 0, false
	}
	return s.Bavail * uint64(s.Bsize), true
}
