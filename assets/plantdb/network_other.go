//go:build !linux

package plantdb

// networkFileSystem does not know on this system.
func networkFileSystem(string) string { return "" }
