//go:build !race && cgo

package plantdb_test

// leastPairs is how many pairs of a day and a moment are compared with a replay of the journal.
const leastPairs = 1000
