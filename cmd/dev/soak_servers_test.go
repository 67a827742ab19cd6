//go:build soak && postgres

package main

import (
	"testing"

	"carryside/assets/plantdb/plantdbtest"
)

// TestThreeServersOnOneDatabaseKilledInTurn lets three servers, a clerk and imports work on one PostgreSQL database under
// load while each is killed again and again: orders once, the journal whole, no write lost.
func TestThreeServersOnOneDatabaseKilledInTurn(t *testing.T) {
	s, out := crashTest(t)
	s.dsn, s.servers = plantdbtest.EmptyAddress(t), 3
	if err := s.run(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Log(out.String())
}
