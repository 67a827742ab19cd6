package registry

import (
	"context"
	"strconv"
	"strings"

	"carryside/assets"
	"carryside/assets/plantdb"
	"carryside/migrations"
)

// HitKind is what a search found.
type HitKind string

// Kinds of hits.
const (
	HitConveyor HitKind = "conveyor"
	HitSplice   HitKind = "splice"
	HitOrder    HitKind = "order"
)

// Hit is one thing a search found.
type Hit struct {
	Kind         HitKind
	PlantID      int64
	PlantName    string
	ConveyorID   int64
	Tag          string
	Name         string
	SpliceID     int64
	SpliceNumber string
	OrderID      int64
	OrderNumber  int64
	Title        string // of an order
}

// Search finds conveyors by tag, name or other names, splices ("Q3 S2") and orders by number, within the
// scope; plantID 0 looks through all its plants. Exact tags come first.
func Search(ctx context.Context, db *plantdb.DB, scope assets.Scope, plantID int64, text string, limit int) ([]Hit, error) {
	text = strings.TrimSpace(text)
	if text == "" || limit <= 0 {
		return nil, nil
	}
	s := search{ctx: ctx, db: db, limit: limit}
	s.where, s.args = plantdb.ScopeSQL(scope, "x.plant_id")
	if plantID != 0 {
		s.where, s.args = s.where+" AND x.plant_id = ?", append(s.args, plantID)
	}
	for _, step := range []func(string) ([]Hit, error){s.tags, s.splices, s.orders, s.words} {
		found, err := step(text)
		if err != nil {
			return nil, err
		}
		if s.take(found) {
			break
		}
	}
	return s.hits, nil
}

// search holds what every step narrows by, and the hits so far.
type search struct {
	ctx   context.Context
	db    *plantdb.DB
	limit int
	where string
	args  []any
	hits  []Hit
}

// take adds hits that are not there yet and tells whether that is enough.
func (s *search) take(found []Hit) bool {
	for _, h := range found {
		if len(s.hits) < s.limit && !s.has(h) {
			s.hits = append(s.hits, h)
		}
	}
	return len(s.hits) >= s.limit
}

func (s *search) has(h Hit) bool {
	for _, old := range s.hits {
		if old.Kind == h.Kind && old.ConveyorID == h.ConveyorID && old.SpliceID == h.SpliceID && old.OrderID == h.OrderID {
			return true
		}
	}
	return false
}

// currentPlant joins the name of a row's plant.
const currentPlant = " JOIN plants p ON p.id = x.plant_id AND p.known_to IS NULL AND p.valid_to IS NULL "

func (s *search) run(query string, args ...any) (hits []Hit, err error) {
	args = append(append(args, s.args...), s.limit)
	err = s.db.SQL(s.ctx).Raw(query+" AND "+s.where+" LIMIT ?", args...).Scan(&hits).Error
	return hits, err
}

// tags finds conveyors whose tag is the text or begins with it; the index holds the keys sorted.
func (s *search) tags(text string) ([]Hit, error) {
	key := assets.TagKey(text)
	if key == "" {
		return nil, nil
	}
	const query = `SELECT 'conveyor' AS kind, x.plant_id, p.name AS plant_name, x.id AS conveyor_id, x.tag, x.name FROM conveyors x` + currentPlant +
		`WHERE x.known_to IS NULL AND x.valid_to IS NULL AND `
	exact, err := s.run(query+"x.tag_key = ?", key)
	if err != nil || len(exact) >= s.limit {
		return exact, err
	}
	begun, err := s.run(query+"x.tag_key >= ? AND x.tag_key < ?", key, key+"\U0010ffff")
	return append(exact, begun...), err
}

// splices reads the last word as the mark of a splice: "Q3 S2", "q3 2".
func (s *search) splices(text string) ([]Hit, error) {
	cut := strings.LastIndexAny(text, " \t")
	if cut < 0 {
		return nil, nil
	}
	mark := strings.TrimLeft(strings.TrimSpace(text[cut:]), "sS#")
	tag := strings.TrimSpace(strings.TrimSuffix(strings.ToLower(strings.TrimSpace(text[:cut])), "splice"))
	if mark == "" || tag == "" {
		return nil, nil
	}
	return s.run(`SELECT 'splice' AS kind, x.plant_id, p.name AS plant_name, x.id AS conveyor_id, x.tag, x.name, j.id AS splice_id, j.number AS splice_number
		FROM conveyors x`+currentPlant+`JOIN splices j ON j.conveyor_id = x.id AND j.known_to IS NULL AND j.valid_to IS NULL AND j.ended IS NULL
		WHERE x.known_to IS NULL AND x.valid_to IS NULL AND x.tag_key = ? AND upper(j.number) = ?`, assets.TagKey(tag), strings.ToUpper(mark))
}

// orders finds an order by the number people say: "412", "order 412".
func (s *search) orders(text string) ([]Hit, error) {
	digits := strings.TrimSpace(strings.TrimPrefix(strings.ToLower(text), "order"))
	number, err := strconv.ParseInt(digits, 10, 64)
	if err != nil {
		return nil, nil
	}
	return s.run(`SELECT 'order' AS kind, x.plant_id, p.name AS plant_name, x.conveyor_id, x.id AS order_id, x.number AS order_number, x.title
		FROM orders x`+currentPlant+`WHERE x.known_to IS NULL AND x.valid_to IS NULL AND x.number = ?`, number)
}

// words finds the text anywhere in names and other names, whatever its case.
func (s *search) words(text string) ([]Hit, error) {
	like := "LIKE ?" // without regard to case in SQLite
	if s.db.Engine() == migrations.PostgreSQL {
		like = "ILIKE ?"
	}
	like += ` ESCAPE '\'`
	pattern := "%" + strings.NewReplacer(`\`, `\\`, "%", `\%`, "_", `\_`).Replace(text) + "%"
	return s.run(`SELECT 'conveyor' AS kind, x.plant_id, p.name AS plant_name, x.id AS conveyor_id, x.tag, x.name FROM conveyors x`+currentPlant+
		`WHERE x.known_to IS NULL AND x.valid_to IS NULL AND (x.name `+like+` OR x.other_names `+like+`)`, pattern, pattern)
}
