package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
)

// dialects are the folders below migrations; a change of schema is one file in each, with one number.
var dialects = []string{"sqlite", "postgres"}

var (
	migrationFile = regexp.MustCompile(`^(\d{4})_([a-z][a-z0-9_]*)\.sql$`)
	migrationName = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
)

// migrationText is the start of a migration file. Migrations only go forward, so there is no Down part.
const migrationText = `-- %04d %s (%s)
--
-- Why: say which question of the plant needs this.
-- Rows already there: say what they get.

-- +goose Up

`

// runNewMigration makes the pair of files for the next change of schema: both or none.
func runNewMigration(_ context.Context, env environment, args []string) error {
	if len(args) != 1 || !migrationName.MatchString(args[0]) {
		return fmt.Errorf("%w: new-migration takes one name of small letters, digits and underscores, as in belt_width", errUsage)
	}
	next, err := nextMigration(env.root)
	if err != nil {
		return err
	}
	var made []string
	for _, dialect := range dialects {
		path := filepath.Join(env.root, "migrations", dialect, fmt.Sprintf("%04d_%s.sql", next, args[0]))
		if err := writeNew(path, fmt.Sprintf(migrationText, next, args[0], dialect)); err != nil {
			for _, m := range made {
				err = errors.Join(err, os.Remove(m))
			}
			return err
		}
		made = append(made, path)
	}
	for _, m := range made {
		fmt.Fprintln(env.stdout, m)
	}
	return nil
}

// nextMigration is one more than the highest number, which must be the same in both dialects.
func nextMigration(root string) (int, error) {
	highest := map[string]int{}
	for _, dialect := range dialects {
		entries, err := os.ReadDir(filepath.Join(root, "migrations", dialect))
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return 0, fmt.Errorf("list migrations: %w", err)
		}
		for _, e := range entries {
			if m := migrationFile.FindStringSubmatch(e.Name()); m != nil {
				n, _ := strconv.Atoi(m[1]) // four digits always parse
				highest[dialect] = max(highest[dialect], n)
			}
		}
	}
	if highest["sqlite"] != highest["postgres"] {
		return 0, fmt.Errorf("the dialects differ: sqlite ends at %04d, postgres at %04d; write the missing file first",
			highest["sqlite"], highest["postgres"])
	}
	return highest["sqlite"] + 1, nil
}

// writeNew writes a file that must not be there yet.
func writeNew(path, text string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Close())
}
