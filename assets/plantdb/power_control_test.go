//go:build soak && control

package plantdb_test

import "testing"

// TestControlLosesInAPowerCut holds that a program that lets the disk write when it likes is found out. The test is built
// with -tags soak,control -ldflags "-X carryside/assets/plantdb.control=unsynced".
func TestControlLosesInAPowerCut(t *testing.T) {
	cuts, bad, first := cutPower(t, 60, false)
	if bad < cuts/4 {
		t.Errorf("%d of %d power cuts found something lost: the test finds no losses, or it was not built as the control", bad, cuts)
	}
	t.Log(first)
}
