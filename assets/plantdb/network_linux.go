package plantdb

import "syscall"

// networkFileSystem returns the kind of network file system a folder lies on, "" for a local one. The
// numbers are those of statfs(2).
func networkFileSystem(dir string) string {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return ""
	}
	switch uint32(s.Type) {
	case 0x6969:
		return "NFS"
	case 0xff534d42:
		return "CIFS"
	case 0x517b, 0xfe534d42:
		return "SMB"
	}
	return ""
}
