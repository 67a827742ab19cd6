//go:build race || !cgo

package plantdb_test

import "flag"

// leastPairs is how many pairs of a day and a moment are compared with a replay of the journal. Under the race detector and with the
// driver without C, both many times slower, a fifth of the histories is drawn; every other run draws all, on PostgreSQL too.
const leastPairs = 200

func init() {
	if err := flag.Set("rapid.checks", "20"); err != nil {
		panic(err)
	}
}
