package web

import (
	"net/url"
	"testing"

	"carryside/assets"
)

// TestNoFormTellsTheKeyOfARow holds that the mark a form carries follows the row and not its key: keys run over the rows
// of all customers, and the gaps between one's own would tell how much others write.
func TestNoFormTellsTheKeyOfARow(t *testing.T) {
	t.Parallel()
	row := assets.Version{RowID: 4711, ID: 5, ValidFrom: 30, KnownFrom: 8}
	shown := NewForm(nil)
	mark := shown.version(row).Value
	moved := row
	moved.RowID += 90 // others wrote ninety rows before it
	if again := NewForm(nil).version(moved).Value; again != mark || mark == "" || mark == "0" {
		t.Errorf("the mark is %q, with other rows before it %q", mark, again)
	}
	changed := row
	changed.RowID, changed.KnownFrom = 4712, 9
	for sent, want := range map[string]int64{mark: 4711, "": 0, "0": 0, "4711": -1, markOf(changed): -1} {
		f := NewForm(url.Values{"version": {sent}})
		f.version(row)
		if got := (&entry{f: f}).rowID(); got != want {
			t.Errorf("a form sent with %q means row %d, want %d", sent, got, want)
		}
	}
	for name, other := range map[string]assets.Version{"written later": changed, "another thing": {RowID: 4711, ID: 6, ValidFrom: 30, KnownFrom: 8}, "another stretch": {RowID: 4711, ID: 5, ValidFrom: 31, KnownFrom: 8}} {
		if markOf(other) == mark {
			t.Errorf("%s: the same mark", name)
		}
	}
}
