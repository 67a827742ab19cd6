package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// importDay is the day on which the tests bring lists in.
var importDay = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

const (
	goodList = "Line,Conveyor,Belt width (mm),Belt length (m),Splice no,Splice date\nWet,CV-01,600,12.5,1,2024-03-12\nWet,CV-02,800,20.25,1,spring 2022\n"
	badList  = goodList + "Wet,CV-03,18 furlongs,7,1,2024-02-31\n"
)

// imported runs the command on a file in a folder of its own.
type imported struct {
	t   *testing.T
	dir string
}

func (i imported) file(name, text string) string {
	i.t.Helper()
	if err := os.WriteFile(filepath.Join(i.dir, name), []byte(text), 0o600); err != nil {
		i.t.Fatal(err)
	}
	return filepath.Join(i.dir, name)
}

func (i imported) run(args ...string) (code int, stdout, stderr string) {
	i.t.Helper()
	var out, errs bytes.Buffer
	p := &Program{Stdout: &out, Stderr: &errs, Now: func() time.Time { return importDay }}
	code = run(context.Background(), append([]string{"import", "--db", filepath.Join(i.dir, "plant.db")}, args...), p)
	return code, out.String(), errs.String()
}

// printed is what of the printed object these tests look at.
type printed struct {
	Applied bool
	Counts  map[string]struct{ Created, Changed, Unchanged int }
	Refused []struct{ Row int }
	Mapping json.RawMessage
}

func (i imported) object(stdout string) printed {
	i.t.Helper()
	var o printed
	if err := json.Unmarshal([]byte(stdout), &o); err != nil {
		i.t.Fatalf("standard output is no JSON object: %v: %.200s", err, stdout)
	}
	return o
}

func TestImportDryRunMakesNothing(t *testing.T) {
	i := imported{t, t.TempDir()}
	code, out, errs := i.run(i.file("list.csv", badList), "--plant", "Low Quay", "--json", "--dry-run")
	o := i.object(out)
	if code != 0 || errs != "" || o.Applied || o.Counts["splice"].Created != 2 || len(o.Refused) != 1 {
		t.Errorf("exit %d, %q, %+v", code, errs, o)
	}
	if _, err := os.Stat(filepath.Join(i.dir, "plant.db")); !os.IsNotExist(err) {
		t.Errorf("a dry run made a database: %v", err)
	}
}

func TestImportIsAllOrNothing(t *testing.T) {
	i := imported{t, t.TempDir()}
	list := i.file("list.csv", badList)
	code, out, errs := i.run(list, "--plant", "Low Quay", "--json")
	if o := i.object(out); code != 1 || o.Applied || strings.Count(errs, "\n") != 1 || !strings.Contains(errs, "--leave-out-refused") || !strings.Contains(errs, "1 of 3") {
		t.Errorf("exit %d, applied %v, %q", code, o.Applied, errs)
	}
	book := filepath.Join(i.dir, "refused.xlsx")
	code, out, errs = i.run(list, "--plant", "Low Quay", "--json", "--leave-out-refused", "--refused", book)
	if o := i.object(out); code != 0 || !o.Applied || errs != "" || o.Counts["plant"].Created != 1 || o.Counts["conveyor"].Created != 2 {
		t.Errorf("exit %d, %+v, %q: nothing should have been written before", code, o, errs)
	}
	code, out, _ = i.run(list, "--plant", "Low Quay", "--json", "--leave-out-refused")
	for kind, c := range i.object(out).Counts {
		if code != 0 || c.Created+c.Changed > 0 {
			t.Errorf("the same file again: exit %d, %s created %d, changed %d", code, kind, c.Created, c.Changed)
		}
	}
	code, out, _ = i.run(book, "--json", "--dry-run")
	if o := i.object(out); code != 0 || len(o.Refused) != 1 {
		t.Errorf("the refused rows brought in again: exit %d, %d refused", code, len(o.Refused))
	}
}

func TestImportMappingGivenBack(t *testing.T) {
	i := imported{t, t.TempDir()}
	list := i.file("list.csv", goodList)
	_, out, _ := i.run(list, "--plant", "Low Quay", "--json", "--dry-run")
	guess := i.object(out)
	code, out, errs := i.run(list, "--mapping", i.file("map.json", string(guess.Mapping)), "--json")
	if o := i.object(out); code != 0 || o.Counts["splice"].Created != 2 || o.Counts["line"].Created != 1 {
		t.Errorf("exit %d, %+v, %q", code, o, errs)
	}
}

func TestImportWithoutPlantStillPrintsTheGuess(t *testing.T) {
	i := imported{t, t.TempDir()}
	code, out, errs := i.run(i.file("list.csv", goodList), "--json")
	if o := i.object(out); code != 1 || !strings.Contains(errs, "--plant") || len(o.Refused) != 2 || !strings.Contains(string(o.Mapping), "loop_length") {
		t.Errorf("exit %d, %q, %d refused", code, errs, len(o.Refused))
	}
}

func TestImportForPeople(t *testing.T) {
	i := imported{t, t.TempDir()}
	code, out, _ := i.run(i.file("list.csv", goodList), "--plant", "Low Quay")
	for _, says := range []string{"2 rows accepted", "2 created", "C width in mm", "written"} {
		if code != 0 || !strings.Contains(out, says) {
			t.Errorf("exit %d; %q is not said in\n%s", code, says, out)
		}
	}
}

func TestImportThatFails(t *testing.T) {
	i := imported{t, t.TempDir()}
	list := i.file("list.csv", goodList)
	for what, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"no such file":                       {[]string{filepath.Join(i.dir, "nowhere.xlsx")}, 1, "nowhere.xlsx"},
		"a folder":                           {[]string{i.dir}, 1, "folder"},
		"no plant":                           {[]string{list}, 1, "--plant"},
		"no table":                           {[]string{i.file("notes.csv", "Ask the outside firm\nfor records\n"), "--plant", "P"}, 1, "nothing"},
		"heading alone":                      {[]string{i.file("head.csv", "Conveyor,Width (mm)\n"), "--plant", "P"}, 1, "nothing"},
		"empty":                              {[]string{i.file("empty.csv", ""), "--plant", "P"}, 1, "empty"},
		"workbook named csv":                 {[]string{i.file("book.csv", "PK\x03\x04 and so on"), "--plant", "P"}, 1, "not a CSV"},
		"old binary":                         {[]string{i.file("old.xlsx", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 and so on"), "--plant", "P"}, 1, "save it as .xlsx"},
		"unknown option":                     {[]string{list, "--frobnicate"}, 2, "frobnicate"},
		"date order":                         {[]string{list, "--date-order", "dym"}, 2, "dym"},
		"same record":                        {[]string{list, "--same-record", "perhaps"}, 2, "perhaps"},
		"zone":                               {[]string{list, "--plant", "P", "--zone", "Mars/Olympus"}, 2, "Mars/Olympus"},
		"refused as text":                    {[]string{list, "--refused", "out.csv"}, 2, "out.csv"},
		"mapping not there":                  {[]string{list, "--mapping", "nowhere.json"}, 2, "nowhere.json"},
		"mapping broken":                     {[]string{list, "--mapping", i.file("broken.json", `{"format": 1,`)}, 2, "broken.json"},
		"mapping of a sheet beyond the file": {[]string{list, "--plant", "P", "--mapping", i.file("far.json", `{"format":1,"tables":[{"sheet":"","header_rows":[1],"columns":{"ZZ":{"field":"conveyor"}}}]}`)}, 2, "ZZ"},
	} {
		code, out, errs := i.run(c.args...)
		if code != c.code || !strings.Contains(errs, c.says) || strings.Count(errs, "\n") != 1 || out != "" {
			t.Errorf("%s: exit %d, %q, %q; want exit %d and a line that says %q", what, code, errs, out, c.code, c.says)
		}
	}
}
