package intakedb

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"carryside/assets"
	"carryside/assets/intake"
	"carryside/assets/plantdb"

	"gorm.io/gorm/clause"
)

// Import is a list that was brought in.
type Import struct {
	ID         int64 `gorm:"primaryKey"`
	PlantID    int64 // 0: several plants
	CustomerID int64
	FileName   string
	SHA256     string `gorm:"column:sha256"`
	At         assets.Instant
	ByID       int64
	Mapping    *string // JSON
	Counts     *string // JSON by kind of record
	Refused    *string // JSON list of the refused rows
	KnownFrom  int64
}

// ImportMapping is how the headings of a list were read, kept under a name for the next list like it.
type ImportMapping struct {
	ID         int64 `gorm:"primaryKey"`
	CustomerID int64 // 0: for every customer
	Name       string
	Mapping    string // JSON
	SavedAt    assets.Instant
	SavedBy    int64
}

// keepImport notes what was brought in, with the refused rows.
func keepImport(c *plantdb.Change, ch *plantdb.Chain, all *intake.Changes, plant assets.Plant, alone bool) (err error) {
	row := Import{CustomerID: plant.CustomerID, FileName: all.File, SHA256: all.SHA256, At: c.Now(), ByID: c.Act.PersonID, KnownFrom: ch.Position}
	if alone {
		row.PlantID = plant.ID
	}
	for _, part := range []struct {
		into **string
		v    any
	}{{&row.Mapping, all.Mapping}, {&row.Counts, all.Counts}, {&row.Refused, all.Refused}} {
		text, err := json.Marshal(part.v)
		if err != nil {
			return err
		}
		s := string(text)
		*part.into = &s
	}
	if row.ID, err = c.NewIDs(ch, "imports", 1); err != nil {
		return err
	}
	return plantdb.Insert(c, ch, row.ID, &row)
}

// Imports lists what was brought in at a plant (0: at any plant in scope), newest first.
func Imports(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, limit int) ([]Import, error) {
	tx := db.SQL(ctx).Scopes(plantdb.CustomersInScope(scope, "customer_id")).Order("id DESC").Limit(limit)
	if plantID != 0 {
		tx = tx.Where("plant_id = ?", plantID).Scopes(plantdb.InScope(scope, "plant_id"))
	}
	var rows []Import
	return rows, tx.Find(&rows).Error
}

// Mappings lists the kept mappings by name. One that was removed has no mapping any more.
func Mappings(ctx context.Context, db *plantdb.DB, scope assets.Scope) ([]ImportMapping, error) {
	where, args := plantdb.CustomerSQL(scope, "customer_id")
	var rows []ImportMapping
	return rows, db.SQL(ctx).Where("("+where+" OR customer_id = 0) AND mapping <> ''", args...).Order("name, id").Find(&rows).Error
}

// SaveMapping keeps a mapping under its name, in place of the one that had it.
func SaveMapping(c *plantdb.Change, m *ImportMapping) (err error) {
	m.Name = strings.TrimSpace(m.Name)
	if m.Name == "" {
		return assets.Invalid{"name": "give the headings a name under which they are found again"}
	}
	ch, err := c.Chain(m.CustomerID)
	if err != nil {
		return err
	}
	if m.ID, err = c.NewIDs(ch, "import_mappings", 1); err != nil {
		return err
	}
	m.SavedAt, m.SavedBy = c.Now(), c.Act.PersonID
	onName := clause.OnConflict{Columns: []clause.Column{{Name: "customer_id"}, {Name: "name"}},
		DoUpdates: clause.AssignmentColumns([]string{"mapping", "saved_at", "saved_by"})}
	if err := c.Tx().Clauses(onName).Create(m).Error; err != nil {
		return err
	}
	// Where the name was there already, its row keeps its number.
	if err := c.Tx().Raw("SELECT id FROM import_mappings WHERE customer_id = ? AND name = ?", m.CustomerID, m.Name).Scan(&m.ID).Error; err != nil {
		return err
	}
	c.Wrote(ch, "import_mappings", m.ID)
	c.Note(ch, plantdb.Written{Table: "import_mappings", ID: m.ID, After: map[string]any{"name": m.Name}})
	return nil
}

// liveMapping reads a customer's kept mapping. assets.ErrNotFound when there is none, or it was removed.
func liveMapping(c *plantdb.Change, customerID, id int64) (ImportMapping, error) {
	var rows []ImportMapping
	if err := c.Tx().Where("id = ? AND customer_id = ? AND mapping <> ''", id, customerID).Find(&rows).Error; err != nil {
		return ImportMapping{}, err
	}
	if len(rows) == 0 {
		return ImportMapping{}, fmt.Errorf("kept headings %d: %w", id, assets.ErrNotFound)
	}
	return rows[0], nil
}

// NameTaken tells whether a customer keeps a mapping under a name.
func NameTaken(c *plantdb.Change, customerID int64, name string) (bool, error) {
	var n int64
	err := c.Tx().Model(&ImportMapping{}).Where("customer_id = ? AND name = ? AND mapping <> ''", customerID, strings.TrimSpace(name)).Count(&n).Error
	return n > 0, err
}

// RemoveMapping removes a kept mapping: its name stays in the records, what it said is gone.
func RemoveMapping(c *plantdb.Change, customerID, id int64) error {
	ch, err := c.Chain(customerID)
	if err != nil {
		return err
	}
	m, err := liveMapping(c, customerID, id)
	if err != nil {
		return err
	}
	if err := c.Tx().Exec("UPDATE import_mappings SET mapping = '', saved_at = ?, saved_by = ? WHERE id = ?", c.Now(), c.Act.PersonID, id).Error; err != nil {
		return fmt.Errorf("remove the headings kept as %q: %w", m.Name, err)
	}
	c.Wrote(ch, "import_mappings", id)
	c.Note(ch, plantdb.Written{Table: "import_mappings", ID: id, Before: map[string]any{"name": m.Name}})
	return nil
}

// RenameMapping keeps a mapping under another name. assets.Invalid when another one has it.
func RenameMapping(c *plantdb.Change, customerID, id int64, name string) error {
	if _, err := c.Chain(customerID); err != nil {
		return err
	}
	m, err := liveMapping(c, customerID, id)
	if err != nil {
		return err
	}
	if name = strings.TrimSpace(name); name == m.Name {
		return nil
	}
	taken, err := NameTaken(c, customerID, name)
	if err != nil {
		return err
	}
	if taken {
		return assets.Invalid{"name": "other headings are kept under this name; choose another one, or remove those first"}
	}
	if err := SaveMapping(c, &ImportMapping{CustomerID: customerID, Name: name, Mapping: m.Mapping}); err != nil {
		return err
	}
	return RemoveMapping(c, customerID, id)
}

// spliceMark reads the word for a splice as its mark: "S2", "splice 2", "joint 2" and "2" are mark 2.
func spliceMark(word string) (string, bool) {
	key := assets.TagKey(word)
	for _, before := range []string{"SPLICE-", "JOINT-", "VERBINDUNG-", "EMPALME-", "S-"} {
		key = strings.TrimPrefix(key, before)
	}
	return key, key != "" && strings.ContainsAny(key, "0123456789")
}
