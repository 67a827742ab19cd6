//go:build !postgres

package plantdbtest

import "testing"

// freshAddress is a SQLite file of the test's own.
func freshAddress(t testing.TB) string { return SQLiteFile(t) }
