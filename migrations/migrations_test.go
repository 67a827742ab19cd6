package migrations_test

import (
	"fmt"
	"io/fs"
	"regexp"
	"strings"
	"testing"

	"carryside/migrations"
)

var fileName = regexp.MustCompile(`^(\d{4})_([a-z][a-z0-9_]*)\.sql$`)

// numbered returns an engine's files by number and fails on a name that has none.
func numbered(t *testing.T, engine migrations.Engine) map[string]string {
	t.Helper()
	files, err := migrations.Files(engine)
	if err != nil {
		t.Fatal(err)
	}
	names, err := fs.Glob(files, "*")
	if err != nil {
		t.Fatal(err)
	}
	of := map[string]string{}
	for _, name := range names {
		m := fileName.FindStringSubmatch(name)
		if m == nil {
			t.Errorf("%s/%s: a file is named 0001_what_for.sql", engine, name)
			continue
		}
		if of[m[1]] != "" {
			t.Errorf("%s: number %s stands twice", engine, m[1])
		}
		of[m[1]] = m[2]
	}
	return of
}

func TestEveryChangeOfSchemaIsThereForBothEngines(t *testing.T) {
	sqlite, postgres := numbered(t, migrations.SQLite), numbered(t, migrations.PostgreSQL)
	if len(sqlite) == 0 {
		t.Fatal("no files are built in")
	}
	for n := 1; n <= max(len(sqlite), len(postgres)); n++ {
		number := fmt.Sprintf("%04d", n)
		if sqlite[number] == "" || sqlite[number] != postgres[number] {
			t.Errorf("%s is %q for SQLite and %q for PostgreSQL: numbers have no gap and each has the same name in both folders",
				number, sqlite[number], postgres[number])
		}
	}
}

func TestMigrationsOnlyGoForward(t *testing.T) {
	for _, engine := range []migrations.Engine{migrations.SQLite, migrations.PostgreSQL} {
		files, err := migrations.Files(engine)
		if err != nil {
			t.Fatal(err)
		}
		for number, name := range numbered(t, engine) {
			text, err := fs.ReadFile(files, number+"_"+name+".sql")
			if err != nil {
				t.Fatal(err)
			}
			if strings.Count(string(text), "-- +goose Up\n") != 1 || strings.Contains(string(text), "goose Down") {
				t.Errorf("%s/%s: one part upwards and none down", engine, name)
			}
			if first, _, _ := strings.Cut(string(text), "\n"); first != fmt.Sprintf("-- %s %s (%s)", number, name, engine) {
				t.Errorf("%s/%s: the first line says %q", engine, name, first)
			}
		}
	}
}
