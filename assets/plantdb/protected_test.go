package plantdb

import (
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestWhatTheJournalLeavesOutIsWrittenWhereAnOutsiderReadsIt holds the tables without entries against the checker in
// another language, and against the page it was written from: a table missing there makes an outsider call a whole
// journal broken as soon as the table has a row.
func TestWhatTheJournalLeavesOutIsWrittenWhereAnOutsiderReadsIt(t *testing.T) {
	checker, err := os.ReadFile("../../.ci/check_journal.py")
	if err != nil {
		t.Fatal(err)
	}
	set := regexp.MustCompile(`(?s)UNPROTECTED = \{(.*?)\}`).FindSubmatch(checker)
	if set == nil {
		t.Fatal("the checker names no tables that it leaves out")
	}
	named := map[string]bool{}
	for _, m := range regexp.MustCompile(`"(\w+)"`).FindAllStringSubmatch(string(set[1]), -1) {
		named[m[1]] = true
	}
	if got := slices.Sorted(maps.Keys(named)); !slices.Equal(got, slices.Sorted(slices.Values(unprotected))) {
		t.Errorf("the checker leaves out %v, the journal %v", got, unprotected)
	}
	page, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, table := range unprotected {
		if !strings.Contains(string(page), "`"+table+"`") {
			t.Errorf("the page of the journal does not name %s, which is left out", table)
		}
	}
}
