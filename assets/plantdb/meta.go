package plantdb

import (
	"context"

	"gorm.io/gorm/clause"
)

// metaRow is a word about the file itself.
type metaRow struct {
	Name  string `gorm:"primaryKey"`
	Value string
}

// TableName is "meta".
func (metaRow) TableName() string { return "meta" }

// MarkDemo marks the database as a demo's, so that serve refuses it.
func (db *DB) MarkDemo(ctx context.Context) error { return db.SetMeta(ctx, "demo", "yes") }

// IsDemo tells whether the database was made by the demo.
func (db *DB) IsDemo(ctx context.Context) (bool, error) {
	v, err := db.Meta(ctx, "demo")
	return v == "yes", err
}

// SetMeta keeps a word about the file under a name.
func (db *DB) SetMeta(ctx context.Context, name, value string) error {
	return db.InTx(ctx, func(tx *DB) error {
		return tx.SQL(ctx).Clauses(clause.OnConflict{UpdateAll: true}).Create(&metaRow{name, value}).Error
	})
}

// KeepMeta keeps a word under a name that has none yet; the word of whoever came first stays.
func (db *DB) KeepMeta(ctx context.Context, name, value string) error {
	return db.InTx(ctx, func(tx *DB) error {
		return tx.SQL(ctx).Clauses(clause.OnConflict{DoNothing: true}).Create(&metaRow{name, value}).Error
	})
}

// Meta returns the word kept under a name, "" when there is none.
func (db *DB) Meta(ctx context.Context, name string) (string, error) {
	var rows []metaRow
	err := db.SQL(ctx).Where("name = ?", name).Find(&rows).Error
	if len(rows) == 0 {
		return "", err
	}
	return rows[0].Value, err
}
