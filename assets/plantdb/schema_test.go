package plantdb_test

import (
	"context"
	"maps"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/assets/plantdb/intakedb"
	"carryside/assets/plantdb/issued"
	"carryside/assets/plantdb/orders"
	"carryside/assets/plantdb/plantdbtest"
	"carryside/assets/plantdb/tokens"
	"carryside/migrations"
	"carryside/schedule/rules"
	"carryside/schedule/workorder"

	"gorm.io/gorm/schema"
)

// kept are the rows that statements write and read through Go structs.
var kept = []any{
	assets.Company{}, assets.Customer{}, assets.Contract{}, assets.Plant{}, assets.Contact{}, assets.Line{},
	assets.Person{}, assets.Grant{}, assets.Account{}, assets.Session{}, assets.Passkey{}, assets.PasskeyUse{}, assets.SecondFactor{}, assets.SecondFactorUse{}, assets.RecoveryCode{}, assets.Identity{}, assets.SignUpCode{}, assets.Specification{}, assets.SpliceKind{}, assets.FindingKind{}, assets.Standstill{}, assets.Conveyor{}, assets.Belt{},
	assets.Splice{}, assets.Finding{}, assets.Meter{}, assets.Reading{}, assets.HeldReading{},
	assets.ProductionCalendar{}, assets.StopWindow{}, assets.StopRecurrence{}, assets.IsolationGroup{},
	assets.Kit{}, assets.KitAway{}, assets.KitCounter{}, assets.KitCount{}, assets.Calibration{}, assets.StockItem{}, assets.StockLot{}, assets.StockMovement{}, assets.StockPolicy{}, assets.SupplyOrder{}, assets.Recipe{}, assets.PressRecord{}, assets.JobTemplate{}, assets.JobSheet{}, assets.JobEntry{}, assets.JobSignature{}, assets.PersonPIN{}, assets.Round{}, assets.RoundEntry{}, assets.Device{},
	assets.Qualification{}, assets.PersonQualification{}, assets.CrewMember{}, assets.Absence{}, assets.TravelTime{}, assets.WorkTemplate{}, rules.Rule{}, rules.Occurrence{}, workorder.Order{},
	workorder.Event{}, orders.Run{}, plantdb.Entry{}, intakedb.Import{}, intakedb.ImportMapping{}, assets.Attachment{}, assets.PublishedPlan{}, assets.PlanDraft{}, tokens.Token{}, tokens.Answer{}, issued.Report{},
}

// ownTables are written by hand-made statements and have no struct of their own.
var ownTables = []string{"api_token_uses", "attachment_pieces", "chains", "device_contacts", "id_counters", "issued_pieces", "journal_rows", "meta", "number_blocks", "rule_progress"}

// column is a column as a schema has it.
type column struct {
	Kind string // integer, number, text, yes or no
	Null bool
}

// TestStructsAndSchemaAgree compares the columns of every struct with the tables of the engine the tests
// run on; with the tag postgres that is PostgreSQL.
func TestStructsAndSchemaAgree(t *testing.T) {
	db := plantdbtest.Open(t)
	tables := tablesOf(t, db)
	for _, row := range kept {
		s, err := schema.Parse(row, &sync.Map{}, schema.NamingStrategy{})
		if err != nil {
			t.Fatal(err)
		}
		want, got := columnsOfStruct(t, s), columnsOfTable(t, db, s.Table)
		for name, c := range want {
			if got[name] != c {
				t.Errorf("%s.%s is %+v, the struct wants %+v", s.Table, name, got[name], c)
			}
		}
		for name := range got {
			if _, ok := want[name]; !ok {
				t.Errorf("%s.%s is in no struct", s.Table, name)
			}
		}
		delete(tables, s.Table)
	}
	delete(tables, "goose_db_version")
	if left := slices.Sorted(maps.Keys(tables)); !slices.Equal(left, ownTables) {
		t.Errorf("tables without a struct: %v, want %v", left, ownTables)
	}
}

func columnsOfStruct(t *testing.T, s *schema.Schema) map[string]column {
	t.Helper()
	of := map[string]column{}
	for _, f := range s.Fields {
		if f.DBName == "" {
			continue
		}
		typ, null := f.FieldType, f.Serializer != nil
		if typ.Kind() == reflect.Pointer {
			typ, null = typ.Elem(), true
		}
		kind := map[reflect.Kind]string{reflect.Int: "integer", reflect.Int64: "integer", reflect.Float64: "number",
			reflect.Bool: "yes or no", reflect.String: "text"}[typ.Kind()]
		if f.Serializer != nil {
			kind = "text"
		}
		if kind == "" {
			t.Errorf("%s.%s: a field of %s has no column", s.Table, f.DBName, typ)
		}
		of[f.DBName] = column{kind, null}
	}
	return of
}

func tablesOf(t *testing.T, db *plantdb.DB) map[string]bool {
	t.Helper()
	query := "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
	if db.Engine() == migrations.PostgreSQL {
		query = "SELECT table_name FROM information_schema.tables WHERE table_schema = 'public'"
	}
	var names []string
	if err := db.SQL(context.Background()).Raw(query).Scan(&names).Error; err != nil {
		t.Fatal(err)
	}
	of := map[string]bool{}
	for _, n := range names {
		of[n] = true
	}
	return of
}

func columnsOfTable(t *testing.T, db *plantdb.DB, table string) map[string]column {
	t.Helper()
	query := `SELECT name, lower(type) AS type, "notnull" = 0 AND pk = 0 AS nullable FROM pragma_table_info(?)`
	if db.Engine() == migrations.PostgreSQL {
		query = "SELECT column_name AS name, data_type AS type, is_nullable = 'YES' AS nullable FROM information_schema.columns WHERE table_schema = 'public' AND table_name = ?"
	}
	var rows []struct {
		Name, Type string
		Nullable   bool
	}
	if err := db.SQL(context.Background()).Raw(query, table).Scan(&rows).Error; err != nil {
		t.Fatal(err)
	}
	kinds := map[string]string{"integer": "integer", "bigint": "integer", "real": "number", "double precision": "number", "text": "text", "boolean": "yes or no"}
	of := map[string]column{}
	for _, r := range rows {
		if kinds[r.Type] == "" {
			t.Errorf("%s.%s has the unusual type %s", table, r.Name, r.Type)
		}
		of[r.Name] = column{kinds[r.Type], r.Nullable}
	}
	return of
}

// TestScreensReadThroughIndexes asks SQLite how it would answer what every screen of a plant asks, and fails
// when it would read a whole table.
func TestScreensReadThroughIndexes(t *testing.T) {
	db := plantdbtest.Again(t, plantdbtest.SQLiteFile(t))
	const current = " AND known_to IS NULL AND valid_to IS NULL"
	for _, query := range []string{
		"SELECT * FROM conveyors WHERE plant_id = 1" + current + " AND status <> 'retired'",
		"SELECT * FROM belts WHERE plant_id = 1" + current + " AND removed IS NULL",
		"SELECT * FROM splices WHERE plant_id = 1" + current + " AND ended IS NULL",
		"SELECT * FROM splices WHERE plant_id = 1 AND valid_from <= 5 AND (valid_to IS NULL OR valid_to > 5) AND known_to IS NULL AND made_at <= 5",
		"SELECT * FROM belts WHERE conveyor_id = 1" + current,
		"SELECT * FROM findings WHERE plant_id = 1" + current + " AND found_at >= 5 ORDER BY found_at DESC",
		"SELECT * FROM findings WHERE splice_id = 1 AND splice_id <> 0" + current + " ORDER BY found_at DESC LIMIT 1",
		"SELECT * FROM orders WHERE plant_id = 1 AND number = 412" + current,
		"SELECT * FROM orders WHERE number = 412" + current,
		"SELECT * FROM orders WHERE plant_id = 1 AND state IN ('raised','accepted','placed','started')" + current,
		"SELECT * FROM conveyors WHERE plant_id = 1 AND tag_key = 'Q-1'" + current,
		"SELECT * FROM conveyors WHERE tag_key >= 'Q' AND tag_key < 'R'" + current,
		"SELECT tag, name FROM conveyors WHERE lower(name) LIKE '%x%'" + current,
		"SELECT * FROM readings WHERE conveyor_id = 1 AND at <= 5 AND known_to IS NULL ORDER BY at DESC LIMIT 1",
		"SELECT * FROM held_readings WHERE plant_id = 1 AND decision = ''",
		"SELECT * FROM occurrences WHERE plant_id = 1 AND raised_at > 5",
		"SELECT * FROM journal_entries WHERE plant_id = 1 AND at > 5 ORDER BY at DESC",
	} {
		var plan []struct{ Detail string }
		if err := db.SQL(context.Background()).Raw("EXPLAIN QUERY PLAN " + query).Scan(&plan).Error; err != nil {
			t.Fatalf("%s: %v", query, err)
		}
		for _, step := range plan {
			if strings.HasPrefix(step.Detail, "SCAN") && !strings.Contains(step.Detail, "USING COVERING INDEX") {
				t.Errorf("%s\nreads everything: %s", query, step.Detail)
			}
		}
	}
}
