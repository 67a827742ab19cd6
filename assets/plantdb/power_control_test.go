//go:build soak && control

package plantdb_test

import "testing"

// TestControlLosesInAPowerCut holds that a program that lets the disk write when it likes is found out: built with the tag
// control and told to, it asks for no sync.
func TestControlLosesInAPowerCut(t *testing.T) {
	cuts, bad, first := cutPower(t, 60, []string{"CARRYSIDE_CONTROL=unsynced"})
	if bad < cuts/4 {
		t.Errorf("%d of %d power cuts found something lost: the test finds no losses", bad, cuts)
	}
	t.Log(first)
}
